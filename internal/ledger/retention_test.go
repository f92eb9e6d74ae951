package ledger_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// superseded has a vendor deliver a crate twice in an order that keeps nothing that was followed by something newer, and has
// the clock carry that out. It returns the first delivery, whose bytes are removed, and the second.
func (s *scene) superseded(vendor ledger.Who, order uuid.UUID) (first, second ledger.Delivery) {
	s.t.Helper()
	ms := s.prop(order, "crate_sent_twice").Milestones[0].ID
	first = s.deliver(vendor, ms)
	s.inspect(failing())
	second = s.deliver(vendor, ms)
	s.inspect(failing())
	at := 0
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.SetRetention(s.ctx(), ledger.NewRetention{WorkOrder: order, SupersededDays: &at, Reason: "space"})
		return err
	})
	_, err := s.clock().Remove(s.ctx())
	require.NoError(s.t, err)
	return first, second
}

func (s *scene) removal(who ledger.Who, delivery uuid.UUID) (r ledger.Removal, err error) {
	err = s.try(who, func(tx *ledger.Tx) (err error) { r, err = tx.RemovalOf(s.ctx(), delivery); return err })
	return r, err
}

// What was followed by something newer goes by the order's rule: with a leaf, once, never under a legal hold, and never what
// was accepted or is the newest. Digests, findings and evidence stay, and verification tells removed from missing.
func TestSupersededBytesAreRemovedByRule(t *testing.T) {
	s := newScene(t)
	order := s.yardOrder.ID
	ms := s.yardProp.Milestones[0].ID
	first := s.deliver(s.yard, ms)
	s.inspect(failing())
	remove := func() []ledger.Swept {
		t.Helper()
		list, err := s.clock().Remove(s.ctx())
		require.NoError(t, err)
		return list
	}
	rule := func(days *int, hold bool, reason string) error {
		return s.try(s.studio, func(tx *ledger.Tx) error {
			_, err := tx.SetRetention(s.ctx(), ledger.NewRetention{WorkOrder: order, SupersededDays: days, LegalHold: hold, Reason: reason})
			return err
		})
	}
	atOnce, later := 0, 30
	require.NoError(t, rule(&atOnce, true, "a dispute"))
	require.Empty(t, remove(), "a hold, and nothing newer")
	second := s.deliver(s.yard, ms)
	require.Empty(t, remove(), "a hold")
	require.ErrorIs(t, rule(&atOnce, false, ""), ledger.ErrInvalid, "a hold is lifted for a reason")
	require.NoError(t, rule(&later, false, "the dispute is over"))
	require.Empty(t, remove(), "the newer one is not thirty days old")
	require.NoError(t, rule(&atOnce, false, ""))
	require.Empty(t, remove(), "the newer one is not judged yet")
	s.inspect(passing())

	swept := remove()
	require.Len(t, swept, 1)
	require.Equal(t, first.ID, swept[0].Delivery)
	var sourceless []string
	for _, f := range first.Files {
		if !strings.HasPrefix(f.Role, "source.") {
			sourceless = append(sourceless, f.ObjectKey)
		}
	}
	require.Len(t, swept[0].Files, len(sourceless))
	require.Len(t, remove(), 1, "asked for again until storage let go")
	require.NoError(t, s.clock().RemovalCleared(s.ctx(), swept[0]))
	require.Empty(t, remove())
	r, err := s.removal(s.yard, first.ID)
	require.NoError(t, err)
	require.Equal(t, len(sourceless), r.Files)
	require.NotNil(t, r.ClearedAt)
	_, err = s.removal(s.yard, second.ID)
	require.ErrorIs(t, err, ledger.ErrNotFound)
	_, err = s.removal(s.lamp, first.ID)
	require.ErrorIs(t, err, ledger.ErrNotFound, "hidden is missing")
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.SetRetention(s.ctx(), ledger.NewRetention{WorkOrder: order})
		return err
	}), ledger.ErrForbidden)

	s.as(s.studio, func(tx *ledger.Tx) error {
		before, err := tx.CurrentInspection(s.ctx(), first.ID)
		require.NoError(t, err)
		require.Equal(t, ledger.VerdictFail, before.Verdict, "the verdict stays")
		require.NotEmpty(t, before.EvidenceSHA256)
		doc, err := tx.Bundle(s.ctx(), order)
		require.NoError(t, err)
		objects, err := ledger.BundleObjects(doc)
		require.NoError(t, err)
		for _, o := range objects {
			require.NotContains(t, sourceless, o.Key, "removed, and so not missing")
		}
		require.NotEmpty(t, objects)
		for name, sums := range map[string]func() ([]ledger.Stored, error){
			"by vendor": func() ([]ledger.Stored, error) { return tx.StoredByVendor(s.ctx()) },
			"by order":  func() ([]ledger.Stored, error) { return tx.StoredByOrder(s.ctx()) },
			"by prop":   func() ([]ledger.Stored, error) { return tx.StoredByProp(s.ctx(), order) },
		} {
			got, err := sums()
			require.NoError(t, err, name)
			require.Len(t, got, 1, name)
			require.Equal(t, second.Bytes+first.Bytes-r.Bytes, got[0].DeliveredBytes, name)
			require.Equal(t, r.Bytes, got[0].RemovedBytes, name)
			require.Positive(t, got[0].EvidenceBytes, name)
		}
		return nil
	})
	require.Empty(t, s.verify(order).Problems)
	s.tamper(`UPDATE ph.removal SET bytes = bytes + 1`)
	require.NotEmpty(t, s.verify(order).Problems)
}

