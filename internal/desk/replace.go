package desk

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/inspection"
)

const (
	// evidenceName is the file in the folder for evidence that holds the verdict.
	evidenceName = "evidence.json"
	// unfinished is the folder in it where an inspection's evidence grows: on the same disk, so that renaming puts it in place.
	unfinished = ".unfinished"
)

// measure inspects beside what an earlier inspection left in the folder for evidence, and puts what it found in that one's
// place once it is whole: who stops an inspection loses nothing.
func (c *call) measure(ctx context.Context, exe string, job inspection.Job, progress func(string, float64)) (*inspection.Outcome, error) {
	if _, err := ownEvidence(job.Out); err != nil {
		return nil, err
	}
	out := job.Out
	job.Out = filepath.Join(out, unfinished)
	if err := os.RemoveAll(job.Out); err != nil { // of a process that was killed
		return nil, fmt.Errorf("clear the folder for the evidence: %w", err)
	}
	if err := os.MkdirAll(job.Out, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder for the evidence: %w", err)
	}
	defer os.RemoveAll(job.Out)
	o, err := inspection.Spawn(ctx, exe, job, inspection.Limits{MemoryBytes: int64(c.memoryMB) << 20, Confine: true}, progress, nil)
	if err != nil {
		return nil, err
	}
	return o, putInPlace(job.Out, out)
}

// ownEvidence is what an earlier inspection left in a folder; nil where there was none. It fails where another program's
// file lies there, which is not ours to replace.
func ownEvidence(out string) (*acceptance.Evidence, error) {
	if _, err := os.Stat(filepath.Join(out, evidenceName)); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	old, _, err := inspection.ReadEvidence(out)
	if err != nil || !strings.HasPrefix(old.Schema, "proofhouse/evidence/") {
		return nil, fmt.Errorf("%s holds an evidence.json that is not one of ours; choose another folder with --out", out)
	}
	return old, nil
}

// putInPlace moves what an inspection left in fresh to out, the evidence last, and takes away what was the earlier one's
// alone: an old verdict beside a new failure would be taken for the new one's.
func putInPlace(fresh, out string) error {
	old, err := ownEvidence(out)
	if err != nil {
		return err
	}
	files, err := os.ReadDir(fresh)
	if err != nil {
		return fmt.Errorf("read the new evidence: %w", err)
	}
	var names []string
	found := map[string]bool{}
	for _, f := range files {
		if found[f.Name()] = true; f.Name() != evidenceName {
			names = append(names, f.Name())
		}
	}
	if found[evidenceName] {
		names = append(names, evidenceName)
	}
	for _, name := range names {
		if err := os.Rename(filepath.Join(fresh, name), filepath.Join(out, name)); err != nil {
			return fmt.Errorf("put the new evidence in place: %w", err)
		}
	}
	gone := []string{ReportName, evidenceName}
	if old != nil {
		for _, p := range old.Pictures {
			gone = append(gone, filepath.Base(p.Name))
		}
	}
	for _, name := range gone {
		if old == nil || found[name] {
			continue
		}
		if err := os.Remove(filepath.Join(out, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("remove the old %s: %w", name, err)
		}
	}
	return nil
}
