package seed

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// made is something that is dropped for the time of loading and made again: how, in one statement.
type made struct{ drop, make string }

// dropIndexes drops foreign keys, unique constraints and indexes of the ledger and returns what makes them again: keys first,
// foreign keys last, which checks every reference.
func dropIndexes(ctx context.Context, conn *pgx.Conn) (again []made, err error) {
	for _, query := range []string{
		// Of a partitioned table only its own: those of the parts follow.
		`SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname), format('ALTER TABLE %s ADD CONSTRAINT %I %s', conrelid::regclass, conname, pg_get_constraintdef(oid))
		 FROM pg_constraint WHERE connamespace = 'ph'::regnamespace AND contype IN ('p', 'u') AND conparentid = 0 AND conrelid::regclass::text <> 'ph.goose_db_version' ORDER BY conrelid::regclass::text, contype, conname`,
		`SELECT format('DROP INDEX %s', i.indexrelid::regclass), regexp_replace(pg_get_indexdef(i.indexrelid), ' ON ONLY ', ' ON ') FROM pg_index i JOIN pg_class c ON c.oid = i.indexrelid
		 WHERE c.relnamespace = 'ph'::regnamespace AND NOT c.relispartition AND NOT EXISTS (SELECT FROM pg_constraint k WHERE k.conindid = i.indexrelid AND k.contype IN ('p', 'u')) ORDER BY 1`,
		`SELECT format('ALTER TABLE %s DROP CONSTRAINT %I', conrelid::regclass, conname), format('ALTER TABLE %s ADD CONSTRAINT %I %s', conrelid::regclass, conname, pg_get_constraintdef(oid))
		 FROM pg_constraint WHERE connamespace = 'ph'::regnamespace AND contype = 'f' AND conparentid = 0 ORDER BY conrelid::regclass::text, conname`,
	} {
		rows, err := conn.Query(ctx, query)
		if err != nil {
			return nil, fmt.Errorf("indexes: %w", err)
		}
		list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (m made, err error) {
			err = row.Scan(&m.drop, &m.make)
			return m, err
		})
		if err != nil {
			return nil, fmt.Errorf("indexes: %w", err)
		}
		again = append(again, list...)
	}
	for i := len(again) - 1; i >= 0; i-- { // foreign keys lean on unique keys
		if _, err := conn.Exec(ctx, again[i].drop); err != nil {
			return nil, fmt.Errorf("%s: %w", again[i].drop, err)
		}
	}
	return again, nil
}

// makeIndexes makes them again on several connections: what lies before from one, so that every key is there before the first
// foreign key.
func makeIndexes(ctx context.Context, connect func() (*pgx.Conn, error), again []made, workers int) error {
	keys := 0
	for keys < len(again) && !isForeign(again[keys]) {
		keys++
	}
	if err := inParallel(ctx, connect, again[:keys], workers); err != nil {
		return err
	}
	return inParallel(ctx, connect, again[keys:], 1) // each locks two tables
}
