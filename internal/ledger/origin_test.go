package ledger_test

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// declared is a declaration of one scan.
func declared(p ledger.Prop) ledger.NewOrigin {
	return ledger.NewOrigin{Prop: p.ID, Statement: "All else is our own work.", Items: []ledger.OriginItem{{Kind: "scan", What: "a rusted chain", Licence: "CC0 1.0", Holder: "the yard's own library"}}}
}

// goneOn lets a prop of the yard's go on with the other vendor, after a delivery of its first milestone.
func (s *scene) goneOn() (r ledger.Reassignment, left ledger.Prop) {
	s.t.Helper()
	left = s.prop(s.yardOrder.ID, "raft")
	s.deliver(s.yard, left.Milestones[0].ID)
	s.inspect(passing())
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		r, err = tx.Reassign(s.ctx(), ledger.NewReassignment{Prop: left.ID, WorkOrder: s.lampOrder.ID, PriceMinor: 55_500, Reason: "The yard is full until spring."})
		if err == nil {
			_, err = tx.PublishReferencePack(s.ctx(), r.Pack.ID)
		}
		return err
	})
	return r, left
}

func TestOriginIsOwedBeforeAFinalIsPaid(t *testing.T) {
	s := newScene(t)
	var prop ledger.Prop
	var order ledger.WorkOrder
	s.as(s.studio, func(tx *ledger.Tx) error {
		project, err := tx.CreateProject(s.ctx(), ledger.NewProject{Code: "ORIGIN", Title: "Origin"})
		if err != nil {
			return err
		}
		if order, err = tx.CreateWorkOrder(s.ctx(), ledger.NewWorkOrder{Project: project.ID, Vendor: s.yard.Party, Code: "ORIGIN", Title: "Origin", Currency: "EUR", ReviewDays: 5, OriginRequired: true}); err != nil {
			return err
		}
		if prop, err = tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order.ID, Code: "sign", Title: "Sign", Tier: "mid", PriceMinor: 1000, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}}); err != nil {
			return err
		}
		_, err = tx.CreateSpecRevision(s.ctx(), spec(prop.ID, "first"))
		return err
	})
	require.True(t, order.OriginRequired)
	d := s.deliver(s.yard, prop.Milestones[0].ID)
	s.inspect(passing())
	so, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	require.Nil(t, so.Payable, "accepted, and not paid yet")
	holds := func() (list []ledger.PaymentHold) {
		s.as(s.studio, func(tx *ledger.Tx) (err error) { list, err = tx.PaymentHolds(s.ctx(), order.ID); return err })
		return list
	}
	require.Equal(t, []string{"origin declaration"}, holds()[0].Missing)

	for name, in := range map[string]ledger.OriginItem{
		"unknown kind": {Kind: "dream", What: "x", Licence: "y"}, "nothing named": {Kind: "font", Licence: "OFL 1.1"}, "no licence": {Kind: "font", What: "letters on the sign"},
	} {
		err := s.try(s.yard, func(tx *ledger.Tx) error {
			_, err := tx.DeclareOrigin(s.ctx(), ledger.NewOrigin{Prop: prop.ID, Items: []ledger.OriginItem{in}})
			return err
		})
		require.ErrorIs(t, err, ledger.ErrInvalid, name)
	}
	require.ErrorIs(t, s.try(s.lamp, func(tx *ledger.Tx) error { _, err := tx.DeclareOrigin(s.ctx(), declared(prop)); return err }), ledger.ErrNotFound, "another vendor's prop")
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.DeclareOrigin(s.ctx(), declared(prop)); return err }), ledger.ErrForbidden, "the vendor declares")

	s.as(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.DeclareOrigin(s.ctx(), ledger.NewOrigin{Prop: prop.ID, Statement: "All our own."})
		require.NoError(t, err)
		_, err = tx.DeclareOrigin(s.ctx(), declared(prop))
		return err
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		all, err := tx.Origins(s.ctx(), prop.ID)
		require.Len(t, all, 2, "the earlier one stays on record")
		require.Equal(t, "CC0 1.0", all[0].Items[0].Licence, "newest first")
		require.Empty(t, all[1].Items)
		return err
	})
	require.Empty(t, holds()[0].Missing)
	s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.EndPaymentHold(s.ctx(), holds()[0].ID, ""); return err })
}

