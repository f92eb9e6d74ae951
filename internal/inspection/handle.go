package inspection

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// handle inspects one claimed delivery and records the result under its fence. Whatever happens is logged here; nothing
// is lost when it fails: the lease lapses and the inspection is taken again.
func (s *Service) handle(ctx context.Context, job ledger.Job, inTx func(context.Context, pgx.Tx) error) {
	id := job.Inspection.ID
	log := s.Log.With("inspection", id.String(), "delivery", job.Delivery.ID.String(), "fence", job.Fence, "attempt", job.Inspection.Attempts)
	began := time.Now()
	ctx, lost := context.WithCancelCause(ctx)
	defer lost(nil)
	go s.keepLease(ctx, job, lost)

	result, err := s.inspect(ctx, job, func(line string) { log.Info(line) })
	cause := context.Cause(ctx)
	switch {
	case errors.Is(cause, ledger.ErrLeaseLost):
		log.Warn("the lease was lost; the result is dropped")
		return
	case errors.Is(cause, errStopping):
		back, cancel := context.WithTimeout(context.WithoutCancel(ctx), 10*time.Second)
		defer cancel()
		if err := s.Ledger.GiveBack(back, id, job.Fence); err != nil {
			log.Warn("could not give the inspection back; its lease will lapse", "error", err.Error())
		}
		return
	case err != nil:
		log.Error("the inspection could not be run; it will be taken again when its lease lapses", "error", err.Error())
		return
	}
	if err := s.Ledger.Record(ctx, id, job.Fence, result, inTx); err != nil {
		if errors.Is(err, ledger.ErrLeaseLost) {
			log.Warn("somebody else has the inspection now; the result is dropped")
			return
		}
		log.Error("the result could not be recorded", "error", err.Error())
		return
	}
	log.Info("inspected", "verdict", string(result.Verdict), "findings", len(result.Findings), "seconds", time.Since(began).Seconds())
}

// keepLease renews the lease until ctx ends, and ends ctx when the lease is lost.
func (s *Service) keepLease(ctx context.Context, job ledger.Job, lost context.CancelCauseFunc) {
	tick := time.NewTicker(ledger.RenewEvery)
	defer tick.Stop()
	until := job.LeaseUntil
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		next, err := s.Ledger.Renew(ctx, job.Inspection.ID, job.Fence)
		switch {
		case err == nil:
			until = next
		case errors.Is(err, ledger.ErrLeaseLost), time.Now().After(until):
			lost(ledger.ErrLeaseLost)
			return
		}
	}
}

// inspect pulls, spawns and stores. Its error means that our own machinery failed and the job should be taken again.
func (s *Service) inspect(ctx context.Context, job ledger.Job, log func(string)) (ledger.Result, error) {
	dir, err := os.MkdirTemp(s.Scratch, "inspection-")
	if err != nil {
		return ledger.Result{}, fmt.Errorf("make a scratch folder: %w", err)
	}
	defer os.RemoveAll(dir)
	if err := roomFor(dir, 2*job.Delivery.Bytes); err != nil {
		return ledger.Result{}, err
	}
	folder, out := filepath.Join(dir, "delivery"), filepath.Join(dir, "out")
	for _, d := range []string{folder, out} {
		if err := os.Mkdir(d, 0o700); err != nil {
			return ledger.Result{}, fmt.Errorf("make a scratch folder: %w", err)
		}
	}
	if err := s.patiently(ctx, func() error { return s.pull(ctx, job.Delivery, folder, log) }); err != nil {
		return ledger.Result{}, err
	}
	outcome, err := Spawn(ctx, s.Exe, Job{
		SpecName: "the spec", Spec: job.Spec.Document, Folder: folder, Out: out,
		Manifest: manifestOf(job), Milestone: spec.Milestone(job.Milestone), Threads: s.Threads, Pictures: true,
	}, s.Limits, nil, log)
	for _, kind := range []error{ErrMemory, ErrTime, ErrSilent, ErrCrash} {
		if errors.Is(err, kind) {
			return notEvaluated(err.Error()), nil
		}
	}
	if err != nil {
		return ledger.Result{}, err
	}
	if outcome.Refused != "" {
		return notEvaluated("the spec cannot be used: " + outcome.Refused), nil
	}
	var r ledger.Result
	err = s.patiently(ctx, func() (err error) { r, err = s.store(ctx, job, out, outcome); return err })
	return r, err
}

