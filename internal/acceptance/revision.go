package acceptance

import (
	"fmt"

	"proofhouse/internal/canon"
)

// Previous names the evidence that a delivery was compared with.
type Previous struct {
	SHA256 string `json:"sha256"` // of its canonical form, hex
}

// compareWith readies a subject for revision.*: what it holds, and what the delivery before held.
func compareWith(s *Subject, previous *Evidence) error {
	s.content = contentOf(s)
	if previous == nil {
		return nil
	}
	data, err := canon.Marshal(previous)
	if err != nil {
		return fmt.Errorf("the evidence of the delivery before: %w", err)
	}
	s.previous, s.previousRef = previous, &Previous{SHA256: canon.Digest(data)}
	return nil
}
