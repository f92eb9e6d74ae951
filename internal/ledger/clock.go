package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Clock is the service's own acts by the passing of time, over a pool of role ph_clock: reminders, and silence that
// accepts where a work order says so. Time is the database's. Any number of processes may run one; each act happens once.
type Clock struct {
	pool *pgxpool.Pool

	OnError func(error) // may be nil; set before Run
}

// NewClock makes a clock over a pool of role ph_clock.
func NewClock(pool *pgxpool.Pool) *Clock { return &Clock{pool: pool} }

// remindAhead is how long before the end of the review window the studio is reminded: enough for one working day between
// the reminder and the end, also over a weekend.
const remindAhead = 4 * 24 * time.Hour

// Ticked is what one tick did.
type Ticked struct{ Reminded, Accepted int }

// Run ticks every interval until ctx ends, and then returns nil. A failure goes to OnError and does not stop it. An outage
// makes things later, never silent: nothing is accepted without a reminder that is a working day old.
func (c *Clock) Run(ctx context.Context, every time.Duration) error {
	tick := time.NewTicker(every)
	defer tick.Stop()
	for {
		if _, err := c.Tick(ctx); err != nil && ctx.Err() == nil && c.OnError != nil {
			c.OnError(err)
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// silent are the milestones whose review silence may end: where the order says so, and never on a hero prop, a close-up or
// a final milestone (common practice, no source). Index: milestone_review_due.
const silent = `FROM ph.milestone m
	JOIN ph.work_order w ON w.studio_id = m.studio_id AND w.id = m.work_order_id AND w.silence_accepts
	JOIN ph.prop p ON p.studio_id = m.studio_id AND p.id = m.prop_id AND p.tier IN ('background', 'mid')
	CROSS JOIN LATERAL (SELECT d.id, d.opened_by, d.sealed_by FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed'
		ORDER BY d.number DESC LIMIT 1) d
	JOIN ph.inspection i ON i.studio_id = m.studio_id AND i.delivery_id = d.id AND i.current AND i.verdict = 'pass'
	WHERE m.state = 'review' AND m.kind <> 'final'`

// undecided leaves out milestones on which a decision waits to be sent: somebody has not been silent.
const undecided = ` AND NOT EXISTS (SELECT FROM ph.pending_sign_off q WHERE q.studio_id = m.studio_id AND q.milestone_id = m.id AND q.stopped_at IS NULL)`

// Tick reminds and accepts what is due now. A milestone with which that fails holds up no other; the errors of all are joined.
func (c *Clock) Tick(ctx context.Context) (Ticked, error) {
	var done Ticked
	var failed [2]error
	remind, err := c.list(ctx, `SELECT m.studio_id, m.id `+silent+` AND m.review_due_at < now() + $1::interval AND NOT EXISTS (SELECT FROM ph.reminder r
		WHERE r.studio_id = m.studio_id AND r.milestone_id = m.id AND r.delivery_id = d.id AND r.review_due_at = m.review_due_at) ORDER BY m.review_due_at, m.id LIMIT 1000`, remindAhead)
	if err != nil {
		return done, fmt.Errorf("look for reviews to remind of: %w", err)
	}
	done.Reminded, failed[0] = c.each(ctx, "remind of the review of", remind, (*Tx).remind)
	accept, err := c.list(ctx, `SELECT m.studio_id, m.id `+silent+` AND m.review_due_at <= now() AND EXISTS (SELECT FROM ph.reminder r
		WHERE r.studio_id = m.studio_id AND r.milestone_id = m.id AND r.delivery_id = d.id AND r.review_due_at = m.review_due_at AND r.effective_at <= now())`+undecided+`
		ORDER BY m.review_due_at, m.id LIMIT 1000`)
	if err != nil {
		return done, errors.Join(failed[0], fmt.Errorf("look for reviews that silence ended: %w", err))
	}
	done.Accepted, failed[1] = c.each(ctx, "accept by silence", accept, (*Tx).deem)
	return done, errors.Join(failed[:]...)
}

type milestoneRef struct{ Studio, ID uuid.UUID }

func (c *Clock) list(ctx context.Context, query string, args ...any) ([]milestoneRef, error) {
	var list []milestoneRef
	err := runTx(ctx, c.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) error {
		rows, err := tx.Query(ctx, query, args...)
		if err != nil {
			return err
		}
		list, err = pgx.CollectRows(rows, pgx.RowToStructByPos[milestoneRef])
		return err
	})
	return list, err
}

// each does one act in a transaction of its own for each milestone. One that somebody else holds, or that has moved
// meanwhile, is left for the next tick, and so is one with which it fails.
func (c *Clock) each(ctx context.Context, doing string, list []milestoneRef, act func(*Tx, context.Context, lockedMilestone) error) (int, error) {
	n := 0
	var failed []error
	for _, ref := range list {
		if ctx.Err() != nil {
			break
		}
		err := retry(ctx, func() error {
			return runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error {
				m, err := tx.lockInReview(ctx, ref)
				if err != nil {
					return err
				}
				return act(tx, ctx, m)
			})
		})
		switch {
		case err == nil:
			n++
		case !errors.Is(err, ErrNotFound):
			failed = append(failed, fmt.Errorf("%s milestone %s: %w", doing, ref.ID, err))
		}
	}
	return n, errors.Join(failed...)
}

func (tx *Tx) lockInReview(ctx context.Context, ref milestoneRef) (m lockedMilestone, err error) {
	err = tx.QueryRow(ctx, `SELECT studio_id, vendor_id, work_order_id, prop_id, id, state, kind, amount_minor + change_minor FROM ph.milestone
		WHERE studio_id = $1 AND id = $2 AND state = 'review' FOR UPDATE SKIP LOCKED`, ref.Studio, ref.ID).
		Scan(&m.studio, &m.vendor, &m.workOrder, &m.prop, &m.id, &m.state, &m.kind, &m.amountMinor)
	return m, mapError(err)
}

// remind writes the reminder with the time at which silence will accept: the end of the review window, and not before a
// working day has passed since the reminder.
func (tx *Tx) remind(ctx context.Context, m lockedMilestone) error {
	var delivery uuid.UUID
	var now, due time.Time
	if err := tx.QueryRow(ctx, `SELECT d.id, now(), m.review_due_at `+silent+` AND m.studio_id = $1 AND m.id = $2`, m.studio, m.id).Scan(&delivery, &now, &due); err != nil {
		return mapError(err)
	}
	calendar, err := tx.studioCalendar(ctx, m.studio, m.workOrder)
	if err != nil {
		return err
	}
	effective, err := calendar.AfterWorkingDays(now, 1)
	if err != nil {
		return err
	}
	if effective.Before(due) {
		effective = due
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.reminder (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, id, review_due_at, effective_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, m.studio, m.vendor, m.workOrder, m.prop, m.id, delivery, id, due, effective); err != nil {
		return err
	}
	tx.fact(FactReminded, m.studio, m.workOrder, id)
	return nil
}

// deem accepts by the studio's silence and releases the amount.
func (tx *Tx) deem(ctx context.Context, m lockedMilestone) error {
	var delivery, openedBy, sealedBy, inspection, reminder uuid.UUID
	var currency string
	var effective time.Time
	err := tx.QueryRow(ctx, `SELECT d.id, d.opened_by, d.sealed_by, i.id, w.currency, r.id, r.effective_at
		FROM ph.milestone m
		JOIN ph.work_order w ON w.studio_id = m.studio_id AND w.id = m.work_order_id
		JOIN ph.reminder r ON r.studio_id = m.studio_id AND r.milestone_id = m.id AND r.review_due_at = m.review_due_at AND r.effective_at <= now()
		JOIN ph.delivery d ON d.studio_id = r.studio_id AND d.id = r.delivery_id
		JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.current
		WHERE m.studio_id = $1 AND m.id = $2`+undecided+` ORDER BY r.id DESC LIMIT 1`, m.studio, m.id).
		Scan(&delivery, &openedBy, &sealedBy, &inspection, &currency, &reminder, &effective)
	if err != nil {
		return mapError(err)
	}
	if err := tx.move(ctx, m, EvDeem); err != nil {
		return err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.sign_off (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, inspection_id, id, decision, reason, by_role,
		opened_by, sealed_by, reminder_id, effective_at) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, 'deemed', 'The review window ended without a decision.', 'clock', $9, $10, $11, $12)`,
		m.studio, m.vendor, m.workOrder, m.prop, m.id, delivery, inspection, id, openedBy, sealedBy, reminder, effective); err != nil {
		return err
	}
	tx.fact(FactSignedOff, m.studio, m.workOrder, id)
	if m.kind == kindMaintenance {
		return nil
	}
	return tx.release(ctx, m, ground{kind: "milestone", signOff: &id}, m.amountMinor, currency)
}

// SweepAfter is how long a delivery may stay open without being sealed.
const SweepAfter = 7 * 24 * time.Hour

// Swept is a delivery that was given up, whose objects are to be deleted.
type Swept struct {
	Studio, Delivery uuid.UUID
	Files            []File // with object keys and upload ids
}

// GiveUp abandons deliveries that have been open, or being sealed, for SweepAfter, and lists those given up by anybody whose
// objects are still there, unless a legal hold keeps them; also beside an error, which tells of those that could not be given up. The caller asks Held, deletes the objects and then calls Cleared; it may
// break off anywhere and be called again. Indexes: delivery_to_sweep, delivery_under_way_key.
func (c *Clock) GiveUp(ctx context.Context) ([]Swept, error) {
	old, err := c.list(ctx, `(SELECT studio_id, id FROM ph.delivery WHERE state = 'open' AND swept_at IS NULL AND opened_at < now() - $1::interval ORDER BY opened_at, id LIMIT 1000)
		UNION ALL (SELECT studio_id, id FROM ph.delivery WHERE state = 'sealing' AND greatest(opened_at, sealing_at) < now() - $1::interval ORDER BY opened_at, id LIMIT 1000)`, SweepAfter)
	if err != nil {
		return nil, fmt.Errorf("look for deliveries never sealed: %w", err)
	}
	var failed []error
	for _, ref := range old {
		if err := retry(ctx, func() error {
			return runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error { return tx.giveUp(ctx, ref) })
		}); err != nil && !errors.Is(err, ErrNotFound) {
			failed = append(failed, fmt.Errorf("give up delivery %s: %w", ref.ID, err)) // the others are given up all the same
		}
	}
	gone, err := c.list(ctx, `SELECT d.studio_id, d.id FROM ph.delivery d WHERE d.state = 'abandoned' AND d.swept_at IS NULL AND NOT `+heldOrder("d")+` ORDER BY d.opened_at, d.id LIMIT 1000`)
	if err != nil {
		return nil, errors.Join(append(failed, fmt.Errorf("look for deliveries given up: %w", err))...)
	}
	out := make([]Swept, len(gone))
	for i, ref := range gone {
		out[i] = Swept{Studio: ref.Studio, Delivery: ref.ID}
		if err := runTx(ctx, c.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) (err error) {
			rows, err := tx.Query(ctx, `SELECT id, object_key, coalesce(upload_id, '') FROM ph.file WHERE studio_id = $1 AND delivery_id = $2 ORDER BY ord`, ref.Studio, ref.ID)
			if err != nil {
				return err
			}
			out[i].Files, err = pgx.CollectRows(rows, func(row pgx.CollectableRow) (f File, err error) {
				err = row.Scan(&f.ID, &f.ObjectKey, &f.UploadID)
				return f, err
			})
			return err
		}); err != nil {
			return nil, fmt.Errorf("files of delivery %s: %w", ref.ID, err)
		}
	}
	return out, errors.Join(failed...)
}

// giveUp abandons one delivery as the machine.
func (tx *Tx) giveUp(ctx context.Context, ref milestoneRef) error {
	var m lockedMilestone
	if err := tx.QueryRow(ctx, `SELECT m.studio_id, m.work_order_id FROM ph.delivery d JOIN ph.milestone m ON m.studio_id = d.studio_id AND m.id = d.milestone_id
		WHERE d.studio_id = $1 AND d.id = $2 AND d.state IN ('open', 'sealing') FOR UPDATE OF m SKIP LOCKED`, ref.Studio, ref.ID).Scan(&m.studio, &m.workOrder); err != nil {
		return mapError(err)
	}
	// What was read came before the lock: only what is still so is moved, back to open first where it was being sealed.
	if _, err := tx.Exec(ctx, `UPDATE ph.delivery SET state = 'open' WHERE studio_id = $1 AND id = $2 AND state = 'sealing' AND greatest(opened_at, sealing_at) < now() - $3::interval`, ref.Studio, ref.ID, SweepAfter); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.delivery SET state = 'abandoned', abandoned_at = now() WHERE studio_id = $1 AND id = $2 AND state = 'open'`, ref.Studio, ref.ID)
	if err != nil {
		return err
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	tx.fact(FactDeliveryAbandoned, m.studio, m.workOrder, ref.ID)
	return nil
}

// Cleared says that the objects of a delivery that was given up are gone.
func (c *Clock) Cleared(ctx context.Context, s Swept) error {
	err := runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error {
		_, err := tx.Exec(ctx, `UPDATE ph.delivery SET swept_at = now() WHERE studio_id = $1 AND id = $2 AND state = 'abandoned'`, s.Studio, s.Delivery)
		return err
	})
	if err != nil {
		return fmt.Errorf("delivery %s is cleared: %w", s.Delivery, err)
	}
	return nil
}
