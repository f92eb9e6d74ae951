//go:build full

package ledger_test

import (
	"fmt"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/ledger"
)

// Walks over batches that are accepted in part while permissions are asked for, granted and revoked: three props, two of
// them pieces of a kit, two milestones each. The limit of the one check is 2 mm; what a delivery measures is drawn.

var permissionRules = rules{
	{"requested", "studio", "grant"}: "granted", {"requested", "studio", "refuse"}: "refused",
	{"requested", "vendor", "withdraw"}: "withdrawn", {"granted", "studio", "revoke"}: "revoked",
}

const walkLimit = 2.0

type batchWalk struct {
	s     *scene
	order ledger.WorkOrder
	props []ledger.Prop // the first two are of the kit

	slots       []slot
	batches     []batch
	permissions []permit
	paid        int64
}

type slot struct { // a milestone
	id       uuid.UUID
	prop     int
	amount   int64
	state    ledger.MilestoneState
	newest   uuid.UUID // sealed delivery
	measured float64   // of that
	open     bool      // a delivery is open
}

type batch struct {
	id         uuid.UUID
	slots      []int
	deliveries map[int]uuid.UUID
	dropped    map[int]bool // abandoned
	sealed     bool
}

type permit struct {
	id    uuid.UUID
	scope string // order, kit, prop
	prop  int
	worst float64 // 0: any
	state string
}

func (p permit) covers(prop int, measured float64) bool {
	return p.state == "granted" && (p.scope == "order" || p.scope == "kit" && prop < 2 || p.scope == "prop" && prop == p.prop) && (p.worst == 0 || measured <= p.worst)
}

func (w *batchWalk) permitted(s slot) bool {
	for _, p := range w.permissions {
		if p.covers(s.prop, s.measured) {
			return true
		}
	}
	return false
}

func TestRandomWalksOverBatches(t *testing.T) {
	s := newScene(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		w := newBatchWalk(s, n)
		acts := []func(*rapid.T){w.openBatch, w.openBatch, w.sealBatch, w.sealBatch, w.decideMany, w.decideMany, w.decideMany, w.permit, w.permit, w.decidePermit, w.decidePermit, w.abandon, w.behind}
		for range rapid.IntRange(4, 14).Draw(rt, "steps") {
			acts[rapid.IntRange(0, len(acts)-1).Draw(rt, "act")](rt)
			w.agrees(rt)
		}
		if r := s.verify(w.order.ID); !r.OK() {
			rt.Fatalf("the leaves do not lead to what is there: %v", r.Problems)
		}
	})
}

func newBatchWalk(s *scene, n int) *batchWalk {
	w := &batchWalk{s: s}
	s.as(s.studio, func(tx *ledger.Tx) (err error) {
		w.order, err = tx.CreateWorkOrder(s.ctx(), ledger.NewWorkOrder{Project: s.yardOrder.ProjectID, Vendor: s.yard.Party, Code: fmt.Sprintf("WO-BATCH-%d", n), Title: "Planks", Currency: "EUR", RoundsIncluded: 2, ReviewDays: 5})
		for i := 0; i < 3 && err == nil; i++ {
			in := ledger.NewProp{WorkOrder: w.order.ID, Code: fmt.Sprintf("plank_%d", i), Title: "A plank", Tier: "mid", PriceMinor: 1_000 + int64(i), Kit: "jetty",
				Milestones: []ledger.NewMilestone{{Kind: "sculpt", ShareBP: 3333}, {Kind: "game_mesh", ShareBP: 6667}}}
			if i == 2 {
				in.Kit = ""
			}
			var p ledger.Prop
			if p, err = tx.CreateProp(s.ctx(), in); err == nil {
				_, err = tx.CreateSpecRevision(s.ctx(), spec(p.ID, "first"))
			}
			w.props = append(w.props, p)
		}
		return err
	})
	for i, p := range w.props {
		for _, m := range p.Milestones {
			w.slots = append(w.slots, slot{id: m.ID, prop: i, amount: m.AmountMinor, state: ledger.MOpen})
		}
	}
	return w
}

