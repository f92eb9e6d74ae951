//go:build full

package ledger_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/ledger"
)

// Walks over what is agreed while work goes on: one order, one prop, change orders and questions by both sides, time that
// passes, milestones that are cancelled. Beside it runs a model that knows nothing of the program but the rules.

// rules are a machine's moves, written down a second time: state, who, event to the next state.
type rules map[[3]string]string

var changeRules = rules{
	{"for_vendor", "vendor", "agree"}: "agreed", {"for_vendor", "vendor", "decline"}: "declined", {"for_vendor", "studio", "withdraw"}: "withdrawn",
	{"for_studio", "studio", "agree"}: "agreed", {"for_studio", "studio", "decline"}: "declined", {"for_studio", "vendor", "withdraw"}: "withdrawn",
}

var questionRules = rules{
	{"asked", "studio", "answer"}: "answered", {"answered", "vendor", "ask_again"}: "asked",
	{"asked", "vendor", "close"}: "closed", {"answered", "vendor", "close"}: "closed",
}

type termsWalk struct {
	s     *scene
	order ledger.WorkOrder
	prop  ledger.Prop

	stages    []stage
	began     bool
	changes   []change
	questions []question
	blocked   time.Duration
	paid      int64
}

type stage struct { // a milestone
	amount    int64
	due       *time.Time
	cancelled bool
}

type change struct {
	id    uuid.UUID
	stage int
	delta int64
	due   *time.Time
	state string
}

type question struct {
	id     uuid.UUID
	blocks bool
	state  string
	waited time.Duration
}

func TestRandomWalksOverTerms(t *testing.T) {
	s := newScene(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		w := &termsWalk{s: s}
		w.order, w.prop = s.order(s.yard, fmt.Sprintf("WO-TERMS-%d", n), "crate")
		for _, m := range w.prop.Milestones {
			w.stages = append(w.stages, stage{amount: m.AmountMinor, due: m.Due})
		}
		acts := []func(*rapid.T){w.offer, w.offer, w.decide, w.decide, w.decide, w.ask, w.reply, w.reply, w.pass, w.pass, w.begin, w.cancel, w.behind, w.behind}
		for range rapid.IntRange(4, 14).Draw(rt, "steps") {
			acts[rapid.IntRange(0, len(acts)-1).Draw(rt, "act")](rt)
			w.agrees(rt)
		}
		if r := s.verify(w.order.ID); !r.OK() {
			rt.Fatalf("the leaves do not lead to what is there: %v", r.Problems)
		}
	})
}

// caller draws who acts: either side, or a vendor whom none of it concerns.
func (w *termsWalk) caller(rt *rapid.T) (ledger.Who, string) {
	side := rapid.SampledFrom([]string{"studio", "vendor", "studio", "vendor", "stranger"}).Draw(rt, "who")
	return map[string]ledger.Who{"studio": w.s.studio, "vendor": w.s.yard, "stranger": w.s.lamp}[side], side
}

// told holds an act's outcome against the model: nil where it is allowed, else one of the kinds.
func told(rt *rapid.T, what string, err error, allowed bool, kinds ...error) {
	switch {
	case allowed && err != nil:
		rt.Fatalf("%s: allowed by the model, refused: %v", what, err)
	case !allowed && err == nil:
		rt.Fatalf("%s: refused by the model, taken by the program", what)
	case !allowed && !isOneOf(err, kinds...):
		rt.Fatalf("%s: refused for another reason: %v", what, err)
	}
}

func (w *termsWalk) offer(rt *rapid.T) {
	who, side := w.caller(rt)
	i := rapid.IntRange(0, len(w.stages)-1).Draw(rt, "milestone")
	c := change{stage: i, delta: rapid.Int64Range(-40_000, 40_000).Draw(rt, "delta"), state: map[string]string{"studio": "for_vendor", "vendor": "for_studio"}[side]}
	if rapid.Bool().Draw(rt, "moves the date") {
		day := time.Now().UTC().Truncate(24*time.Hour).AddDate(0, 0, rapid.IntRange(-4, 4).Draw(rt, "days"))
		c.due = &day
	}
	err := w.s.try(who, func(tx *ledger.Tx) error {
		got, err := tx.OfferChange(w.s.ctx(), ledger.NewChangeOrder{Milestone: w.prop.Milestones[i].ID, Title: "A hinge", Reason: "it swings now", DeltaMinor: c.delta, Due: c.due})
		c.id = got.ID
		return err
	})
	told(rt, "offer by the "+side, err, side != "stranger" && !w.stages[i].cancelled && w.stages[i].amount+c.delta >= 0, ledger.ErrNotFound, ledger.ErrState, ledger.ErrInvalid)
	if err == nil {
		w.changes = append(w.changes, c)
	}
}

