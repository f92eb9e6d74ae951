package ledger_test

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// pictured is a passing result with the pictures that stand beside others.
func pictured() ledger.Result {
	r := passing()
	for _, name := range []string{"prop_lit.png", "prop_true_pixels.png"} {
		r.Objects = append(r.Objects, ledger.EvidenceObject{Name: name, What: "the prop", ObjectKey: "wo/x/evidence/" + name, SHA256: r.EvidenceSHA256, Size: 8, MediaType: "image/png"})
	}
	return r
}

// Beside a prop stand others of its kit and tier alone, what was accepted first; beside a delivery the one before it in
// its milestone and the prop's newest accepted one. The queue has the newest delivery of each milestone, once.
func TestWhatStandsBesideAPropInReview(t *testing.T) {
	s := newScene(t)
	piece := func(code, kit, tier string) (p ledger.Prop) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			p, err = tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: s.yardOrder.ID, Code: code, Title: code, Tier: tier, PriceMinor: 1000, Kit: kit,
				Milestones: []ledger.NewMilestone{{Kind: "game_mesh", ShareBP: 5000}, {Kind: "final", ShareBP: 5000}}})
			if err == nil {
				_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, code))
			}
			return err
		})
		return p
	}
	post, rail, gate := piece("post", "quay", "mid"), piece("rail", "quay", "mid"), piece("gate", "quay", "mid")
	hero, alone := piece("statue", "quay", "hero"), piece("crane", "yard", "mid")
	deliveries := map[string]ledger.Delivery{}
	for _, p := range []ledger.Prop{post, rail, gate, hero, alone} {
		deliveries[p.Code] = s.deliver(s.yard, p.Milestones[0].ID)
		s.inspect(pictured())
	}
	_, err := s.signOff(s.studio, deliveries["gate"].ID, ledger.Accept, "")
	require.NoError(t, err)
	s.as(s.studio, func(tx *ledger.Tx) error {
		near, err := tx.Neighbours(s.ctx(), post.ID, "prop_true_pixels.png", 2)
		require.NoError(t, err)
		require.Equal(t, []string{"gate", "rail"}, []string{near[0].Title, near[1].Title})
		require.Equal(t, []bool{true, false}, []bool{near[0].Accepted, near[1].Accepted})
		none, err := tx.Neighbours(s.ctx(), alone.ID, "prop_true_pixels.png", 2)
		require.NoError(t, err)
		require.Empty(t, none)
		return nil
	})
	s.as(s.lamp, func(tx *ledger.Tx) error {
		near, err := tx.Neighbours(s.ctx(), post.ID, "prop_true_pixels.png", 2)
		require.NoError(t, err)
		require.Empty(t, near, "another vendor's")
		return nil
	})

	// The gate's final: returned once, then delivered again.
	first := s.deliver(s.yard, gate.Milestones[1].ID)
	s.inspect(pictured())
	_, err = s.signOff(s.studio, first.ID, ledger.Return, "The hinge.")
	require.NoError(t, err)
	second := s.deliver(s.yard, gate.Milestones[1].ID)
	s.inspect(pictured())
	s.as(s.yard, func(tx *ledger.Tx) error {
		d, err := tx.Delivery(s.ctx(), second.ID)
		require.NoError(t, err)
		beside, err := tx.BesideOf(s.ctx(), d)
		require.NoError(t, err)
		require.Len(t, beside, 2)
		require.Equal(t, []uuid.UUID{first.ID, deliveries["gate"].ID}, []uuid.UUID{beside[0].Delivery, beside[1].Delivery})
		require.True(t, beside[1].Accepted)
		return nil
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		items, err := tx.Review(s.ctx(), ledger.ReviewFilter{})
		require.NoError(t, err)
		seen := map[uuid.UUID]bool{}
		for _, it := range items {
			require.False(t, seen[it.MilestoneID], "twice")
			seen[it.MilestoneID] = true
			require.True(t, it.Still)
		}
		require.True(t, seen[gate.Milestones[1].ID])
		require.False(t, seen[gate.Milestones[0].ID], "accepted")
		require.Len(t, items, 5)
		return nil
	})
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.Review(s.ctx(), ledger.ReviewFilter{}); return err }), ledger.ErrForbidden)

	_, err = s.signOff(s.studio, second.ID, ledger.Accept, "")
	require.NoError(t, err)
	s.as(s.yard, func(tx *ledger.Tx) error {
		d, err := tx.Delivery(s.ctx(), second.ID)
		require.NoError(t, err)
		beside, err := tx.BesideOf(s.ctx(), d)
		require.NoError(t, err)
		require.False(t, beside[0].Accepted, "its stage is, it is not")
		return nil
	})
}

// A batch is gone through by itself: what came in it and is still the newest delivery of its milestone.
func TestReviewOfABatch(t *testing.T) {
	s := newScene(t)
	var b ledger.Batch
	s.as(s.yard, func(tx *ledger.Tx) (err error) {
		b, err = tx.OpenBatch(s.ctx(), ledger.NewBatch{WorkOrder: s.yardOrder.ID, Title: "Friday", Deliveries: []ledger.Manifest{manifest(s.yardProp.Milestones[0].ID), manifest(s.yardProp.Milestones[1].ID)}})
		return err
	})
	s.sealBatch(s.yard, b)
	s.inspect(pictured())
	s.inspect(failing())
	s.deliver(s.yard, s.yardProp.Milestones[2].ID)
	s.inspect(pictured())
	count := func(f ledger.ReviewFilter) (n int) {
		s.as(s.studio, func(tx *ledger.Tx) error {
			items, err := tx.Review(s.ctx(), f)
			n = len(items)
			return err
		})
		return n
	}
	all := []ledger.MilestoneState{ledger.MReview, ledger.MHeld, ledger.MFailed, ledger.MStuck}
	require.Equal(t, 3, count(ledger.ReviewFilter{States: all}))
	require.Equal(t, 2, count(ledger.ReviewFilter{States: all, Batch: b.ID}))
	require.Equal(t, 2, count(ledger.ReviewFilter{}), "what failed is in the other list")
	require.Zero(t, count(ledger.ReviewFilter{States: all, Batch: uuid.New()}))
}
