package ledger

import (
	"context"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"
)

// lateTx is a transaction that sends a statement whose result nobody waits for together with the next one, in one round trip: BEGIN and
// the caller's settings go out with the first statement, and later with COMMIT what was handed to it. In the same way what will be asked
// for next goes out behind a statement (alongside). A round trip costs the database's process and this one a switch each, which is more
// than most of the statements themselves cost.
//
// It is for one goroutine, as every pgx.Tx.
type lateTx struct {
	conn    *pgxpool.Conn
	waiting []lateStatement
	behind  []behindNext
	acting  bool // a statement of the caller's was sent or waits
	done    bool // committed
	over    bool
}

// lateStatement is sent with what comes next. check looks at what it did; nil: nothing is asked of it.
type lateStatement struct {
	doing string // for its error
	sql   string
	args  []any
	check func(pgconn.CommandTag) error
}

// behindNext is sent with what comes next, after it. read takes its results once the caller has taken theirs.
type behindNext struct {
	batch *pgx.Batch
	read  func(pgx.BatchResults) error
}

// beginLate takes a connection for a transaction; begin is its BEGIN.
func beginLate(ctx context.Context, pool *pgxpool.Pool, begin string, settings ...lateStatement) (*lateTx, error) {
	conn, err := pool.Acquire(ctx)
	if err != nil {
		return nil, err
	}
	return &lateTx{conn: conn, waiting: append([]lateStatement{{doing: "begin", sql: begin}}, settings...)}, nil
}

// later hands over a statement that is sent with the next one, before it.
func (t *lateTx) later(s lateStatement) {
	t.acting = true
	t.waiting = append(t.waiting, s)
}

// alongside hands over statements that are sent with the next one, behind it. Their results are read when those of that one are closed;
// what read says goes wrong is what closing them says.
func (t *lateTx) alongside(b *pgx.Batch, read func(pgx.BatchResults) error) {
	t.acting = true
	t.behind = append(t.behind, behindNext{b, read})
}

// commitWithNext lets COMMIT go out with the next statement, which is the last one then.
func (t *lateTx) commitWithNext() {
	t.alongside(oneOf("commit", nil), func(results pgx.BatchResults) error {
		tag, err := results.Exec()
		if err == nil && tag.String() == "ROLLBACK" {
			err = pgx.ErrTxCommitRollback
		}
		t.done = err == nil
		return err
	})
}

// SendBatch sends what waits, then a batch, then what goes alongside. The results are those of the batch alone.
func (t *lateTx) SendBatch(ctx context.Context, b *pgx.Batch) pgx.BatchResults {
	if t.over || t.done {
		return pgx.FailedBatchResults(b, pgx.ErrTxClosed)
	}
	t.acting = true
	waiting, behind := t.waiting, t.behind
	t.waiting, t.behind = nil, nil
	if len(waiting) == 0 && len(behind) == 0 {
		return t.conn.SendBatch(ctx, b)
	}
	whole := &pgx.Batch{}
	for _, s := range waiting {
		whole.Queue(s.sql, s.args...)
	}
	whole.QueuedQueries = append(whole.QueuedQueries, b.QueuedQueries...)
	for _, s := range behind {
		whole.QueuedQueries = append(whole.QueuedQueries, s.batch.QueuedQueries...)
	}
	results := t.conn.SendBatch(ctx, whole)
	if len(behind) > 0 {
		results = &resultsBefore{BatchResults: results, left: len(waiting) + b.Len(), behind: behind}
	}
	for _, s := range waiting {
		tag, err := results.Exec()
		if err == nil && s.check != nil {
			err = s.check(tag)
		}
		if err != nil {
			_ = results.Close() // the first error is the one that tells
			return pgx.FailedBatchResults(b, fmt.Errorf("%s: %w", s.doing, err))
		}
	}
	return results
}

// Exec runs a statement.
func (t *lateTx) Exec(ctx context.Context, sql string, args ...any) (pgconn.CommandTag, error) {
	if t.plain() {
		return t.conn.Exec(ctx, sql, args...)
	}
	results := t.SendBatch(ctx, oneOf(sql, args))
	tag, err := results.Exec()
	if closed := results.Close(); err == nil {
		err = closed
	}
	return tag, err
}

// Query runs a statement that has rows.
func (t *lateTx) Query(ctx context.Context, sql string, args ...any) (pgx.Rows, error) {
	if t.plain() {
		return t.conn.Query(ctx, sql, args...)
	}
	results := t.SendBatch(ctx, oneOf(sql, args))
	rows, err := results.Query()
	if err != nil {
		_ = results.Close()
		return rows, err
	}
	return &lateRows{Rows: rows, results: results}, nil
}

// QueryRow runs a statement that has one row.
func (t *lateTx) QueryRow(ctx context.Context, sql string, args ...any) pgx.Row {
	if t.plain() {
		return t.conn.QueryRow(ctx, sql, args...)
	}
	return lateRow{t.SendBatch(ctx, oneOf(sql, args))}
}

// plain says that a statement can go out by itself.
func (t *lateTx) plain() bool { return len(t.waiting) == 0 && len(t.behind) == 0 && !t.over && !t.done }

func oneOf(sql string, args []any) *pgx.Batch {
	b := &pgx.Batch{}
	b.Queue(sql, args...)
	return b
}