// takes says whether a milestone in this state takes a delivery.
func takes(s ledger.MilestoneState) bool {
	return s == ledger.MOpen || s == ledger.MFailed || s == ledger.MReturned
}

func (w *batchWalk) openBatch(rt *rapid.T) {
	b := batch{slots: rapid.SliceOfNDistinct(rapid.IntRange(0, len(w.slots)-1), 1, 4, rapid.ID[int]).Draw(rt, "milestones"), deliveries: map[int]uuid.UUID{}, dropped: map[int]bool{}}
	in := ledger.NewBatch{WorkOrder: w.order.ID, Title: "Friday"}
	ok := true
	for _, i := range b.slots {
		in.Deliveries = append(in.Deliveries, manifest(w.slots[i].id))
		ok = ok && takes(w.slots[i].state) && !w.slots[i].open
	}
	var got ledger.Batch
	err := w.s.try(w.s.yard, func(tx *ledger.Tx) (err error) { got, err = tx.OpenBatch(w.s.ctx(), in); return err })
	told(rt, "opening a batch", err, ok, ledger.ErrState, ledger.ErrConflict)
	if !ok {
		return
	}
	b.id = got.ID
	for _, d := range got.Deliveries {
		for _, i := range b.slots {
			if w.slots[i].id == d.MilestoneID {
				b.deliveries[i], w.slots[i].open = d.ID, true
			}
		}
	}
	w.batches = append(w.batches, b)
}

func (w *batchWalk) pick(rt *rapid.T) *batch {
	if len(w.batches) == 0 {
		return nil
	}
	return &w.batches[rapid.IntRange(0, len(w.batches)-1).Draw(rt, "batch")]
}

// sealBatch seals and has everything inspected: all or none.
func (w *batchWalk) sealBatch(rt *rapid.T) {
	b := w.pick(rt)
	if b == nil {
		return
	}
	err := w.s.try(w.s.yard, func(tx *ledger.Tx) error { _, err := tx.BeginSealBatch(w.s.ctx(), b.id); return err })
	if err == nil {
		err = w.s.try(w.s.yard, func(tx *ledger.Tx) error {
			now, err := tx.Batch(w.s.ctx(), b.id)
			if err != nil {
				return err
			}
			arrived := map[uuid.UUID][]ledger.Arrived{}
			for _, d := range now.Deliveries {
				arrived[d.ID] = arrivedOf(d)
			}
			_, err = tx.FinishSealBatch(w.s.ctx(), b.id, arrived)
			return err
		})
	}
	ok, left := true, 0
	for _, i := range b.slots {
		if !b.dropped[i] {
			left++
			ok = ok && takes(w.slots[i].state)
		}
	}
	if b.sealed {
		told(rt, "sealing again", err, true)
		return
	}
	told(rt, "sealing", err, ok && left > 0, ledger.ErrState)
	if err != nil {
		return
	}
	b.sealed = true
	for _, i := range b.slots {
		if !b.dropped[i] {
			w.slots[i].state, w.slots[i].open, w.slots[i].newest = ledger.MInspecting, false, b.deliveries[i]
		}
	}
	for range left {
		w.inspect(rt)
	}
}

func (w *batchWalk) inspect(rt *rapid.T) {
	job := w.s.claim()
	value := rapid.SampledFrom([]float64{1, 3, 5}).Draw(rt, "measured")
	r := passing()
	if value > walkLimit {
		r = measured("surface.deviation", "lid", value, walkLimit)
	}
	require.NoError(w.s.t, w.s.worker.Record(w.s.ctx(), job.Inspection.ID, job.Fence, r, nil))
	for i := range w.slots {
		m := &w.slots[i]
		if m.newest != job.Delivery.ID {
			continue
		}
		m.measured, m.state = value, ledger.MReview
		if value > walkLimit && !w.permitted(*m) {
			m.state = ledger.MFailed
		}
		return
	}
	rt.Fatalf("an inspection of a delivery that nobody sealed")
}

