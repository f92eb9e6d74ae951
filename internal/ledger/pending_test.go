package ledger_test

import (
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// pendingScene is a delivery in review and two who may decide on it.
type pendingScene struct {
	*scene
	marek, ines ledger.Who // an art director each
	milestone   uuid.UUID
	delivery    uuid.UUID
	inspection  uuid.UUID
}

func newPendingScene(t *testing.T, result ledger.Result) *pendingScene {
	s := &pendingScene{scene: newScene(t)}
	s.marek = s.member(s.studio, "Marek", "marek@harbour.example", ledger.ArtDirector)
	s.ines = s.member(s.studio, "Ines", "ines@harbour.example", ledger.ArtDirector)
	s.milestone = s.yardProp.Milestones[0].ID
	s.delivery = s.deliver(s.yard, s.milestone).ID
	s.inspection = s.inspect(result).Inspection.ID
	return s
}

func (s *pendingScene) prepare(who ledger.Who, d ledger.Decision, reason string, more ...func(*ledger.NewPendingSignOff)) (q ledger.PendingSignOff, err error) {
	in := ledger.NewPendingSignOff{NewSignOff: ledger.NewSignOff{Delivery: s.delivery, Decision: d, Reason: reason}, Inspection: s.inspection}
	for _, f := range more {
		f(&in)
	}
	err = s.try(who, func(tx *ledger.Tx) (err error) { q, err = tx.PrepareSignOff(s.ctx(), in); return err })
	return q, err
}

func (s *pendingScene) sender() *ledger.Sender { return ledger.NewSender(s.clock(), s.store) }

// tick runs the sender once.
func (s *pendingScene) tick(sent, stopped int) {
	s.t.Helper()
	gotSent, gotStopped, err := s.sender().Tick(s.ctx())
	require.NoError(s.t, err)
	require.Equal(s.t, [2]int{sent, stopped}, [2]int{gotSent, gotStopped}, "sent, stopped")
}

// overdue lets the time to undo pass.
func (s *pendingScene) overdue() {
	s.t.Helper()
	s.tamper(`UPDATE ph.pending_sign_off SET send_at = now() - interval '1 second'`)
}

func (s *pendingScene) signOffs() (all []ledger.SignOff) {
	s.t.Helper()
	s.as(s.yard, func(tx *ledger.Tx) (err error) { all, err = tx.SignOffs(s.ctx(), s.delivery); return err })
	return all
}

func (s *pendingScene) own(who ledger.Who) (all []ledger.PendingSignOff) {
	s.t.Helper()
	s.as(who, func(tx *ledger.Tx) (err error) { all, err = tx.PendingSignOffs(s.ctx()); return err })
	return all
}

func (s *pendingScene) leaves() (n int) {
	s.t.Helper()
	require.NoError(s.t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.fact`).Scan(&n))
	return n
}

// Undone in time, a decision leaves nothing behind: no leaf, no state, no trace for the vendor; not undone, it is sent
// once its time is over and not a moment before.
func TestPendingDecisionIsUndoneOrSent(t *testing.T) {
	s := newPendingScene(t, passing())
	before := s.leaves()
	q, err := s.prepare(s.marek, ledger.Return, "The lid leans.")
	require.NoError(t, err)
	require.WithinDuration(t, q.At.Add(ledger.UndoFor), *q.SendAt, time.Second)
	require.Equal(t, "Marek", q.ByName)
	require.Equal(t, ledger.MReview, s.state(s.milestone))
	s.tick(0, 0)
	require.Empty(t, s.own(s.yard), "the vendor has nothing to see")
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.PendingSignOff(s.ctx(), q.ID); return err }), ledger.ErrNotFound)
	require.ErrorIs(t, s.try(s.ines, func(tx *ledger.Tx) error { return tx.UndoSignOff(s.ctx(), q.ID) }), ledger.ErrNotFound, "another's")
	s.as(s.marek, func(tx *ledger.Tx) error { return tx.UndoSignOff(s.ctx(), q.ID) })
	s.tick(0, 0)
	require.Empty(t, s.own(s.marek))
	require.Equal(t, before, s.leaves())
	require.Empty(t, s.signOffs())

	first, err := s.prepare(s.marek, ledger.Return, "The lid leans.")
	require.NoError(t, err)
	second, err := s.prepare(s.marek, ledger.Accept, "") // a change of mind takes the first one's place
	require.NoError(t, err)
	require.NotEqual(t, first.ID, second.ID)
	require.Len(t, s.own(s.marek), 1)
	s.overdue()
	s.tick(1, 0)
	s.tick(0, 0)
	all := s.signOffs()
	require.Len(t, all, 1)
	require.Equal(t, ledger.Accept, all[0].Decision)
	require.Equal(t, s.marek.Member, all[0].By)
	require.Equal(t, ledger.ArtDirector, all[0].ByRole)
	require.NotNil(t, all[0].Payable)
	require.ErrorIs(t, s.try(s.marek, func(tx *ledger.Tx) error { return tx.UndoSignOff(s.ctx(), second.ID) }), ledger.ErrNotFound, "sent is sent")
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// What SignOff would refuse is refused when the decision is taken, not when it is sent.
func TestPendingDecisionIsCheckedAtOnce(t *testing.T) {
	s := newPendingScene(t, failing())
	_, err := s.prepare(s.marek, ledger.Accept, "")
	require.ErrorIs(t, err, ledger.ErrState, "two findings block")
	_, err = s.prepare(s.marek, ledger.Return, "")
	require.ErrorIs(t, err, ledger.ErrInvalid)
	_, err = s.prepare(s.yard, ledger.Return, "mine")
	require.ErrorIs(t, err, ledger.ErrForbidden)
	producer := s.member(s.studio, "Petra", "petra@harbour.example", ledger.Producer)
	_, err = s.prepare(producer, ledger.Return, "late")
	require.ErrorIs(t, err, ledger.ErrForbidden)
	_, err = s.prepare(s.marek, ledger.Return, "x", func(in *ledger.NewPendingSignOff) { in.Inspection = uuid.New() })
	require.ErrorIs(t, err, ledger.ErrState, "looked at something else")
	before := s.leaves()
	_, err = s.prepare(s.marek, ledger.AcceptAsIs, "It stands far away.")
	require.NoError(t, err)
	require.Equal(t, before, s.leaves(), "trying leaves nothing behind")
	var conceded int
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.concession`).Scan(&conceded))
	require.Zero(t, conceded)
	s.overdue()
	s.tick(1, 0)
	require.Equal(t, ledger.AcceptAsIs, s.signOffs()[0].Decision)
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT count(*) FROM ph.concession`).Scan(&conceded))
	require.Equal(t, 2, conceded, "the concessions come with the sign-off")
}

// While a decision waits the world goes on; what it meets when it is sent is told to its author, and nothing is lost.
func TestPendingDecisionMeetsAChangedWorld(t *testing.T) {
	for name, row := range map[string]struct {
		result  ledger.Result
		happens func(s *pendingScene)
		want    ledger.Stop
	}{
		"another inspection": {passing(), func(s *pendingScene) {
			s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.Reinspect(s.ctx(), s.delivery, "new engine"); return err })
			s.inspect(passing())
		}, ledger.StoppedInspected},
		"an inspection under way": {passing(), func(s *pendingScene) {
			s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.Reinspect(s.ctx(), s.delivery, "new engine"); return err })
		}, ledger.StoppedState},
		"a newer delivery": {failing(), func(s *pendingScene) { s.deliver(s.yard, s.milestone) }, ledger.StoppedDelivered},
		"a cancelled milestone": {passing(), func(s *pendingScene) {
			s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.CancelMilestone(s.ctx(), s.milestone, "cut", nil); return err })
		}, ledger.StoppedState},
		"a role that was taken away": {passing(), func(s *pendingScene) {
			s.tamper(`UPDATE ph.member SET roles = '{producer}' WHERE id = $1`, s.marek.Member)
		}, ledger.StoppedRole},
		"an author who left": {passing(), func(s *pendingScene) {
			s.as(s.studio, func(tx *ledger.Tx) error { _, err := tx.DisableMember(s.ctx(), s.marek.Member); return err })
		}, ledger.StoppedRole},
	} {
		t.Run(name, func(t *testing.T) {
			s := newPendingScene(t, row.result)
			_, err := s.prepare(s.marek, ledger.Return, "A long reason that must not get lost.")
			require.NoError(t, err)
			row.happens(s)
			s.overdue()
			s.tick(0, 1)
			s.tick(0, 0)
			require.Empty(t, s.signOffs())
			kept := s.own(s.marek)
			require.Len(t, kept, 1)
			require.Equal(t, row.want, kept[0].Stopped)
			require.Equal(t, "A long reason that must not get lost.", kept[0].Reason)
			s.as(s.marek, func(tx *ledger.Tx) error { return tx.UndoSignOff(s.ctx(), kept[0].ID) }) // read, and put away
			require.Empty(t, s.own(s.marek))
		})
	}
}

// Of two who decide, the second is told; whoever signs at once overtakes a decision that waits.
func TestTwoDecideAtOnce(t *testing.T) {
	s := newPendingScene(t, passing())
	mine, err := s.prepare(s.marek, ledger.Return, "The lid leans.")
	require.NoError(t, err)
	_, err = s.prepare(s.ines, ledger.Accept, "")
	var taken *ledger.Taken
	require.ErrorAs(t, err, &taken)
	require.ErrorIs(t, err, ledger.ErrConflict)
	require.Equal(t, "Marek", taken.Pending.ByName)
	require.Equal(t, ledger.Return, taken.Pending.Decision)
	require.ErrorIs(t, s.try(s.ines, func(tx *ledger.Tx) error { _, err := tx.SendSignOff(s.ctx(), mine.ID); return err }), ledger.ErrNotFound, "another's decision is not sent for them")

	_, err = s.signOff(s.ines, s.delivery, ledger.Accept, "")
	require.NoError(t, err)
	kept := s.own(s.marek)
	require.Len(t, kept, 1)
	require.Equal(t, ledger.StoppedDecided, kept[0].Stopped)
	s.overdue()
	s.tick(0, 0)
	require.Len(t, s.signOffs(), 1)
}

// One's own sign-off leaves no decision of one's own behind.
func TestSigningAtOnceReplacesOnesOwn(t *testing.T) {
	s := newPendingScene(t, passing())
	_, err := s.prepare(s.marek, ledger.Return, "The lid leans.")
	require.NoError(t, err)
	_, err = s.signOff(s.marek, s.delivery, ledger.Accept, "")
	require.NoError(t, err)
	require.Empty(t, s.own(s.marek))
}

// Held for a batch, a decision waits until somebody sends it; sent twice at once it is signed once.
func TestPendingDecisionWaitsToBeSent(t *testing.T) {
	s := newPendingScene(t, passing())
	q, err := s.prepare(s.marek, ledger.AcceptNote, "Mend the hinge with the final.", func(in *ledger.NewPendingSignOff) { in.Wait = true })
	require.NoError(t, err)
	require.Nil(t, q.SendAt)
	s.tick(0, 0)
	results := make(chan error, 2)
	for range 2 {
		go func() { _, _, err := s.store.SendPending(s.ctx(), s.marek, q.ID); results <- err }()
	}
	a, b := <-results, <-results
	if a != nil {
		a, b = b, a
	}
	require.NoError(t, a)
	require.ErrorIs(t, b, ledger.ErrNotFound)
	require.Len(t, s.signOffs(), 1)
}

// Silence accepts nothing that somebody has decided, and the sender's order with the clock does not matter.
func TestSilenceWaitsForAPendingDecision(t *testing.T) {
	s := newPendingScene(t, passing())
	s.reviewDueIn(s.milestone, -time.Hour)
	_, err := s.clock().Tick(s.ctx()) // reminds
	require.NoError(t, err)
	s.tamper(`UPDATE ph.reminder SET at = at - interval '4 days', effective_at = effective_at - interval '4 days', review_due_at = review_due_at - interval '4 days'`)
	s.tamper(`UPDATE ph.milestone SET review_due_at = review_due_at - interval '4 days' WHERE id = $1`, s.milestone)
	_, err = s.prepare(s.marek, ledger.Return, "The lid leans.")
	require.NoError(t, err)
	done, err := s.clock().Tick(s.ctx())
	require.NoError(t, err)
	require.Zero(t, done.Accepted)
	s.overdue()
	s.tick(1, 0)
	require.Equal(t, ledger.MReturned, s.state(s.milestone))
}

// A drawing on a picture goes to the vendor with the decision, as a note on that picture, and not before.
func TestSketchGoesWithTheDecision(t *testing.T) {
	r := passing()
	r.Objects = append(r.Objects, ledger.EvidenceObject{Name: "prop_lit.png", What: "the prop", ObjectKey: "wo/x/evidence/z", SHA256: r.EvidenceSHA256, Size: 8, MediaType: "image/png"})
	s := newPendingScene(t, r)
	sketch := func(picture string, strokes ...[]int) func(*ledger.NewPendingSignOff) {
		return func(in *ledger.NewPendingSignOff) {
			in.Sketch = &ledger.Sketch{Inspection: s.inspection, Picture: picture, Strokes: strokes}
		}
	}
	for name, bad := range map[string]func(*ledger.NewPendingSignOff){
		"no stroke": sketch("prop_lit.png"), "half a point": sketch("prop_lit.png", []int{1, 2, 3}), "outside": sketch("prop_lit.png", []int{1, 10_001}),
		"another picture": sketch("prop_clay.png", []int{1, 2}), "no picture": sketch("evidence.json", []int{1, 2}),
	} {
		_, err := s.prepare(s.marek, ledger.Return, "See the ring.", bad)
		require.ErrorIs(t, err, ledger.ErrInvalid, name)
	}
	ring := []int{5000, 5000, 6000, 5200, 5500, 5900}
	_, err := s.prepare(s.marek, ledger.Return, "See the ring.", sketch("prop_lit.png", ring))
	require.NoError(t, err)
	notes := func() (all []ledger.Note) {
		s.as(s.yard, func(tx *ledger.Tx) (err error) { all, err = tx.Notes(s.ctx(), s.delivery); return err })
		return all
	}
	require.Empty(t, notes())
	s.overdue()
	s.tick(1, 0)
	all := notes()
	require.Len(t, all, 1)
	require.Equal(t, "See the ring.", all[0].Text)
	require.Equal(t, [][]int{ring}, all[0].Sketch.Strokes)
	require.Equal(t, "prop_lit.png", all[0].Sketch.Picture)
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
	s.tamper(`UPDATE ph.note SET sketch = jsonb_set(sketch, '{strokes,0,0}', '1')`)
	require.NotEmpty(t, s.verify(s.yardOrder.ID).Problems, "a drawing is evidence")
}

func TestSavedNotes(t *testing.T) {
	s := newScene(t)
	other := s.db.Studio("Another Studio")
	var kept ledger.SavedNote
	for range 2 {
		s.as(s.studio, func(tx *ledger.Tx) (err error) { kept, err = tx.SaveNote(s.ctx(), " Soften the edge. "); return err })
	}
	require.Equal(t, "Soften the edge.", kept.Text)
	require.ErrorIs(t, s.try(s.studio, func(tx *ledger.Tx) error { _, err := tx.SaveNote(s.ctx(), "  "); return err }), ledger.ErrInvalid)
	require.ErrorIs(t, s.try(s.yard, func(tx *ledger.Tx) error { _, err := tx.SaveNote(s.ctx(), "x"); return err }), ledger.ErrForbidden)
	list := func(who ledger.Who) (all []ledger.SavedNote) {
		s.as(who, func(tx *ledger.Tx) (err error) { all, err = tx.SavedNotes(s.ctx()); return err })
		return all
	}
	require.Len(t, list(s.studio), 1)
	require.Empty(t, list(other))
	require.Empty(t, list(s.yard))
	require.ErrorIs(t, s.try(other, func(tx *ledger.Tx) error { return tx.DropSavedNote(s.ctx(), kept.ID) }), ledger.ErrNotFound)
	s.as(s.studio, func(tx *ledger.Tx) error { return tx.DropSavedNote(s.ctx(), kept.ID) })
	require.Empty(t, list(s.studio))
}
