package watch

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
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

// Run sends until ctx ends, then sends what is left, once.
func (e *Exporter) Run(ctx context.Context) {
	told := time.Time{}
	failed := func(err error) {
		if time.Since(told) > time.Minute {
			told = time.Now()
			e.log.Warn("spans were not taken by the collector", "error", err.Error(), "dropped", e.dropped.Swap(0))
		}
	}
	for {
		batch, more := e.gather(ctx)
		if len(batch) > 0 {
			if err := e.send(batch); err != nil {
				e.dropped.Add(int64(len(batch)))
				failed(err)
			}
		}
		if !more {
			return
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

func (e *Exporter) send(batch []Span) error {
	body, err := Encode(e.service, batch)
	if err != nil {
		return err
	}
	answer, err := e.client.Post(e.url, "application/json", bytes.NewReader(body))
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 1<<16)) // so that the connection can be used again
	if answer.StatusCode/100 != 2 {
		return fmt.Errorf("the collector answers %s", answer.Status)
	}
	return nil
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
