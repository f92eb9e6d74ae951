package inspection

import (
	"cmp"
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
)

// handle inspects one claimed delivery and records the result under its fence. Whatever happens is logged here; nothing
// is lost when it fails: the lease lapses and the inspection is taken again.
func (s *Service) handle(ctx context.Context, job ledger.Job, inTx func(context.Context, pgx.Tx) error) {
	id := job.Inspection.ID
	log := s.Log.With("trace", job.Trace, "inspection", id.String(), "delivery", job.Delivery.ID.String(), "fence", job.Fence, "attempt", job.Inspection.Attempts)
	began := time.Now()
	ctx, lost := context.WithCancelCause(ctx)
	defer lost(nil)
	s.busy.Go(func() { s.keepLease(ctx, job, lost) })

	seen := s.see(ctx, job)
	report := seen.report(s.reporter(ctx, job))
	result, why, err := s.inspect(ctx, job, seen, report, func(line string) { log.Info(line) })
	cause := context.Cause(ctx)
	if cause != nil {
		err = errors.Join(cause, err)
	}
	defer func() { seen.done(result, why, err) }()
	switch {
	case errors.Is(cause, ledger.ErrLeaseLost):
		log.Warn("the lease was lost; the result is dropped")
		return
	case errors.Is(cause, errStopping):
		s.giveBack(ctx, job, log)
		return
	case errors.Is(err, errNoRoom), errors.Is(err, syscall.ENOSPC):
		log.Error("this worker's disk is full; the inspection waits in the queue, and this was no attempt", "error", err.Error())
		select { // another worker may take it, and this one need not ask without pause
		case <-ctx.Done():
		case <-time.After(roomPause):
		}
		s.giveBack(ctx, job, log)
		return
	case errors.Is(err, errAway):
		log.Error("storage was away for too long; the inspection waits in the queue, and this was no attempt", "error", err.Error())
		s.giveBack(ctx, job, log)
		return
	case err != nil:
		log.Error("the inspection could not be run; it will be taken again when its lease lapses", "error", err.Error())
		return
	}
	seen.turn(stageRecording)
	if err = s.record(ctx, job, result, inTx); err != nil {
		if errors.Is(err, ledger.ErrLeaseLost) {
			log.Warn("somebody else has the inspection now; the result is dropped")
			return
		}
		log.Error("the result could not be recorded", "error", err.Error())
		return
	}
	log.Info("inspected", "verdict", string(result.Verdict), "findings", len(result.Findings), "seconds", time.Since(began).Seconds())
}

// giveBack puts an inspection back into the queue as if it had not been taken.
func (s *Service) giveBack(ctx context.Context, job ledger.Job, log *slog.Logger) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), giveBackTime)
	defer cancel()
	if err := s.Ledger.GiveBack(ctx, job.Inspection.ID, job.Fence); err != nil {
		log.Warn("could not give the inspection back; its lease will lapse", "error", err.Error())
	}
}

// giveBackTime is how long a worker tries to hand an inspection back.
const giveBackTime = 10 * time.Second

// record records the result, again where the database is out of reach for a moment: the work is done, and the lease says
// for how long it is ours.
func (s *Service) record(ctx context.Context, job ledger.Job, r ledger.Result, inTx func(context.Context, pgx.Tx) error) error {
	for pause := 200 * time.Millisecond; ; pause *= 2 {
		err := s.Ledger.Record(ctx, job.Inspection.ID, job.Fence, r, inTx)
		if err == nil || errors.Is(err, ledger.ErrLeaseLost) || errors.Is(err, ledger.ErrInvalid) || errors.Is(err, ledger.ErrState) || pause > ledger.RenewEvery {
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(pause):
		}
	}
}

// keepLease renews the lease until ctx ends, and ends ctx when the lease is lost.
func (s *Service) keepLease(ctx context.Context, job ledger.Job, lost context.CancelCauseFunc) {
	tick := time.NewTicker(ledger.RenewEvery)
	defer tick.Stop()
	until := time.Now().Add(ledger.LeaseFor) // by this machine's own clock: the database's may differ
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		asked := time.Now()
		_, err := s.Ledger.Renew(ctx, job.Inspection.ID, job.Fence)
		switch {
		case err == nil:
			until = asked.Add(ledger.LeaseFor)
		case errors.Is(err, ledger.ErrLeaseLost), time.Now().After(until):
			lost(ledger.ErrLeaseLost)
			return
		}
	}
}

