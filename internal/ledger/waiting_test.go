package ledger_test

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestWaitingIsTheStudiosTime: of ten days on the vendor's desk, three in which an answer that holds the work up was outstanding
// are the studio's: while it waits, once it is there, after the delivery left the desk, and in the figures. Questions that hold
// nothing up, and blocking ones while the studio reviews, change nothing.
func TestWaitingIsTheStudiosTime(t *testing.T) {
	s := newScene(t)
	mesh := s.yardProp.Milestones[0].ID
	ago := func(sql string, args ...any) {
		s.tamper(sql, args...)
		_, err := s.owner.Exec(s.ctx(), `SET session_replication_role = origin`)
		require.NoError(t, err)
	}
	clocks := func(vendorDays, studioDays float64, when string) {
		t.Helper()
		s.as(s.yard, func(tx *ledger.Tx) error {
			p, err := tx.Prop(s.ctx(), s.yardProp.ID)
			require.NoError(t, err)
			c := p.Milestones[0].Clocks
			require.InDelta(t, vendorDays*24, c.Vendor.Hours(), 0.1, when)
			require.InDelta(t, studioDays*24, c.Studio.Hours(), 0.1, when)
			return nil
		})
	}
	ask := func(blocks bool) (q ledger.Question) {
		s.as(s.yard, func(tx *ledger.Tx) (err error) {
			q, err = tx.Ask(s.ctx(), ledger.NewQuestion{Prop: s.yardProp.ID, Text: "Which side is the front?", Blocks: blocks})
			return err
		})
		return q
	}
	answer := func(q ledger.Question) {
		s.as(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.Reply(s.ctx(), q.ID, "answer", "the left one", uuid.Nil)
			return err
		})
	}
	ago(`UPDATE ph.milestone SET since = since - interval '10 days' WHERE prop_id = $1`, s.yardProp.ID)
	ask(false)
	clocks(10, 0, "a question that holds nothing up")
	first, second := ask(true), ask(true)
	ago(`UPDATE ph.prop SET blocked_since = blocked_since - interval '3 days' WHERE id = $1`, s.yardProp.ID)
	clocks(7, 3, "while two wait")
	answer(first)
	clocks(7, 3, "while one still waits")
	answer(second)
	clocks(7, 3, "answered")

	third := ask(true) // and delivered before the answer comes
	ago(`UPDATE ph.prop SET blocked_since = blocked_since - interval '1 day' WHERE id = $1`, s.yardProp.ID)
	clocks(6, 4, "asked once more")
	d := s.deliver(s.yard, mesh)
	clocks(6, 4, "on the inspector's desk")
	s.inspect(passing())
	ago(`UPDATE ph.prop SET blocked_since = blocked_since - interval '5 days' WHERE id = $1`, s.yardProp.ID)
	answer(third)
	clocks(6, 4, "time on other desks is nobody's waiting")
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	clocks(6, 4, "accepted")
	s.as(s.studio, func(tx *ledger.Tx) error {
		got, err := tx.Performances(s.ctx(), "vendor", ledger.FigureFilter{})
		require.NoError(t, err)
		require.Len(t, got, 1)
		require.InDelta(t, 6*24, got[0].Vendor.Hours(), 0.1)
		require.InDelta(t, 4*24, got[0].Studio.Hours(), 0.1)
		return nil
	})
	for _, who := range []ledger.Who{s.yard, s.studio} {
		err := s.try(who, func(tx *ledger.Tx) error {
			_, err := tx.Exec(s.ctx(), `UPDATE ph.milestone SET waited_secs = 999999 WHERE id = $1`, mesh)
			return err
		})
		require.ErrorIs(t, err, ledger.ErrForbidden)
	}
}
