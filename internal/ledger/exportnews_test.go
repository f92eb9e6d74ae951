package ledger

import (
	"context"
	"slices"

	"github.com/google/uuid"
)

// KindsOfFacts lists the kinds of facts.
func KindsOfFacts() (kinds []string) {
	for kind := range projectors {
		kinds = append(kinds, kind)
	}
	slices.Sort(kinds)
	return kinds
}

// IsTold says whether a kind of fact is told.
func IsTold(kind string) bool { _, ok := newsKinds[kind]; return ok }

// NotTold is notTold.
var NotTold = notTold

// RecordAgain records the order's first act n more times.
func (tx *Tx) RecordAgain(ctx context.Context, order uuid.UUID, n int) error {
	var studio uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT studio_id FROM ph.work_order WHERE id = $1`, order).Scan(&studio); err != nil {
		return err
	}
	for range n {
		tx.fact(FactWorkOrderPlaced, studio, order, order)
	}
	return nil
}
