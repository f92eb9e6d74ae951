package ledger

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/jackc/pgx/v5"
)

// OrphanWait is how long an object must have been without a row before it is deleted: evidence is stored before its row is
// written, and an inspection that storage or database held up may take its time.
const OrphanWait = 72 * time.Hour

// StoredObject is an object as storage lists it.
type StoredObject struct {
	Key  string
	Size int64
}

// MarkOrphans looks which of these objects nothing in the record speaks of, remembers since when, and forgets the marks of
// those that something speaks of by now. The objects of one call should have keys that follow each other.
func (c *Clock) MarkOrphans(ctx context.Context, objects []StoredObject) (orphans int, err error) {
	err = runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error {
		orphans = 0
		known, err := tx.spokenOf(ctx, objects)
		if err != nil {
			return err
		}
		var keys, spoken []string
		var sizes []int64
		for _, o := range objects {
			if known[o.Key] {
				spoken = append(spoken, o.Key)
				continue
			}
			keys, sizes = append(keys, o.Key), append(sizes, o.Size)
		}
		orphans = len(keys)
		if _, err := tx.Exec(ctx, `INSERT INTO ph.orphan AS o (object_key, size) SELECT * FROM unnest($1::text[], $2::bigint[])
			ON CONFLICT (object_key) DO UPDATE SET seen_at = now(), size = excluded.size, swept_at = NULL,
				marked_at = CASE WHEN o.swept_at IS NULL THEN o.marked_at ELSE now() END`, keys, sizes); err != nil {
			return err
		}
		_, err = tx.Exec(ctx, `UPDATE ph.orphan SET swept_at = now() WHERE object_key = ANY ($1) AND swept_at IS NULL`, spoken)
		return err
	})
	if err != nil {
		return 0, fmt.Errorf("look for objects that nothing speaks of: %w", err)
	}
	return orphans, nil
}

// spokenOf asks, for keys of the forms in/<vendor>/<delivery>/<file>, wo/<order>/evidence/<digest> and ref/<order>/…, for the
// rows of their deliveries and orders. Indexes: delivery_by_vendor, file_ord_key; the order's deliveries and their inspections.
func (tx *Tx) spokenOf(ctx context.Context, objects []StoredObject) (map[string]bool, error) {
	known := map[string]bool{}
	keys := make([]string, len(objects))
	for i, o := range objects {
		keys[i] = o.Key
	}
	deliveries, orders := objectOwners(keys)
	add := func(query string, args ...any) error {
		rows, err := tx.Query(ctx, query, args...)
		if err != nil {
			return err
		}
		var key string
		_, err = pgx.ForEachRow(rows, []any{&key}, func() error { known[key] = true; return nil })
		return err
	}
	for d := range deliveries { // files of abandoned deliveries are the other sweeper's, and spoken of until it is done
		if err := add(`SELECT f.object_key FROM ph.delivery d JOIN ph.file f ON f.studio_id = d.studio_id AND f.delivery_id = d.id
			WHERE d.vendor_id = $1 AND d.id = $2 AND d.swept_at IS NULL
			AND NOT EXISTS (SELECT FROM ph.removal_file x JOIN ph.removal r ON r.studio_id = x.studio_id AND r.id = x.removal_id
				WHERE x.studio_id = f.studio_id AND x.file_id = f.id AND r.cleared_at IS NOT NULL)`, d[0], d[1]); err != nil {
			return nil, err
		}
	}
	for order := range orders {
		if err := add(`SELECT e.object_key FROM ph.work_order w JOIN ph.delivery d ON d.studio_id = w.studio_id AND d.work_order_id = w.id
			JOIN ph.inspection i ON i.studio_id = d.studio_id AND i.delivery_id = d.id
			JOIN ph.evidence e ON e.studio_id = i.studio_id AND e.inspection_id = i.id WHERE w.id = $1
			UNION ALL SELECT f.object_key FROM ph.reference_file f WHERE f.work_order_id = $1`, order); err != nil {
			return nil, err
		}
	}
	return known, nil
}

// orphansAtOnce is how many are deleted after one look whether a legal hold stands.
const orphansAtOnce = 100

// Orphans lists marked objects that have waited long enough and were still there when storage was looked through last, the
// oldest first, at most 100, none of an order on which a legal hold stands. They are to be deleted, then told to OrphansSwept,
// and asked for again until there are none.
func (c *Clock) Orphans(ctx context.Context) (keys []string, err error) {
	err = runTx(ctx, c.pool, Who{}, "BEGIN READ ONLY", nil, func(tx *Tx) error {
		rows, err := tx.Query(ctx, `SELECT object_key FROM ph.orphan WHERE swept_at IS NULL AND marked_at < now() - $1::interval AND seen_at > marked_at
			ORDER BY marked_at, object_key`, OrphanWait)
		if err != nil {
			return err
		}
		all, err := pgx.CollectRows(rows, pgx.RowTo[string])
		if err != nil {
			return err
		}
		keys = nil
		for part := range slices.Chunk(all, orphansAtOnce) { // what is held must not keep the rest from its turn
			free, err := tx.unheld(ctx, part)
			if err != nil {
				return err
			}
			if keys = append(keys, free...); len(keys) >= orphansAtOnce {
				keys = keys[:orphansAtOnce]
				break
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("list objects that nothing speaks of: %w", err)
	}
	return keys, nil
}

// OrphansSwept says that these objects are gone.
func (c *Clock) OrphansSwept(ctx context.Context, keys []string) error {
	err := runTx(ctx, c.pool, Who{}, "BEGIN", nil, func(tx *Tx) error {
		_, err := tx.Exec(ctx, `UPDATE ph.orphan SET swept_at = now() WHERE object_key = ANY ($1)`, keys)
		return err
	})
	if err != nil {
		return fmt.Errorf("objects that nothing spoke of are gone: %w", err)
	}
	return nil
}