// decided is where a change order goes, and whether it may.
func (w *termsWalk) decided(c change, side, event string) (string, bool) {
	to, ok := changeRules[[3]string{c.state, side, event}]
	if ok && event == "agree" && (w.stages[c.stage].cancelled || w.stages[c.stage].amount+c.delta < 0) {
		ok = false
	}
	return to, ok
}

func (w *termsWalk) decide(rt *rapid.T) {
	if len(w.changes) == 0 {
		return
	}
	who, side := w.caller(rt)
	c := &w.changes[rapid.IntRange(0, len(w.changes)-1).Draw(rt, "change")]
	event := rapid.SampledFrom([]string{"agree", "agree", "decline", "withdraw"}).Draw(rt, "event")
	err := w.s.try(who, func(tx *ledger.Tx) error { _, err := tx.DecideChange(w.s.ctx(), c.id, event, "because"); return err })
	to, ok := w.decided(*c, side, event)
	told(rt, event+" by the "+side, err, ok, ledger.ErrNotFound, ledger.ErrState)
	if !ok {
		return
	}
	if c.state = to; to == "agreed" {
		w.stages[c.stage].amount += c.delta
		if c.due != nil {
			w.stages[c.stage].due = c.due
		}
	}
}

func (w *termsWalk) ask(rt *rapid.T) {
	who, side := w.caller(rt)
	q := question{blocks: rapid.IntRange(0, 3).Draw(rt, "blocks") > 0, state: "asked"}
	err := w.s.try(who, func(tx *ledger.Tx) error {
		got, err := tx.Ask(w.s.ctx(), ledger.NewQuestion{Prop: w.prop.ID, Text: "Which side is the front?", Blocks: q.blocks})
		q.id = got.ID
		return err
	})
	told(rt, "asking by the "+side, err, side == "vendor", ledger.ErrNotFound, ledger.ErrForbidden)
	if err == nil {
		w.questions = append(w.questions, q)
	}
}

func (w *termsWalk) reply(rt *rapid.T) {
	if len(w.questions) == 0 {
		return
	}
	who, side := w.caller(rt)
	q := &w.questions[rapid.IntRange(0, len(w.questions)-1).Draw(rt, "question")]
	event := rapid.SampledFrom([]string{"answer", "answer", "ask_again", "close"}).Draw(rt, "event")
	err := w.s.try(who, func(tx *ledger.Tx) error { _, err := tx.Reply(w.s.ctx(), q.id, event, "a word", uuid.Nil); return err })
	to, ok := questionRules[[3]string{q.state, side, event}]
	told(rt, event+" by the "+side, err, ok, ledger.ErrNotFound, ledger.ErrState)
	if ok {
		q.state = to
	}
}

// pass lets half days go by: what is under way began that much earlier.
func (w *termsWalk) pass(rt *rapid.T) {
	passed := time.Duration(rapid.IntRange(1, 6).Draw(rt, "half days")) * 12 * time.Hour
	for _, sql := range []string{`UPDATE ph.prop SET blocked_since = blocked_since - $2::interval WHERE id = $1`, `UPDATE ph.question SET since = since - $2::interval WHERE prop_id = $1 AND state = 'asked'`} {
		_, err := w.s.owner.Exec(w.s.ctx(), `SET session_replication_role = replica`)
		require.NoError(w.s.t, err)
		_, err = w.s.owner.Exec(w.s.ctx(), sql, w.prop.ID, passed)
		require.NoError(w.s.t, err)
	}
	waits := false
	for i := range w.questions {
		if w.questions[i].state == "asked" {
			w.questions[i].waited += passed
			waits = waits || w.questions[i].blocks
		}
	}
	if waits {
		w.blocked += passed
	}
}