func TestCapacityByWeek(t *testing.T) {
	s := newScene(t)
	monday := ledger.Monday(time.Date(2031, 3, 13, 15, 0, 0, 0, time.UTC)) // a Thursday, by the calendar of ISO 8601
	require.Equal(t, "2031-03-10", monday.Format(time.DateOnly))
	require.Equal(t, monday, ledger.Monday(monday))
	require.Equal(t, monday, ledger.Monday(monday.AddDate(0, 0, 6)), "Sunday ends the week")
	due, next := monday.AddDate(0, 0, 4), monday.AddDate(0, 0, 7)
	s.as(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: s.yardOrder.ID, Code: "oar", Title: "Oar", Tier: "mid", PriceMinor: 100, Milestones: []ledger.NewMilestone{
			{Kind: "sculpt", ShareBP: 2000, Due: &due}, {Kind: "game_mesh", ShareBP: 4000, Due: &due}, {Kind: "final", ShareBP: 4000, Due: &next}}})
		return err
	})
	s.as(s.yard, func(tx *ledger.Tx) error {
		for _, slots := range []int{5, 3} { // said again, it changes
			w, err := tx.SetCapacity(s.ctx(), due, slots)
			require.NoError(t, err)
			require.Equal(t, slots, *w.Slots)
		}
		_, err := tx.SetCapacity(s.ctx(), due, -1)
		require.ErrorIs(t, err, ledger.ErrInvalid)
		return nil
	})
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.SetCapacity(s.ctx(), due, 1); return err }), ledger.ErrForbidden)
	var weeks []ledger.Week
	s.as(s.studio, func(tx *ledger.Tx) (err error) { weeks, err = tx.Capacity(s.ctx(), due, 2); return err })
	require.Len(t, weeks, 4, "two vendors, two weeks")
	yard := weeks[2:]
	require.Equal(t, "Salvage Yard", yard[0].VendorName)
	require.Equal(t, monday, yard[0].On.UTC())
	open, said := yard[0].Open()
	require.Equal(t, []any{2, 1, true}, []any{yard[0].Planned, open, said})
	_, said = yard[1].Open()
	require.Equal(t, []any{1, false}, []any{yard[1].Planned, said}, "nothing was said of the second week")
	s.as(s.lamp, func(tx *ledger.Tx) (err error) { weeks, err = tx.Capacity(s.ctx(), due, 2); return err })
	require.Len(t, weeks, 2, "a vendor sees its own")
	require.Zero(t, weeks[0].Planned+weeks[1].Planned)
}

func TestAPropGoesOnWithAnotherVendor(t *testing.T) {
	s := newScene(t)
	r, left := s.goneOn()
	require.Equal(t, []any{"raft", s.lampOrder.ID, int64(55_500)}, []any{r.To.Code, r.To.WorkOrderID, r.To.PriceMinor})
	require.Len(t, r.To.Milestones, 3, "nothing was accepted, so all of them go on")
	sum := 0
	for _, m := range r.To.Milestones {
		sum += m.ShareBP
		require.Equal(t, ledger.MOpen, m.State)
	}
	require.Equal(t, 10_000, sum)
	require.NotEmpty(t, r.Pack.Files)
	require.Len(t, r.Copies, len(r.Pack.Files), "each file has its object to copy")
	for i, c := range r.Copies {
		require.Equal(t, r.Pack.Files[i].ObjectKey, c.To)
		require.Contains(t, c.From, "in/"+s.yard.Party.String())
		require.Contains(t, r.Pack.Files[i].Path, "sculpt/")
	}

	s.as(s.yard, func(tx *ledger.Tx) error {
		p, err := tx.Prop(s.ctx(), left.ID)
		for _, m := range p.Milestones {
			require.Equal(t, ledger.MCancelled, m.State)
		}
		paid, perr := tx.Payables(s.ctx(), s.yardOrder.ID, ledger.Page{})
		require.NoError(t, perr)
		require.Len(t, paid.Items, 3, "the fee that the order promises, for each")
		return err
	})
	s.as(s.lamp, func(tx *ledger.Tx) error {
		pack, err := tx.ReferencePack(s.ctx(), r.Pack.ID)
		require.NoError(t, err)
		require.Empty(t, pack.Note)
		_, err = tx.Prop(s.ctx(), left.ID)
		require.ErrorIs(t, err, ledger.ErrNotFound, "not where it came from")
		_, err = tx.Reassignment(s.ctx(), r.ID)
		require.ErrorIs(t, err, ledger.ErrNotFound)
		return nil
	})
	s.as(s.studio, func(tx *ledger.Tx) error {
		for _, id := range []ledger.Prop{left, r.To} {
			of, err := tx.ReassignmentOf(s.ctx(), id.ID)
			require.NoError(t, err)
			require.Equal(t, r.ID, of.ID)
			require.Empty(t, of.Copies, "its pack is published, nothing is left to copy")
		}
		_, err := tx.Reassign(s.ctx(), ledger.NewReassignment{Prop: left.ID, WorkOrder: s.lampOrder.ID, Reason: "again"})
		require.ErrorIs(t, err, ledger.ErrState)
		return nil
	})
	err := s.try(s.studio, func(tx *ledger.Tx) error {
		_, err := tx.Reassign(s.ctx(), ledger.NewReassignment{Prop: s.yardProp.ID, WorkOrder: s.yardOrder.ID, Reason: "x"})
		return err
	})
	require.ErrorIs(t, err, ledger.ErrInvalid, "the same vendor")
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error {
		_, err := tx.Reassign(s.ctx(), ledger.NewReassignment{Prop: s.yardProp.ID, WorkOrder: s.lampOrder.ID, Reason: "x"})
		return err
	}), ledger.ErrForbidden)
}

