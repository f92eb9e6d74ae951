package httpapi_test

import (
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// try is one attempt to log in from an address, with the cookies of a browser.
func (s *service) try(email, word, address, cookies string) answer {
	return s.nobody().do("POST", "/v1/sessions", map[string]any{"email": email, "password": word}, "X-Forwarded-For", address, "Cookie", cookies)
}

// timesOf adds up over the hours: a test may run across a full one.
func timesOf(t *testing.T, a answer) (n int) {
	var list struct{ Items []struct{ Times int } }
	require.NoError(t, json.Unmarshal(a.body, &list))
	for _, i := range list.Items {
		n += i.Times
	}
	return n
}

func cookieOf(a answer, name string) string {
	for _, c := range a.header.Values("Set-Cookie") {
		if strings.HasPrefix(c, name+"=") {
			return strings.Split(c, ";")[0]
		}
	}
	return ""
}

// Guessing is stopped, from one address and from many; and who guesses cannot keep the owner out of a browser that the
// owner has used before, nor by a stolen cookie out of any other.
func TestGuessingIsStoppedAndLocksNobodyOut(t *testing.T) {
	t.Parallel()
	s := startWith(t, httpapi.Limits{LogInEvery: time.Hour, LogInBurst: 3, StrangerEvery: time.Hour, StrangerBurst: 6, CallerBurst: 10000, AddressBurst: 100000})
	s.studio("Harbour Works", "ines@harbour.example") // one attempt of the e-mail's six, from this machine's own address
	s.studio("Far Shore", "far@shore.example")
	home := s.try("ines@harbour.example", password, "198.51.100.1", "")
	require.Equal(t, 201, home.status, string(home.body))
	device := cookieOf(home, "proofhouse_device")
	require.NotEmpty(t, device)

	// From one address.
	for i, want := range []int{401, 401, 401, 429} {
		require.Equal(t, want, s.try("ines@harbour.example", "guess", "203.0.113.1", "").status, "attempt %d", i)
	}
	require.Equal(t, 429, s.try("far@shore.example", "guess", "203.0.113.1", "").status, "many e-mails from one address")
	// From many: the sixth is the last.
	require.Equal(t, 401, s.try("ines@harbour.example", "guess", "203.0.113.2", "").status)
	require.Equal(t, 429, s.try(" INES@harbour.example", "guess", "203.0.113.3", "").status)
	require.Equal(t, 429, s.try("ines@harbour.example", password, "198.51.100.2", "").status, "a browser that nobody knows waits")
	require.Equal(t, 429, s.try("ines@harbour.example", password, "198.51.100.2", "proofhouse_device=phd_made_up").status)

	// The owner gets in where they did before, from any address; nobody else's browser counts as that.
	for i := range 2 {
		require.Equal(t, 201, s.try("ines@harbour.example", password, fmt.Sprintf("198.51.100.%d", 10+i), device).status)
	}
	require.Equal(t, 201, s.try("far@shore.example", password, "198.51.100.20", "").status, "others are not held up")
	far := s.try("far@shore.example", password, "198.51.100.21", "")
	require.Equal(t, 429, s.try("ines@harbour.example", password, "198.51.100.22", cookieOf(far, "proofhouse_device")).status)

	// Who holds the cookie has few attempts, and uses up nobody else's.
	require.Equal(t, 401, s.try("ines@harbour.example", "guess", "203.0.113.9", device).status)
	require.Equal(t, 429, s.try("ines@harbour.example", "guess", "203.0.113.9", device).status)
	// What happened is told to the studio's producer.
	me := &person{s: s, cookie: sessionCookie(home)}
	require.Equal(t, 5, timesOf(t, me.ok("GET", "/v1/access?act=log_in_failed", nil)))
	require.Equal(t, 6, timesOf(t, me.ok("GET", "/v1/access?act=log_in_held", nil)))
}

// The attack itself: a session's secret that a stranger has put into the victim's browser is worth nothing after the
// victim has logged in there.
func TestSessionFixation(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	attacker := s.studio("Far Shore", "far@shore.example")
	for name, planted := range map[string]string{"made up": "proofhouse_session=phs_" + strings.Repeat("a", 43), "the attacker's own": attacker.cookie} {
		a := s.try("ines@harbour.example", password, "198.51.100.1", planted)
		require.Equal(t, 201, a.status, name)
		require.NotEqual(t, planted, sessionCookie(a))
		held := &person{s: s, cookie: planted}
		if name == "made up" {
			require.Equal(t, 401, held.do("GET", "/v1/me", nil).status)
		} else {
			require.NotEqual(t, studio.ok("GET", "/v1/me", nil).get(t, "member_id"), held.ok("GET", "/v1/me", nil).get(t, "member_id"))
		}
	}
}

// The attack itself: a page of another site has the victim's browser send a form or a script's request. The cookie is
// SameSite=Lax, so that a browser leaves it out; one that sends it all the same is refused by what it says of where the
// request comes from.
func TestCrossSiteRequests(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	require.Contains(t, s.try("ines@harbour.example", password, "198.51.100.1", "").header.Get("Set-Cookie"), "SameSite=Lax")
	body := map[string]any{"code": "QUAY", "title": "The Quay"}
	for name, headers := range map[string][]string{
		"cross-site":          {"Sec-Fetch-Site", "cross-site"},
		"a sibling host":      {"Sec-Fetch-Site", "same-site"},
		"an older browser":    {"Origin", "https://evil.example"},
		"no origin to tell":   {"Origin", "null"},
		"the same host, port": {"Origin", "http://127.0.0.1:1"},
	} {
		for _, path := range []string{"/v1/projects", "/v1/tokens", "/v1/me/password", "/v1/sessions"} {
			a := studio.do("POST", path, body, headers...)
			require.Equal(t, 403, a.status, "%s %s: %s", name, path, a.body)
			require.Equal(t, "/problems/cross-site", a.get(t, "type"))
		}
		require.Equal(t, 403, studio.do("PUT", "/v1/log-in-provider", map[string]any{"issuer": "https://x.example", "client_id": "x", "required": false}, headers...).status)
		require.Equal(t, 403, studio.do("DELETE", "/v1/sessions", nil, headers...).status)
	}
	require.Equal(t, "", studio.ok("GET", "/v1/projects", nil).header.Get("Access-Control-Allow-Origin"), "nobody else's script may read")
	studio.ok("POST", "/v1/projects", body, "Sec-Fetch-Site", "same-origin")
}

func TestSecurityHeaders(t *testing.T) {
	t.Parallel()
	s := start(t)
	login, store := ledger.NewLogin(s.db.Pool(ledger.RoleLogin)), s.store(t)
	server, err := httpapi.New(httpapi.Config{Store: store, Login: login, Storage: s.storage, PublicURL: "https://props.example", Log: slog.New(slog.NewJSONHandler(io.Discard, nil))})
	require.NoError(t, err)
	s.studio("Harbour Works", "ines@harbour.example")
	for _, path := range []string{"/healthz", "/v1/me", "/v1/nothing", "/v1/openapi"} {
		w := httptest.NewRecorder()
		server.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "https://props.example"+path, nil))
		for name, want := range map[string]string{
			"Strict-Transport-Security": "max-age=31536000", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin", "Cross-Origin-Opener-Policy": "same-origin",
			"Cross-Origin-Resource-Policy": "same-origin", "Content-Security-Policy": "default-src 'none'; frame-ancestors 'none'",
		} {
			require.Equal(t, want, w.Header().Get(name), "%s %s", path, name)
		}
		require.Contains(t, w.Header().Get("Permissions-Policy"), "camera=()")
		require.NotContains(t, w.Header().Get("Server"), "echo")
	}
	w := httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodPost, "https://props.example/v1/sessions", strings.NewReader(`{"email":"ines@harbour.example","password":"`+password+`"}`))
	r.Header.Set("Content-Type", "application/json")
	server.Handler().ServeHTTP(w, r)
	require.Equal(t, 201, w.Code, w.Body)
	cookies := w.Result().Cookies()
	require.Len(t, cookies, 2)
	for _, c := range cookies { // RFC 6265bis, section 4.1.3.2
		require.True(t, strings.HasPrefix(c.Name, "__Host-") && c.Secure && c.HttpOnly && c.Path == "/" && c.Domain == "" && c.SameSite == http.SameSiteLaxMode, c.Raw)
	}
}