// inspect pulls, spawns and stores. why says what kept the checks from being made, where the result says so; err means that
// our own machinery failed and the job should be taken again.
func (s *Service) inspect(ctx context.Context, job ledger.Job, seen *sight, report func(string, float64), log func(string)) (r ledger.Result, why, err error) {
	report(stageFetching, 0)
	dir, err := os.MkdirTemp(s.folder, "inspection-")
	if err != nil {
		return r, nil, fmt.Errorf("make a scratch folder: %w", err)
	}
	defer os.RemoveAll(dir)
	if err := roomFor(dir, 2*job.Delivery.Bytes); err != nil {
		return r, nil, err
	}
	folder, out := filepath.Join(dir, "delivery"), filepath.Join(dir, "out")
	for _, d := range []string{folder, out} {
		if err := os.Mkdir(d, 0o700); err != nil {
			return r, nil, fmt.Errorf("make a scratch folder: %w", err)
		}
	}
	p := pulled{seen: seen, folder: folder, hashes: map[string]string{}}
	if err := s.patiently(ctx, func() error { return s.pull(ctx, job.Delivery, p, log) }); err != nil {
		return r, nil, err
	}
	parents, err := s.parents(ctx, job)
	if err != nil {
		return r, nil, fmt.Errorf("what the spec extends: %w", err)
	}
	var before []byte
	if err := s.patiently(ctx, func() (err error) { before, err = s.previous(ctx, job, log); return err }); err != nil {
		return r, nil, err
	}
	outcome, err := Spawn(ctx, s.Exe, Job{
		SpecName: specName, Spec: job.Spec.Document, Parents: parents, Folder: folder, Out: out,
		Manifest: manifestOf(job), Hashes: p.hashes, Milestone: spec.Milestone(job.Milestone), Previous: before, Threads: s.Threads, Pictures: true,
		Trace: job.Trace,
	}, s.Limits, report, log)
	for _, kind := range []error{ErrMemory, ErrTime, ErrSilent, ErrCrash, ErrOutput} {
		if errors.Is(err, kind) {
			return notEvaluated(err.Error()), err, nil
		}
	}
	if err != nil {
		return r, nil, err
	}
	if outcome.PeakBytes > 0 {
		seen.peaked(outcome.PeakBytes)
		log(fmt.Sprintf("most memory held: %d MiB, says the child of trace %s", outcome.PeakBytes>>20, cmp.Or(outcome.Trace, "none")))
	}
	switch {
	case outcome.Refused != "":
		return notEvaluated("the spec cannot be used: " + outcome.Refused), errRefused, nil
	case outcome.Unreadable != "":
		return notEvaluated(outcome.Unreadable), errUnreadable, nil
	}
	report(stageStoring, 1)
	err = s.patiently(ctx, func() (err error) { r, err = s.store(ctx, job, out, outcome); return err })
	return r, nil, err
}

// Why nothing was inspected, for the counters; the sentence is in the result.
var (
	errRefused    = errors.New("the spec cannot be used")
	errUnreadable = errors.New("the delivery as a whole cannot be read")
)

// specName is what messages call the spec of an inspection.
const specName = "the spec"

// patiently tries again while storage is out of reach: an outage must delay inspections, not use up their attempts. It
// waits a little longer each time and gives up after outageMax: with errAway where storage as a whole does not answer, else
// with what is wrong with this delivery's objects alone. What is wrong on this machine's own disk is not waited for.
func (s *Service) patiently(ctx context.Context, do func() error) error {
	began, pause := time.Now(), 500*time.Millisecond
	for {
		err := do()
		if err == nil || ctx.Err() != nil || errors.Is(err, errOwn) {
			return err
		}
		if time.Since(began) > cmp.Or(s.Patience, outageMax) {
			if away := s.Store.Answers(ctx); away != nil && ctx.Err() == nil {
				return fmt.Errorf("%w: %w", errAway, away)
			}
			return err
		}
		s.Log.Warn("storage does not answer as it should; trying again", "error", err.Error(), "pause", pause.String())
		select {
		case <-ctx.Done():
			return err
		case <-time.After(pause):
		}
		pause = min(2*pause, 15*time.Second)
	}
}

// outageMax is how long one inspection waits for storage to come back.
const outageMax = 10 * time.Minute

// errNoRoom is that the disk for files under inspection is full.
var errNoRoom = errors.New("no room")

// roomPause is how long a worker whose disk is full keeps what it took before it puts it back.
const roomPause = 5 * time.Second

// errAway is that storage as a whole does not answer, or not to our keys.
var errAway = errors.New("storage is away")

// errOwn marks a failure on this machine, which waiting for storage does not mend.
var errOwn = errors.New("on this machine")

func own(doing string, err error) error { return fmt.Errorf("%s: %w: %w", doing, errOwn, err) }

func manifestOf(job ledger.Job) *acceptance.Manifest {
	m := &acceptance.Manifest{Prop: job.PropCode, Milestone: spec.Milestone(job.Milestone), Revision: job.Delivery.Number}
	for _, f := range job.Delivery.Files {
		size := f.Size
		m.Files = append(m.Files, acceptance.ManifestFile{Path: f.Path, Role: f.Role, SHA256: hex.EncodeToString(f.SHA256), Bytes: &size})
	}
	return m
}

func notEvaluated(cause string) ledger.Result {
	return ledger.Result{Engine: acceptance.EngineVersion, Verdict: ledger.VerdictNotEvaluated, Headline: "not evaluated: " + cause, Cause: cause}
}
