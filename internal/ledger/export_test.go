package ledger

import (
	"context"
	"encoding/json"

	"github.com/google/uuid"
)

// SplitAmount is splitAmount, for the tests.
var SplitAmount = splitAmount

// FactKinds is how many kinds of facts there are.
func FactKinds() int { return len(projectors) }

// ClaimQuery lets the tests of fairness look at its plan.
const ClaimQuery = claimQuery

// MarshalledBundle is a bundle read whole and made JSON by the standard library.
func (tx *Tx) MarshalledBundle(ctx context.Context, log uuid.UUID) ([]byte, error) {
	b, _, err := tx.bundle(ctx, log)
	if err != nil {
		return nil, err
	}
	return json.Marshal(b)
}
