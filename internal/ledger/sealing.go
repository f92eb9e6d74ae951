package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
)

// BeginSeal fences uploads (state sealing). Repeating it is fine; on a sealed delivery it returns it as it is. The
// caller then looks at every object and calls FinishSeal or CancelSeal: no object is looked at inside a transaction.
func (tx *Tx) BeginSeal(ctx context.Context, id uuid.UUID) (Delivery, error) {
	if err := tx.allow("sealing", VendorSide); err != nil {
		return Delivery{}, err
	}
	batch := &pgx.Batch{}
	// Nothing waits for the disk: should the database fall and forget the fence, FinishSeal finds none and refuses.
	batch.Queue(`SELECT set_config('synchronous_commit', 'off', true)`)
	tx.queueLock(batch, id)
	batch.Queue(tx.sql(`UPDATE ph.delivery d SET state = 'sealing', sealing_at = now() WHERE d.{me} = $1 AND d.id = $2 AND d.state = 'open'
		AND EXISTS (SELECT FROM ph.milestone m WHERE m.studio_id = d.studio_id AND m.id = d.milestone_id AND m.state = ANY ($3))`), tx.Who.Party, id, sealable)
	tx.queueDelivery(batch, id)
	results := tx.SendBatch(ctx, batch)
	defer results.Close()
	m, d, err := readFenced(results)
	if err != nil {
		return Delivery{}, fmt.Errorf("delivery %s: %w", id, mapError(err))
	}
	switch d.State {
	case DOpen:
		return Delivery{}, fmt.Errorf("%w: the milestone is %s", ErrState, m.state)
	case DAbandoned:
		return Delivery{}, fmt.Errorf("%w: the delivery is abandoned", ErrState)
	}
	return d, nil
}

// sealable are the states of a milestone from which a seal leads on.
var sealable = func() (states []string) {
	for _, m := range Moves {
		if m.Event == EvSeal {
			states = append(states, string(m.From))
		}
	}
	return states
}()

func readFenced(results pgx.BatchResults) (m lockedMilestone, d Delivery, err error) {
	if _, err = results.Exec(); err != nil {
		return m, d, err
	}
	if m, err = scanLocked(results.QueryRow()); err != nil {
		return m, d, err
	}
	if _, err = results.Exec(); err != nil {
		return m, d, err
	}
	if d, err = readDelivery(results); err != nil {
		return m, d, err
	}
	return m, d, results.Close()
}

// FinishSeal makes the delivery final: it stores what HEAD said of each object, queues the inspection under the spec in
// force now, enqueues a worker's ticket and records the fact, all in this transaction. Repeating it returns the sealed
// delivery.
func (tx *Tx) FinishSeal(ctx context.Context, id uuid.UUID, arrived []Arrived) (Delivery, error) {
	if err := tx.allow("sealing", VendorSide); err != nil {
		return Delivery{}, err
	}
	l, err := tx.lockToSeal(ctx, id)
	if err != nil {
		return Delivery{}, fmt.Errorf("delivery %s: %w", id, mapError(err))
	}
	m, d := l.m, l.d
	switch d.State {
	case DSealed:
		return d, nil
	case DOpen, DAbandoned:
		return Delivery{}, fmt.Errorf("%w: the delivery is %s, not being sealed", ErrState, d.State)
	}
	if err := tx.storeArrived(&d, arrived); err != nil {
		return Delivery{}, err
	}
	if err := tx.countRound(ctx, m, &d, l.now); err != nil {
		return Delivery{}, err
	}
	d.Inspection = &InspectionHead{ID: tx.queueInspection(ctx, m, id, ""), State: IQueued}
	tx.fact(FactDeliverySealed, m.studio, m.workOrder, id)
	return d, nil
}

// sealLock is a milestone that is locked for the seal of its delivery, with the delivery and the transaction's time.
type sealLock struct {
	delivery uuid.UUID
	m        lockedMilestone
	d        Delivery
	now      time.Time
	read     bool
	err      error
}

// LockToSealWithNext lets the lock that FinishSeal takes go out with the next statement, behind it.
func (tx *Tx) LockToSealWithNext(id uuid.UUID) {
	l := &sealLock{delivery: id}
	batch := &pgx.Batch{}
	tx.queueLock(batch, id)
	tx.queueDelivery(batch, id)
	batch.Queue(`SELECT now()`)
	tx.sealing = l
	tx.late.alongside(batch, func(results pgx.BatchResults) error {
		l.read = true
		if l.m, l.err = scanLocked(results.QueryRow()); l.err == nil {
			l.d, l.err = readDelivery(results)
		}
		if l.err == nil {
			l.err = results.QueryRow().Scan(&l.now)
		}
		return l.err
	})
}

