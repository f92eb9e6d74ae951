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
	"time"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
)

// beatEvery is how often the child says that it is alive. Its parent gives up on it after silentFor.
const (
	beatEvery = time.Second
	silentFor = 60 * time.Second
)

// RunChild is the whole life of the child process: it reads one Job, inspects, and writes frames. An error means the
// parent is gone or sent nonsense; every other ending is told in the last frame.
func RunChild(in io.Reader, frames io.Writer) error {
	var job Job
	if err := json.NewDecoder(in).Decode(&job); err != nil {
		return fmt.Errorf("inspection: read the job: %w", err)
	}
	if job.MemoryBytes > 0 {
		debug.SetMemoryLimit(job.MemoryBytes / 10 * 9) // the collector works harder before the parent has to kill
	}
	var mu sync.Mutex
	send := func(f frame) {
		mu.Lock()
		defer mu.Unlock()
		_ = writeFrame(frames, f) // a parent that is gone ends us by signal
	}
	if job.Confine {
		send(frame{InForce: confine([]string{job.Folder}, []string{job.Out})})
	}
	done := make(chan struct{})
	defer close(done)
	go func() {
		tick := time.NewTicker(beatEvery)
		defer tick.Stop()
		for {
			select {
			case <-tick.C:
				send(frame{Beat: true})
			case <-done:
				return
			}
		}
	}()
	out, err := inspect(context.Background(), job, func(what string, part float64) { send(frame{Doing: what, Done: part}) })
	if err != nil {
		return err
	}
	send(frame{Outcome: out, Finished: true})
	return nil
}

func inspect(ctx context.Context, job Job, progress func(string, float64)) (*Outcome, error) {
	resolved, err := ResolveSpec(job)
	if err != nil {
		return &Outcome{Refused: err.Error()}, nil
	}
	r, err := acceptance.Inspect(ctx, acceptance.Job{
		Spec: resolved, Folder: job.Folder, Manifest: job.Manifest, Milestone: job.Milestone,
		Threads: job.Threads, Pictures: job.Pictures, Progress: progress,
	})
	if err != nil {
		return nil, fmt.Errorf("inspection: %w", err)
	}
	if err := os.WriteFile(filepath.Join(job.Out, "evidence.json"), r.Canonical, 0o644); err != nil {
		return nil, fmt.Errorf("inspection: write the evidence: %w", err)
	}
	out := &Outcome{
		Verdict: r.Evidence.Verdict, Headline: r.Evidence.Headline, EvidenceSHA256: r.SHA256,
		Questions: r.Questions, Manifest: r.Manifest,
	}
	for _, p := range r.Pictures {
		if err := os.WriteFile(filepath.Join(job.Out, p.Name), p.Bytes, 0o644); err != nil {
			return nil, fmt.Errorf("inspection: write the picture %s: %w", p.Name, err)
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
	parents := func(ref spec.Ref) ([]byte, error) {
		for _, p := range job.Parents {
			if p.Spec == ref.Spec && (ref.Revision == 0 || ref.Revision == p.Revision) {
				return p.Document, nil
			}
		}
		if job.SpecDir != "" {
			return spec.Siblings(job.SpecDir)(ref)
		}
		return nil, errors.New("it was not published with this spec")
	}
	return spec.Resolve(doc, catalogue, job.Milestone, parents)
}