// decides is what a decision leads to, and whether it may be taken now.
func (w *batchWalk) decides(m slot, delivery uuid.UUID, d ledger.Decision) (ledger.MilestoneState, bool) {
	clear := m.measured <= walkLimit || w.permitted(m)
	switch {
	case m.newest != delivery, m.state != ledger.MReview && m.state != ledger.MFailed:
		return "", false
	case d == ledger.Return:
		return ledger.MReturned, true
	case d == ledger.Accept:
		return ledger.MAccepted, clear
	}
	return ledger.MAccepted, m.state == ledger.MFailed // as it is: only where something fails
}

func (w *batchWalk) decideMany(rt *rapid.T) {
	b := w.pick(rt)
	if b == nil {
		return
	}
	chosen := rapid.SliceOfNDistinct(rapid.SampledFrom(b.slots), 1, len(b.slots), rapid.ID[int]).Draw(rt, "of them")
	to := map[int]ledger.MilestoneState{}
	var in []ledger.NewSignOff
	ok := true
	for _, i := range chosen {
		d := rapid.SampledFrom([]ledger.Decision{ledger.Accept, ledger.Accept, ledger.AcceptAsIs, ledger.Return}).Draw(rt, "decision")
		in = append(in, ledger.NewSignOff{Delivery: b.deliveries[i], Decision: d, Reason: "because"})
		next, may := w.decides(w.slots[i], b.deliveries[i], d)
		to[i], ok = next, ok && may && b.sealed && !b.dropped[i]
	}
	err := w.s.try(w.s.studio, func(tx *ledger.Tx) error { _, err := tx.SignOffMany(w.s.ctx(), b.id, in); return err })
	told(rt, fmt.Sprintf("deciding on %v", in), err, ok, ledger.ErrState)
	if !ok {
		return
	}
	for i, state := range to {
		if w.slots[i].state = state; state == ledger.MAccepted {
			w.paid += w.slots[i].amount
		}
	}
}

func (w *batchWalk) permit(rt *rapid.T) {
	by, side := w.s.studio, "studio"
	if rapid.Bool().Draw(rt, "by the vendor") {
		by, side = w.s.yard, "vendor"
	}
	p := permit{scope: rapid.SampledFrom([]string{"order", "kit", "prop"}).Draw(rt, "for"), prop: rapid.IntRange(0, 2).Draw(rt, "prop"),
		worst: rapid.SampledFrom([]float64{0, 3, 4}).Draw(rt, "worst"), state: map[string]string{"studio": "granted", "vendor": "requested"}[side]}
	in := ledger.NewPermission{WorkOrder: w.order.ID, Kind: "permit", Check: "surface.deviation", Reason: "old wood warps"}
	switch p.scope {
	case "kit":
		in.Kit = "jetty"
	case "prop":
		in.Prop = w.props[p.prop].ID
	}
	if p.worst > 0 {
		in.Worst = &p.worst
	}
	w.s.as(by, func(tx *ledger.Tx) error {
		got, err := tx.Permit(w.s.ctx(), in)
		p.id = got.ID
		return err
	})
	w.permissions = append(w.permissions, p)
}

func (w *batchWalk) someone(rt *rapid.T) (ledger.Who, string) {
	side := rapid.SampledFrom([]string{"studio", "studio", "vendor", "stranger"}).Draw(rt, "who")
	return map[string]ledger.Who{"studio": w.s.studio, "vendor": w.s.yard, "stranger": w.s.lamp}[side], side
}