// Commit sends what waits and commits. A transaction in which nothing was done is given up without asking the database.
func (t *lateTx) Commit(ctx context.Context) error {
	if t.over || t.done && len(t.waiting) > 0 {
		return pgx.ErrTxClosed
	}
	if t.acting && !t.done {
		tag, err := t.Exec(ctx, "commit")
		if err != nil {
			return err
		}
		if tag.String() == "ROLLBACK" {
			return pgx.ErrTxCommitRollback
		}
	}
	t.end()
	return nil
}

// Rollback gives the transaction up. One that is over is left alone.
func (t *lateTx) Rollback(ctx context.Context) error {
	if t.over {
		return pgx.ErrTxClosed
	}
	defer t.end() // a connection that is not idle is closed by its pool
	if t.done || len(t.waiting) > 0 && t.waiting[0].doing == "begin" {
		return nil // nothing was sent, or all is over
	}
	t.waiting, t.behind = nil, nil
	_, err := t.conn.Exec(ctx, "rollback")
	return err
}

func (t *lateTx) end() {
	t.over, t.waiting, t.behind = true, nil, nil
	t.conn.Release()
}

// flush sends what waits.
func (t *lateTx) flush(ctx context.Context) error {
	return t.SendBatch(ctx, &pgx.Batch{}).Close()
}

// Begin makes a savepoint, which its own Commit and Rollback end.
func (t *lateTx) Begin(ctx context.Context) (pgx.Tx, error) {
	if _, err := t.Exec(ctx, "savepoint late"); err != nil {
		return nil, err
	}
	return &lateSavepoint{lateTx: t}, nil
}

type lateSavepoint struct {
	*lateTx
	over bool
}

// Commit keeps what was done since the savepoint.
func (s *lateSavepoint) Commit(ctx context.Context) error {
	return s.end(ctx, "release savepoint late")
}

// Rollback undoes what was done since the savepoint; what waits since then is not sent at all.
func (s *lateSavepoint) Rollback(ctx context.Context) error {
	s.waiting, s.behind = nil, nil
	return s.end(ctx, "rollback to savepoint late")
}

func (s *lateSavepoint) end(ctx context.Context, sql string) error {
	if s.over {
		return pgx.ErrTxClosed
	}
	s.over = true
	_, err := s.lateTx.Exec(ctx, sql)
	return err
}

// CopyFrom sends what waits and copies rows.
func (t *lateTx) CopyFrom(ctx context.Context, table pgx.Identifier, columns []string, source pgx.CopyFromSource) (int64, error) {
	if err := t.flush(ctx); err != nil {
		return 0, err
	}
	return t.conn.CopyFrom(ctx, table, columns, source)
}

// Prepare sends what waits and prepares a statement.
func (t *lateTx) Prepare(ctx context.Context, name, sql string) (*pgconn.StatementDescription, error) {
	if err := t.flush(ctx); err != nil {
		return nil, err
	}
	return t.conn.Conn().Prepare(ctx, name, sql)
}

// LargeObjects is of no use here: the ledger has none.
func (t *lateTx) LargeObjects() pgx.LargeObjects { return pgx.LargeObjects{} }

// Conn is the connection. What waits has not been sent to it.
func (t *lateTx) Conn() *pgx.Conn { return t.conn.Conn() }

// lateRows are rows at the end of a batch, which is closed with them.
type lateRows struct {
	pgx.Rows
	results pgx.BatchResults
	closed  bool
	err     error
}

// Next goes to the next row and closes everything after the last.
func (r *lateRows) Next() bool {
	if r.Rows.Next() {
		return true
	}
	r.Close()
	return false
}

// Close ends the batch too.
func (r *lateRows) Close() {
	if r.closed {
		return
	}
	r.closed = true
	r.Rows.Close()
	r.err = r.results.Close()
}

// Err is what went wrong with the rows, or with the batch.
func (r *lateRows) Err() error {
	if err := r.Rows.Err(); err != nil {
		return err
	}
	return r.err
}

// lateRow is the one row at the end of a batch.
type lateRow struct{ results pgx.BatchResults }

// Scan reads the row and closes the batch.
func (r lateRow) Scan(into ...any) error {
	err := r.results.QueryRow().Scan(into...)
	if closed := r.results.Close(); err == nil {
		err = closed
	}
	return err
}

// resultsBefore are the results of a batch that others go behind.
type resultsBefore struct {
	pgx.BatchResults
	left   int // not taken yet
	behind []behindNext
	closed error
	over   bool
}

// Exec takes the next result.
func (r *resultsBefore) Exec() (pgconn.CommandTag, error) {
	r.left--
	return r.BatchResults.Exec()
}

// Query takes the next result.
func (r *resultsBefore) Query() (pgx.Rows, error) {
	r.left--
	return r.BatchResults.Query()
}

// QueryRow takes the next result.
func (r *resultsBefore) QueryRow() pgx.Row {
	r.left--
	return r.BatchResults.QueryRow()
}

// Close passes over what was not taken, reads what went behind, and ends the batch.
func (r *resultsBefore) Close() error {
	if r.over {
		return r.closed
	}
	r.over = true
	for ; r.left > 0 && r.closed == nil; r.left-- {
		_, r.closed = r.BatchResults.Exec()
	}
	for _, s := range r.behind {
		if r.closed == nil {
			r.closed = s.read(r.BatchResults)
		}
	}
	if err := r.BatchResults.Close(); r.closed == nil {
		r.closed = err
	}
	return r.closed
}
