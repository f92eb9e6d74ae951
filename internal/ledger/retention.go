package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Retention says how long the delivered bytes of an order are kept. The newest statement of an order counts; an order
// without one keeps everything.
type Retention struct {
	ID             uuid.UUID
	WorkOrderID    uuid.UUID
	SupersededDays *int // days after a newer delivery of the same milestone was sealed; nil keeps them for ever
	LegalHold      bool // nothing of the order is deleted while it stands
	Reason         string
	ByName         string
	At             time.Time
}

// NewRetention is a statement to make.
type NewRetention struct {
	WorkOrder      uuid.UUID
	SupersededDays *int
	LegalHold      bool
	Reason         string // needed to lift a legal hold
}

// retentionMaxDays is a hundred years: longer than any contract here is kept.
const retentionMaxDays = 36_500

// retentionLock is held, with the order's id, while a rule is made and while one is carried out, so that no byte goes after
// a hold was answered for.
const retentionLock = 0x70685f72 // "ph_r"

const lockRetention = `SELECT pg_advisory_xact_lock($1, hashtext($2::text))`

// SetRetention makes a statement for an order, as a producer of the studio. Both sides see it.
func (tx *Tx) SetRetention(ctx context.Context, in NewRetention) (Retention, error) {
	if err := tx.allow("saying how long files are kept", StudioSide, Producer); err != nil {
		return Retention{}, err
	}
	if d := in.SupersededDays; d != nil && (*d < 0 || *d > retentionMaxDays) {
		return Retention{}, invalid("superseded_days", "is not 0 to %d", retentionMaxDays)
	}
	if len([]rune(in.Reason)) > reasonMax {
		return Retention{}, invalid("reason", "is over %d characters", reasonMax)
	}
	if _, err := tx.Exec(ctx, lockRetention, int32(retentionLock), in.WorkOrder); err != nil {
		return Retention{}, fmt.Errorf("retention of work order %s: %w", in.WorkOrder, err)
	}
	before, err := tx.RetentionOf(ctx, in.WorkOrder)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return Retention{}, err
	}
	if before.LegalHold && !in.LegalHold && in.Reason == "" {
		return Retention{}, invalid("reason", "is needed to lift a legal hold")
	}
	var vendor uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT vendor_id FROM ph.work_order WHERE studio_id = $1 AND id = $2`, tx.Who.Party, in.WorkOrder).Scan(&vendor); err != nil {
		return Retention{}, fmt.Errorf("work order %s: %w", in.WorkOrder, mapError(err))
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.retention (studio_id, vendor_id, work_order_id, id, superseded_days, legal_hold, reason, by_member, by_name)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)`, tx.Who.Party, vendor, in.WorkOrder, id, in.SupersededDays, in.LegalHold, in.Reason, tx.Who.Member, tx.Who.Name); err != nil {
		return Retention{}, fmt.Errorf("retention of work order %s: %w", in.WorkOrder, err)
	}
	tx.fact(FactRetentionSet, tx.Who.Party, in.WorkOrder, id)
	return tx.RetentionOf(ctx, in.WorkOrder)
}

// RetentionOf is the statement that counts for an order. ErrNotFound where none was made.
func (tx *Tx) RetentionOf(ctx context.Context, order uuid.UUID) (Retention, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT id, work_order_id, superseded_days, legal_hold, reason, coalesce(by_name, ''), at
		FROM ph.retention WHERE {me} = $1 AND work_order_id = $2 ORDER BY id DESC LIMIT 1`), tx.Who.Party, order)
	if err != nil {
		return Retention{}, fmt.Errorf("retention of work order %s: %w", order, err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Retention])
	return r, mapError(err)
}

// Removal is a delivery whose bytes were deleted by its order's rule: digests, findings, evidence and verdict stay.
type Removal struct {
	Delivery  uuid.UUID
	Files     int
	Bytes     int64
	At        time.Time
	ClearedAt *time.Time // when storage had let go of all of them
}

// RemovalOf tells what was deleted of a delivery. ErrNotFound where nothing was.
func (tx *Tx) RemovalOf(ctx context.Context, delivery uuid.UUID) (Removal, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT delivery_id, files, bytes, at, cleared_at FROM ph.removal WHERE {me} = $1 AND delivery_id = $2`), tx.Who.Party, delivery)
	if err != nil {
		return Removal{}, fmt.Errorf("removal of delivery %s: %w", delivery, err)
	}
	r, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Removal])
	return r, mapError(err)
}

// superseded are deliveries whose bytes their order's rule lets go: judged, not accepted, followed by a newer delivery of the
// same milestone that was judged too and sealed long enough ago; no hold. Source files stay: a payment may wait for them.
const superseded = `FROM (SELECT DISTINCT ON (studio_id, work_order_id) studio_id, work_order_id, id, superseded_days, legal_hold
		FROM ph.retention ORDER BY studio_id, work_order_id, id DESC) r
	JOIN ph.delivery d ON d.studio_id = r.studio_id AND d.work_order_id = r.work_order_id AND d.state = 'sealed'
	WHERE NOT r.legal_hold AND r.superseded_days IS NOT NULL
	AND NOT EXISTS (SELECT FROM ph.removal x WHERE x.studio_id = d.studio_id AND x.delivery_id = d.id)
	AND NOT EXISTS (SELECT FROM ph.sign_off s WHERE s.studio_id = d.studio_id AND s.delivery_id = d.id AND s.decision <> 'return')
	AND NOT EXISTS (SELECT FROM ph.inspection i WHERE i.studio_id = d.studio_id AND i.delivery_id = d.id AND i.state <> 'done')
	AND EXISTS (SELECT FROM ph.file f WHERE f.studio_id = d.studio_id AND f.delivery_id = d.id AND NOT f.role ^@ 'source.')
	AND EXISTS (SELECT FROM ph.delivery n JOIN ph.inspection i ON i.studio_id = n.studio_id AND i.delivery_id = n.id AND i.current AND i.verdict <> 'not_evaluated'
		WHERE n.studio_id = d.studio_id AND n.milestone_id = d.milestone_id AND n.number > d.number AND n.state = 'sealed'
		AND n.sealed_at <= now() - make_interval(days => r.superseded_days))`

