package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
)

// HoldMilestone keeps a delivery in review back without deciding: it stays on the studio's desk, its clock runs on, and
// silence does not accept it.
func (tx *Tx) HoldMilestone(ctx context.Context, milestone uuid.UUID, reason string) (Milestone, error) {
	if reason == "" {
		return Milestone{}, invalid("reason", "needs 1 to %d characters", reasonMax)
	}
	return tx.hold(ctx, milestone, EvHold, reason)
}

// ResumeMilestone puts it back into review, with the whole review window from now.
func (tx *Tx) ResumeMilestone(ctx context.Context, milestone uuid.UUID, reason string) (Milestone, error) {
	return tx.hold(ctx, milestone, EvResume, reason)
}

func (tx *Tx) hold(ctx context.Context, milestone uuid.UUID, ev Event, reason string) (Milestone, error) {
	if err := tx.allow("keeping a milestone back", StudioSide, ArtDirector, ArtLead, Producer); err != nil {
		return Milestone{}, err
	}
	if len([]rune(reason)) > reasonMax {
		return Milestone{}, invalid("reason", "is over %d characters", reasonMax)
	}
	m, err := tx.lockMilestone(ctx, milestone)
	if err != nil {
		return Milestone{}, err
	}
	if to, ok := Next(m.state, ev); ok && to == MReview {
		err = tx.toReview(ctx, m, ev)
	} else {
		err = tx.move(ctx, m, ev)
	}
	if err != nil {
		return Milestone{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.hold (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, event, reason, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)`, m.studio, m.vendor, m.workOrder, m.prop, m.id, id, ev, reason, tx.Who.Member, tx.Who.Name); err != nil {
		return Milestone{}, fmt.Errorf("keep milestone %s back: %w", milestone, err)
	}
	tx.fact(FactHeld, m.studio, m.workOrder, id)
	return tx.Milestone(ctx, milestone)
}
