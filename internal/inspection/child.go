package inspection

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"sync"
	"syscall"
	"time"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

// beatEvery is how often the child says that it is alive.
const beatEvery = time.Second

// work is what a child does with its job; progress may be called from one goroutine at a time.
type work func(ctx context.Context, job Job, progress func(what string, done float64)) (*Outcome, error)

// RunChild is the whole life of the child process: it reads one Job, inspects, and writes frames. An error means that the
// parent is gone or sent nonsense; every other ending is told in the last frame.
func RunChild(in io.Reader, frames io.Writer) error { return runChild(in, frames, inspect) }

func runChild(in io.Reader, frames io.Writer, do work) error {
	var job Job
	if err := json.NewDecoder(in).Decode(&job); err != nil {
		return fmt.Errorf("inspection: read the job: %w", err)
	}
	if job.MemoryBytes > 0 {
		debug.SetMemoryLimit(job.MemoryBytes / 10 * 9) // the collector works harder before the parent has to kill
	}
	peak := openPeak() // before the file system closes
	var mu sync.Mutex
	send := func(f frame) error {
		mu.Lock()
		defer mu.Unlock()
		return writeFrame(frames, f)
	}
	if job.Confine {
		read := []string{job.Folder}
		if job.SpecDir != "" {
			read = append(read, job.SpecDir)
		}
		if err := send(frame{InForce: confine(read, []string{job.Out})}); err != nil {
			return err
		}
	}
	done := make(chan struct{})
	defer close(done)
	go func() {
		tick := time.NewTicker(beatEvery)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				_ = send(frame{Beat: true}) // a parent that is gone ends us by a signal
			case <-done:
				return
			}
		}
	}()
	out, err := do(context.Background(), job, func(what string, part float64) { _ = send(frame{Doing: what, Done: part}) })
	if err != nil {
		return send(frame{Failed: err.Error(), TooMuch: errors.Is(err, syscall.EFBIG)})
	}
	out.PeakBytes, out.Trace = peak(), job.Trace
	return send(frame{Outcome: out})
}

func inspect(ctx context.Context, job Job, progress func(string, float64)) (*Outcome, error) {
	resolved, err := ResolveSpec(job)
	if err != nil {
		return &Outcome{Refused: err.Error()}, nil
	}
	before, err := earlier(job.Previous)
	if err != nil {
		return &Outcome{Refused: err.Error()}, nil
	}
	r, err := acceptance.Inspect(ctx, acceptance.Job{
		Spec: resolved, Folder: job.Folder, Manifest: job.Manifest, Hashes: job.Hashes, Milestone: job.Milestone,
		Previous: before, Threads: job.Threads, Only: job.Only, Known: job.Known, Pictures: job.Pictures, KeepBake: job.KeepBake, Progress: progress,
	})
	if errors.Is(err, acceptance.ErrDelivery) {
		return &Outcome{Unreadable: err.Error()}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("inspect: %w", err)
	}
	if err := os.WriteFile(filepath.Join(job.Out, evidenceName), r.Canonical, 0o644); err != nil {
		return nil, fmt.Errorf("write the evidence: %w", err)
	}
	out := &Outcome{
		Verdict: r.Evidence.Verdict, Headline: r.Evidence.Headline, EvidenceSHA256: r.SHA256,
		Questions: r.Questions, Manifest: r.Manifest,
	}
	for _, p := range r.Pictures {
		if err := os.WriteFile(filepath.Join(job.Out, p.Name), p.Bytes, 0o644); err != nil {
			return nil, fmt.Errorf("write the picture %s: %w", p.Name, err)
		}
		sum := sha256.Sum256(p.Bytes)
		out.Pictures = append(out.Pictures, Picture{p.Name, p.What, p.MIME, hex.EncodeToString(sum[:]), int64(len(p.Bytes))})
	}
	return out, nil
}

// ResolveSpec reads the job's spec and what it extends.
func ResolveSpec(job Job) (*spec.Spec, error) {
	catalogue := acceptance.Catalogue()
	doc, err := spec.Parse(job.SpecName, job.Spec, catalogue)
	if err != nil {
		return nil, err
	}
	parents := given(job.Parents)
	if job.SpecDir != "" {
		parents = spec.Siblings(job.SpecDir)
	}
	return spec.Resolve(doc, catalogue, job.Milestone, parents)
}
