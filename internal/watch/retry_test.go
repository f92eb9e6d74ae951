package watch_test

import (
	"bytes"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/watch"
)

// answering is a collector that answers one status after the other, the last one for ever, and keeps when it was asked for what.
type answering struct {
	mu       sync.Mutex
	statuses []int
	header   http.Header
	body     string
	asked    []time.Time
	bodies   []string
}

func (a *answering) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, _ := io.ReadAll(r.Body)
	a.mu.Lock()
	defer a.mu.Unlock()
	status := a.statuses[min(len(a.asked), len(a.statuses)-1)]
	a.asked, a.bodies = append(a.asked, time.Now()), append(a.bodies, string(body))
	for k, v := range a.header {
		w.Header()[k] = v
	}
	w.WriteHeader(status)
	_, _ = io.WriteString(w, a.body)
}

func (a *answering) times() int { a.mu.Lock(); defer a.mu.Unlock(); return len(a.asked) }

// The codes and what follows from them are OTLP's: 429, 502, 503 and 504 are tried again and no other, what is refused in part
// is not sent again, and Retry-After is kept (OTLP specification, "OTLP/HTTP Response").
func TestWhatACollectorMayTakeLaterIsSentAgain(t *testing.T) {
	t.Parallel()
	for _, test := range []struct {
		name     string
		statuses []int
		header   http.Header
		body     string
		asked    int
		apart    time.Duration
		said     string // in the log
	}{
		{name: "taken", statuses: []int{200}, asked: 1},
		{name: "busy", statuses: []int{429, 200}, asked: 2},
		{name: "behind a proxy", statuses: []int{502, 504, 200}, asked: 3},
		{name: "away, with a time", statuses: []int{503, 200}, header: http.Header{"Retry-After": {"2"}}, asked: 2, apart: 2 * time.Second},
		{name: "wrong", statuses: []int{400}, asked: 1, said: `"dropped":1`},
		{name: "broken", statuses: []int{500}, asked: 1, said: `"dropped":1`},
		{name: "taken in part", statuses: []int{200}, body: `{"partialSuccess": {"rejectedSpans": "1", "errorMessage": "no"}}`, asked: 1, said: "refused 1 of 1"},
		{name: "taken with nothing refused", statuses: []int{200}, body: `{"partialSuccess": {}}`, asked: 1},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			a := &answering{statuses: test.statuses, header: test.header, body: test.body}
			server := httptest.NewServer(a)
			defer server.Close()
			var log bytes.Buffer
			tracer, flush, err := watch.ToCollector(server.URL, "quay", slog.New(slog.NewJSONHandler(&log, nil)))
			require.NoError(t, err)
			_, s := tracer.Begin(t.Context(), watch.NewTrace(), "only one", false)
			s.End(nil)
			require.Eventually(t, func() bool { return a.times() == test.asked }, 20*time.Second, 10*time.Millisecond)
			time.Sleep(50 * time.Millisecond) // for one too many
			flush()
			require.Equal(t, test.asked, a.times())
			for i := range a.bodies[1:] {
				require.Equal(t, a.bodies[0], a.bodies[i+1], "the same spans")
				require.GreaterOrEqual(t, a.asked[i+1].Sub(a.asked[i]), max(test.apart, 400*time.Millisecond), "not at once")
			}
			if test.said == "" {
				require.Empty(t, log.String())
			}
			require.Contains(t, log.String(), test.said)
		})
	}
}

// A collector's address may hold a password: what goes wrong on the way there is logged without it.
func TestACollectorsAddressIsNotLogged(t *testing.T) {
	t.Parallel()
	server := httptest.NewServer(http.NotFoundHandler())
	address := server.Listener.Addr().String()
	server.Close()
	var log bytes.Buffer
	tracer, flush, err := watch.ToCollector("http://quay:canary-of-a-password@"+address, "quay", slog.New(slog.NewJSONHandler(&log, nil)))
	require.NoError(t, err)
	_, s := tracer.Begin(t.Context(), watch.NewTrace(), "x", false)
	s.End(nil)
	flush()
	require.Contains(t, log.String(), "spans were not taken by the collector")
	require.NotContains(t, log.String(), "canary")
	_, _, err = watch.ToCollector("http://quay:canary-of-a-password@", "quay", nil)
	require.Error(t, err)
	require.NotContains(t, err.Error(), "canary")
}
