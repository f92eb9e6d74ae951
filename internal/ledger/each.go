package ledger

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
)

// eachAtOnce is how many rows of a long list are read at a time: some 200 kB.
const eachAtOnce = 500

// eachRow gives fn what scan makes of each row of a query, in its order, and keeps none. The rows come through a cursor: the planner then
// prefers what has the first row soon to what has the last one soon. list names the cursor and, with it, the columns of the query.
func eachRow[T any](ctx context.Context, tx *Tx, list, query string, args []any, scan pgx.RowToFunc[T], fn func(T) error) error {
	if _, err := tx.Exec(ctx, `DECLARE `+list+` NO SCROLL CURSOR FOR `+query, args...); err != nil {
		return err
	}
	fetch := fmt.Sprintf(`FETCH %d FROM %s`, eachAtOnce, list)
	for {
		rows, err := tx.Query(ctx, fetch)
		if err != nil {
			return err
		}
		n, err := giveEach(rows, scan, fn)
		if err != nil {
			return err
		}
		if n < eachAtOnce {
			_, err := tx.Exec(ctx, `CLOSE `+list)
			return err
		}
	}
}

func giveEach[T any](rows pgx.Rows, scan pgx.RowToFunc[T], fn func(T) error) (n int, err error) {
	defer rows.Close()
	for rows.Next() {
		v, err := scan(rows)
		if err == nil {
			err = fn(v)
		}
		if err != nil {
			rows.Close()
			return n, errors.Join(err, rows.Err())
		}
		n++
	}
	return n, rows.Err()
}

// ReadingOnce is Reading for what is handed on as it is read, which cannot be begun again.
func (s *Store) ReadingOnce(ctx context.Context, who Who, fn func(tx *Tx) error) error {
	if err := checkWho(who); err != nil {
		return err
	}
	return runTx(ctx, s.pool, who, "BEGIN READ ONLY", s.wake, func(tx *Tx) error { tx.memo = &s.memo; return fn(tx) })
}