// Nothing that opens a door stands in a line of the log, after a whole story with things that go wrong.
func TestSecretsAreNotLogged(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lead, first := w.people["vendor lead"], w.people["producer"]
	secrets := map[string]string{"password": password, "session": strings.TrimPrefix(lead.cookie, "proofhouse_session="), "provider": "provider-secret-canary"}
	first.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": w.issuer, "client_id": "house", "client_secret": secrets["provider"], "required": false})
	secrets["token"] = lead.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"read"}}).get(t, "secret")
	token := &person{s: w.s, token: secrets["token"]}
	token.ok("GET", "/v1/me", nil)
	token.do("POST", "/v1/projects", map[string]any{"code": "X", "title": secrets["token"]}) // refused
	secrets["invitation"] = first.ok("POST", "/v1/invitations", map[string]any{"party_id": first.party, "email": "n@harbour.example", "roles": []string{"producer"}}).get(t, "secret")
	w.s.nobody().do("POST", "/v1/invitations/accept", map[string]any{"secret": secrets["invitation"], "name": "N", "password": "short"})
	secrets["guess"] = "a guess that is nearly right"
	login := w.s.try("ole@krane.example", secrets["guess"], "203.0.113.1", "")
	require.Equal(t, 401, login.status)
	login = w.s.try("ole@krane.example", password, "203.0.113.1", "")
	secrets["session after"] = strings.TrimPrefix(sessionCookie(login), "proofhouse_session=")
	secrets["device"] = strings.TrimPrefix(cookieOf(login, "proofhouse_device"), "proofhouse_device=")
	w.s.nobody().do("GET", "/v1/me?password="+secrets["guess"][:7]+"canary", nil)
	w.s.nobody().do("GET", "/v1/"+secrets["invitation"], nil)
	w.s.nobody().do("POST", "/v1/sessions", []byte(`{"email": "x", "password": "`+password+`", `)) // cut off
	secrets["query"] = secrets["guess"][:7] + "canary"
	d := &door{service: w.s, h: newHostile(t), studio: first}
	d.id = first.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": d.h.URL, "client_id": "house", "client_secret": "provider-secret", "required": false}).get(t, "id")
	browser, to := d.begin("")
	back := d.h.consent(to)
	secrets["code"], secrets["state"] = back.Query().Get("code"), back.Query().Get("state")
	d.back(browser, back)
	secrets["sign-in"] = strings.TrimPrefix(browser, "proofhouse_signin=")
	uploads := lead.do("GET", "/v1/deliveries/"+w.ids["delivery_id"]+"/files/"+w.ids["file_id"]+"/content", nil)
	if at := uploads.header.Get("Location"); at != "" {
		_, secrets["presigned"], _ = strings.Cut(at, "X-Amz-Signature=")
	}
	logs := w.s.logs.String()
	require.Contains(t, logs, "log-in refused")
	require.Contains(t, logs, `"route":"/v1/tokens"`)
	for name, secret := range secrets {
		require.GreaterOrEqual(t, len(secret), 8, name)
		require.NotContains(t, logs, secret, name)
	}
	require.NotContains(t, logs, "X-Amz-Signature")
	require.NotContains(t, logs, "Bearer pht_")
	require.NotContains(t, logs, "$argon2id$")
}

