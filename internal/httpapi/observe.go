package httpapi

import (
	"log/slog"
	"net/http"
	"runtime/debug"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"proofhouse/internal/ledger"
	"proofhouse/internal/watch"
)

// answeringMax is how many requests one process answers at a time. More are told to come back: a queue in memory would
// grow until the process falls over, and what stands at its end has long been given up.
const answeringMax = 512

// watching is what a server knows of its own load, and where it sends spans.
type watching struct {
	tracer       *watch.Tracer
	storagePrice StoragePrice
	answering    atomic.Int64 // requests, event streams left out: those are bounded by member
}

// unlessOverrun answers where there are not too many being answered already.
func (s *Server) unlessOverrun(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if c.Path() == eventsPath {
			return next(c)
		}
		defer s.answering.Add(-1)
		if s.answering.Add(1) > answeringMax {
			return &Problem{kind: kindUnavailable, detail: "Too many requests are being answered already.", retryAfter: time.Second}
		}
		return next(c)
	}
}

const eventsPath = "/v1/events"

type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	inFlight prometheus.Gauge
}

func newMetrics(reg *prometheus.Registry) *metrics {
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "proofhouse_http_requests_total", Help: "Requests answered, by route and status.",
		}, []string{"method", "route", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "proofhouse_http_request_seconds", Help: "Time to answer, by route.", Buckets: prometheus.ExponentialBuckets(0.001, 2.5, 12),
		}, []string{"method", "route"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{Name: "proofhouse_http_requests_in_flight", Help: "Requests being answered."}),
	}
	reg.MustRegister(m.requests, m.seconds, m.inFlight, collectors.NewGoCollector(),
		collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// MetricsHandler serves a registry in Prometheus' text format, for a listener of its own.
func MetricsHandler(reg *prometheus.Registry) http.Handler {
	return promhttp.HandlerFor(reg, promhttp.HandlerOpts{})
}

// observe logs and counts every request. The log has the route, not the address as sent: what stands in a query stays
// out of it, and so do headers and bodies.
func (s *Server) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		began := time.Now()
		s.metrics.inFlight.Inc()
		defer s.metrics.inFlight.Dec()
		trace := watch.TraceOfRequest(c.Response().Header().Get(echo.HeaderXRequestID))
		ctx, span := s.tracer.Begin(ledger.WithTrace(c.Request().Context(), trace), trace, method(c.Request().Method)+" "+c.Path(), true)
		c.SetRequest(c.Request().WithContext(ctx))
		err := s.unlessOverrun(next)(c)
		if err != nil {
			c.Error(err)
		}
		route := c.Path()
		if route == "" {
			route = "none"
		}
		status, took := c.Response().Status, time.Since(began)
		s.metrics.requests.WithLabelValues(method(c.Request().Method), route, strconv.Itoa(status)).Inc()
		s.metrics.seconds.WithLabelValues(method(c.Request().Method), route).Observe(took.Seconds())
		level := slog.LevelInfo
		attrs := []slog.Attr{
			slog.String("request", c.Response().Header().Get(echo.HeaderXRequestID)), slog.String("trace", trace), slog.String("method", method(c.Request().Method)),
			slog.String("route", route), slog.Int("status", status), slog.Int64("bytes", c.Response().Size),
			slog.Float64("ms", float64(took.Microseconds())/1000), slog.String("from", c.RealIP()),
		}
		if who, ok := Caller(c.Request().Context()); ok {
			attrs = append(attrs, slog.String("party", who.Party.String()), slog.String("member", who.Member.String()))
		}
		if status >= http.StatusInternalServerError {
			level = slog.LevelError
			if err != nil {
				attrs = append(attrs, slog.String("error", err.Error()))
			}
		}
		s.log.LogAttrs(c.Request().Context(), level, "request", attrs...)
		span.Set("http.response.status_code", status)
		span.Set("http.route", route)
		if status < http.StatusInternalServerError {
			err = nil
		}
		span.End(err)
		return nil
	}
}

// method keeps made-up methods from becoming metric labels without end.
func method(m string) string {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete, http.MethodOptions:
		return m
	}
	return "other"
}

func stack() []byte { return debug.Stack() }
