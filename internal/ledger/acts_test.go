package ledger_test

import (
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// furtherActs does one of each of the acts that fill the tables around a vendor's prop. The prop's first milestone is
// done, the second untouched; afterwards the second is in review.
func (s *scene) furtherActs(vendor ledger.Who, prop ledger.Prop) {
	s.t.Helper()
	ctx, ms := s.ctx(), prop.Milestones[1].ID
	s.as(vendor, func(tx *ledger.Tx) error {
		if _, err := tx.SetCalendar(ctx, ledger.NewCalendar{TimeZone: "Europe/Oslo", Workdays: []int{1, 2, 3, 4, 5}}); err != nil {
			return err
		}
		if _, err := tx.PinCalendar(ctx, prop.WorkOrderID, uuid.Nil); err != nil {
			return err
		}
		_, err := tx.OfferChange(ctx, ledger.NewChangeOrder{Milestone: ms, Title: "A second lid", Reason: "asked for on the quay", DeltaMinor: 500})
		return err
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		list, err := tx.ChangeOrders(ctx, prop.WorkOrderID, ledger.Page{})
		if err == nil {
			_, err = tx.DecideChange(ctx, list.Items[0].ID, "agree", "")
		}
		return err
	})
	s.deliver(vendor, ms)
	s.inspect(passing())
	s.reviewDueIn(ms, 24*time.Hour)
	_, err := s.clock().Tick(ctx)
	require.NoError(s.t, err)
	s.as(s.studio, func(tx *ledger.Tx) error {
		if _, err := tx.HoldMilestone(ctx, ms, "the director is away"); err != nil {
			return err
		}
		_, err := tx.ResumeMilestone(ctx, ms, "")
		return err
	})
}

func (s *scene) clock() *ledger.Clock { return ledger.NewClock(s.db.Pool(ledger.RoleClock)) }

// reviewDueIn moves the end of a review window, as the passing of time would.
func (s *scene) reviewDueIn(milestone uuid.UUID, in time.Duration) {
	s.t.Helper()
	tag, err := s.owner.Exec(s.ctx(), `UPDATE ph.milestone SET review_due_at = now() + $2::interval WHERE id = $1 AND state = 'review'`, milestone, in)
	require.NoError(s.t, err)
	require.EqualValues(s.t, 1, tag.RowsAffected())
}
