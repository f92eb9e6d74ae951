package ledger_test

import (
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func TestDeliveryFromOpenToPaid(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0]
	require.Equal(t, ledger.DeskVendor, ms.Desk)

	d := s.open(s.yard, ms.ID)
	require.Equal(t, 1, d.Number)
	require.Equal(t, ledger.DOpen, d.State)
	require.Len(t, d.Files, 2)
	require.Equal(t, "in/"+s.yard.Party.String()+"/"+d.ID.String()+"/"+d.Files[0].ID.String(), d.Files[0].ObjectKey)
	err := s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.OpenDelivery(s.ctx(), manifest(ms.ID)); return err })
	require.ErrorIs(t, err, ledger.ErrConflict, "one delivery at a time")

	d = s.seal(s.yard, d)
	require.Equal(t, ledger.DSealed, d.State)
	require.Equal(t, ledger.MInspecting, d.Milestone)
	require.Equal(t, ledger.IQueued, d.Inspection.State)
	again := s.seal(s.yard, d)
	require.Equal(t, d, again, "sealing twice gives the same delivery")

	_, err = s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.ErrorIs(t, err, ledger.ErrState, "nothing is accepted before it was inspected")

	job := s.inspect(passing())
	require.Equal(t, d.ID, job.Delivery.ID)
	require.Equal(t, "crate_large", job.PropCode)
	require.Equal(t, "sculpt", job.Milestone)
	require.Len(t, job.Delivery.Files, 2)
	require.Equal(t, []byte("prop: crate # first\n"), job.Spec.Document)
	require.Equal(t, ledger.MReview, s.state(ms.ID))

	var findings ledger.List[ledger.Finding]
	s.as(s.yard, func(tx *ledger.Tx) error {
		current, err := tx.CurrentInspection(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Equal(t, ledger.VerdictPass, current.Verdict)
		findings, err = tx.Findings(s.ctx(), current.ID, ledger.Page{Limit: 1})
		require.NoError(t, err)
		require.Len(t, findings.Items, 1)
		require.Equal(t, "budget.triangles", findings.Items[0].Check)
		require.InDelta(t, 1.25, *findings.Items[0].Measured, 0)
		findings, err = tx.Findings(s.ctx(), current.ID, ledger.Page{Limit: 1, After: findings.Next})
		require.NoError(t, err)
		require.Equal(t, "names.pattern", findings.Items[0].Check)
		require.Empty(t, findings.Next)
		objects, err := tx.EvidenceObjects(s.ctx(), current.ID)
		require.NoError(t, err)
		require.Len(t, objects, 1)
		return nil
	})

	off, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.Equal(t, s.studio.Name, off.ByName)
	require.NotNil(t, off.Payable)
	require.Equal(t, ms.AmountMinor, off.Payable.AmountMinor)
	require.Equal(t, "EUR", off.Payable.Currency)
	_, err = s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.ErrorIs(t, err, ledger.ErrState, "the second click")
	require.Equal(t, ledger.MAccepted, s.state(ms.ID))

	s.as(s.yard, func(tx *ledger.Tx) error {
		order, err := tx.WorkOrder(s.ctx(), s.yardOrder.ID)
		require.NoError(t, err)
		require.Equal(t, 1, order.Accepted)
		require.Equal(t, ms.AmountMinor, order.PayableMinor)
		require.Equal(t, "Harbour Studio", order.StudioName)
		pay, err := tx.Payables(s.ctx(), uuid.Nil, ledger.Page{})
		require.NoError(t, err)
		require.Len(t, pay.Items, 1)
		require.Equal(t, "crate_large", pay.Items[0].PropCode)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestReworkAndAcceptAsIs(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[1].ID
	d1 := s.deliver(s.yard, ms)
	s.inspect(failing())
	require.Equal(t, ledger.MFailed, s.state(ms))
	_, err := s.signOff(s.studio, d1.ID, ledger.Accept, "")
	require.ErrorContains(t, err, "2 blocking findings have no concession, the first is surface.deviation")
	_, err = s.signOff(s.studio, d1.ID, ledger.Return, "")
	require.ErrorIs(t, err, ledger.ErrInvalid, "a return needs its reason")
	_, err = s.signOff(s.studio, d1.ID, ledger.Return, "the lid stands proud")
	require.NoError(t, err)
	require.Equal(t, ledger.MReturned, s.state(ms))

	d2 := s.deliver(s.yard, ms)
	require.Equal(t, 2, d2.Number)
	_, err = s.signOff(s.studio, d1.ID, ledger.Return, "the old one")
	require.ErrorIs(t, err, ledger.ErrState, "a decision is about the newest delivery")
	job := s.inspect(failing())

	var c ledger.Concession
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		c, err = tx.GrantConcession(s.ctx(), ledger.NewConcession{Inspection: job.Inspection.ID, Ord: 2, Reason: "never seen from there"})
		return err
	})
	require.Equal(t, "surface.deviation", c.Check)
	err = s.try(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.GrantConcession(s.ctx(), ledger.NewConcession{Inspection: job.Inspection.ID, Ord: 0, Reason: "it passed"})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrState)
	off, err := s.signOff(s.studio, d2.ID, ledger.AcceptAsIs, "the shipping date")
	require.NoError(t, err)
	require.NotNil(t, off.Payable)
	s.as(s.yard, func(tx *ledger.Tx) error {
		all, err := tx.Concessions(s.ctx(), d2.ID)
		require.NoError(t, err)
		require.Len(t, all, 2)
		require.Equal(t, "the shipping date", all[1].Reason)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestNotEvaluatedIsNeverAcceptedAsIs(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	d := s.deliver(s.yard, ms)
	r := failing()
	r.Findings = append(r.Findings, ledger.Finding{Check: "file.format", Outcome: "not_evaluated", Blocks: true})
	s.inspect(r)
	_, err := s.signOff(s.studio, d.ID, ledger.AcceptAsIs, "we are late")
	require.ErrorContains(t, err, "file.format was not evaluated")
	require.Equal(t, ledger.MFailed, s.state(ms), "nothing of the refused decision stays")

	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.Reinspect(s.ctx(), d.ID, "a newer engine"); return err })
	s.inspect(unable())
	require.Equal(t, ledger.MStuck, s.state(ms))
	_, err = s.signOff(s.studio, d.ID, ledger.AcceptAsIs, "we are late")
	require.ErrorIs(t, err, ledger.ErrState)
	s.as(s.studio, func(tx *ledger.Tx) error {
		all, err := tx.Inspections(s.ctx(), d.ID)
		require.NoError(t, err)
		require.Len(t, all, 2)
		require.True(t, all[0].Current)
		require.False(t, all[1].Current)
		require.Equal(t, "memory", all[0].Cause)
		return nil
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestWhoMaySignOff(t *testing.T) {
	s := newScene(t)
	producer := s.member(s.studio, "Pia", "pia@harbour.example", ledger.Producer)
	tech := s.member(s.studio, "Tam", "tam@harbour.example", ledger.TechnicalArtist)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	for _, row := range []struct {
		name string
		who  ledger.Who
		d    ledger.Decision
		want error
	}{
		{"vendor", s.yard, ledger.Accept, ledger.ErrForbidden},
		{"producer", producer, ledger.Accept, ledger.ErrForbidden},
		{"technical artist, mid tier", tech, ledger.Accept, ledger.ErrForbidden},
		{"other vendor sees nothing", s.lamp, ledger.Accept, ledger.ErrForbidden},
		{"technical artist may return", tech, ledger.Return, nil},
	} {
		_, err := s.signOff(row.who, d.ID, row.d, "a reason")
		if row.want != nil {
			require.ErrorIs(t, err, row.want, row.name)
		} else {
			require.NoError(t, err, row.name)
		}
	}
}

func TestNobodySignsOffTheirOwnDelivery(t *testing.T) {
	s := newScene(t)
	d := s.deliver(s.yard, s.yardProp.Milestones[0].ID)
	s.inspect(passing())
	// The same person on both sides cannot come about through the service: it is set up behind its back.
	s.tamper(`UPDATE ph.delivery SET sealed_by = $2 WHERE id = $1`, d.ID, s.studio.Member)
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.ErrorIs(t, err, ledger.ErrForbidden)
	require.ErrorContains(t, err, "own delivery")
	// And the database refuses it by itself.
	_, err = s.owner.Exec(s.ctx(), `SET session_replication_role = origin`)
	require.NoError(t, err)
	_, err = s.owner.Exec(s.ctx(), `INSERT INTO ph.sign_off (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, inspection_id, id, decision, reason, by_member, by_role, opened_by, sealed_by)
		SELECT i.studio_id, i.vendor_id, i.work_order_id, i.prop_id, i.milestone_id, i.delivery_id, i.id, i.id, 'accept', '', $2, 'art_director', $2, $2 FROM ph.inspection i WHERE i.delivery_id = $1`, d.ID, s.studio.Member)
	require.ErrorContains(t, err, "sign_off_not_by_own_hand")
}

func TestSpecInForce(t *testing.T) {
	s := newScene(t)
	inForce := func() int {
		var p ledger.Prop
		s.as(s.yard, func(tx *ledger.Tx) (err error) { p, err = tx.Prop(s.ctx(), s.yardProp.ID); return err })
		return p.SpecInForce.Number
	}
	revise := func(text string) (r ledger.SpecRevision) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			r, err = tx.CreateSpecRevision(s.ctx(), spec(s.yardProp.ID, text))
			return err
		})
		return r
	}
	ack := func(id uuid.UUID) error {
		return s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.AcknowledgeSpec(s.ctx(), id); return err })
	}
	require.Equal(t, 1, inForce())
	second := revise("second")
	require.Equal(t, 2, inForce(), "before work begins the newest is in force")
	d := s.open(s.yard, s.yardProp.Milestones[0].ID)
	require.Equal(t, second.ID, d.SpecRevision)
	third, fourth := revise("third"), revise("fourth")
	require.Equal(t, 2, inForce(), "once work has begun a new one waits for the vendor")
	s.as(s.yard, func(tx *ledger.Tx) error {
		p, err := tx.Prop(s.ctx(), s.yardProp.ID)
		require.NoError(t, err)
		require.Equal(t, 4, p.SpecOffered.Number)
		return nil
	})
	s.seal(s.yard, d)
	require.Equal(t, 2, s.claim().Spec.Number, "the delivery is judged by the one in force")

	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.AcknowledgeSpec(s.ctx(), fourth.ID); return err }), ledger.ErrForbidden)
	require.ErrorIs(t, s.try(s.lamp, func(tx *ledger.Tx) error { _, err := tx.AcknowledgeSpec(s.ctx(), fourth.ID); return err }), ledger.ErrNotFound)
	require.NoError(t, ack(fourth.ID))
	require.NoError(t, ack(fourth.ID), "twice is fine")
	require.Equal(t, 4, inForce())
	require.ErrorIs(t, ack(third.ID), ledger.ErrState, "an older one cannot come back")
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

func TestAbandonAndCancel(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones[0].ID
	d := s.open(s.yard, ms)
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(s.ctx(), d.ID); return err })
	abandon := func(tx *ledger.Tx) error { _, err := tx.Abandon(s.ctx(), d.ID); return err }
	require.ErrorIs(t, s.try(s.yard, abandon), ledger.ErrState, "not while it is being sealed")
	s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.CancelSeal(s.ctx(), d.ID); return err })
	s.as(s.yard, abandon)
	s.as(s.yard, abandon)
	require.ErrorIs(t, s.trySeal(s.yard, &d), ledger.ErrState)
	d2 := s.deliver(s.yard, ms)
	require.Equal(t, 2, d2.Number)
	job := s.claim()
	s.as(s.studio, func(tx *ledger.Tx) error {
		m, err := tx.CancelMilestone(s.ctx(), ms, "cut from the level", nil)
		require.Equal(t, ledger.MCancelled, m.State)
		return err
	})
	require.NoError(t, s.worker.Record(s.ctx(), job.Inspection.ID, job.Fence, passing(), nil), "a result of a cancelled milestone is kept")
	require.Equal(t, ledger.MCancelled, s.state(ms))
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}
