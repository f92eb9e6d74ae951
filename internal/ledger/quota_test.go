package ledger_test

import (
	"crypto/sha256"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A vendor delivers no more than the studio keeps of it, in all and in each order; what is under way counts, what was removed or deleted
// does not; two that are opened at once are not both let in; and another vendor's room is its own.
func TestAVendorCannotFillTheStore(t *testing.T) {
	s := newScene(t)
	sum := sha256.Sum256([]byte("mesh"))
	of := func(ms uuid.UUID, size int64) ledger.Manifest {
		return ledger.Manifest{Milestone: ms, Files: []ledger.NewFile{{Path: "crate.glb", Role: "game", Size: size, SHA256: sum[:], MediaType: "model/gltf-binary"}}}
	}
	open := func(who ledger.Who, ms uuid.UUID, size int64) (d ledger.Delivery, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(s.ctx(), of(ms, size)); return err })
		return d, err
	}
	set := func(who ledger.Who, in ledger.NewQuota) (list []ledger.Quota, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { list, err = tx.SetQuota(s.ctx(), in); return err })
		return list, err
	}
	bytes := func(n int64) *int64 { return &n }
	list, err := set(s.studio, ledger.NewQuota{Vendor: s.yard.Party, Bytes: bytes(1000)})
	require.NoError(t, err)
	require.Len(t, list, 1)
	_, err = set(s.yard, ledger.NewQuota{Vendor: s.yard.Party, Bytes: bytes(1 << 40)})
	require.ErrorIs(t, err, ledger.ErrForbidden)
	for name, in := range map[string]ledger.NewQuota{"neither": {Bytes: bytes(1)}, "both": {Vendor: s.yard.Party, WorkOrder: s.yardOrder.ID, Bytes: bytes(1)}, "below": {Vendor: s.yard.Party, Bytes: bytes(-1)}} {
		_, err = set(s.studio, in)
		require.ErrorIs(t, err, ledger.ErrInvalid, name)
	}
	_, err = set(s.studio, ledger.NewQuota{WorkOrder: uuid.New(), Bytes: bytes(1)})
	require.ErrorIs(t, err, ledger.ErrNotFound)
	_, err = set(s.studio, ledger.NewQuota{Vendor: uuid.New(), Bytes: bytes(1)})
	require.ErrorIs(t, err, ledger.ErrNotFound)

	ms := s.yardProp.Milestones
	_, err = open(s.yard, ms[0].ID, 1001)
	require.ErrorIs(t, err, ledger.ErrQuota)
	require.ErrorContains(t, err, "these files have 1.0 kB, and of the 1.0 kB that the studio keeps of you in all 1.0 kB are free")
	_, err = open(s.lamp, s.lampProp.Milestones[0].ID, 1<<30)
	require.NoError(t, err, "nobody limits the other vendor")
	first, err := open(s.yard, ms[0].ID, 600)
	require.NoError(t, err)
	_, err = open(s.yard, ms[1].ID, 401)
	require.ErrorIs(t, err, ledger.ErrQuota, "what is under way counts")
	s.seal(s.yard, first)
	_, err = open(s.yard, ms[1].ID, 401)
	require.ErrorIs(t, err, ledger.ErrQuota, "what is sealed counts")
	second, err := open(s.yard, ms[1].ID, 400)
	require.NoError(t, err, "to the last byte")
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.Abandon(s.ctx(), second.ID); return err })
	_, err = open(s.yard, ms[1].ID, 1)
	require.ErrorIs(t, err, ledger.ErrQuota, "what was given up lies there until it is deleted")
	gone, err := s.clock().GiveUp(s.ctx())
	require.NoError(t, err)
	require.NoError(t, s.clock().Cleared(s.ctx(), gone[0]))

	_, err = set(s.studio, ledger.NewQuota{WorkOrder: s.yardOrder.ID, Bytes: bytes(700)})
	require.NoError(t, err)
	_, err = open(s.yard, ms[1].ID, 101)
	require.ErrorIs(t, err, ledger.ErrQuota)
	require.ErrorContains(t, err, "of the 700 bytes that are kept of this order 100 bytes are free")
	elsewhere, prop := s.order(s.yard, "WO-ELSE", "bench")
	s.as(s.yard, func(tx *ledger.Tx) error {
		own, err := tx.Quotas(s.ctx())
		require.NoError(t, err)
		require.Len(t, own, 2, "a vendor reads its own")
		require.Equal(t, []int64{1000, 600, 700, 600}, []int64{own[0].Bytes, own[0].Used, own[1].Bytes, own[1].Used})
		require.Equal(t, "WO-YARD", own[1].OrderCode)
		return nil
	})
	s.as(s.lamp, func(tx *ledger.Tx) error {
		none, err := tx.Quotas(s.ctx())
		require.Empty(t, none, "and no other's")
		return err
	})

	// Of eight at once, in two orders, one is let in: what the others would take is not there any more.
	milestones := append(append([]ledger.Milestone{}, ms[1:]...), prop.Milestones...)
	_, err = set(s.studio, ledger.NewQuota{WorkOrder: s.yardOrder.ID})
	require.NoError(t, err, "no limit any more")
	var in sync.WaitGroup
	errs := make([]error, len(milestones))
	for i, m := range milestones {
		in.Go(func() { _, errs[i] = open(s.yard, m.ID, 300) })
	}
	in.Wait()
	let := 0
	for _, err := range errs {
		if err == nil {
			let++
			continue
		}
		require.ErrorIs(t, err, ledger.ErrQuota)
	}
	require.Equal(t, 1, let)

	// A batch counts as a whole.
	_, err = set(s.studio, ledger.NewQuota{Vendor: s.yard.Party, Bytes: bytes(1300)})
	require.NoError(t, err)
	again := s.prop(elsewhere.ID, "stool")
	batch := func(size int64) error {
		return s.try(s.yard, func(tx *ledger.Tx) error {
			_, err := tx.OpenBatch(s.ctx(), ledger.NewBatch{WorkOrder: elsewhere.ID, Title: "Friday", Deliveries: []ledger.Manifest{of(again.Milestones[0].ID, size), of(again.Milestones[1].ID, size)}})
			return err
		})
	}
	require.ErrorIs(t, batch(201), ledger.ErrQuota)
	require.NoError(t, batch(200))
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}
