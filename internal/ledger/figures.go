package ledger

import (
	"context"
	"fmt"
	"time"
)

// QueueFigures are the state of the inspectors' work over all vendors, for operators.
type QueueFigures struct {
	Queued, Running int
	OldestQueued    time.Duration   // how long the oldest waiting inspection has waited; 0 where none waits
	LastDay         map[Verdict]int // inspections queued within the last 24 hours and done, by verdict
}

// Figures reads the state of the work. Indexes: inspection_waiting and inspection_running hold what is under way only;
// the last day is a range of inspection_by_id, whose ids begin with their time.
func (w *Worker) Figures(ctx context.Context) (QueueFigures, error) {
	f := QueueFigures{LastDay: map[Verdict]int{VerdictPass: 0, VerdictFail: 0, VerdictNotEvaluated: 0}}
	var oldest float64
	err := w.pool.QueryRow(ctx, `SELECT (SELECT count(*) FROM ph.inspection WHERE state = 'queued'), (SELECT count(*) FROM ph.inspection WHERE state = 'running'),
		coalesce((SELECT extract(epoch FROM clock_timestamp() - min(queued_at)) FROM ph.inspection WHERE state = 'queued'), 0)::float8`).
		Scan(&f.Queued, &f.Running, &oldest)
	if err != nil {
		return QueueFigures{}, fmt.Errorf("figures of the queue: %w", mapError(err))
	}
	f.OldestQueued = time.Duration(max(oldest, 0) * float64(time.Second))
	rows, err := w.pool.Query(ctx, `SELECT verdict, count(*) FROM ph.inspection
		WHERE id >= ph.uuid_at(now() - interval '24 hours') AND state = 'done' GROUP BY verdict ORDER BY verdict`)
	if err != nil {
		return QueueFigures{}, fmt.Errorf("figures of the last day: %w", mapError(err))
	}
	defer rows.Close()
	for rows.Next() {
		var v Verdict
		var n int
		if err := rows.Scan(&v, &n); err != nil {
			return QueueFigures{}, fmt.Errorf("figures of the last day: %w", err)
		}
		f.LastDay[v] = n
	}
	if err := rows.Err(); err != nil {
		return QueueFigures{}, fmt.Errorf("figures of the last day: %w", mapError(err))
	}
	return f, nil
}
