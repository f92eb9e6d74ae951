package inspection

import (
	"bytes"
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// evidenceMax bounds evidence.json as it is read back: ten thousand findings with ten places each stay under it.
const evidenceMax = 64 << 20

// firstIssueMax bounds what is kept of the first issue for lists, in bytes; what is longer is read in the evidence.
const firstIssueMax = 8 << 10

// firstIssue is the first issue's sentence as lists keep it, nil where there is none.
func firstIssue(e *acceptance.Evidence) []byte {
	says := acceptance.FirstIssue(e)
	if len(says) == 0 {
		return nil
	}
	data, err := json.Marshal(says)
	if err != nil || len(data) > firstIssueMax || bytes.Contains(data, []byte(`\u0000`)) { // jsonb holds no NUL, and a name may
		return nil
	}
	return data
}

// store puts pictures and evidence into storage and turns the evidence into the ledger's rows. The child's folder is read
// as a stranger's: a link out of it is not followed.
func (s *Service) store(ctx context.Context, job ledger.Job, out string, o *Outcome) (ledger.Result, error) {
	root, err := os.OpenRoot(out)
	if err != nil {
		return ledger.Result{}, own("open the evidence's folder", err)
	}
	defer root.Close()
	if err := checkPictures(o.Pictures); err != nil {
		return ledger.Result{}, own("the pictures", err)
	}
	e, data, err := readEvidence(root)
	if err != nil {
		return ledger.Result{}, err
	}
	r := ledger.Result{
		Engine: e.Engine.Version, EngineDigest: e.Engine.Commit, Verdict: ledger.Verdict(e.Verdict), Headline: e.Headline,
		FirstIssue: firstIssue(e), Findings: rows(e.Findings),
	}
	order := job.Delivery.WorkOrderID.String()
	put := func(name, what, mime string, body io.ReadSeeker, want string) ([]byte, error) {
		sum, size, err := s.Store.PutEvidence(ctx, order, body, mime)
		if err != nil {
			return nil, err
		}
		raw, err := hex.DecodeString(sum)
		if err != nil || sum != want {
			return nil, own(name, errors.New("it is not the file that the inspection made"))
		}
		r.Objects = append(r.Objects, ledger.EvidenceObject{
			Name: name, What: what, MediaType: mime, SHA256: raw, Size: size, ObjectKey: storage.EvidenceKey(order, sum),
		})
		return raw, nil
	}
	if r.EvidenceSHA256, err = put(evidenceName, "The evidence: every finding with its numbers", "application/json", bytes.NewReader(data), o.EvidenceSHA256); err != nil {
		return ledger.Result{}, err
	}
	for _, p := range o.Pictures {
		f, err := root.Open(filepath.Base(p.Name))
		if err != nil {
			return ledger.Result{}, own("read a picture", err)
		}
		_, err = put(p.Name, p.What, p.MIME, f, p.SHA256)
		_ = f.Close()
		if err != nil {
			return ledger.Result{}, err
		}
	}
	return r, nil
}

// ReadEvidence reads evidence.json from the folder that a child was given.
func ReadEvidence(out string) (*acceptance.Evidence, []byte, error) {
	root, err := os.OpenRoot(out)
	if err != nil {
		return nil, nil, fmt.Errorf("read the evidence: %w", err)
	}
	defer root.Close()
	return readEvidence(root)
}

func readEvidence(root *os.Root) (*acceptance.Evidence, []byte, error) {
	f, err := root.Open(evidenceName)
	if err != nil {
		return nil, nil, own("read the evidence", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, evidenceMax+1))
	if err == nil && len(data) > evidenceMax {
		err = fmt.Errorf("it is over %d MiB", evidenceMax>>20)
	}
	if err != nil {
		return nil, nil, own("read the evidence", err)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, nil, own("read the evidence", err)
	}
	return &e, data, nil
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
			r.LimitKey, r.Limit = limitOf(f)
		}
		out[i] = r
	}
	return out
}

// limitOf finds the limit that the measured value is held against: where all limits are on one metric the broken one, a hard one
// before a soft one, else the first; otherwise the limit that is named after the metric. "" where none is, or more than one: a
// permission up to a value of one metric must not be read as one of another (a prop too wide, then one too deep).
func limitOf(f acceptance.Finding) (key string, limit *float64) {
	if onOneMetric(f) {
		return boundOf(f)
	}
	for metric, v := range f.Metrics {
		if v != f.Measured.Value {
			continue
		}
		for _, k := range []string{metric, "max_" + metric, "min_" + metric} {
			l, ok := f.Limit[k]
			if !ok {
				continue
			}
			if key != "" && key != k {
				return "", nil
			}
			key, limit = k, &l
		}
	}
	return key, limit
}

// onOneMetric says whether the measured value is the one metric that limits of the finding are on.
func onOneMetric(f acceptance.Finding) bool {
	metric := ""
	for _, b := range f.Bounds {
		if _, on := f.Limit[b.Limit]; !on {
			continue
		}
		if metric != "" && metric != b.Metric {
			return false
		}
		metric = b.Metric
	}
	v, have := f.Metrics[metric]
	return have && v == f.Measured.Value
}

// boundOf is the bound that a finding breaks, a hard one before a soft one, else the first that is on.
func boundOf(f acceptance.Finding) (key string, limit *float64) {
	best := 0
	for _, b := range f.Bounds {
		l, on := f.Limit[b.Limit]
		if !on {
			continue
		}
		rank, v := 1, f.Metrics[b.Metric]
		if b.Kind == spec.AtLeast && v < l || b.Kind != spec.AtLeast && v > l {
			if rank = 3; b.Soft {
				rank = 2
			}
		}
		if rank > best {
			best, key, limit = rank, b.Limit, &l
		}
	}
	return key, limit
}
