package ledger

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"slices"

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

// storedSums are the sums of one order; an order of which nothing is stored has none.
type storedSums struct{ delivered, removed, evidence int64 }

// storedOrder is an order whose sums are asked for.
type storedOrder struct {
	vendor     uuid.UUID
	vendorName string
	code       string
	sizedOrder
}

// storedOrders lists the caller's orders of which something is stored, with the sums of each.
func (tx *Tx) storedOrders(ctx context.Context) ([]storedOrder, map[uuid.UUID]storedSums, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT w.vendor_id, e.vendor_name, w.code, w.studio_id, w.id, coalesce(l.size, 0) FROM ph.work_order w
		JOIN ph.engagement e ON e.studio_id = w.studio_id AND e.vendor_id = w.vendor_id LEFT JOIN ph.log l ON l.studio_id = w.studio_id AND l.id = w.id WHERE w.{me} = $1`), tx.Who.Party)
	if err != nil {
		return nil, nil, fmt.Errorf("what is stored: %w", err)
	}
	orders, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (o storedOrder, err error) {
		return o, row.Scan(&o.vendor, &o.vendorName, &o.code, &o.studio, &o.id, &o.size)
	})
	if err != nil {
		return nil, nil, fmt.Errorf("what is stored: %w", err)
	}
	sized := make([]sizedOrder, len(orders))
	for i, o := range orders {
		sized[i] = o.sizedOrder
	}
	sums, err := rememberedByOrder(tx, "stored", sized, func(studios, ids []uuid.UUID) (map[uuid.UUID]storedSums, error) {
		return tx.addStored(ctx, studios, ids)
	})
	if err != nil {
		return nil, nil, fmt.Errorf("what is stored: %w", err)
	}
	return slices.DeleteFunc(orders, func(o storedOrder) bool { _, some := sums[o.id]; return !some }), sums, nil
}

// addStored adds up what is stored of orders. Index: the primary key.
func (tx *Tx) addStored(ctx context.Context, studios, ids []uuid.UUID) (map[uuid.UUID]storedSums, error) {
	rows, err := tx.Query(ctx, `SELECT o.id, n.delivered, n.removed, n.evidence FROM unnest($1::uuid[], $2::uuid[]) AS o (studio_id, id) CROSS JOIN LATERAL (
		SELECT sum(s.delivered_bytes - s.removed_bytes)::bigint AS delivered, sum(s.removed_bytes)::bigint AS removed, sum(s.evidence_bytes)::bigint AS evidence
		FROM ph.stored s WHERE s.studio_id = o.studio_id AND s.work_order_id = o.id HAVING count(*) > 0) n`, studios, ids)
	if err != nil {
		return nil, err
	}
	out := make(map[uuid.UUID]storedSums, len(ids))
	var id uuid.UUID
	var n storedSums
	_, err = pgx.ForEachRow(rows, []any{&id, &n.delivered, &n.removed, &n.evidence}, func() error { out[id] = n; return nil })
	return out, err
}

// StoredByVendor adds up for each vendor of a studio, the largest first. A vendor is told its own sum.
func (tx *Tx) StoredByVendor(ctx context.Context) ([]Stored, error) {
	return tx.storedBy(ctx, func(o storedOrder) (uuid.UUID, string) { return o.vendor, o.vendorName })
}

// StoredByOrder adds up for each of the caller's work orders, the largest first.
func (tx *Tx) StoredByOrder(ctx context.Context) ([]Stored, error) {
	return tx.storedBy(ctx, func(o storedOrder) (uuid.UUID, string) { return o.id, o.code })
}

// storedBy adds up the sums of orders under a key, and puts the largest delivered first.
func (tx *Tx) storedBy(ctx context.Context, key func(storedOrder) (uuid.UUID, string)) (out []Stored, err error) {
	orders, sums, err := tx.storedOrders(ctx)
	if err != nil {
		return nil, err
	}
	at := map[uuid.UUID]int{}
	for _, o := range orders {
		id, name := key(o)
		i, ok := at[id]
		if !ok {
			i, out = len(out), append(out, Stored{ID: id, Name: name})
			at[id] = i
		}
		n := sums[o.id]
		out[i].DeliveredBytes += n.delivered
		out[i].RemovedBytes += n.removed
		out[i].EvidenceBytes += n.evidence
	}
	slices.SortFunc(out, func(a, b Stored) int {
		return cmp.Or(cmp.Compare(b.DeliveredBytes, a.DeliveredBytes), cmp.Compare(a.Name, b.Name), bytes.Compare(a.ID[:], b.ID[:]))
	})
	return out, nil
}

// StoredByProp lists an order's props, the largest first. An order that is not there has none.
func (tx *Tx) StoredByProp(ctx context.Context, order uuid.UUID) ([]Stored, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT s.prop_id, p.code, s.delivered_bytes - s.removed_bytes, s.removed_bytes, s.evidence_bytes FROM ph.stored s
		JOIN ph.prop p ON p.studio_id = s.studio_id AND p.id = s.prop_id WHERE s.{me} = $1 AND s.work_order_id = $2 ORDER BY 3 DESC, 2`), tx.Who.Party, order)
	if err != nil {
		return nil, fmt.Errorf("what is stored: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Stored])
}