func (s *service) store(t *testing.T) *ledger.Store {
	store, err := ledger.NewStore(s.db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	return store
}

// Who read what is noted once an hour for each, whichever way they came, and what one was not shown is not.
func TestReadingIsNoted(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lead, artist := w.people["vendor lead"], w.people["vendor artist"]
	for range 3 {
		artist.ok("GET", "/v1/deliveries/"+w.ids["delivery_id"], nil)
	}
	artist.ok("GET", "/v1/props/"+w.ids["prop_id"], nil)
	artist.do("GET", "/v1/work-orders/"+w.ids["work_order_id"]+"/export", nil)
	secret := artist.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"read"}}).get(t, "secret")
	(&person{s: w.s, token: secret}).ok("GET", "/v1/me", nil)
	w.people["other vendor"].do("GET", "/v1/deliveries/"+w.ids["delivery_id"], nil)
	member := artist.ok("GET", "/v1/me", nil).get(t, "member_id")
	for act, subject := range map[string]string{"read_delivery": w.ids["delivery_id"], "read_prop": w.ids["prop_id"], "exported": w.ids["work_order_id"], "token_used": "", "token_made": "", "joined": ""} {
		var rows answer
		require.Eventually(t, func() bool { // written beside the answer
			rows = lead.ok("GET", "/v1/access?act="+act+"&member_id="+member, nil)
			return strings.Contains(string(rows.body), act)
		}, 10*time.Second, 20*time.Millisecond, act)
		require.NotContains(t, string(rows.body), `"items":[]`)
		if subject != "" {
			require.Equal(t, subject, rows.get(t, "items.0.subject"))
			require.Equal(t, "1", rows.get(t, "items.0.times"))
		}
	}
	require.NotContains(t, string(w.people["other vendor"].ok("GET", "/v1/access?act=read_delivery", nil).body), w.ids["delivery_id"])
	require.NotContains(t, string(w.people["producer"].ok("GET", "/v1/access?act=read_delivery", nil).body), member, "the vendor's people are the vendor's to see")
}
