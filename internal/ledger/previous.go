package ledger

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// measuredFirst orders deliveries d of a milestone, with their current inspections i, for a comparison: the newest one of which
// the game mesh could be measured, since beside an empty or a broken delivery everything is new; where there is none, the newest.
const measuredFirst = `EXISTS (SELECT FROM ph.finding f WHERE f.inspection_id = i.id AND f.studio_id = i.studio_id AND f.chk LIKE 'scene.%'
	AND f.outcome IN ('pass', 'warn', 'fail')) DESC, d.number DESC`

// The sealed delivery before this one in the same milestone to compare it with, among those whose current inspection left
// evidence. delivery_number_key finds the milestone's deliveries by number, inspection_current_key the inspection.
const evidenceBefore = `
SELECT e.name, e.what, e.object_key, e.sha256, e.size, e.media_type
FROM ph.delivery d
JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current
JOIN ph.evidence e ON e.studio_id = i.studio_id AND e.inspection_id = i.id AND e.name = 'evidence.json'
WHERE d.studio_id = $1 AND d.milestone_id = $2 AND d.number < $3 AND d.state = 'sealed'
ORDER BY ` + measuredFirst + ` LIMIT 1`

// EvidenceBefore is the evidence to compare that of a claimed inspection with. ErrNotFound: it is the milestone's
// first, or none before it could be inspected.
func (w *Worker) EvidenceBefore(ctx context.Context, job Job) (EvidenceObject, error) {
	d := job.Delivery
	rows, err := w.pool.Query(ctx, evidenceBefore, d.StudioID, d.MilestoneID, d.Number)
	if err != nil {
		return EvidenceObject{}, fmt.Errorf("evidence before delivery %s: %w", d.ID, err)
	}
	o, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[EvidenceObject])
	if errors.Is(err, pgx.ErrNoRows) {
		return EvidenceObject{}, ErrNotFound
	}
	if err != nil {
		return EvidenceObject{}, fmt.Errorf("evidence before delivery %s: %w", d.ID, err)
	}
	return o, nil
}
