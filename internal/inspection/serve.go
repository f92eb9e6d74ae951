package inspection

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// Service takes inspections from the ledger and runs them, Slots at a time. Any number of processes may do so over the
// same database: the ledger's lease says who has which.
type Service struct {
	Ledger  *ledger.Worker
	Pool    *pgxpool.Pool // the one under Ledger, for the wake-up jobs
	Store   *storage.Store
	Log     *slog.Logger
	Exe     string // this program, to start children from
	Owner   string // who holds the leases: host and process
	Scratch string // a folder on a disk; each inspection gets a folder of its own in it
	Slots   int
	Threads int // of one child
	Limits  Limits
	Grace   time.Duration // how long running inspections may go on after a stop was asked for

	slots chan struct{}
	busy  sync.WaitGroup
}

// Run works until ctx ends, then lets running inspections finish within Grace and gives the others back to the queue.
func (s *Service) Run(ctx context.Context) error {
	s.slots = make(chan struct{}, s.Slots)
	running, stopRunning := context.WithCancelCause(context.WithoutCancel(ctx))
	defer stopRunning(nil)

	workers := river.NewWorkers()
	if err := river.AddWorkerSafely(workers, &waker{s: s, running: running}); err != nil {
		return fmt.Errorf("inspection: %w", err)
	}
	timeout := s.Limits.Wall + 5*time.Minute // the child's own limit ends it first
	client, err := river.NewClient(riverpgxv5.New(s.Pool), &river.Config{
		Schema: ledger.RiverSchema, Workers: workers,
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: s.Slots}},
		JobTimeout:           timeout,
		RescueStuckJobsAfter: timeout + time.Hour,
		Logger:               quiet(s.Log),
	})
	if err != nil {
		return fmt.Errorf("inspection: %w", err)
	}
	if err := client.Start(running); err != nil {
		return fmt.Errorf("inspection: start taking jobs: %w", err)
	}
	s.Log.Info("taking inspections", "slots", s.Slots, "owner", s.Owner)
	s.sweep(ctx, running)

	s.Log.Info("stopping: running inspections may finish", "grace", s.Grace.String())
	stopCtx, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.Grace)
	defer cancel()
	stopped := make(chan error, 1)
	go func() { stopped <- client.Stop(stopCtx); s.busy.Wait() }()
	select {
	case <-stopCtx.Done():
		stopRunning(errStopping)
		<-stopped
	case err = <-stopped:
	}
	s.busy.Wait()
	if err != nil && !errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("inspection: stop: %w", err)
	}
	return nil
}

// errStopping is why a running inspection is cut short by a planned stop.
var errStopping = errors.New("the worker is stopping")

// sweep re-queues what dead workers left behind, and takes whatever waits when a slot is free: a wake-up job that went
// missing delays an inspection by one tick and no more.
func (s *Service) sweep(ctx, running context.Context) {
	tick := time.NewTicker(ledger.SweepEvery)
	defer tick.Stop()
	for {
		requeued, failed, err := s.Ledger.ReleaseLapsed(ctx)
		if err != nil && ctx.Err() == nil {
			s.Log.Error("looking for lapsed leases", "error", err.Error())
		}
		if requeued+failed > 0 {
			s.Log.Warn("leases of dead workers lapsed", "requeued", requeued, "given_up", failed)
		}
		s.takeAll(ctx, running)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// takeAll starts inspections until nothing waits or no slot is free.
func (s *Service) takeAll(ctx, running context.Context) {
	for ctx.Err() == nil {
		select {
		case s.slots <- struct{}{}:
		default:
			return
		}
		job, err := s.Ledger.Claim(ctx, s.Owner)
		if err != nil {
			<-s.slots
			if !errors.Is(err, ledger.ErrNotFound) && ctx.Err() == nil {
				s.Log.Error("claiming an inspection", "error", err.Error())
			}
			return
		}
		s.busy.Go(func() {
			defer func() { <-s.slots }()
			s.handle(running, job, nil)
		})
	}
}

// waker is River's side: a job is only a ticket that something waits.
type waker struct {
	river.WorkerDefaults[ledger.WakeArgs]
	s       *Service
	running context.Context
}

// Work takes one inspection if one waits and a slot is free. The job is completed in the transaction that records the
// result.
func (w *waker) Work(ctx context.Context, ticket *river.Job[ledger.WakeArgs]) error {
	select {
	case w.s.slots <- struct{}{}:
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
