package inspection

import (
	"context"
	"errors"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"proofhouse/internal/ledger"
	"proofhouse/internal/watch"
)

// Metrics are what one worker's process counts, for Prometheus.
type Metrics struct {
	inspections  *prometheus.CounterVec
	seconds      *prometheus.HistogramVec
	checks       *prometheus.CounterVec
	bytes        *prometheus.CounterVec
	errors       *prometheus.CounterVec
	waited, peak prometheus.Histogram
	busy, slots  prometheus.Gauge
}

// NewMetrics makes the counters and adds them to a registry.
func NewMetrics(reg prometheus.Registerer) *Metrics {
	m := &Metrics{
		inspections: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "proofhouse_worker_inspections_total", Help: "Inspections recorded, by verdict."}, []string{"verdict"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "proofhouse_worker_inspection_seconds", Help: "Time of an inspection by stage; \"whole\" is from claim to record.",
			Buckets: prometheus.ExponentialBuckets(0.01, 3, 11)}, []string{"stage"}),
		checks: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "proofhouse_worker_check_seconds_total", Help: "Time spent on each check, as its process told."}, []string{"family", "check"}),
		bytes:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "proofhouse_worker_bytes_total", Help: "Bytes fetched from storage and stored there."}, []string{"way"}),
		errors: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "proofhouse_worker_errors_total", Help: "Inspections that ended without a verdict of the checks, and tries that failed, by cause."}, []string{"cause"}),
		waited: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "proofhouse_worker_queue_wait_seconds", Help: "How long claimed inspections had waited, by the database's clock.",
			Buckets: prometheus.ExponentialBuckets(0.05, 3, 12)}),
		peak: prometheus.NewHistogram(prometheus.HistogramOpts{Name: "proofhouse_worker_child_peak_bytes", Help: "Most memory that an inspecting process held, mapped files included.",
			Buckets: prometheus.ExponentialBuckets(32<<20, 2, 9)}),
		busy:  prometheus.NewGauge(prometheus.GaugeOpts{Name: "proofhouse_worker_slots_busy", Help: "Inspections under way in this process."}),
		slots: prometheus.NewGauge(prometheus.GaugeOpts{Name: "proofhouse_worker_slots", Help: "Inspections that this process runs at a time."}),
	}
	reg.MustRegister(m.inspections, m.seconds, m.checks, m.bytes, m.errors, m.waited, m.peak, m.busy, m.slots)
	for _, cause := range causes { // so that a rise from nothing is seen
		m.errors.WithLabelValues(cause.name)
	}
	for _, v := range []ledger.Verdict{ledger.VerdictPass, ledger.VerdictFail, ledger.VerdictNotEvaluated} {
		m.inspections.WithLabelValues(string(v))
	}
	return m
}

// causes names errors for the counter; the first that fits wins.
var causes = []struct {
	name string
	is   error
}{
	{"memory", ErrMemory}, {"time", ErrTime}, {"silent", ErrSilent}, {"crash", ErrCrash}, {"output", ErrOutput}, {"lease_lost", ledger.ErrLeaseLost}, {"stopping", errStopping},
	{"storage", errAway}, {"own_disk", errOwn}, {"unreadable", errUnreadable}, {"spec", errRefused}, {"other", nil},
}

func causeOf(err error) string {
	for _, c := range causes {
		if c.is == nil || errors.Is(err, c.is) {
			return c.name
		}
	}
	return "other"
}

// sight is one inspection as it is watched: its span with a span for each stage and check, and its metrics.
type sight struct {
	m     *Metrics
	trace *watch.Tracer
	ctx   context.Context
	whole *watch.Running
	began time.Time

	now     *watch.Running // the stage or check under way
	what    string
	since   time.Time
	stages  map[string]time.Duration
	stopped bool
}

// see begins to watch a claimed inspection.
func (s *Service) see(ctx context.Context, job ledger.Job) *sight {
	w := &sight{m: s.Metrics, trace: s.Tracer, began: time.Now(), stages: map[string]time.Duration{}}
	w.ctx, w.whole = s.Tracer.Begin(ctx, job.Trace, "inspection", false)
	w.whole.Set("inspection", job.Inspection.ID.String())
	w.whole.Set("delivery", job.Delivery.ID.String())
	w.whole.Set("attempt", job.Inspection.Attempts)
	if w.m != nil {
		w.m.busy.Inc()
		if at := job.Inspection.StartedAt; at != nil {
			w.m.waited.Observe(at.Sub(job.Inspection.QueuedAt).Seconds())
		}
	}
	return w
}

// report hears what is being done, and passes it on. It is called from one goroutine at a time.
func (w *sight) report(next func(what string, done float64)) func(what string, done float64) {
	return func(what string, done float64) {
		w.turn(what)
		next(what, done)
	}
}

func (w *sight) turn(what string) {
	stage, check := stageOf(what)
	name := stage
	if check != "" {
		name = "check " + check
	}
	if name == w.what {
		return
	}
	now := time.Now()
	if w.what != "" {
		took := now.Sub(w.since)
		old, of := w.what, ""
		if rest, ok := strings.CutPrefix(old, "check "); ok {
			old, of = stageChecking, rest
		}
		w.stages[old] += took
		if of != "" && w.m != nil {
			family, _, _ := strings.Cut(of, ".")
			w.m.checks.WithLabelValues(family, of).Add(took.Seconds())
		}
		w.now.End(nil)
	}
	w.what, w.since, w.now = name, now, nil
	if name != "" {
		_, w.now = w.trace.Start(w.ctx, name)
	}
}

// done ends the watch: with the result that was recorded, or with why there is none. cause is why the result says "not
// evaluated" as a whole, nil where the checks were made.
func (w *sight) done(r ledger.Result, cause, err error) {
	if w.stopped {
		return
	}
	w.stopped = true
	w.turn("")
	w.whole.End(errors.Join(cause, err))
	if w.m == nil {
		return
	}
	w.m.busy.Dec()
	if cause != nil || err != nil {
		w.m.errors.WithLabelValues(causeOf(errors.Join(err, cause))).Inc()
	}
	if err != nil {
		return
	}
	w.m.inspections.WithLabelValues(string(r.Verdict)).Inc()
	for stage, took := range w.stages {
		w.m.seconds.WithLabelValues(stage).Observe(took.Seconds())
	}
	w.m.seconds.WithLabelValues("whole").Observe(time.Since(w.began).Seconds())
	for _, o := range r.Objects {
		w.m.bytes.WithLabelValues("stored").Add(float64(o.Size))
	}
}

func (w *sight) fetched(n int64) {
	if w.m != nil {
		w.m.bytes.WithLabelValues("fetched").Add(float64(n))
	}
}

func (w *sight) peaked(n int64) {
	w.whole.Set("child.peak_bytes", n)
	if w.m != nil {
		w.m.peak.Observe(float64(n))
	}
}