// patiently tries again while storage is out of reach: an outage must delay inspections, not use up their attempts. It
// waits a little longer each time and gives up after outageMax.
func (s *Service) patiently(ctx context.Context, do func() error) error {
	began, pause := time.Now(), 500*time.Millisecond
	for {
		err := do()
		if err == nil || ctx.Err() != nil || time.Since(began) > outageMax {
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

// pull streams each sealed object once to disk. One that is missing or is no longer the one that was sealed stays away:
// the inspection finds it missing and says so.
func (s *Service) pull(ctx context.Context, d ledger.Delivery, folder string, log func(string)) error {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return fmt.Errorf("open the scratch folder: %w", err)
	}
	defer root.Close()
	for _, f := range d.Files {
		if _, err := root.Stat(filepath.FromSlash(f.Path)); err == nil {
			continue // here from a try before
		}
		if err := s.pullFile(ctx, root, f); errors.Is(err, storage.ErrNotFound) || errors.Is(err, storage.ErrChanged) {
			log(err.Error())
		} else if err != nil {
			return err
		}
	}
	return nil
}

func (s *Service) pullFile(ctx context.Context, root *os.Root, f ledger.File) (err error) {
	name := filepath.FromSlash(f.Path)
	if dir := path.Dir(f.Path); dir != "." {
		if err := root.MkdirAll(filepath.FromSlash(dir), 0o700); err != nil {
			return fmt.Errorf("make a folder for %s: %w", f.Path, err)
		}
	}
	dst, err := root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("make a file for %s: %w", f.Path, err)
	}
	_, _, err = s.Store.Fetch(ctx, f.ObjectKey, f.ETag, dst)
	if cerr := dst.Close(); err == nil && cerr != nil {
		err = fmt.Errorf("write %s: %w", f.Path, cerr)
	}
	if err != nil {
		if rerr := root.Remove(name); rerr != nil && !errors.Is(rerr, fs.ErrNotExist) {
			return errors.Join(err, rerr)
		}
	}
	return err
}

func manifestOf(job ledger.Job) *acceptance.Manifest {
	m := &acceptance.Manifest{Prop: job.PropCode, Milestone: spec.Milestone(job.Milestone), Revision: job.Delivery.Number}
	for _, f := range job.Delivery.Files {
		size := f.Size
		m.Files = append(m.Files, acceptance.ManifestFile{Path: f.Path, Role: f.Role, SHA256: hex.EncodeToString(f.SHA256), Bytes: &size})
	}
	return m
}

// store puts pictures and evidence into storage and turns the evidence into the ledger's rows.
func (s *Service) store(ctx context.Context, job ledger.Job, out string, o *Outcome) (ledger.Result, error) {
	data, err := os.ReadFile(filepath.Join(out, "evidence.json"))
	if err != nil {
		return ledger.Result{}, fmt.Errorf("read the evidence: %w", err)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(data, &e); err != nil {
		return ledger.Result{}, fmt.Errorf("read the evidence: %w", err)
	}
	r := ledger.Result{
		Engine: e.Engine.Version, EngineDigest: e.Engine.Commit, Verdict: ledger.Verdict(e.Verdict), Headline: e.Headline,
		Findings: rows(e.Findings),
	}
	sum, size, err := s.Store.PutEvidence(ctx, job.Delivery.WorkOrderID.String(), bytes.NewReader(data), "application/json")
	if err != nil {
		return ledger.Result{}, err
	}
	if r.EvidenceSHA256, err = hex.DecodeString(sum); err != nil || sum != o.EvidenceSHA256 {
		return ledger.Result{}, fmt.Errorf("the evidence on disk is not the one that the inspection made")
	}
	r.Objects = append(r.Objects, object(job, "evidence.json", "The evidence: every finding with its numbers", "application/json", r.EvidenceSHA256, size))
	for _, p := range o.Pictures {
		f, err := os.Open(filepath.Join(out, filepath.Base(p.Name)))
		if err != nil {
			return ledger.Result{}, fmt.Errorf("read a picture: %w", err)
		}
		sum, size, err := s.Store.PutEvidence(ctx, job.Delivery.WorkOrderID.String(), f, p.MIME)
		_ = f.Close()
		if err != nil {
			return ledger.Result{}, err
		}
		raw, err := hex.DecodeString(sum)
		if err != nil {
			return ledger.Result{}, err
		}
		r.Objects = append(r.Objects, object(job, p.Name, p.What, p.MIME, raw, size))
	}
	return r, nil
}

func object(job ledger.Job, name, what, mime string, sum []byte, size int64) ledger.EvidenceObject {
	return ledger.EvidenceObject{
		Name: name, What: what, MediaType: mime, SHA256: sum, Size: size,
		ObjectKey: storage.EvidenceKey(job.Delivery.WorkOrderID.String(), hex.EncodeToString(sum)),
	}
}

// rows turns findings into what the ledger's lists need of them.
func rows(findings []acceptance.Finding) []ledger.Finding {
	out := make([]ledger.Finding, len(findings))
	for i, f := range findings {
		r := ledger.Finding{
			Ord: i, Check: f.Check, Part: f.Part, Set: f.Set, LOD: f.LOD, Tile: f.Tile, Pose: f.Pose, File: f.File,
			Outcome: string(f.Outcome), Blocks: f.Blocks, FollowsFrom: f.FollowsFrom,
		}
		if f.Measured != nil {
			v := f.Measured.Value
			r.Measured, r.Unit = &v, f.Measured.Unit
		}
		out[i] = r
	}
	return out
}

func notEvaluated(cause string) ledger.Result {
	return ledger.Result{Engine: acceptance.EngineVersion, Verdict: ledger.VerdictNotEvaluated, Headline: "not evaluated: " + cause, Cause: cause}
}
