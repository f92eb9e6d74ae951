package watch

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Serve serves a registry's metrics at /metrics of an address, until stop. "off" serves none.
func Serve(ctx context.Context, address string, reg *prometheus.Registry) (stop func(), err error) {
	if address == "off" {
		return func() {}, nil
	}
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("the address %s for metrics cannot be used: %w", address, err)
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(reg, promhttp.HandlerOpts{}))
	s := &http.Server{Handler: mux, ReadHeaderTimeout: 10 * time.Second, WriteTimeout: time.Minute, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10}
	done := make(chan struct{})
	go func() {
		defer close(done)
		if err := s.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			slog.Default().Error("metrics are not served any more", "error", err.Error())
		}
	}()
	return func() { _ = s.Close(); <-done }, nil
}

// ToCollector makes a tracer that sends to a collector, and what sends the rest at the end. An empty endpoint gives a nil
// tracer.
func ToCollector(endpoint, service string, log *slog.Logger) (t *Tracer, flush func(), err error) {
	if endpoint == "" {
		return nil, func() {}, nil
	}
	e, err := NewExporter(endpoint, service, log)
	if err != nil {
		return nil, nil, err
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); e.Run(ctx) }()
	return NewTracer(e.Put), func() { stop(); <-done }, nil
}
