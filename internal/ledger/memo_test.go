package ledger_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// sums is everything that is kept for as long as the logs do not grow.
type sums struct {
	Orders             []ledger.WorkOrder
	Payables           []ledger.PayableSum
	Performances       []ledger.Performance
	Checks             []ledger.CheckFigure
	Worths             []ledger.CheckWorth
	Decisions          int
	ByOrder, ByVendors []ledger.Stored
	Planned, Accepted  int64
	Released           []ledger.Amount
	Desks              []ledger.DeskCount
	Weeks              []ledger.Week
}

func (s *scene) sums(tx *ledger.Tx, order uuid.UUID) (all sums) {
	check := func(err error) { require.NoError(s.t, err) }
	ctx := s.ctx()
	orders, err := tx.WorkOrders(ctx, ledger.Page{})
	check(err)
	all.Orders = orders.Items
	all.Payables, err = tx.PayableSums(ctx, ledger.PayableFilter{})
	check(err)
	all.Performances, err = tx.Performances(ctx, "vendor", ledger.FigureFilter{})
	check(err)
	all.Checks, err = tx.FailingChecks(ctx, ledger.FigureFilter{}, 20)
	check(err)
	all.Worths, all.Decisions, err = tx.CheckWorths(ctx, ledger.FigureFilter{})
	check(err)
	all.ByOrder, err = tx.StoredByOrder(ctx)
	check(err)
	all.ByVendors, err = tx.StoredByVendor(ctx)
	check(err)
	plans, err := tx.Plans(ctx, ledger.PlanFilter{WorkOrder: order}, 1)
	check(err)
	for _, p := range plans {
		all.Planned += p.TotalMinor
		all.Accepted += p.Weeks[len(p.Weeks)-1].AcceptedMinor
	}
	needs, err := tx.Needs(ctx, 1)
	check(err)
	all.Released, all.Desks = needs.Released, needs.Desks
	all.Weeks, err = tx.Capacity(ctx, time.Now(), 8)
	check(err)
	return all
}

// What is kept of sums is what the rows add up to: after every act, for the studio and for each vendor, a caller who reads what is
// kept is told what one is told who adds everything up, which is every transaction that may write.
func TestKeptSumsAreThoseOfTheRows(t *testing.T) {
	s := newScene(t)
	order := s.yardOrder.ID
	store := s.store
	same := func(act string) {
		for _, who := range []ledger.Who{s.studio, s.yard, s.lamp} {
			of := map[uuid.UUID]uuid.UUID{s.studio.Party: order, s.yard.Party: order, s.lamp.Party: s.lampOrder.ID}[who.Party]
			var want, kept, again sums
			s.as(who, func(tx *ledger.Tx) error { want = s.sums(tx, of); return nil })
			for _, to := range []*sums{&kept, &again} {
				require.NoError(t, store.Reading(s.ctx(), who, func(tx *ledger.Tx) error { *to = s.sums(tx, of); return nil }))
			}
			require.Equal(t, want, kept, "%s, %s", act, who.Name)
			require.Equal(t, want, again, "%s, %s: a second time", act, who.Name)
		}
	}
	due := time.Now().UTC().AddDate(0, 0, 9)
	for n := range 2 { // the second time everything is kept already
		s.as(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order, Code: "buoy_due_" + uuid.NewString()[:8], Title: "A buoy", Tier: "mid", PriceMinor: 9_000,
				Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10_000, Due: &due}}})
			return err
		})
		same("ordered with a date")
		s.as(s.yard, func(tx *ledger.Tx) error {
			weeks, err := tx.Capacity(s.ctx(), due, 1)
			require.Equal(t, n+1, weeks[0].Planned)
			return err
		})
		for _, passes := range []bool{true, false} {
			prop := s.prop(order, "buoy_"+uuid.NewString()[:8])
			same("ordered")
			d := s.deliver(s.yard, prop.Milestones[0].ID)
			same("sealed")
			if !passes {
				s.inspect(failing())
				same("failed")
				continue
			}
			s.inspect(passing())
			same("passed")
			_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
			require.NoError(t, err)
			same("accepted")
			s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.SetCapacity(s.ctx(), time.Now(), 3); return err }) // no fact, and seen at once
			same("weeks said")
		}
	}
}

// A transaction that reads cannot write.
func TestReadingWritesNothing(t *testing.T) {
	s := newScene(t)
	store := s.store
	err := store.Reading(s.ctx(), s.yard, func(tx *ledger.Tx) error {
		_, err := tx.SetCapacity(s.ctx(), time.Now(), 3)
		return err
	})
	require.ErrorContains(t, err, "read-only transaction")
}
