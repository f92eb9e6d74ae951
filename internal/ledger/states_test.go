package ledger_test

import (
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/ledger"
)

// TestMovesAreTheDatabases: the program's table of moves is the database's, row by row.
func TestMovesAreTheDatabases(t *testing.T) {
	s := newScene(t)
	rows, err := s.owner.Query(s.ctx(), `SELECT machine, from_state, event, to_state, actor FROM ph.move`)
	require.NoError(t, err)
	steps, err := pgx.CollectRows(rows, pgx.RowToStructByPos[ledger.Step])
	require.NoError(t, err)
	require.ElementsMatch(t, ledger.Steps, steps)
}

// TestGuardRefusesEveryOtherMove tries every state × event × state × actor against the trigger.
func TestGuardRefusesEveryOtherMove(t *testing.T) {
	s := newScene(t)
	allowed := map[ledger.Move]bool{}
	for _, m := range ledger.Moves {
		allowed[m] = true
	}
	id := s.yardProp.Milestones[0].ID
	tx, err := s.owner.Begin(s.ctx())
	require.NoError(t, err)
	defer tx.Rollback(s.ctx())
	tried, accepted := 0, 0
	for _, actor := range []ledger.Actor{ledger.ByStudio, ledger.ByVendor, ledger.ByMachine} {
		studio, vendor := "", ""
		switch actor {
		case ledger.ByStudio:
			studio = s.studio.Party.String()
		case ledger.ByVendor:
			vendor = s.yard.Party.String()
		}
		_, err := tx.Exec(s.ctx(), `SELECT set_config('app.studio', $1, true), set_config('app.vendor', $2, true)`, studio, vendor)
		require.NoError(t, err)
		for _, from := range ledger.MilestoneStates {
			_, err := tx.Exec(s.ctx(), `SET LOCAL session_replication_role = replica`)
			require.NoError(t, err)
			_, err = tx.Exec(s.ctx(), `UPDATE ph.milestone SET state = $2 WHERE id = $1`, id, from)
			require.NoError(t, err)
			_, err = tx.Exec(s.ctx(), `SET LOCAL session_replication_role = origin`)
			require.NoError(t, err)
			for _, ev := range ledger.Events {
				for _, to := range ledger.MilestoneStates {
					inner, err := tx.Begin(s.ctx())
					require.NoError(t, err)
					_, err = inner.Exec(s.ctx(), `UPDATE ph.milestone SET state = $2, last_event = $3 WHERE id = $1`, id, to, ev)
					require.NoError(t, inner.Rollback(s.ctx()))
					want := allowed[ledger.Move{From: from, Event: ev, To: to, By: actor}]
					require.Equal(t, want, err == nil, "%s by the %s from %s to %s: %v", ev, actor, from, to, err)
					tried++
					if err == nil {
						accepted++
					}
				}
			}
		}
	}
	require.Equal(t, len(ledger.MilestoneStates)*len(ledger.Events)*len(ledger.MilestoneStates)*3, tried)
	require.Equal(t, len(ledger.Moves), accepted)
}

// walk takes one milestone through random acts of everybody, beside a model that knows only ledger.Next.
type walk struct {
	s        *scene
	ms       uuid.UUID
	state    ledger.MilestoneState
	delivery uuid.UUID // newest sealed one
	pending  bool      // an inspection waits
}

func (w *walk) act(ev ledger.Event, as ledger.Decision) error {
	switch ev {
	case ledger.EvSeal:
		var d ledger.Delivery
		err := w.s.try(w.s.yard, func(tx *ledger.Tx) (err error) { d, err = tx.OpenDelivery(w.s.ctx(), manifest(w.ms)); return err })
		if err == nil {
			err = w.s.trySeal(w.s.yard, &d)
		}
		if err == nil {
			w.delivery, w.pending = d.ID, true
		}
		return err
	case ledger.EvReinspect:
		err := w.s.try(w.s.studio, func(tx *ledger.Tx) error { _, err := tx.Reinspect(w.s.ctx(), w.delivery, "again"); return err })
		if err == nil {
			w.pending = true
		}
		return err
	case ledger.EvAccept, ledger.EvAcceptAsIs, ledger.EvReturn:
		_, err := w.s.signOff(w.s.studio, w.delivery, as, "a reason")
		return err
	case ledger.EvHold:
		return w.s.try(w.s.studio, func(tx *ledger.Tx) error { _, err := tx.HoldMilestone(w.s.ctx(), w.ms, "wait"); return err })
	case ledger.EvResume:
		return w.s.try(w.s.studio, func(tx *ledger.Tx) error { _, err := tx.ResumeMilestone(w.s.ctx(), w.ms, ""); return err })
	case ledger.EvCancel:
		return w.s.try(w.s.studio, func(tx *ledger.Tx) error { _, err := tx.CancelMilestone(w.s.ctx(), w.ms, "cut", nil); return err })
	}
	return fmt.Errorf("no act for %s", ev)
}

