package watch

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/url"
	"sort"
	"strconv"
	"strings"
	"sync/atomic"
	"time"
)

// Exporter sends spans to a collector: OTLP over HTTP, JSON encoding (opentelemetry.io/docs/specs/otlp, "OTLP/HTTP"). It
// keeps a bounded number of spans; more are dropped, and said once a minute in the log.
type Exporter struct {
	url     string
	service string
	log     *slog.Logger
	queue   chan Span
	dropped atomic.Int64
	client  http.Client
}

const (
	queueMax  = 4096
	batchMax  = 512
	batchWait = time.Second
	sendTime  = 10 * time.Second
	pauseMin  = time.Second // before the first repetition; each further one waits twice as long
	pauseMax  = 30 * time.Second
	retryFor  = 5 * time.Minute
)

// NewExporter makes an exporter to a collector's base address, such as http://127.0.0.1:4318; spans go to /v1/traces below
// it. service names the program.
func NewExporter(endpoint, service string, log *slog.Logger) (*Exporter, error) {
	u, err := url.Parse(endpoint)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return nil, fmt.Errorf("watch: the collector's address must be a whole http or https address")
	}
	return &Exporter{
		url: strings.TrimSuffix(endpoint, "/") + "/v1/traces", service: service, log: log, queue: make(chan Span, queueMax),
		client: http.Client{Timeout: sendTime},
	}, nil
}

// Put takes a span, or drops it where the queue is full. It never waits.
func (e *Exporter) Put(s Span) {
	select {
	case e.queue <- s:
	default:
		e.dropped.Add(1)
	}
}

// Run sends until ctx ends, then sends what is left, once and within sendTime. What a collector may take later is sent again
// for retryFor; spans that come meanwhile wait in the queue.
func (e *Exporter) Run(ctx context.Context) {
	told := time.Time{}
	failed := func(err error, lost int64) {
		e.dropped.Add(lost)
		if time.Since(told) > time.Minute {
			told = time.Now()
			e.log.Warn("spans were not taken by the collector", "error", err.Error(), "dropped", e.dropped.Swap(0))
		}
	}
	left, end := context.Background(), func() {}
	for {
		batch, more := e.gather(ctx)
		if ctx.Err() != nil && left.Done() == nil {
			left, end = context.WithTimeout(left, sendTime) // all that is left, not each
		}
		if len(batch) > 0 {
			if lost, err := e.deliver(ctx, left, batch); err != nil {
				failed(err, lost)
			}
		}
		if !more {
			end()
			return
		}
	}
}

// deliver sends a batch, again where the protocol allows it, until ctx ends; left bounds the last try. lost is how many spans
// the collector did not get or refused.
func (e *Exporter) deliver(ctx, left context.Context, batch []Span) (lost int64, err error) {
	body, err := Encode(e.service, batch)
	if err != nil {
		return int64(len(batch)), err
	}
	began := time.Now()
	for pause := pauseMin; ; pause = min(2*pause, pauseMax) {
		rejected, err := e.send(left, body, int64(len(batch)))
		if err == nil {
			return 0, nil
		}
		var later *laterError
		if !errors.As(err, &later) {
			return rejected, err
		}
		wait := max(later.after, pause/2+rand.N(pause/2+1))
		if ctx.Err() != nil || time.Since(began)+wait > retryFor {
			return int64(len(batch)), err
		}
		select {
		case <-time.After(wait):
		case <-ctx.Done(): // once more, and no more
		}
	}
}

// gather waits for a first span and takes what comes within a moment. more is false when ctx has ended and nothing is left.
func (e *Exporter) gather(ctx context.Context) (batch []Span, more bool) {
	select {
	case s := <-e.queue:
		batch = append(batch, s)
	case <-ctx.Done():
	}
	wait := time.NewTimer(batchWait)
	defer wait.Stop()
	for len(batch) < batchMax {
		select {
		case s := <-e.queue:
			batch = append(batch, s)
			continue
		default:
		}
		if ctx.Err() != nil {
			return batch, false
		}
		select {
		case s := <-e.queue:
			batch = append(batch, s)
		case <-wait.C:
			return batch, true
		case <-ctx.Done():
		}
	}
	return batch, true
}

// laterError is a failure after which the same spans may be sent again, at once or after a while that the collector names.
type laterError struct {
	cause error
	after time.Duration
}

func (e *laterError) Error() string { return e.cause.Error() }
func (e *laterError) Unwrap() error { return e.cause }

