package ledger

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// UndoFor is how long a decision can be taken back before the vendor is told.
const UndoFor = 10 * time.Minute

// NewPendingSignOff is a decision that is not sent yet. Until it is, it can be taken back, and then nothing of it stays:
// it is no fact, and the vendor knows nothing of it.
type NewPendingSignOff struct {
	NewSignOff
	Inspection uuid.UUID // that was looked at
	Sketch     *Sketch   // drawn on one of its pictures, for the vendor; with a return or an accept with note
	Wait       bool      // it is sent when somebody sends it, and not by itself after UndoFor
}

// Stop says why a pending decision could not be sent.
type Stop string

// The reasons.
const (
	StoppedDecided   Stop = "decided"   // somebody else decided first
	StoppedInspected Stop = "inspected" // another inspection has come in
	StoppedDelivered Stop = "delivered" // the vendor has sent another delivery
	StoppedRole      Stop = "role"      // its author may not decide this any more
	StoppedState     Stop = "state"     // the milestone has moved on, or something blocks that did not
	StoppedPrice     Stop = "price"     // it is a further round by now, and its price is not said
)

// PendingSignOff is a decision that waits, or that could not be sent.
type PendingSignOff struct {
	ID          uuid.UUID
	MilestoneID uuid.UUID
	DeliveryID  uuid.UUID
	Inspection  uuid.UUID
	Decision    Decision
	Reason      string
	Cause       Cause
	Price       *SpecChange
	Sketch      *Sketch
	By          uuid.UUID
	ByName      string
	At          time.Time
	SendAt      *time.Time // nil: when somebody sends it
	StoppedAt   *time.Time
	Stopped     Stop // "" while it waits
	PropTitle   string
	Milestone   string // its kind
	Number      int    // of the delivery
}

// Taken is a decision that somebody else has taken on the same milestone and not sent yet. It is an ErrConflict.
type Taken struct{ Pending PendingSignOff }

func (t *Taken) Error() string {
	return fmt.Sprintf("%s: %s has decided %s and not sent it yet", ErrConflict, t.Pending.ByName, t.Pending.Decision)
}

// Is makes it an ErrConflict.
func (t *Taken) Is(target error) bool { return target == ErrConflict }

// PrepareSignOff takes a decision that is sent later. It is refused for whatever would refuse SignOff now; one's own that
// waits already is replaced; somebody else's is a *Taken.
func (tx *Tx) PrepareSignOff(ctx context.Context, in NewPendingSignOff) (PendingSignOff, error) {
	if err := tx.allow("signing off", StudioSide); err != nil {
		return PendingSignOff{}, err
	}
	if _, _, err := tx.decider(ctx, "signing off", approvers(Return, "")); err != nil { // more is asked by the tier, below
		return PendingSignOff{}, err
	}
	if in.Decision == Return && in.Cause == "" {
		in.Cause = Nonconformity
	}
	m, err := tx.lockNewestSealed(ctx, in.Delivery)
	if err != nil {
		return PendingSignOff{}, err
	}
	if err := tx.stillCurrent(ctx, m.studio, in.Delivery, in.Inspection); err != nil {
		return PendingSignOff{}, err
	}
	if err := tx.replaceOwn(ctx, m); err != nil {
		return PendingSignOff{}, err
	}
	sketch, err := tx.checkSketch(ctx, m.studio, in.Delivery, in.Sketch)
	if err != nil {
		return PendingSignOff{}, err
	}
	if err := tx.tried(ctx, func() error { _, err := tx.SignOff(ctx, in.NewSignOff); return err }); err != nil {
		return PendingSignOff{}, err
	}
	var minor *int64
	var due *Date
	if in.Price != nil {
		minor, due = &in.Price.DeltaMinor, in.Price.Due
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.pending_sign_off (studio_id, id, milestone_id, delivery_id, inspection_id, decision, reason, cause, price_minor, price_due, sketch, by_member, send_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, CASE WHEN $13 THEN NULL ELSE now() + $14::interval END)`,
		m.studio, id, m.id, in.Delivery, in.Inspection, in.Decision, in.Reason, in.Cause, minor, due, sketch, tx.Who.Member, in.Wait, UndoFor); err != nil {
		return PendingSignOff{}, fmt.Errorf("prepare a sign-off of delivery %s: %w", in.Delivery, err)
	}
	return tx.PendingSignOff(ctx, id)
}

// stillCurrent makes sure that the inspection that was looked at is the one that counts.
func (tx *Tx) stillCurrent(ctx context.Context, studio, delivery, inspection uuid.UUID) error {
	var same bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.inspection WHERE studio_id = $1 AND delivery_id = $2 AND id = $3 AND current)`, studio, delivery, inspection).Scan(&same); err != nil {
		return fmt.Errorf("inspection of delivery %s: %w", delivery, err)
	}
	if !same {
		return errInspected
	}
	return nil
}