// A prop's story has everything that happened around it, and nothing of another's.
func TestStoryOfAProp(t *testing.T) {
	s := newScene(t)
	s.furtherActs(s.yard, s.yardProp)
	order, set, boat := s.aftercare(s.yard)
	_ = order
	story := func(who ledger.Who, id ledger.Prop) (st ledger.Story) {
		s.as(who, func(tx *ledger.Tx) error {
			p, err := tx.Prop(s.ctx(), id.ID)
			if err != nil {
				return err
			}
			st, err = tx.Story(s.ctx(), p)
			return err
		})
		return st
	}
	of := story(s.studio, s.yardProp)
	require.NotEmpty(t, of.Questions)
	require.NotEmpty(t, of.Questions[0].Messages)
	require.NotEmpty(t, of.Permissions)
	require.NotEmpty(t, of.Changes)
	require.NotEmpty(t, of.Facts)
	for i, f := range of.Facts[1:] {
		require.Less(t, f.Index, of.Facts[i].Index, "newest first, each once")
	}
	require.NotEmpty(t, story(s.yard, s.yardProp).Facts)
	require.NotEmpty(t, story(s.studio, boat).Uses)
	require.NotEmpty(t, story(s.studio, set).UsedBy)
	require.NotEmpty(t, story(s.studio, set).Maintenance)
	require.NotEmpty(t, story(s.studio, set).Holds)
	require.NotEmpty(t, story(s.studio, set).Handovers)
	require.Empty(t, story(s.yard, set).Handovers, "the studio's alone")
	require.NotEmpty(t, story(s.yard, boat).Origins)
	require.NotEmpty(t, story(s.yard, boat).Packs)
	other := story(s.lamp, s.lampProp)
	require.Empty(t, other.Questions)
	require.Len(t, other.Facts, 2, "ordered, and its spec")
}

// A prop whose deliveries have more files than a pack of references may is handed on all the same.
func TestAPropOfManyFilesGoesOn(t *testing.T) {
	s := newScene(t)
	prop := s.prop(s.yardOrder.ID, "rope_library")
	sum := sha256.Sum256([]byte("mesh"))
	in := ledger.Manifest{Milestone: prop.Milestones[0].ID}
	for i := range 260 {
		in.Files = append(in.Files, ledger.NewFile{Path: fmt.Sprintf("rope_%03d.glb", i), Role: "game", Size: 4, SHA256: sum[:], MediaType: "model/gltf-binary"})
	}
	var d ledger.Delivery
	s.as(s.yard, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(s.ctx(), in); return err })
	s.seal(s.yard, d)
	s.inspect(passing())
	s.as(s.studio, func(tx *ledger.Tx) error {
		r, err := tx.Reassign(s.ctx(), ledger.NewReassignment{Prop: prop.ID, WorkOrder: s.lampOrder.ID, PriceMinor: 100, Reason: "The yard is full until spring."})
		if err == nil {
			require.Len(t, r.Copies, 260)
			require.Len(t, r.Pack.Files, 260)
		}
		return err
	})
}