// send sends one request. Only 429, 502, 503, 504 and a connection that fails are tried again; an answer that takes spans in
// part is not (OTLP specification, "OTLP/HTTP Response", "Retryable Response Codes", "Partial Success"). rejected is how many
// of the spans were refused where err is none that may be tried again.
func (e *Exporter) send(ctx context.Context, body []byte, spans int64) (rejected int64, err error) {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, e.url, bytes.NewReader(body))
	if err != nil {
		return 0, err
	}
	r.Header.Set("Content-Type", "application/json")
	answer, err := e.client.Do(r)
	if err != nil {
		return 0, &laterError{cause: withoutAddress(err)}
	}
	defer answer.Body.Close()
	said, _ := io.ReadAll(io.LimitReader(answer.Body, 1<<16)) // whole, so that the connection can be used again
	switch answer.StatusCode {
	case http.StatusTooManyRequests, http.StatusBadGateway, http.StatusServiceUnavailable, http.StatusGatewayTimeout:
		return 0, &laterError{fmt.Errorf("the collector answers %s", answer.Status), retryAfter(answer.Header.Get("Retry-After"))}
	}
	if answer.StatusCode/100 != 2 {
		return spans, fmt.Errorf("the collector answers %s", answer.Status)
	}
	var partly struct {
		PartialSuccess struct {
			RejectedSpans json.Number `json:"rejectedSpans"`
		} `json:"partialSuccess"`
	}
	if json.Unmarshal(said, &partly) == nil {
		if n, _ := partly.PartialSuccess.RejectedSpans.Int64(); n > 0 {
			return min(n, spans), fmt.Errorf("the collector refused %d of %d spans", n, spans)
		}
	}
	return 0, nil
}

// retryAfter reads how long somebody wants to be left alone: seconds, or a time (RFC 9110, section 10.2.3).
func retryAfter(header string) time.Duration {
	if seconds, err := strconv.Atoi(header); err == nil {
		return min(time.Duration(max(seconds, 0))*time.Second, retryFor)
	}
	if at, err := http.ParseTime(header); err == nil {
		return min(max(time.Until(at), 0), retryFor)
	}
	return 0
}

// withoutAddress takes the address out of what went wrong: it may hold a password.
func withoutAddress(err error) error {
	var at *url.Error
	if errors.As(err, &at) {
		return at.Err
	}
	return err
}

// The JSON encoding of opentelemetry.proto.collector.trace.v1.ExportTraceServiceRequest: ids in hexadecimal, 64-bit numbers
// as text, names in lowerCamelCase (OTLP specification, "JSON Protobuf Encoding").
type (
	otlpAttr struct {
		Key   string         `json:"key"`
		Value map[string]any `json:"value"`
	}
	otlpSpan struct {
		TraceID string     `json:"traceId"`
		SpanID  string     `json:"spanId"`
		Parent  string     `json:"parentSpanId,omitempty"`
		Name    string     `json:"name"`
		Kind    int        `json:"kind"`
		Start   string     `json:"startTimeUnixNano"`
		End     string     `json:"endTimeUnixNano"`
		Attrs   []otlpAttr `json:"attributes,omitempty"`
		Status  any        `json:"status,omitempty"`
	}
)

const (
	kindInternal, kindServer = 1, 2 // SpanKind
	statusError              = 2    // Status.StatusCode
)

// Encode writes spans as one request to a collector.
func Encode(service string, batch []Span) ([]byte, error) {
	spans := make([]otlpSpan, len(batch))
	for i, s := range batch {
		o := otlpSpan{
			TraceID: s.Trace, SpanID: s.ID, Parent: s.Parent, Name: s.Name, Kind: kindInternal, Attrs: attrsOf(s.Attrs),
			Start: strconv.FormatInt(s.Start.UnixNano(), 10), End: strconv.FormatInt(s.End.UnixNano(), 10),
		}
		if s.Server {
			o.Kind = kindServer
		}
		if s.Fault != "" {
			o.Status = map[string]any{"code": statusError, "message": s.Fault}
		}
		spans[i] = o
	}
	return json.Marshal(map[string]any{"resourceSpans": []any{map[string]any{
		"resource":   map[string]any{"attributes": attrsOf(map[string]any{"service.name": service})},
		"scopeSpans": []any{map[string]any{"scope": map[string]any{"name": "proofhouse"}, "spans": spans}},
	}}})
}

func attrsOf(m map[string]any) []otlpAttr {
	out := make([]otlpAttr, 0, len(m))
	for k, v := range m {
		var value map[string]any
		switch v := v.(type) {
		case bool:
			value = map[string]any{"boolValue": v}
		case int:
			value = map[string]any{"intValue": strconv.Itoa(v)}
		case int64:
			value = map[string]any{"intValue": strconv.FormatInt(v, 10)}
		case float64:
			value = map[string]any{"doubleValue": v}
		default:
			value = map[string]any{"stringValue": fmt.Sprint(v)}
		}
		out = append(out, otlpAttr{k, value})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Key < out[j].Key })
	return out
}