// lockToSeal locks the milestone, then reads the delivery and the transaction's time, in one round trip at most.
func (tx *Tx) lockToSeal(ctx context.Context, id uuid.UUID) (*sealLock, error) {
	if tx.sealing == nil || tx.sealing.delivery != id {
		tx.LockToSealWithNext(id)
	}
	l := tx.sealing
	if !l.read {
		if err := tx.late.flush(ctx); err != nil {
			return nil, err
		}
	}
	tx.sealing = nil
	return l, l.err
}

// storeArrived needs exactly one object for each file, with the declared size.
func (tx *Tx) storeArrived(d *Delivery, arrived []Arrived) error {
	by := make(map[uuid.UUID]Arrived, len(arrived))
	for _, a := range arrived {
		by[a.File] = a
	}
	if len(by) != len(d.Files) || len(arrived) != len(d.Files) {
		return invalid("arrived", "names %d objects for %d files", len(by), len(d.Files))
	}
	etags, versions := make([]string, len(d.Files)), make([]string, len(d.Files))
	for i := range d.Files {
		f := &d.Files[i]
		a, ok := by[f.ID]
		if !ok || a.ETag == "" {
			return invalid("arrived", "does not name the object of %s", f.Path)
		}
		if a.Size != f.Size {
			return invalid("arrived", "has %d bytes for %s, the manifest says %d", a.Size, f.Path, f.Size)
		}
		f.ETag, f.VersionID = a.ETag, a.VersionID
		etags[i], versions[i] = a.ETag, a.VersionID
	}
	// By their place in the manifest and not joined with the arrays: a join with an array is planned anew with every seal.
	tx.late.later(lateStatement{doing: fmt.Sprintf("objects of delivery %s", d.ID),
		sql: `UPDATE ph.file f SET etag = ($3::text[])[f.ord + 1], version_id = nullif(($4::text[])[f.ord + 1], '')
			WHERE f.studio_id = $1 AND f.delivery_id = $2 AND f.ord < cardinality($3::text[])`, args: []any{d.StudioID, d.ID, etags, versions},
		check: func(tag pgconn.CommandTag) error {
			if int(tag.RowsAffected()) != len(etags) {
				return fmt.Errorf("%d rows for %d files", tag.RowsAffected(), len(etags))
			}
			return nil
		}})
	return nil
}

// countRound moves the milestone to the inspector and the delivery to sealed, and says whose round this is: after a failed test or a
// return for nonconformity the vendor's, after a changed mind the studio's, after a test that could not be made nobody's.
func (tx *Tx) countRound(ctx context.Context, m lockedMilestone, d *Delivery, now time.Time) error {
	to, ok := Next(m.state, EvSeal)
	if !ok {
		return fmt.Errorf("%w: a milestone that is %s cannot take %s", ErrState, m.state, EvSeal)
	}
	cause := "first"
	switch m.state {
	case MFailed:
		cause = string(Nonconformity)
	case MStuck:
		cause = "not_evaluated"
	case MReturned:
		if err := tx.QueryRow(ctx, `SELECT coalesce(s.cause, 'nonconformity') FROM ph.sign_off s JOIN ph.delivery d ON d.studio_id = s.studio_id AND d.id = s.delivery_id
			WHERE d.studio_id = $1 AND d.milestone_id = $2 AND s.decision = 'return' ORDER BY d.number DESC LIMIT 1`, m.studio, m.id).Scan(&cause); err != nil {
			return fmt.Errorf("why milestone %s was returned: %w", m.id, err)
		}
	}
	tx.late.later(lateStatement{doing: fmt.Sprintf("milestone %s", m.id),
		sql: `UPDATE ph.milestone SET state = $3, last_event = $4, rounds = rounds + 1, rework_vendor = rework_vendor + ($5 = 'nonconformity')::int,
			rework_studio = rework_studio + ($5 = 'changed_mind')::int WHERE studio_id = $1 AND id = $2`, args: []any{m.studio, m.id, to, EvSeal, cause}})
	tx.late.later(lateStatement{doing: fmt.Sprintf("delivery %s to sealed", d.ID),
		sql:  `UPDATE ph.delivery SET state = 'sealed', sealed_at = now(), sealed_by = $3, round_cause = $4 WHERE studio_id = $1 AND id = $2`,
		args: []any{m.studio, d.ID, tx.Who.Member, cause}})
	d.State, d.Milestone, d.RoundCause, d.SealedAt = DSealed, to, cause, &now
	return nil
}
