package ledger

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

// heldOrder says whether a legal hold stands on the order of a row of the alias o: nothing of it is deleted meanwhile, by no rule.
// Index: retention_newest.
func heldOrder(o string) string {
	return `coalesce((SELECT h.legal_hold FROM ph.retention h WHERE h.studio_id = ` + o + `.studio_id AND h.work_order_id = ` + o + `.work_order_id ORDER BY h.id DESC LIMIT 1), false)`
}

// Held says whether a legal hold keeps the objects of a delivery. It is asked just before they are deleted, since a hold may have
// been set after they were listed.
func (c *Clock) Held(ctx context.Context, s Swept) (held bool, err error) {
	err = runTx(ctx, c.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) error {
		return tx.QueryRow(ctx, `SELECT `+heldOrder("d")+` FROM ph.delivery d WHERE d.studio_id = $1 AND d.id = $2`, s.Studio, s.Delivery).Scan(&held)
	})
	if err != nil {
		return false, fmt.Errorf("is delivery %s held: %w", s.Delivery, err)
	}
	return held, nil
}

// objectOwners are the deliveries and orders that keys of objects name: in/<vendor>/<delivery>/<file>, wo/<order>/… and ref/<order>/….
func objectOwners(keys []string) (deliveries map[[2]uuid.UUID]bool, orders map[uuid.UUID]bool) {
	deliveries, orders = map[[2]uuid.UUID]bool{}, map[uuid.UUID]bool{}
	for _, key := range keys {
		if vendor, delivery, ok := deliveryOfKey(key); ok {
			deliveries[[2]uuid.UUID{vendor, delivery}] = true
		} else if order, ok := orderOfKey(key); ok {
			orders[order] = true
		}
	}
	return deliveries, orders
}

func deliveryOfKey(key string) (vendor, delivery uuid.UUID, ok bool) {
	part := strings.Split(key, "/")
	if len(part) != 4 || part[0] != "in" {
		return vendor, delivery, false
	}
	vendor, err1 := uuid.Parse(part[1])
	delivery, err2 := uuid.Parse(part[2])
	return vendor, delivery, err1 == nil && err2 == nil
}

func orderOfKey(key string) (order uuid.UUID, ok bool) {
	part := strings.Split(key, "/")
	if len(part) < 3 || (part[0] != "wo" && part[0] != "ref") {
		return order, false
	}
	order, err := uuid.Parse(part[1])
	return order, err == nil
}

// unheld leaves out the keys of orders on which a legal hold stands.
func (tx *Tx) unheld(ctx context.Context, keys []string) ([]string, error) {
	deliveries, orders := objectOwners(keys)
	heldDelivery, heldWork := map[[2]uuid.UUID]bool{}, map[uuid.UUID]bool{}
	ask := func(query string, args ...any) (held bool, err error) {
		err = tx.QueryRow(ctx, `SELECT coalesce((`+query+`), false)`, args...).Scan(&held)
		return held, err
	}
	var err error
	for d := range deliveries {
		if heldDelivery[d], err = ask(`SELECT `+heldOrder("d")+` FROM ph.delivery d WHERE d.vendor_id = $1 AND d.id = $2`, d[0], d[1]); err != nil {
			return nil, err
		}
	}
	for order := range orders {
		if heldWork[order], err = ask(`SELECT h.legal_hold FROM ph.retention h WHERE h.work_order_id = $1 ORDER BY h.id DESC LIMIT 1`, order); err != nil {
			return nil, err
		}
	}
	var out []string
	for _, key := range keys {
		vendor, delivery, _ := deliveryOfKey(key)
		order, _ := orderOfKey(key)
		if !heldDelivery[[2]uuid.UUID{vendor, delivery}] && !heldWork[order] {
			out = append(out, key)
		}
	}
	return out, nil
}
