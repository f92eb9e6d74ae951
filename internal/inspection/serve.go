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
	"proofhouse/internal/watch"
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
	// Patience is how long one inspection waits for storage before it is given back; 0 for ten minutes.
	Patience time.Duration
	Metrics  *Metrics      // may be nil
	Tracer   *watch.Tracer // may be nil

	folder string // this service's own, in Scratch
	slots  chan struct{}
	busy   sync.WaitGroup // inspections that the sweep started, and renewals of leases
}

// stopTime is how long a stop may take once running inspections were cut short.
const stopTime = 30 * time.Second

// Run works until ctx ends, then lets running inspections finish within Grace and gives the others back to the queue. It
// is called once.
func (s *Service) Run(ctx context.Context) error {
	release, err := s.ownFolder()
	if err != nil {
		return fmt.Errorf("inspection: %w", err)
	}
	defer release()
	s.slots = make(chan struct{}, s.Slots)
	running, stopRunning := context.WithCancelCause(context.WithoutCancel(ctx))
	defer stopRunning(nil)
	client, err := s.queue(ctx, running)
	if err != nil {
		return fmt.Errorf("inspection: %w", err)
	}
	if err := client.Start(running); err != nil {
		return fmt.Errorf("inspection: start taking jobs: %w", err)
	}
	s.Log.Info("taking inspections", "slots", s.Slots, "owner", s.Owner)
	if s.Metrics != nil {
		s.Metrics.slots.Set(float64(s.Slots))
	}
	s.sweep(ctx, running)

	s.Log.Info("stopping: running inspections may finish", "grace", s.Grace.String())
	graceful, cancel := context.WithTimeout(context.WithoutCancel(ctx), s.Grace)
	defer cancel()
	idle := make(chan struct{})
	go func() {
		_ = client.Stop(graceful) // its only error is that graceful ended
		<-client.Stopped()
		s.busy.Wait()
		close(idle)
	}()
	select {
	case <-idle:
		return nil
	case <-graceful.Done():
		stopRunning(errStopping)
	}
	select {
	case <-idle:
		return nil
	case <-time.After(stopTime):
		return errors.New("inspection: running inspections did not stop; their leases will lapse")
	}
}

// errStopping is why a running inspection is cut short by a planned stop.
var errStopping = errors.New("the worker is stopping")

// queue makes River's side of the service.
func (s *Service) queue(ctx, running context.Context) (*river.Client[pgx.Tx], error) {
	workers := river.NewWorkers()
	if err := river.AddWorkerSafely(workers, &waker{s: s, stopping: ctx.Done(), running: running}); err != nil {
		return nil, err
	}
	timeout := s.Limits.Wall + outageMax + 5*time.Minute // the child's own limit ends it first
	return river.NewClient(riverpgxv5.New(s.Pool), &river.Config{
		Schema: ledger.RiverSchema, Workers: workers,
		Queues:               map[string]river.QueueConfig{river.QueueDefault: {MaxWorkers: s.Slots}},
		JobTimeout:           timeout,
		RescueStuckJobsAfter: timeout + time.Hour,
		Logger:               quiet(s.Log),
	})
}

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
