package watch_test

import (
	"context"
	"encoding/base64"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/protobuf/encoding/protojson"

	"proofhouse/internal/watch"
)

// collector takes OTLP over HTTP as OpenTelemetry's own protocol definition reads it (go.opentelemetry.io/proto/otlp): an
// unknown name or a value of another type is an error.
func collector(t *testing.T, status int) (url string, got func() []*tracepb.Span) {
	var mu sync.Mutex
	var spans []*tracepb.Span
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodPost || r.URL.Path != "/v1/traces" || r.Header.Get("Content-Type") != "application/json" {
			t.Errorf("%s %s as %s", r.Method, r.URL, r.Header.Get("Content-Type"))
		}
		body, _ := io.ReadAll(r.Body)
		var data tracepb.TracesData
		if err := (protojson.UnmarshalOptions{}).Unmarshal(body, &data); err != nil {
			t.Errorf("%v in %s", err, body)
		}
		mu.Lock()
		defer mu.Unlock()
		for _, rs := range data.ResourceSpans {
			if n := rs.Resource.Attributes[0]; n.Key != "service.name" || n.Value.GetStringValue() != "quay" {
				t.Errorf("resource %v", rs.Resource)
			}
			for _, ss := range rs.ScopeSpans {
				spans = append(spans, ss.Spans...)
			}
		}
		w.WriteHeader(status)
	}))
	t.Cleanup(server.Close)
	return server.URL, func() []*tracepb.Span { mu.Lock(); defer mu.Unlock(); return spans }
}

// hexOf undoes what the general JSON reader does to ids: OTLP writes them in hexadecimal where other bytes are base64.
func hexOf(b []byte) string { return base64.StdEncoding.EncodeToString(b) }

func TestSpansReachACollector(t *testing.T) {
	url, got := collector(t, http.StatusOK)
	e, err := watch.NewExporter(url, "quay", slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); e.Run(ctx) }()

	tracer := watch.NewTracer(e.Put)
	trace := watch.TraceOfRequest("0198F3A2-7b11-7c3d-9e4f-001122334455")
	require.Equal(t, "0198f3a27b117c3d9e4f001122334455", trace)
	ctx1, first := tracer.Begin(t.Context(), trace, "POST /seal", true)
	first.Set("http.response.status_code", 200)
	first.Set("share", 0.5)
	first.Set("again", true)
	_, below := tracer.Start(ctx1, "look")
	below.End(errors.New("the quay is closed"))
	first.End(nil)
	first.End(nil) // once
	_, elsewhere := tracer.Begin(t.Context(), trace, "inspection", false)
	elsewhere.End(nil)
	stop()
	<-done

	byName := map[string]*tracepb.Span{}
	for _, s := range got() {
		byName[s.Name] = s
		require.Equal(t, trace, hexOf(s.TraceId))
		require.LessOrEqual(t, s.StartTimeUnixNano, s.EndTimeUnixNano)
		require.WithinDuration(t, time.Now(), time.Unix(0, int64(s.StartTimeUnixNano)), time.Minute)
	}
	require.Len(t, got(), 3)
	require.Equal(t, watch.First(trace), hexOf(byName["POST /seal"].SpanId))
	require.Empty(t, byName["POST /seal"].ParentSpanId)
	require.Equal(t, tracepb.Span_SPAN_KIND_SERVER, byName["POST /seal"].Kind)
	require.Len(t, byName["POST /seal"].Attributes, 3)
	require.EqualValues(t, 200, byName["POST /seal"].Attributes[1].Value.GetIntValue())
	for _, name := range []string{"look", "inspection"} {
		require.Equal(t, byName["POST /seal"].SpanId, byName[name].ParentSpanId, name)
		require.NotEqual(t, byName["POST /seal"].SpanId, byName[name].SpanId)
		require.Equal(t, tracepb.Span_SPAN_KIND_INTERNAL, byName[name].Kind)
	}
	require.Equal(t, tracepb.Status_STATUS_CODE_ERROR, byName["look"].Status.Code)
	require.Equal(t, "the quay is closed", byName["look"].Status.Message)
}

// A collector that is away or refuses costs spans and nothing else.
func TestACollectorThatIsAwayHoldsUpNothing(t *testing.T) {
	url, got := collector(t, http.StatusServiceUnavailable)
	tracer, flush, err := watch.ToCollector(url, "quay", slog.New(slog.DiscardHandler))
	require.NoError(t, err)
	began := time.Now()
	for range 20_000 {
		_, s := tracer.Begin(t.Context(), watch.NewTrace(), "x", false)
		s.End(nil)
	}
	require.Less(t, time.Since(began), 5*time.Second)
	flush()
	require.NotEmpty(t, got())
	require.Less(t, len(got()), 20_000, "the queue is bounded")
}

func TestNoCollectorNoSpans(t *testing.T) {
	tracer, flush, err := watch.ToCollector("", "quay", nil)
	require.NoError(t, err)
	ctx, s := tracer.Begin(t.Context(), watch.NewTrace(), "x", true)
	s.Set("a", 1)
	_, below := tracer.Start(ctx, "y")
	below.End(nil)
	s.End(nil)
	flush()
	_, _, err = watch.ToCollector("collector:4318", "quay", nil)
	require.Error(t, err)
}

// W3C Trace Context, section 3.2.2.3: 32 digits in lower case, not all of them zero.
func TestTraceIDs(t *testing.T) {
	for _, id := range []string{"", "00000000000000000000000000000000", "4bf92f3577b34da6a3ce929d0e0e473", "4bf92f3577b34da6a3ce929d0e0e4736x", "not-a-request"} {
		require.Empty(t, watch.TraceOfRequest(id), id)
	}
	require.True(t, watch.Valid("4bf92f3577b34da6a3ce929d0e0e4736"), "the standard's own example")
	require.True(t, watch.Valid(watch.NewTrace()))
	require.NotEqual(t, watch.NewTrace(), watch.NewTrace())
}
