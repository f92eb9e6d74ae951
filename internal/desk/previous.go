package desk

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/inspection"
)

// previousName is the file in the evidence's folder that holds the evidence of an earlier state of the delivery.
const previousName = "previous.json"

// earlierEvidence is the evidence to compare a delivery with: the file that the call names, or what an earlier inspection
// left in the folder for evidence. The same delivery looked at twice is not compared with itself, but with what it was
// compared with the first time. Nil where there is nothing earlier.
func earlierEvidence(named, folder, out string) ([]byte, error) {
	if named != "" {
		data, err := os.ReadFile(named)
		if err != nil {
			return nil, fmt.Errorf("the evidence to compare with cannot be read: %w", err)
		}
		return data, nil
	}
	kept := filepath.Join(out, previousName)
	changed, err := changedSince(folder, out)
	if err != nil {
		return nil, err
	}
	if changed {
		_, data, err := inspection.ReadEvidence(out)
		if err != nil {
			return nil, err
		}
		if err := os.WriteFile(kept, data, 0o644); err != nil {
			return nil, fmt.Errorf("keep the earlier evidence: %w", err)
		}
	}
	data, err := os.ReadFile(kept)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return data, err
}

// changedSince says whether out holds evidence of another state of the delivery: a file is newer than the evidence, has
// another size, came or went. Times are this machine's own and decide only what a vendor is shown beside their findings.
func changedSince(folder, out string) (bool, error) {
	info, err := os.Stat(filepath.Join(out, evidenceName))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	old, _, err := inspection.ReadEvidence(out)
	if err != nil {
		return false, nil // not ours: whoever clears the folder says so
	}
	if len(old.Only) > 0 {
		return false, nil // of a part of the checks: nothing to compare a delivery with
	}
	known := map[string]bool{}
	for _, in := range old.Inputs {
		known[in.Path] = true
		f, err := os.Stat(filepath.Join(folder, filepath.FromSlash(in.Path)))
		if err != nil || f.Size() != in.Bytes || f.ModTime().After(info.ModTime()) {
			return true, nil
		}
	}
	came := errors.New("a file came")
	err = filepath.WalkDir(folder, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() || d.Name()[0] == '.' || d.Name() == acceptance.ManifestName {
			return err
		}
		name, err := filepath.Rel(folder, path)
		if err != nil || known[filepath.ToSlash(name)] {
			return err
		}
		if f, err := d.Info(); err == nil && f.ModTime().After(info.ModTime()) {
			return came
		}
		return nil
	})
	if errors.Is(err, came) {
		return true, nil
	}
	return false, err
}
