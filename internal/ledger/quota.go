package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Quota is how many bytes of a vendor's deliveries the studio keeps: in all, or in one order. It is a setting and no act: nothing of what
// was delivered changes by it, and what is there already may be more.
type Quota struct {
	ID         uuid.UUID
	VendorID   uuid.UUID
	VendorName string
	WorkOrder  *uuid.UUID // nil: in all orders together
	OrderCode  string
	Bytes      int64
	ByName     string
	At         time.Time
	Used       int64 // as an opened delivery is held against it
}

// NewQuota is what a studio says of a vendor, or of one order.
type NewQuota struct {
	Vendor    uuid.UUID // one of the two
	WorkOrder uuid.UUID
	Bytes     *int64 // nil: no limit
}

const quotaMax = 1_000_000_000_000_000 // a petabyte

// quotaLock is held, with the vendor's id, while a delivery is opened under a quota, so that two that are opened at once are not each
// held against what the other does not take yet. It comes after the milestones' locks and before the logs'.
const quotaLock = 0x70685f71 // "ph_q"

// SetQuota says how much of a vendor, or of an order, is kept; without bytes there is no limit any more.
func (tx *Tx) SetQuota(ctx context.Context, in NewQuota) ([]Quota, error) {
	if err := tx.allow("saying how much a vendor may deliver", StudioSide, Producer); err != nil {
		return nil, err
	}
	switch {
	case (in.Vendor == uuid.Nil) == (in.WorkOrder == uuid.Nil):
		return nil, invalid("vendor_id", "or work_order_id is needed, and not both")
	case in.Bytes != nil && (*in.Bytes < 0 || *in.Bytes > quotaMax):
		return nil, invalid("bytes", "is not within 0 to %d", int64(quotaMax))
	}
	vendor := in.Vendor
	if in.WorkOrder != uuid.Nil {
		if err := tx.QueryRow(ctx, `SELECT vendor_id FROM ph.work_order WHERE studio_id = $1 AND id = $2`, tx.Who.Party, in.WorkOrder).Scan(&vendor); err != nil {
			return nil, fmt.Errorf("work order %s: %w", in.WorkOrder, mapError(err))
		}
	}
	_, err := tx.Exec(ctx, `INSERT INTO ph.quota (studio_id, vendor_id, id, work_order_id, bytes, by_member, by_name) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (studio_id, vendor_id, work_order_id) DO UPDATE SET bytes = excluded.bytes, by_member = excluded.by_member, by_name = excluded.by_name, at = now()`,
		tx.Who.Party, vendor, newID(), idOrNull(in.WorkOrder), in.Bytes, tx.Who.Member, tx.Who.Name)
	if err != nil {
		return nil, fmt.Errorf("quota of vendor %s: %w", vendor, err)
	}
	return tx.Quotas(ctx)
}

// Quotas lists the limits that stand: a studio's for all its vendors, a vendor's own. Those for all orders of a vendor come first.
func (tx *Tx) Quotas(ctx context.Context) ([]Quota, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT q.id, q.vendor_id, e.vendor_name, q.work_order_id, coalesce(w.code, ''), q.bytes, coalesce(q.by_name, ''), q.at, `+quotaUsed+`
		FROM ph.quota q JOIN ph.engagement e ON e.studio_id = q.studio_id AND e.vendor_id = q.vendor_id
		LEFT JOIN ph.work_order w ON w.studio_id = q.studio_id AND w.id = q.work_order_id
		WHERE q.{me} = $1 AND q.bytes IS NOT NULL ORDER BY e.vendor_name, q.vendor_id, q.studio_id, w.code NULLS FIRST`), tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("quotas: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Quota])
}

// quotaUsed is what counts against a quota q: what is sealed and not removed, what is being delivered, and what was given up and not deleted
// yet. Indexes: stored_pkey, delivery_under_way_key, delivery_to_sweep.
const quotaUsed = `(coalesce((SELECT sum(s.delivered_bytes - s.removed_bytes) FROM ph.stored s
		WHERE s.studio_id = q.studio_id AND s.vendor_id = q.vendor_id AND (q.work_order_id IS NULL OR s.work_order_id = q.work_order_id)), 0)
	+ coalesce((SELECT sum(d.bytes) FROM ph.delivery d WHERE d.studio_id = q.studio_id AND d.vendor_id = q.vendor_id
		AND (q.work_order_id IS NULL OR d.work_order_id = q.work_order_id) AND d.state IN ('open', 'sealing')), 0)
	+ coalesce((SELECT sum(d.bytes) FROM ph.delivery d WHERE d.studio_id = q.studio_id AND d.vendor_id = q.vendor_id
		AND (q.work_order_id IS NULL OR d.work_order_id = q.work_order_id) AND d.state = 'abandoned' AND d.swept_at IS NULL), 0))::bigint`

// limited says, of the prop p, whether a quota stands for what its vendor delivers.
const limited = `EXISTS (SELECT FROM ph.quota q WHERE q.studio_id = p.studio_id AND q.vendor_id = p.vendor_id AND q.bytes IS NOT NULL AND (q.work_order_id IS NULL OR q.work_order_id = p.work_order_id))`

// withinQuota refuses a delivery for which a quota leaves no room (ErrQuota).
func (tx *Tx) withinQuota(ctx context.Context, m lockedMilestone, bytes int64) error {
	if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1, hashtext($2::text))`, int32(quotaLock), m.vendor); err != nil {
		return fmt.Errorf("quota of vendor %s: %w", m.vendor, err)
	}
	rows, err := tx.Query(ctx, `SELECT q.work_order_id IS NOT NULL, q.bytes, `+quotaUsed+` FROM ph.quota q
		WHERE q.studio_id = $1 AND q.vendor_id = $2 AND q.bytes IS NOT NULL AND (q.work_order_id IS NULL OR q.work_order_id = $3) ORDER BY q.work_order_id NULLS LAST`, m.studio, m.vendor, m.workOrder)
	if err != nil {
		return fmt.Errorf("quota of vendor %s: %w", m.vendor, err)
	}
	var ofOrder bool
	var most, used int64
	var over error
	_, err = pgx.ForEachRow(rows, []any{&ofOrder, &most, &used}, func() error {
		switch free := max(0, most-used); {
		case over != nil || bytes <= free:
		case ofOrder:
			over = fmt.Errorf("%w: these files have %s, and of the %s that are kept of this order %s are free: ask the studio for more room", ErrQuota, sizeText(bytes), sizeText(most), sizeText(free))
		default:
			over = fmt.Errorf("%w: these files have %s, and of the %s that the studio keeps of you in all %s are free: ask it for more room", ErrQuota, sizeText(bytes), sizeText(most), sizeText(free))
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("quota of vendor %s: %w", m.vendor, err)
	}
	return over
}

// sizeText is a number of bytes for people, by powers of a thousand, never more than there is.
func sizeText(bytes int64) string {
	unit, size := "bytes", int64(1)
	for _, next := range []string{"kB", "MB", "GB", "TB", "PB"} {
		if bytes < size*1000 {
			break
		}
		unit, size = next, size*1000
	}
	if size == 1 {
		return fmt.Sprintf("%d %s", bytes, unit)
	}
	tenths := bytes / (size / 10)
	return fmt.Sprintf("%d.%d %s", tenths/10, tenths%10, unit)
}
