package httpapi_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/httpapi"
)

// old makes every session's proof older than the service takes.
func (s *service) old() {
	s.t.Helper()
	conn, err := pgx.Connect(s.t.Context(), s.db.URL(pgserver.Owner))
	require.NoError(s.t, err)
	defer conn.Close(s.t.Context())
	_, err = conn.Exec(s.t.Context(), `UPDATE ph.session SET proved_at = now() - interval '16 minutes'`)
	require.NoError(s.t, err)
}

// An act that makes a way in wants a fresh proof: the challenge is that of RFC 9470, nothing is done, the password given
// again lets the same request through, and who guesses it is stopped and told of.
func TestStaleProofIsAskedFor(t *testing.T) {
	t.Parallel()
	s := startWith(t, httpapi.Limits{LogInEvery: time.Hour, LogInBurst: 3, CallerBurst: 10000, AddressBurst: 100000})
	studio := s.studio("Harbour Works", "ines@harbour.example")
	token := studio.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"read", "admin"}})
	s.old()
	body := map[string]any{"name": "build", "scopes": []string{"read"}}
	key := []string{"Idempotency-Key", "one-key-for-both"}
	a := studio.do("POST", "/v1/tokens", body, key...)
	require.Equal(t, 401, a.status, string(a.body))
	require.Equal(t, "/problems/proof-too-old", a.get(t, "type"))
	require.Contains(t, a.header.Get("WWW-Authenticate"), `error="insufficient_user_authentication"`)
	require.Contains(t, a.header.Get("WWW-Authenticate"), `max_age="900"`)
	require.Contains(t, string(s.nobody().ok("GET", "/problems/proof-too-old", nil).body), "/v1/sessions/current/proof")
	require.Equal(t, 200, studio.do("GET", "/v1/me", nil).status, "the session itself is good")
	program := &person{s: s, token: token.get(t, "secret")}
	require.Equal(t, 201, program.do("POST", "/v1/tokens", body).status, "a token is asked for no proof")
	require.Equal(t, 409, program.do("POST", "/v1/sessions/current/proof", map[string]any{"password": password}).status, "and has no session to prove")

	wrong := studio.do("POST", "/v1/sessions/current/proof", map[string]any{"password": "a guess"})
	require.Equal(t, 422, wrong.status, string(wrong.body))
	require.Equal(t, 1, timesOf(t, studio.ok("GET", "/v1/access?act=log_in_failed", nil)))
	require.Equal(t, 401, studio.do("POST", "/v1/tokens", body, key...).status)
	require.Equal(t, 204, studio.do("POST", "/v1/sessions/current/proof", map[string]any{"password": password}).status)
	require.Equal(t, 1, timesOf(t, studio.ok("GET", "/v1/access?act=proved", nil)))
	require.Equal(t, 201, studio.do("POST", "/v1/tokens", body, key...).status, "the same request goes through")
	require.Equal(t, 429, studio.do("POST", "/v1/sessions/current/proof", map[string]any{"password": "a guess"}).status, "guessing is stopped")
}

// A provider's word is proof from when it says that it asked (auth_time, OpenID Connect Core 1.0, section 2), and it is
// asked to ask anew where that is wanted (prompt and max_age, section 3.1.2.1).
func TestProviderProves(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	log := func(query string, authTime any) *person {
		d.h.spoil = func(c map[string]any) {
			if c["auth_time"] = authTime; authTime == nil {
				delete(c, "auth_time")
			}
		}
		browser, to := d.begin(query)
		at, err := url.Parse(to)
		require.NoError(t, err)
		if strings.Contains(query, "again") {
			require.Equal(t, "login", at.Query().Get("prompt"))
			require.Equal(t, "900", at.Query().Get("max_age"))
		} else {
			require.Empty(t, at.Query().Get("prompt")+at.Query().Get("max_age"))
		}
		back := d.h.consent(to)
		a := d.nobody().do("GET", back.RequestURI(), nil, "Cookie", browser)
		require.Equal(t, http.StatusSeeOther, a.status, string(a.body))
		return &person{s: d.service, cookie: sessionCookie(a), party: d.studio.party}
	}
	act := map[string]any{"name": "build", "scopes": []string{"read"}}
	now := time.Now().Unix()
	for name, row := range map[string]struct {
		query    string
		authTime any
		want     int
	}{
		"it asked just now":                    {"", now, 201},
		"it asked within the time":             {"", now - 800, 201},
		"it took its own session for them":     {"", now - 3600, 401},
		"it does not say":                      {"", nil, 401},
		"it says what cannot be":               {"", now + 86400, 401},
		"asked anew":                           {"?again=1", now, 201},
		"asked anew, and it does not":          {"?again=1", now - 3600, 401},
		"asked anew, and it does not say when": {"?again=1", nil, 401},
	} {
		require.Equal(t, row.want, log(row.query, row.authTime).do("POST", "/v1/tokens", act).status, name)
	}
}

