package endtoend

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// spanSeen is what this test needs of a span that a collector was sent; internal/watch holds the whole form to the standard.
type spanSeen struct {
	TraceID string `json:"traceId"`
	SpanID  string `json:"spanId"`
	Parent  string `json:"parentSpanId"`
	Name    string
	of      string // the service
}

// One id goes from the request that seals through the job to the child and into every log line of it, and the worker counts
// what it does.
func TestOneIdThroughApiJobAndChild(t *testing.T) {
	t.Parallel()
	var mu sync.Mutex
	var spans []spanSeen
	collector := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var sent struct {
			ResourceSpans []struct {
				Resource struct {
					Attributes []struct{ Value map[string]any }
				}
				ScopeSpans []struct{ Spans []spanSeen }
			}
		}
		if err := json.NewDecoder(r.Body).Decode(&sent); err != nil {
			t.Error(err)
		}
		mu.Lock()
		defer mu.Unlock()
		for _, rs := range sent.ResourceSpans {
			for _, s := range rs.ScopeSpans[0].Spans {
				s.of = rs.Resource.Attributes[0].Value["stringValue"].(string)
				spans = append(spans, s)
			}
		}
	}))
	t.Cleanup(collector.Close)
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	var trace string
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT trace FROM ph.inspection`).Scan(&trace))
	require.Regexp(t, `^[0-9a-f]{32}$`, trace)

	address := freeAddress(t)
	p := h.serve("--otlp-endpoint", collector.URL, "--metrics-listen", address)
	h.await(d)
	p.awaitLine("inspected")
	metrics := scrape(t, address)
	for _, name := range []string{
		`proofhouse_worker_inspections_total{verdict="[a-z_]+"} 1`, `proofhouse_worker_inspection_seconds_count{stage="whole"} 1`,
		`proofhouse_worker_inspection_seconds_count{stage="checking"} 1`, `proofhouse_worker_inspection_seconds_count{stage="fetching"} 1`,
		`proofhouse_worker_check_seconds_total{check="uv.overlap",family="uv"} \S+`, `proofhouse_worker_bytes_total{way="fetched"} [1-9]`,
		`proofhouse_worker_bytes_total{way="stored"} [1-9]`, `proofhouse_worker_errors_total{cause="memory"} 0`, `proofhouse_worker_queue_wait_seconds_count 1`,
		`proofhouse_worker_child_peak_bytes_count 1`, `proofhouse_worker_slots 1`, `proofhouse_inspection_queue_age_seconds 0`,
	} {
		require.Regexp(t, regexp.MustCompile(`(?m)^`+name), metrics)
	}
	require.Zero(t, p.stop())

	for _, line := range append(p.logged("in force"), p.logged("inspected")...) {
		require.Equal(t, trace, line["trace"], line)
	}
	require.Contains(t, p.logged("most memory held")[0]["msg"], "child of trace "+trace, "the child had it too")
	mu.Lock()
	defer mu.Unlock()
	names := map[string]spanSeen{}
	for _, s := range spans {
		require.Equal(t, trace, s.TraceID)
		require.Equal(t, "proofhouse-worker", s.of)
		names[s.Name] = s
	}
	require.Equal(t, trace[16:], names["inspection"].Parent, "below the request's own span")
	for _, name := range []string{"fetching", "check uv.overlap", "storing", "recording"} {
		require.Equal(t, names["inspection"].SpanID, names[name].Parent, name)
	}
}

func freeAddress(t *testing.T) string {
	l := httptest.NewServer(nil)
	defer l.Close()
	return strings.TrimPrefix(l.URL, "http://")
}

func scrape(t *testing.T, address string) string {
	t.Helper()
	answer, err := http.Get("http://" + address + "/metrics")
	require.NoError(t, err)
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	require.NoError(t, err)
	return string(body)
}