var errInspected = fmt.Errorf("%w: another inspection has come in since you looked; read it first", ErrState)

// replaceOwn removes the caller's own decision on a milestone that waits, and what could not be sent before. Another's is a *Taken.
func (tx *Tx) replaceOwn(ctx context.Context, m lockedMilestone) error {
	others, err := tx.pending(ctx, `q.milestone_id = $2 AND q.stopped_at IS NULL AND q.by_member <> $3`, m.id, tx.Who.Member)
	if err != nil {
		return err
	}
	if len(others) > 0 {
		return &Taken{others[0]}
	}
	if _, err := tx.Exec(ctx, `DELETE FROM ph.pending_sign_off WHERE studio_id = $1 AND milestone_id = $2 AND by_member = $3`, m.studio, m.id, tx.Who.Member); err != nil {
		return fmt.Errorf("decision on milestone %s: %w", m.id, err)
	}
	return nil
}

// tried does an act and takes it back whole: what refuses it refuses it now.
func (tx *Tx) tried(ctx context.Context, act func() error) error {
	whole, facts, tickets := tx.Tx, tx.facts, tx.tickets
	inner, err := whole.Begin(ctx) // a savepoint
	if err != nil {
		return fmt.Errorf("try: %w", err)
	}
	tx.Tx = inner
	err = mapError(act())
	tx.Tx, tx.facts, tx.tickets = whole, facts, tickets
	if undo := inner.Rollback(ctx); undo != nil {
		return fmt.Errorf("take back what was tried: %w", undo)
	}
	return err
}

const pendingSelect = `SELECT q.id, q.milestone_id, q.delivery_id, q.inspection_id, q.decision, q.reason, q.cause, q.price_minor, q.price_due, q.sketch, q.by_member,
	coalesce(b.name, ''), q.at, q.send_at, q.stopped_at, coalesce(q.stopped_why, ''), p.title, m.kind, d.number
	FROM ph.pending_sign_off q
	JOIN ph.milestone m ON m.studio_id = q.studio_id AND m.id = q.milestone_id
	JOIN ph.prop p ON p.studio_id = q.studio_id AND p.id = m.prop_id
	JOIN ph.delivery d ON d.studio_id = q.studio_id AND d.id = q.delivery_id
	LEFT JOIN ph.member b ON b.party_id = q.studio_id AND b.id = q.by_member
	WHERE q.studio_id = $1 AND `

func (tx *Tx) pending(ctx context.Context, cond string, args ...any) ([]PendingSignOff, error) {
	rows, err := tx.Query(ctx, pendingSelect+cond+` ORDER BY q.id LIMIT 1000`, append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("pending sign-offs: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (q PendingSignOff, err error) {
		var minor *int64
		var due *Date
		var sketch []byte
		err = row.Scan(&q.ID, &q.MilestoneID, &q.DeliveryID, &q.Inspection, &q.Decision, &q.Reason, &q.Cause, &minor, &due, &sketch, &q.By,
			&q.ByName, &q.At, &q.SendAt, &q.StoppedAt, &q.Stopped, &q.PropTitle, &q.Milestone, &q.Number)
		if minor != nil {
			q.Price = &SpecChange{DeltaMinor: *minor, Due: due}
		}
		if err == nil && sketch != nil {
			err = json.Unmarshal(sketch, &q.Sketch)
		}
		return q, err
	})
}

// PendingSignOff is one of the studio's decisions that are not sent. Vendors have none.
func (tx *Tx) PendingSignOff(ctx context.Context, id uuid.UUID) (PendingSignOff, error) {
	all, err := tx.pending(ctx, `q.id = $2`, id)
	if err != nil || len(all) == 0 {
		return PendingSignOff{}, cmpErr(err, ErrNotFound)
	}
	return all[0], nil
}

// PendingSignOffs lists the caller's own decisions that wait or could not be sent, oldest first. Index: pending_sign_off_of_member.
func (tx *Tx) PendingSignOffs(ctx context.Context) ([]PendingSignOff, error) {
	if tx.Who.Side != StudioSide {
		return nil, nil
	}
	return tx.pending(ctx, `q.by_member = $2`, tx.Who.Member)
}

// PendingOn is the decision that waits on a milestone, whoever took it, or nil.
func (tx *Tx) PendingOn(ctx context.Context, milestone uuid.UUID) (*PendingSignOff, error) {
	if tx.Who.Side != StudioSide {
		return nil, nil
	}
	all, err := tx.pending(ctx, `q.milestone_id = $2 AND q.stopped_at IS NULL`, milestone)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	return &all[0], nil
}

