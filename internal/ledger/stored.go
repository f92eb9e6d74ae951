package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Stored is what a thing takes in storage, in bytes. Equal pieces of evidence of one order are stored once and counted each
// time, so the sum is an upper bound.
type Stored struct {
	ID             uuid.UUID // of the vendor, work order or prop
	Name           string    // the vendor's name, the order's or the prop's code
	DeliveredBytes int64     // of sealed deliveries, removed ones left out
	RemovedBytes   int64     // deleted by the orders' rules so far
	EvidenceBytes  int64
}

// Bytes is what lies in storage now.
func (s Stored) Bytes() int64 { return s.DeliveredBytes + s.EvidenceBytes }

const storedSums = `coalesce(sum(s.delivered_bytes - s.removed_bytes), 0)::bigint, coalesce(sum(s.removed_bytes), 0)::bigint, coalesce(sum(s.evidence_bytes), 0)::bigint`

// StoredByVendor adds up for each vendor of a studio, the largest first. A vendor is told its own sum.
func (tx *Tx) StoredByVendor(ctx context.Context) ([]Stored, error) {
	return tx.stored(ctx, `SELECT s.vendor_id, e.vendor_name, `+storedSums+` FROM ph.stored s
		JOIN ph.engagement e ON e.studio_id = s.studio_id AND e.vendor_id = s.vendor_id WHERE s.{me} = $1 GROUP BY s.vendor_id, e.vendor_name ORDER BY 3 DESC, 2`)
}

// StoredByOrder adds up for each of the caller's work orders, the largest first.
func (tx *Tx) StoredByOrder(ctx context.Context) ([]Stored, error) {
	return tx.stored(ctx, `SELECT s.work_order_id, w.code, `+storedSums+` FROM ph.stored s
		JOIN ph.work_order w ON w.studio_id = s.studio_id AND w.id = s.work_order_id WHERE s.{me} = $1 GROUP BY s.work_order_id, w.code ORDER BY 3 DESC, 2`)
}

// StoredByProp lists an order's props, the largest first. An order that is not there has none.
func (tx *Tx) StoredByProp(ctx context.Context, order uuid.UUID) ([]Stored, error) {
	return tx.stored(ctx, `SELECT s.prop_id, p.code, `+storedSums+` FROM ph.stored s
		JOIN ph.prop p ON p.studio_id = s.studio_id AND p.id = s.prop_id WHERE s.{me} = $1 AND s.work_order_id = $2 GROUP BY s.prop_id, p.code ORDER BY 3 DESC, 2`, order)
}

func (tx *Tx) stored(ctx context.Context, query string, args ...any) ([]Stored, error) {
	rows, err := tx.Query(ctx, tx.sql(query), append([]any{tx.Who.Party}, args...)...)
	if err != nil {
		return nil, fmt.Errorf("what is stored: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Stored])
}
