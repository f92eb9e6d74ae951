package inspection

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// previous fetches the evidence of the delivery before, checked against its recorded digest: nil for a first delivery. One
// whose bytes are gone or are others is left out, which the log says; the inspection itself must not wait for it.
func (s *Service) previous(ctx context.Context, job ledger.Job, log func(string)) ([]byte, error) {
	o, err := s.Ledger.EvidenceBefore(ctx, job)
	if errors.Is(err, ledger.ErrNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	body, _, err := s.Store.Open(ctx, o.ObjectKey)
	if errors.Is(err, storage.ErrNotFound) {
		log("the evidence of the delivery before is gone; nothing is compared with it")
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("the evidence of the delivery before: %w", err)
	}
	defer body.Close()
	data, err := io.ReadAll(io.LimitReader(body, evidenceMax+1))
	if err != nil {
		return nil, fmt.Errorf("the evidence of the delivery before: %w", err)
	}
	if sum := sha256.Sum256(data); string(sum[:]) != string(o.SHA256) {
		log("the evidence of the delivery before does not have its recorded digest; nothing is compared with it")
		return nil, nil
	}
	return data, nil
}

// earlier reads the evidence that came with a job; nil where none did.
func earlier(data []byte) (*acceptance.Evidence, error) {
	if len(data) == 0 {
		return nil, nil
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, fmt.Errorf("the evidence to compare with cannot be read: %w", err)
	}
	return &e, nil
}
