package inspection

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivertype"

	"proofhouse/internal/ledger"
)

// waker is River's side: a job is only a ticket that something waits.
type waker struct {
	river.WorkerDefaults[ledger.WakeArgs]
	s        *Service
	stopping <-chan struct{}
	running  context.Context // of the inspection, which goes on for a while after a stop
}

// Work takes one inspection if one waits and a slot is free. The job is completed in the transaction that records the
// result.
func (w *waker) Work(ctx context.Context, ticket *river.Job[ledger.WakeArgs]) error {
	select {
	case w.s.slots <- struct{}{}:
	case <-w.stopping:
		return river.JobSnooze(time.Second) // for another worker
	case <-ctx.Done():
		return ctx.Err()
	}
	defer func() { <-w.s.slots }()
	job, err := w.s.Ledger.Claim(ctx, w.s.Owner)
	if errors.Is(err, ledger.ErrNotFound) {
		return nil // somebody else took it
	}
	if err != nil {
		return fmt.Errorf("claim an inspection: %w", err)
	}
	w.s.handle(w.running, job, func(_ context.Context, tx pgx.Tx) error {
		// River finds its client in the context that it gave to this job, and nowhere else.
		_, err := river.JobCompleteTx[*riverpgxv5.Driver](context.WithoutCancel(ctx), tx, ticket)
		if errors.Is(err, rivertype.ErrNotFound) {
			return nil // the ticket was cleared away meanwhile; the result counts all the same
		}
		return err
	})
	return nil
}

// quiet keeps River's own chatter out of the log but for warnings and errors.
func quiet(log *slog.Logger) *slog.Logger { return slog.New(atLeastWarn{log.Handler()}) }

type atLeastWarn struct{ slog.Handler }

func (h atLeastWarn) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && h.Handler.Enabled(ctx, l)
}
func (h atLeastWarn) WithAttrs(a []slog.Attr) slog.Handler {
	return atLeastWarn{h.Handler.WithAttrs(a)}
}
func (h atLeastWarn) WithGroup(n string) slog.Handler { return atLeastWarn{h.Handler.WithGroup(n)} }