func TestRandomWalksAgreeWithTheModel(t *testing.T) {
	s := newScene(t)
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		w := &walk{s: s, ms: s.prop(s.yardOrder.ID, fmt.Sprintf("walk_%d", n)).Milestones[0].ID, state: ledger.MOpen}
		for range rapid.IntRange(1, 9).Draw(rt, "steps") {
			if w.pending { // the inspector is prompt, unless the milestone is cancelled before it comes
				if rapid.IntRange(0, 5).Draw(rt, "cancelled first") == 0 {
					w.step(rt, ledger.EvCancel, "")
				}
				w.inspectAny(rt)
				continue
			}
			if w.delivery == uuid.Nil {
				w.step(rt, rapid.SampledFrom([]ledger.Event{ledger.EvSeal, ledger.EvSeal, ledger.EvCancel}).Draw(rt, "first act"), "")
				continue
			}
			ev := rapid.SampledFrom([]ledger.Event{ledger.EvSeal, ledger.EvReinspect, ledger.EvAccept, ledger.EvAcceptAsIs, ledger.EvReturn, ledger.EvCancel, ledger.EvHold, ledger.EvResume}).Draw(rt, "act")
			w.step(rt, ev, map[ledger.Event]ledger.Decision{ledger.EvAccept: ledger.Accept, ledger.EvAcceptAsIs: ledger.AcceptAsIs, ledger.EvReturn: ledger.Return}[ev])
		}
		if w.pending {
			w.inspectAny(rt)
		}
	})
	require.Empty(t, s.verify(s.yardOrder.ID).Problems, "the leaves lead to the same states")
}

// step tries an act: it must be taken exactly when the model allows it, and change nothing otherwise.
func (w *walk) step(rt *rapid.T, ev ledger.Event, as ledger.Decision) {
	to, allowed := ledger.Next(w.state, ev)
	err := w.act(ev, as)
	if allowed != (err == nil) {
		rt.Fatalf("%s from %s: allowed %t, got %v", ev, w.state, allowed, err)
	}
	if err != nil && !errorsIs(err, ledger.ErrState) {
		rt.Fatalf("%s from %s is refused as %v, not as a wrong state", ev, w.state, err)
	}
	if allowed {
		w.state = to
	}
	if got := w.s.state(w.ms); got != w.state {
		rt.Fatalf("after %s the milestone is %s, the model %s", ev, got, w.state)
	}
}

func (w *walk) inspectAny(rt *rapid.T) {
	results := []ledger.Result{passing(), failing(), unable()}
	i := rapid.IntRange(0, 2).Draw(rt, "verdict")
	w.s.inspect(results[i])
	w.pending = false
	if w.state == ledger.MInspecting {
		w.state, _ = ledger.Next(w.state, []ledger.Event{ledger.EvPass, ledger.EvFail, ledger.EvUnable}[i])
	}
	if got := w.s.state(w.ms); got != w.state {
		rt.Fatalf("after the inspection the milestone is %s, the model %s", got, w.state)
	}
}

// TestPictureNamesEveryMove: the drawing in the package's comment and the table name the same states and events.
func TestPictureNamesEveryMove(t *testing.T) {
	b, err := os.ReadFile("doc.go")
	require.NoError(t, err)
	_, picture, found := strings.Cut(string(b), "# The states of a milestone")
	require.True(t, found)
	picture, _, found = strings.Cut(picture, "Moves lists them")
	require.True(t, found)
	for _, s := range ledger.MilestoneStates {
		require.Contains(t, picture, string(s))
	}
	for _, e := range ledger.Events {
		require.Contains(t, picture, string(e))
	}
	for _, s := range ledger.MilestoneStates {
		require.NotEmpty(t, s.Desk(), s)
		_, leaves := ledger.Next(s, ledger.EvCancel)
		require.Equal(t, s.Final(), !leaves, s)
	}
}