// Remove carries out the rules of all orders: each superseded delivery gets its leaf, and what is to be deleted in storage is
// listed, also from times before, unless a hold stands by now. The caller asks Held, deletes the objects and then calls
// RemovalCleared; it may break off anywhere and be called again.
func (c *Clock) Remove(ctx context.Context) ([]Swept, error) {
	due, err := c.list(ctx, `SELECT d.studio_id, d.id `+superseded+` ORDER BY d.id LIMIT 1000`)
	if err != nil {
		return nil, fmt.Errorf("look for superseded deliveries: %w", err)
	}
	for _, ref := range due {
		if err := retry(ctx, func() error {
			return runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error { return tx.remove(ctx, ref) })
		}); err != nil && !errors.Is(err, ErrNotFound) {
			return nil, fmt.Errorf("remove the bytes of delivery %s: %w", ref.ID, err)
		}
	}
	var out []Swept
	err = runTx(ctx, c.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) error {
		out = nil
		rows, err := tx.Query(ctx, `SELECT r.studio_id, r.delivery_id, f.id, f.object_key FROM ph.removal r
			JOIN ph.removal_file l ON l.studio_id = r.studio_id AND l.removal_id = r.id
			JOIN ph.file f ON f.studio_id = l.studio_id AND f.id = l.file_id
			WHERE r.cleared_at IS NULL AND NOT `+heldOrder("r")+` ORDER BY r.id, f.ord LIMIT 10000`)
		if err != nil {
			return err
		}
		var studio, delivery uuid.UUID
		var file File
		_, err = pgx.ForEachRow(rows, []any{&studio, &delivery, &file.ID, &file.ObjectKey}, func() error {
			if n := len(out); n == 0 || out[n-1].Delivery != delivery {
				out = append(out, Swept{Studio: studio, Delivery: delivery})
			}
			out[len(out)-1].Files = append(out[len(out)-1].Files, file)
			return nil
		})
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("list removed files: %w", err)
	}
	return out, nil
}

// remove records one removal, if its order's rule still allows it.
func (tx *Tx) remove(ctx context.Context, ref milestoneRef) error {
	var order, milestone uuid.UUID
	if err := tx.QueryRow(ctx, `SELECT work_order_id, milestone_id FROM ph.delivery WHERE studio_id = $1 AND id = $2`, ref.Studio, ref.ID).Scan(&order, &milestone); err != nil {
		return mapError(err)
	}
	if _, err := tx.Exec(ctx, lockRetention, int32(retentionLock), order); err != nil {
		return err
	}
	if err := tx.QueryRow(ctx, `SELECT id FROM ph.milestone WHERE studio_id = $1 AND id = $2 FOR UPDATE`, ref.Studio, milestone).Scan(&milestone); err != nil {
		return mapError(err)
	}
	id := newID()
	err := tx.QueryRow(ctx, `INSERT INTO ph.removal (studio_id, vendor_id, work_order_id, delivery_id, id, retention_id, files, bytes)
		SELECT d.studio_id, d.vendor_id, d.work_order_id, d.id, $3, r.id, a.files, a.bytes
		FROM (SELECT d.studio_id AS studio, d.id AS delivery, r.id AS rule `+superseded+` AND d.studio_id = $1 AND d.id = $2) due
		JOIN ph.delivery d ON d.studio_id = due.studio AND d.id = due.delivery
		JOIN ph.retention r ON r.studio_id = due.studio AND r.id = due.rule
		CROSS JOIN LATERAL (SELECT count(*) AS files, coalesce(sum(f.size), 0) AS bytes FROM ph.file f
			WHERE f.studio_id = d.studio_id AND f.delivery_id = d.id AND NOT f.role ^@ 'source.') a RETURNING id`, ref.Studio, ref.ID, id).Scan(&id)
	if err != nil {
		return mapError(err)
	}
	if _, err := tx.Exec(ctx, `INSERT INTO ph.removal_file (studio_id, vendor_id, work_order_id, removal_id, file_id)
		SELECT f.studio_id, f.vendor_id, f.work_order_id, $3, f.id FROM ph.file f WHERE f.studio_id = $1 AND f.delivery_id = $2 AND NOT f.role ^@ 'source.'`,
		ref.Studio, ref.ID, id); err != nil {
		return err
	}
	tx.fact(FactBytesRemoved, ref.Studio, order, id)
	return nil
}

// RemovalCleared says that storage has let go of a removal's objects.
func (c *Clock) RemovalCleared(ctx context.Context, s Swept) error {
	err := runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error {
		_, err := tx.Exec(ctx, `UPDATE ph.removal SET cleared_at = now() WHERE studio_id = $1 AND delivery_id = $2 AND cleared_at IS NULL`, s.Studio, s.Delivery)
		return err
	})
	if err != nil {
		return fmt.Errorf("the bytes of delivery %s are removed: %w", s.Delivery, err)
	}
	return nil
}