// What the pages keep for somebody, programs can read and keep too.
func TestWhatOneKeepsForOneself(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane Salvage Models", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")

	view := studio.ok("POST", "/v1/saved-views", map[string]any{"name": "Late", "query": "late=yes"})
	require.Equal(t, view.get(t, "id"), studio.ok("GET", "/v1/saved-views", nil).get(t, "items.0.id"))
	require.Equal(t, `{"items":[]}`, strings.TrimSpace(string(vendor.ok("GET", "/v1/saved-views", nil).body)), "nobody else's")
	require.Equal(t, 404, vendor.do("DELETE", "/v1/saved-views/"+view.get(t, "id"), nil).status)
	require.Equal(t, 204, studio.do("DELETE", "/v1/saved-views/"+view.get(t, "id"), nil).status)
	require.Equal(t, `{"items":[]}`, strings.TrimSpace(string(studio.ok("GET", "/v1/saved-views", nil).body)))

	note := studio.ok("POST", "/v1/saved-notes", map[string]any{"text": "Close the seam."})
	require.Equal(t, "Close the seam.", studio.ok("GET", "/v1/saved-notes", nil).get(t, "items.0.text"))
	require.Equal(t, 204, studio.do("DELETE", "/v1/saved-notes/"+note.get(t, "id"), nil).status)

	require.Equal(t, "de", studio.ok("PUT", "/v1/me/reading", map[string]any{"language": "de", "time_zone": nil}).get(t, "language"))
	require.Equal(t, "de", studio.ok("GET", "/v1/me/reading", nil).get(t, "language"))
	require.Equal(t, 422, studio.do("PUT", "/v1/me/reading", map[string]any{"language": nil, "time_zone": "Harbour/Quay"}).status)
	require.Equal(t, "never", studio.ok("PUT", "/v1/me/mail", map[string]any{"choices": map[string]any{"decision": "never"}}).get(t, "choices.decision"))
	require.Equal(t, 422, studio.do("PUT", "/v1/me/mail", map[string]any{"choices": map[string]any{"gossip": "never"}}).status)

	lines := vendor.ok("GET", "/v1/props?order=W_lantern_a&open=true", nil)
	require.Equal(t, c.prop, lines.get(t, "items.0.prop_id"))
	require.Equal(t, `{"items":[],"next":null}`, strings.TrimSpace(string(vendor.ok("GET", "/v1/props?state=accepted", nil).body)))
	require.Equal(t, c.prop, vendor.ok("GET", "/v1/needs", nil).get(t, "asked.ids.0"))
}

// One change for many specs: looked at first, then published for all or none, then acknowledged together.
func TestSpecsAreChangedTogether(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane Salvage Models", "ole@krane.example")
	a, b := studio.contract(vendor, "lantern_a"), studio.contract(vendor, "lantern_b")
	both := []string{a.prop, b.prop}
	change := func(text string, dry bool) answer {
		return studio.do("POST", "/v1/spec-changes", map[string]any{"prop_ids": both, "change": text, "note": "counted", "dry_run": dry})
	}
	revisions := func() (n int) {
		for _, prop := range both {
			n += strings.Count(string(studio.ok("GET", "/v1/props/"+prop+"/specs", nil).body), `"number":`)
		}
		return n
	}
	before := revisions()
	const text = "checks: {budget.triangles: {max_triangles: 3210}}"
	dry := change(text, true)
	require.Equal(t, 200, dry.status, string(dry.body))
	require.Equal(t, "false", dry.get(t, "published"))
	require.Contains(t, string(dry.body), "3210")
	faulty := change("checks: {budget.nonsense: {max: 1}}", false)
	require.Equal(t, 200, faulty.status, string(faulty.body))
	require.Equal(t, "false", faulty.get(t, "published"))
	require.Contains(t, faulty.get(t, "items.1.faults.0.reason"), "nonsense")
	require.Equal(t, 422, change("checks: [", false).status)
	require.Equal(t, before, revisions(), "nothing is published of what is looked at or wrong")

	body := map[string]any{"prop_ids": both, "change": text, "note": "counted"}
	done := studio.do("POST", "/v1/spec-changes", body, "Idempotency-Key", "both-of-them")
	require.Equal(t, 200, done.status, string(done.body))
	require.Equal(t, "true", done.get(t, "published"))
	require.Equal(t, before+2, revisions())
	again := studio.do("POST", "/v1/spec-changes", body, "Idempotency-Key", "both-of-them")
	require.Equal(t, done.get(t, "items.1.spec_id"), again.get(t, "items.1.spec_id"))
	require.Equal(t, before+2, revisions(), "a repeat publishes nothing")

	ids := []string{done.get(t, "items.0.spec_id"), done.get(t, "items.1.spec_id")}
	require.Equal(t, 404, vendor.do("POST", "/v1/spec-acknowledgements", map[string]any{"spec_ids": []string{ids[0], view404}}).status)
	require.Contains(t, string(vendor.ok("GET", "/v1/specs/"+ids[0], nil).body), `"acknowledged_at":null`, "all or none")
	list := vendor.do("POST", "/v1/spec-acknowledgements", map[string]any{"spec_ids": ids})
	require.Equal(t, 200, list.status, string(list.body))
	require.NotContains(t, string(list.body), `"acknowledged_at":null`)
}

const view404 = "0198d4a0-0000-7000-8000-00000000dead" // no revision's
