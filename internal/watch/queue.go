package watch

import (
	"context"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"proofhouse/internal/ledger"
)

// queueMetrics asks for the state of the inspectors' work whenever it is scraped.
type queueMetrics struct {
	figures                        func(context.Context) (ledger.QueueFigures, error)
	waiting, oldest, recorded, bad *prometheus.Desc
}

// scrapeTime bounds one look at the queue.
const scrapeTime = 5 * time.Second

// RegisterQueueMetrics adds the state of the inspectors' work to a registry. figures is asked at every scrape.
func RegisterQueueMetrics(reg prometheus.Registerer, figures func(context.Context) (ledger.QueueFigures, error)) {
	reg.MustRegister(&queueMetrics{
		figures:  figures,
		waiting:  prometheus.NewDesc("proofhouse_inspections_under_way", "Inspections queued and running.", []string{"state"}, nil),
		oldest:   prometheus.NewDesc("proofhouse_inspection_queue_age_seconds", "How long the oldest queued inspection has waited.", nil, nil),
		recorded: prometheus.NewDesc("proofhouse_inspections_last_day", "Inspections of the last 24 hours that are done, by verdict.", []string{"verdict"}, nil),
		bad:      prometheus.NewDesc("proofhouse_inspection_figures_failed", "1 where the state of the queue could not be read.", nil, nil),
	})
}

func (q *queueMetrics) Describe(ch chan<- *prometheus.Desc) {
	ch <- q.waiting
	ch <- q.oldest
	ch <- q.recorded
	ch <- q.bad
}

func (q *queueMetrics) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), scrapeTime)
	defer cancel()
	f, err := q.figures(ctx)
	if err != nil {
		ch <- prometheus.MustNewConstMetric(q.bad, prometheus.GaugeValue, 1)
		return
	}
	ch <- prometheus.MustNewConstMetric(q.bad, prometheus.GaugeValue, 0)
	ch <- prometheus.MustNewConstMetric(q.waiting, prometheus.GaugeValue, float64(f.Queued), string(ledger.IQueued))
	ch <- prometheus.MustNewConstMetric(q.waiting, prometheus.GaugeValue, float64(f.Running), string(ledger.IRunning))
	ch <- prometheus.MustNewConstMetric(q.oldest, prometheus.GaugeValue, f.OldestQueued.Seconds())
	for verdict, n := range f.LastDay {
		ch <- prometheus.MustNewConstMetric(q.recorded, prometheus.GaugeValue, float64(n), string(verdict))
	}
}
