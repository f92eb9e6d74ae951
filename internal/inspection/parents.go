package inspection

import (
	"context"
	"encoding/hex"
	"errors"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
)

// Parent is a spec that the job's spec extends, itself or through another one, with the words that name it there.
type Parent struct {
	Spec     string `json:"spec"`
	Revision int    `json:"revision,omitempty"`
	Digest   string `json:"digest,omitempty"`
	Document []byte `json:"document"`
}

// parents fetches what the spec of a claimed inspection extends: the child has neither ledger nor network. Its error is
// that the ledger could not be asked; what is wrong with the spec itself, the child says when it reads it again.
func (s *Service) parents(ctx context.Context, job ledger.Job) (out []Parent, failed error) {
	catalogue := acceptance.Catalogue()
	parsed, err := spec.Parse(specName, job.Spec.Document, catalogue)
	if err != nil {
		return nil, nil
	}
	_, _ = spec.Resolve(parsed, catalogue, spec.Milestone(job.Milestone), func(ref spec.Ref) ([]byte, error) {
		sum, err := hex.DecodeString(ref.Digest)
		if err != nil {
			return nil, err
		}
		document, err := s.Ledger.SpecExtended(ctx, job, ledger.SpecRef{Code: ref.Spec, Revision: ref.Revision, SHA256: sum})
		switch {
		case err == nil:
			out = append(out, Parent{ref.Spec, ref.Revision, ref.Digest, document})
		case !errors.Is(err, ledger.ErrNotFound) && failed == nil:
			failed = err
		}
		return document, err
	})
	return out, failed
}

// given finds parents among those that came with the job.
func given(parents []Parent) spec.Parents {
	return func(ref spec.Ref) ([]byte, error) {
		for _, p := range parents {
			if p.Spec == ref.Spec && p.Revision == ref.Revision && p.Digest == ref.Digest {
				return p.Document, nil
			}
		}
		return nil, errors.New("it did not come with the inspection")
	}
}