// UndoSignOff takes one's own decision back before it is sent, or puts away one that could not be sent. ErrNotFound: it
// is sent already, or is not the caller's.
func (tx *Tx) UndoSignOff(ctx context.Context, id uuid.UUID) error {
	tag, err := tx.Exec(ctx, `DELETE FROM ph.pending_sign_off WHERE studio_id = $1 AND id = $2 AND by_member = $3`, tx.Who.Party, id, tx.Who.Member)
	if err != nil {
		return fmt.Errorf("take back sign-off %s: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return nil
}

// SendSignOff signs off as decided, now. The decision is checked anew, as the world is by now. ErrNotFound: it was taken
// back, sent already, or is not the caller's.
func (tx *Tx) SendSignOff(ctx context.Context, id uuid.UUID) (SignOff, error) {
	q, err := tx.PendingSignOff(ctx, id)
	if err != nil {
		return SignOff{}, err
	}
	if q.By != tx.Who.Member {
		return SignOff{}, ErrNotFound
	}
	m, err := tx.lockNewestSealed(ctx, q.DeliveryID)
	if err != nil {
		return SignOff{}, err
	}
	// Whoever deletes the row sends it: one who waited here for another finds nothing.
	tag, err := tx.Exec(ctx, `DELETE FROM ph.pending_sign_off WHERE studio_id = $1 AND id = $2 AND stopped_at IS NULL`, m.studio, id)
	if err != nil {
		return SignOff{}, fmt.Errorf("send sign-off %s: %w", id, err)
	}
	if tag.RowsAffected() == 0 {
		return SignOff{}, ErrNotFound
	}
	if err := tx.stillCurrent(ctx, m.studio, q.DeliveryID, q.Inspection); err != nil {
		return SignOff{}, err
	}
	signed, err := tx.SignOff(ctx, NewSignOff{Delivery: q.DeliveryID, Decision: q.Decision, Reason: q.Reason, Cause: q.Cause, Price: q.Price})
	if err != nil {
		return SignOff{}, err
	}
	if q.Sketch != nil {
		if _, err := tx.AddNote(ctx, NewNote{Delivery: q.DeliveryID, Text: q.Reason, Sketch: q.Sketch}); err != nil {
			return SignOff{}, err
		}
	}
	return signed, nil
}

// overtake ends what waits on a milestone that is being decided: the caller's own is gone, the authors of others read that
// somebody was faster.
func (tx *Tx) overtake(ctx context.Context, m lockedMilestone) error {
	if _, err := tx.Exec(ctx, `DELETE FROM ph.pending_sign_off WHERE studio_id = $1 AND milestone_id = $2 AND stopped_at IS NULL AND by_member = $3`, m.studio, m.id, tx.Who.Member); err != nil {
		return fmt.Errorf("decisions that wait on milestone %s: %w", m.id, err)
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.pending_sign_off SET stopped_at = now(), stopped_why = 'decided' WHERE studio_id = $1 AND milestone_id = $2 AND stopped_at IS NULL`, m.studio, m.id); err != nil {
		return fmt.Errorf("decisions that wait on milestone %s: %w", m.id, err)
	}
	return nil
}

// SendPending sends a decision in a transaction of its own. Where the world has changed so that it cannot be sent any
// more, it is kept with the reason for its author to read, and the reason's error comes back.
func (s *Store) SendPending(ctx context.Context, who Who, id uuid.UUID) (signed SignOff, stopped Stop, err error) {
	err = s.InTx(ctx, who, func(tx *Tx) (err error) { signed, err = tx.SendSignOff(ctx, id); return err })
	if err == nil {
		return signed, "", nil
	}
	if stopped = stopOf(err); stopped == "" {
		return signed, "", err
	}
	if kept := s.InTx(ctx, who, func(tx *Tx) error {
		_, err := tx.Exec(ctx, `UPDATE ph.pending_sign_off SET stopped_at = now(), stopped_why = $3 WHERE studio_id = $1 AND id = $2 AND stopped_at IS NULL`, who.Party, id, stopped)
		return err
	}); kept != nil {
		return signed, "", fmt.Errorf("keep decision %s: %w", id, kept)
	}
	return signed, stopped, err
}

// stopOf says why a decision cannot be sent, from what SendSignOff answered; "" where it is no reason but a failure, to be tried again.
func stopOf(err error) Stop {
	switch {
	case errors.Is(err, errInspected):
		return StoppedInspected
	case errors.Is(err, errNewer):
		return StoppedDelivered
	case errors.Is(err, ErrForbidden):
		return StoppedRole
	case errors.Is(err, ErrInvalid):
		return StoppedPrice
	case errors.Is(err, ErrState), errors.Is(err, ErrConflict):
		return StoppedState
	}
	return ""
}