// An object that no row speaks of is marked, waited for, and swept; one that a row speaks of by then is left alone.
func TestOrphansAreMarkedWaitedForAndSwept(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	job := s.inspect(failing())
	var evidence string
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT object_key FROM ph.evidence WHERE inspection_id = $1 LIMIT 1`, job.Inspection.ID).Scan(&evidence))
	stray := "wo/" + s.yardOrder.ID.String() + "/evidence/" + strings.Repeat("ab", 32)
	late := "in/" + s.yard.Party.String() + "/" + d.ID.String() + "/" + uuid.NewString()
	objects := []ledger.StoredObject{{Key: d.Files[0].ObjectKey, Size: 1}, {Key: evidence, Size: 1}, {Key: stray, Size: 7}, {Key: late, Size: 8}, {Key: "in/odd", Size: 9}}
	clock := s.clock()
	for range 2 {
		n, err := clock.MarkOrphans(s.ctx(), objects)
		require.NoError(t, err)
		require.Equal(t, 3, n)
		due, err := clock.Orphans(s.ctx())
		require.NoError(t, err)
		require.Empty(t, due, "not before they have waited")
	}
	_, err := s.owner.Exec(s.ctx(), `UPDATE ph.orphan SET marked_at = now() - $1::interval`, ledger.OrphanWait*2)
	require.NoError(t, err)
	s.tamper(`UPDATE ph.file SET object_key = $1 WHERE id = $2`, late, d.Files[0].ID) // a row speaks of it by now
	n, err := clock.MarkOrphans(s.ctx(), objects[2:])
	require.NoError(t, err)
	require.Equal(t, 2, n)
	due, err := clock.Orphans(s.ctx())
	require.NoError(t, err)
	require.ElementsMatch(t, []string{stray, "in/odd"}, due)
	require.NoError(t, clock.OrphansSwept(s.ctx(), due))
	due, err = clock.Orphans(s.ctx())
	require.NoError(t, err)
	require.Empty(t, due)
}

// A legal hold keeps every byte of its order: also what was given up before it was sealed, what the rule let go but storage still has,
// and what no row speaks of.
func TestAHoldKeepsEveryByte(t *testing.T) {
	s := newScene(t)
	order := s.yardOrder.ID
	hold := func(yes bool) {
		t.Helper()
		s.as(s.studio, func(tx *ledger.Tx) error {
			at := 0
			_, err := tx.SetRetention(s.ctx(), ledger.NewRetention{WorkOrder: order, SupersededDays: &at, LegalHold: yes, Reason: "a dispute"})
			return err
		})
	}
	first, _ := s.superseded(s.yard, order) // its leaf is written, its bytes are still there
	abandoned := s.open(s.yard, s.yardProp.Milestones[0].ID)
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.Abandon(s.ctx(), abandoned.ID); return err })
	other := s.open(s.lamp, s.lampProp.Milestones[0].ID)
	s.as(s.lamp, func(tx *ledger.Tx) error { _, err := tx.Abandon(s.ctx(), other.ID); return err })
	stray := []ledger.StoredObject{{Key: "wo/" + order.String() + "/evidence/" + fmt.Sprintf("%064x", 7), Size: 7}, {Key: "ref/" + order.String() + "/" + uuid.NewString() + "/" + uuid.NewString(), Size: 7},
		{Key: "in/" + s.yard.Party.String() + "/" + first.ID.String() + "/" + uuid.NewString(), Size: 7}}
	clock := s.clock()
	n, err := clock.MarkOrphans(s.ctx(), stray)
	require.NoError(t, err)
	require.Equal(t, 3, n, "marked before the hold")
	_, err = s.owner.Exec(s.ctx(), `UPDATE ph.orphan SET marked_at = now() - $1::interval, seen_at = now()`, ledger.OrphanWait*2)
	require.NoError(t, err)

	hold(true)
	removed, err := clock.Remove(s.ctx())
	require.NoError(t, err)
	require.Empty(t, removed, "of the rule")
	gone, err := clock.GiveUp(s.ctx())
	require.NoError(t, err)
	require.Len(t, gone, 1, "the other order's alone")
	require.Equal(t, other.ID, gone[0].Delivery)
	due, err := clock.Orphans(s.ctx())
	require.NoError(t, err)
	require.Empty(t, due, "what was marked before the hold")
	for _, d := range []ledger.Swept{{Studio: first.StudioID, Delivery: first.ID}, {Studio: abandoned.StudioID, Delivery: abandoned.ID}} {
		held, err := clock.Held(s.ctx(), d)
		require.NoError(t, err)
		require.True(t, held, "asked again just before each deletion")
	}

	hold(false)
	removed, err = clock.Remove(s.ctx())
	require.NoError(t, err)
	require.Len(t, removed, 1)
	gone, err = clock.GiveUp(s.ctx())
	require.NoError(t, err)
	require.Len(t, gone, 2)
	due, err = clock.Orphans(s.ctx())
	require.NoError(t, err)
	require.Len(t, due, 3)
	held, err := clock.Held(s.ctx(), removed[0])
	require.NoError(t, err)
	require.False(t, held)
}