func (w *termsWalk) begin(*rapid.T) {
	if !w.began && !w.stages[0].cancelled {
		w.s.open(w.s.yard, w.prop.Milestones[0].ID)
		w.began = true
	}
}

func (w *termsWalk) cancel(rt *rapid.T) {
	who, side := w.caller(rt)
	i := rapid.IntRange(0, len(w.stages)-1).Draw(rt, "milestone")
	m := &w.stages[i]
	var least int64
	if w.began {
		least = (m.amount + 3) / 4 // a quarter, in the vendor's favour
	}
	fee, said := least, (*int64)(nil)
	if rapid.Bool().Draw(rt, "says a fee") {
		fee = rapid.Int64Range(0, 50_000).Draw(rt, "fee")
		said = &fee
	}
	err := w.s.try(who, func(tx *ledger.Tx) error {
		_, err := tx.CancelMilestone(w.s.ctx(), w.prop.Milestones[i].ID, "cut", said)
		return err
	})
	ok := side == "studio" && !m.cancelled && fee >= least && fee <= m.amount
	told(rt, fmt.Sprintf("cancelling by the %s for %d of %d to %d", side, fee, least, m.amount), err, ok, ledger.ErrNotFound, ledger.ErrForbidden, ledger.ErrState, ledger.ErrInvalid)
	if ok {
		m.cancelled, w.paid = true, w.paid+fee
	}
}

// behind writes a move straight into the tables, as a party's own role: the database takes what the model allows and
// nothing else. It is rolled back.
func (w *termsWalk) behind(rt *rapid.T) {
	who, side := w.caller(rt)
	var sql string
	var id uuid.UUID
	var allowed bool
	var to, event string
	if n := rapid.IntRange(0, len(w.changes)+len(w.questions)).Draw(rt, "row"); n < len(w.changes) {
		c := w.changes[n]
		to = rapid.SampledFrom([]string{"for_vendor", "for_studio", "agreed", "agreed", "declined", "withdrawn"}).Draw(rt, "to")
		event = rapid.SampledFrom([]string{"agree", "agree", "decline", "withdraw", "vendor_offers"}).Draw(rt, "event")
		meant, ok := w.decided(c, side, event)
		sql, id, allowed = `UPDATE ph.change_order SET state = $2, last_event = $3 WHERE id = $1`, c.id, ok && meant == to
	} else if n -= len(w.changes); n < len(w.questions) {
		q := w.questions[n]
		to = rapid.SampledFrom([]string{"asked", "answered", "closed"}).Draw(rt, "to")
		event = rapid.SampledFrom([]string{"ask", "answer", "ask_again", "close"}).Draw(rt, "event")
		meant, ok := questionRules[[3]string{q.state, side, event}]
		sql, id, allowed = `UPDATE ph.question SET state = $2, last_event = $3 WHERE id = $1`, q.id, ok && meant == to
	} else {
		return
	}
	changed := int64(0)
	err := w.s.try(who, func(tx *ledger.Tx) error {
		tag, err := tx.Exec(w.s.ctx(), sql, id, to, event)
		if err != nil {
			return err
		}
		changed = tag.RowsAffected()
		return errDone
	})
	if took := errorsIs(err, errDone) && changed == 1; took != allowed {
		rt.Fatalf("%s to %s by the %s, behind the program: the model says %t, the database %t (%v)", event, to, side, allowed, took, err)
	}
}

