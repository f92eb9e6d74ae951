package httpapi_test

import (
	"net/http/httptest"
	"strconv"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/watch"
)

func TestWritesFromOtherSitesAreRefused(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	body := map[string]any{"code": "QUAY", "title": "The Quay"}
	// Fetch Metadata Request Headers (W3C), Sec-Fetch-Site; The Web Origin Concept (RFC 6454), Origin.
	for name, headers := range map[string][]string{
		"cross-site":   {"Sec-Fetch-Site", "cross-site"},
		"same-site":    {"Sec-Fetch-Site", "same-site"},
		"other origin": {"Origin", "https://elsewhere.example"},
	} {
		a := studio.do("POST", "/v1/projects", body, headers...)
		require.Equal(t, 403, a.status, name)
		require.Equal(t, "/problems/cross-site", a.get(t, "type"))
		a = s.nobody().do("POST", "/v1/sessions", map[string]any{"email": "ines@harbour.example", "password": password}, headers...)
		require.Equal(t, 403, a.status, "log in, %s", name)
	}
	studio.ok("POST", "/v1/projects", body, "Sec-Fetch-Site", "same-origin", "Origin", s.base)
	studio.ok("GET", "/v1/projects", nil, "Sec-Fetch-Site", "cross-site") // reading changes nothing, and its answer is not theirs to read
	token := studio.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"order"}}).get(t, "secret")
	program := &person{s: s, token: token}
	program.ok("POST", "/v1/projects", map[string]any{"code": "YARD", "title": "y"}, "Sec-Fetch-Site", "cross-site") // no cookie, nothing to ride on
	bad := &person{s: s, cookie: studio.cookie, token: "pht_wrong"}
	require.Equal(t, 401, bad.do("GET", "/v1/me", nil).status, "a wrong token is refused, cookie or not")
}

func TestCookiesAndHeaders(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	a := s.nobody().ok("POST", "/v1/sessions", map[string]any{"email": "INES@harbour.example", "password": password})
	for _, part := range []string{"HttpOnly", "SameSite=Lax", "Path=/"} {
		require.Contains(t, a.header.Get("Set-Cookie"), part)
	}
	me := studio.ok("GET", "/v1/me", nil, "X-Request-ID", "forged")
	require.Equal(t, "nosniff", me.header.Get("X-Content-Type-Options"))
	require.Equal(t, "no-store", me.header.Get("Cache-Control"))
	require.NotEmpty(t, me.header.Get("X-Request-Id"))
	require.NotEqual(t, "forged", me.header.Get("X-Request-Id"))
	wrong := s.nobody().do("POST", "/v1/sessions", map[string]any{"email": "ines@harbour.example", "password": "wrong"})
	unknown := s.nobody().do("POST", "/v1/sessions", map[string]any{"email": "nobody@harbour.example", "password": "wrong"})
	require.Equal(t, 401, wrong.status)
	require.Equal(t, withoutInstance(t, wrong), withoutInstance(t, unknown))
	out := studio.do("DELETE", "/v1/sessions/current", nil)
	require.Equal(t, 204, out.status)
	require.Contains(t, out.header.Get("Set-Cookie"), "Max-Age=0")
	require.Equal(t, 401, studio.do("GET", "/v1/me", nil).status, "the session is gone, not only the cookie")
}

func TestLimits(t *testing.T) {
	t.Parallel()
	s := startWith(t, httpapi.Limits{CallerPerSecond: 0.01, CallerBurst: 12, LogInEvery: time.Hour, LogInBurst: 3})
	studio := s.studio("Harbour Works", "ines@harbour.example") // takes one attempt to log in
	token := &person{s: s, token: studio.ok("POST", "/v1/tokens", map[string]any{"name": "t", "scopes": []string{"read"}}).get(t, "secret")}
	statuses := map[int]int{}
	var last answer
	for range 15 {
		last = studio.do("GET", "/v1/me", nil)
		statuses[last.status]++
	}
	require.Equal(t, map[int]int{200: 11, 429: 4}, statuses)
	require.Equal(t, "/problems/too-many-requests", last.get(t, "type"))
	wait, err := strconv.Atoi(last.header.Get("Retry-After"))
	require.NoError(t, err)
	require.Positive(t, wait)
	token.ok("GET", "/v1/me", nil) // a token has a limit of its own
	for i, want := range []int{401, 401, 429} {
		a := s.nobody().do("POST", "/v1/sessions", map[string]any{"email": "ines@harbour.example", "password": "guess"})
		require.Equal(t, want, a.status, "attempt %d", i)
	}
}

func TestMetrics(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.s.nobody().do("GET", "/v1/secret-path-of-a-stranger", nil)
	game, _ := someFiles("two")
	w.people["vendor lead"].deliver(w.c.milestones[1], game)
	reg := prometheus.NewPedanticRegistry()
	watch.RegisterQueueMetrics(reg, w.s.worker.Figures)
	text := scrape(t, reg) + scrape(t, w.s.registry)
	for _, line := range []string{
		`proofhouse_inspections_under_way{state="queued"} 1`, `proofhouse_inspections_under_way{state="running"} 0`,
		`proofhouse_inspections_last_day{verdict="fail"} 1`, `proofhouse_inspections_last_day{verdict="pass"} 1`, `proofhouse_inspection_figures_failed 0`,
		`proofhouse_http_requests_total{method="POST",route="/v1/deliveries/:delivery_id/seal",status="200"} 3`,
		`proofhouse_http_requests_total{method="GET",route="/v1/*",status="404"} 1`,
	} {
		require.Contains(t, text, line)
	}
	require.Regexp(t, `proofhouse_inspection_queue_age_seconds [0-9.e-]+`, text)
	require.NotContains(t, text, "secret-path")
	require.NotContains(t, w.s.logs.String(), "secret-path")
}

// scrape reads a registry as Prometheus would (text exposition format 0.0.4).
func scrape(t *testing.T, reg *prometheus.Registry) string {
	t.Helper()
	rec := httptest.NewRecorder()
	httpapi.MetricsHandler(reg).ServeHTTP(rec, httptest.NewRequest("GET", "/metrics", nil))
	require.Equal(t, 200, rec.Code)
	return rec.Body.String()
}

func TestEditedEvidenceIsNotServed(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	lead := w.people["vendor lead"]
	at := "/v1/inspections/" + w.ids["inspection_id"] + "/evidence"
	good := lead.ok("GET", at, nil)
	key := "wo/" + w.c.order + "/evidence/" + digest(good.body)
	require.NoError(t, w.s.storage.Delete(t.Context(), key))
	require.Equal(t, "/problems/evidence-broken", lead.do("GET", at, nil).get(t, "type"))
	w.s.forge(t, key, []byte(`{"verdict":"pass"}`))
	a := lead.do("GET", at, nil)
	require.Equal(t, 500, a.status)
	require.Equal(t, "/problems/evidence-broken", a.get(t, "type"))
	require.Empty(t, a.header.Get("ETag"))
}