func (w *batchWalk) decidePermit(rt *rapid.T) {
	if len(w.permissions) == 0 {
		return
	}
	who, side := w.someone(rt)
	p := &w.permissions[rapid.IntRange(0, len(w.permissions)-1).Draw(rt, "permission")]
	event := rapid.SampledFrom([]string{"grant", "refuse", "withdraw", "revoke"}).Draw(rt, "event")
	err := w.s.try(who, func(tx *ledger.Tx) error {
		_, err := tx.DecidePermission(w.s.ctx(), p.id, event, "because")
		return err
	})
	to, ok := permissionRules[[3]string{p.state, side, event}]
	told(rt, event+" by the "+side, err, ok, ledger.ErrNotFound, ledger.ErrState)
	if ok {
		p.state = to
	}
}

// abandon gives one delivery of a batch up.
func (w *batchWalk) abandon(rt *rapid.T) {
	b := w.pick(rt)
	if b == nil {
		return
	}
	i := rapid.SampledFrom(b.slots).Draw(rt, "milestone")
	err := w.s.try(w.s.yard, func(tx *ledger.Tx) error { _, err := tx.Abandon(w.s.ctx(), b.deliveries[i]); return err })
	if b.dropped[i] {
		told(rt, "abandoning again", err, err == nil, ledger.ErrState) // said again or refused: nothing changes
		return
	}
	told(rt, "abandoning", err, !b.sealed, ledger.ErrState)
	if err == nil {
		b.dropped[i], w.slots[i].open = true, false
	}
}

// behind writes a move of a permission straight into the table, as a party's own role; it is rolled back.
func (w *batchWalk) behind(rt *rapid.T) {
	if len(w.permissions) == 0 {
		return
	}
	who, side := w.someone(rt)
	p := w.permissions[rapid.IntRange(0, len(w.permissions)-1).Draw(rt, "permission")]
	to := rapid.SampledFrom([]string{"requested", "granted", "granted", "refused", "withdrawn", "revoked"}).Draw(rt, "to")
	event := rapid.SampledFrom([]string{"grant", "grant", "refuse", "withdraw", "revoke", "studio_grants"}).Draw(rt, "event")
	meant, ok := permissionRules[[3]string{p.state, side, event}]
	changed := int64(0)
	err := w.s.try(who, func(tx *ledger.Tx) error {
		tag, err := tx.Exec(w.s.ctx(), `UPDATE ph.permission SET state = $2, last_event = $3 WHERE id = $1`, p.id, to, event)
		if err != nil {
			return err
		}
		changed = tag.RowsAffected()
		return errDone
	})
	if took, allowed := errorsIs(err, errDone) && changed == 1, ok && meant == to; took != allowed {
		rt.Fatalf("%s to %s by the %s, behind the program: the model says %t, the database %t (%v)", event, to, side, allowed, took, err)
	}
}

func (w *batchWalk) agrees(rt *rapid.T) {
	w.s.as(w.s.yard, func(tx *ledger.Tx) error {
		for i, p := range w.props {
			got, err := tx.Prop(w.s.ctx(), p.ID)
			require.NoError(w.s.t, err)
			for j, m := range got.Milestones {
				if want := w.slots[2*i+j]; m.ID != want.id || m.State != want.state {
					rt.Fatalf("%s of %s is %s, the model says %s", m.Kind, p.Code, m.State, want.state)
				}
			}
		}
		for _, p := range w.permissions {
			if got, err := tx.Permission(w.s.ctx(), p.id); err != nil || string(got.State) != p.state {
				rt.Fatalf("permission is %s, the model says %s (%v)", got.State, p.state, err)
			}
		}
		for _, b := range w.batches {
			if got, err := tx.Batch(w.s.ctx(), b.id); err != nil || (got.SealedAt != nil) != b.sealed {
				rt.Fatalf("batch %d is sealed: %t, the model says %t (%v)", got.Number, got.SealedAt != nil, b.sealed, err)
			}
		}
		releasedAgrees(rt, w.s, tx, w.order.ID, w.paid)
		return nil
	})
}