// agrees holds everything that is read against the model.
func (w *termsWalk) agrees(rt *rapid.T) {
	near := func(what string, want, got time.Duration) {
		if d := got - want; d < 0 || d > time.Hour { // the walk itself takes its seconds
			rt.Fatalf("%s is %s, the model says %s", what, got, want)
		}
	}
	w.s.as(w.s.yard, func(tx *ledger.Tx) error {
		p, err := tx.Prop(w.s.ctx(), w.prop.ID)
		require.NoError(w.s.t, err)
		near("the time that the prop was blocked", w.blocked, p.Blocked)
		waits := false
		for _, q := range w.questions {
			got, err := tx.Question(w.s.ctx(), q.id)
			require.NoError(w.s.t, err)
			if string(got.State) != q.state {
				rt.Fatalf("question %d is %s, the model says %s", got.Number, got.State, q.state)
			}
			near("a question's time", q.waited, got.Waited)
			waits = waits || q.blocks && q.state == "asked"
		}
		if waits != (p.BlockedSince != nil) {
			rt.Fatalf("blocked now: %t, the model says %t", p.BlockedSince != nil, waits)
		}
		for _, c := range w.changes {
			if got, err := tx.ChangeOrder(w.s.ctx(), c.id); err != nil || string(got.State) != c.state {
				rt.Fatalf("change order is %s, the model says %s (%v)", got.State, c.state, err)
			}
		}
		w.stagesAgree(rt, tx)
		releasedAgrees(rt, w.s, tx, w.order.ID, w.paid)
		return nil
	})
}

func (w *termsWalk) stagesAgree(rt *rapid.T, tx *ledger.Tx) {
	today := time.Now().UTC().Truncate(24 * time.Hour)
	list, err := tx.MyWork(w.s.ctx(), ledger.WorkFilter{WorkOrder: w.order.ID}, ledger.Page{})
	require.NoError(w.s.t, err)
	items := map[uuid.UUID]ledger.WorkItem{}
	for _, i := range list.Items {
		items[i.Milestone.ID] = i
	}
	for i, m := range w.stages {
		got, ok := items[w.prop.Milestones[i].ID]
		switch {
		case !ok:
			rt.Fatalf("milestone %d is in no list", i)
		case got.Milestone.AmountMinor != m.amount:
			rt.Fatalf("milestone %d has %d, the model says %d", i, got.Milestone.AmountMinor, m.amount)
		case (got.Milestone.State == ledger.MCancelled) != m.cancelled:
			rt.Fatalf("milestone %d is %s", i, got.Milestone.State)
		case (got.Milestone.Due == nil) != (m.due == nil) || m.due != nil && !m.due.Equal(*got.Milestone.Due):
			rt.Fatalf("milestone %d is due %v, the model says %v", i, got.Milestone.Due, m.due)
		}
		late := m.due != nil && !m.cancelled && m.due.Add(w.blocked.Truncate(24*time.Hour)).Before(today)
		if got.Late != late && time.Now().UTC().Truncate(24*time.Hour).Equal(today) {
			rt.Fatalf("milestone %d is late: %t, the model says %t", i, got.Late, late)
		}
	}
}

// releasedAgrees holds the sum of what an order released against a model's.
func releasedAgrees(rt *rapid.T, s *scene, tx *ledger.Tx, order uuid.UUID, says int64) {
	list, err := tx.Payables(s.ctx(), order, ledger.Page{})
	require.NoError(s.t, err)
	var released int64
	for _, y := range list.Items {
		released += y.AmountMinor
	}
	if released != says {
		rt.Fatalf("%d are released, the model says %d", released, says)
	}
	linesAgree(rt, s)
}

// linesAgree holds the list of props, which is kept step by step, against what adding it up anew makes of it; what questions hold up
// apart, whose times a walk moves by hand.
func linesAgree(rt *rapid.T, s *scene) {
	const all = `SELECT coalesce(string_agg(concat_ws(' ', l.prop_id, l.milestone_id, l.state, l.due_sort, l.rounds, l.price_minor, l.since), E'\n' ORDER BY l.prop_id), '') FROM ph.prop_line l`
	tx, err := s.owner.Begin(s.ctx())
	require.NoError(s.t, err)
	defer tx.Rollback(s.ctx())
	var kept, anew string
	require.NoError(s.t, tx.QueryRow(s.ctx(), all).Scan(&kept))
	_, err = tx.Exec(s.ctx(), `SELECT ph.write_lines(p.studio_id, array_agg(p.id)) FROM ph.prop p GROUP BY p.studio_id`)
	require.NoError(s.t, err)
	require.NoError(s.t, tx.QueryRow(s.ctx(), all).Scan(&anew))
	if kept != anew || kept == "" {
		rt.Fatalf("the list of props is kept as\n%s\nand adds up to\n%s", kept, anew)
	}
}
