package watch

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"regexp"
	"strings"
	"sync"
	"time"
)

// Span is one piece of work that is over.
type Span struct {
	Trace  string // 32 hexadecimal digits
	ID     string // 16
	Parent string // 16, "" for the first of a trace
	Name   string
	Server bool // it answers somebody outside
	Start  time.Time
	End    time.Time
	Attrs  map[string]any // string, int, int64, float64 or bool
	Fault  string         // why it failed, "" where it did not
}

// Tracer makes spans and hands them to an exporter. A nil Tracer makes spans that go nowhere.
type Tracer struct{ export func(Span) }

// NewTracer makes a tracer; export must not block.
func NewTracer(export func(Span)) *Tracer { return &Tracer{export} }

// TraceOfRequest is the trace id of a request's id, "" where it is no UUID.
func TraceOfRequest(id string) string {
	trace := strings.ReplaceAll(strings.ToLower(id), "-", "")
	if !Valid(trace) {
		return ""
	}
	return trace
}

var form = regexp.MustCompile(`^[0-9a-f]{32}$`)

// Valid says whether a text is a trace id; all zeros are none (W3C Trace Context, section 3.2.2.3).
func Valid(trace string) bool { return form.MatchString(trace) && strings.Trim(trace, "0") != "" }

// NewTrace makes a trace id for work that nobody outside asked for.
func NewTrace() string { return random(16) }

// First is the id of a trace's first span.
func First(trace string) string {
	if !Valid(trace) {
		return ""
	}
	return trace[16:]
}

func random(n int) string {
	b := make([]byte, n)
	_, _ = rand.Read(b) // never fails (crypto/rand, since Go 1.24)
	return hex.EncodeToString(b)
}

// Running is a span that is not over yet. Its methods are safe for use by several goroutines, and on nil.
type Running struct {
	t  *Tracer
	mu sync.Mutex
	s  Span
}

type runningKey struct{}

// Start begins a span below the one of ctx. The first span of a trace is begun with Begin.
func (t *Tracer) Start(ctx context.Context, name string) (context.Context, *Running) {
	above, _ := ctx.Value(runningKey{}).(*Running)
	if t == nil || above == nil {
		return ctx, nil
	}
	r := &Running{t: t, s: Span{Trace: above.s.Trace, ID: random(8), Parent: above.s.ID, Name: name, Start: time.Now(), Attrs: map[string]any{}}}
	return context.WithValue(ctx, runningKey{}, r), r
}

// Begin begins a span of a trace: the first one where first is set, else one right below it. A trace that is none gives nil.
func (t *Tracer) Begin(ctx context.Context, trace, name string, first bool) (context.Context, *Running) {
	if t == nil || !Valid(trace) {
		return ctx, nil
	}
	r := &Running{t: t, s: Span{Trace: trace, ID: random(8), Parent: First(trace), Name: name, Start: time.Now(), Attrs: map[string]any{}}}
	if first {
		r.s.ID, r.s.Parent, r.s.Server = First(trace), "", true
	}
	return context.WithValue(ctx, runningKey{}, r), r
}

// Set says something of the span.
func (r *Running) Set(key string, value any) {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.s.Attrs[key] = value
}

// End ends the span, with err where it failed.
func (r *Running) End(err error) {
	if r == nil {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.s.End.IsZero() {
		return
	}
	r.s.End = time.Now()
	if err != nil {
		r.s.Fault = err.Error()
	}
	r.t.export(r.s)
}
