package ledger_test

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// roundTrips counts how often a connection waits for the database: batches and statements of their own, statements prepared left out,
// as they are prepared once for a connection.
type roundTrips struct{ n atomic.Int64 }

func (r *roundTrips) TraceQueryStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceQueryStartData) context.Context {
	r.n.Add(1)
	return ctx
}
func (r *roundTrips) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}
func (r *roundTrips) TraceBatchStart(ctx context.Context, _ *pgx.Conn, _ pgx.TraceBatchStartData) context.Context {
	r.n.Add(1)
	return ctx
}
func (r *roundTrips) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (r *roundTrips) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

// counted is a store of one connection whose round trips are counted.
func (s *scene) counted(t *testing.T) (*ledger.Store, *roundTrips) {
	cfg, err := pgxpool.ParseConfig(s.db.URL(ledger.RoleAPI))
	require.NoError(t, err)
	trips := &roundTrips{}
	cfg.ConnConfig.Tracer, cfg.MaxConns = trips, 1
	ledger.PlainUUIDs(cfg)
	pool, err := pgxpool.NewWithConfig(s.ctx(), cfg)
	require.NoError(t, err)
	t.Cleanup(pool.Close)
	store, err := ledger.NewStore(pool)
	require.NoError(t, err)
	return store, trips
}

// What a seal gives back is made in memory and has to be what is read afterwards: the delivery to its last field, and the receipt,
// which RFC 6962's own check takes. The bounds of round trips keep a seal from growing slow one statement at a time.
func TestSealTellsWhatIsReadAfterwards(t *testing.T) {
	s := newScene(t)
	store, trips := s.counted(t)
	ctx := s.ctx()
	d := s.open(s.yard, s.yardProp.Milestones[0].ID)
	in := func(fn func(tx *ledger.Tx) error) int64 {
		before := trips.n.Load()
		require.NoError(t, store.InTx(ctx, s.yard, fn))
		return trips.n.Load() - before
	}
	begin := func() int64 {
		return in(func(tx *ledger.Tx) (err error) {
			tx.CommitWithNext()
			d, err = tx.BeginSeal(ctx, d.ID)
			return err
		})
	}
	first := s.open(s.lamp, s.lampProp.Milestones[0].ID) // the job queue's library asks once what the server can
	require.NoError(t, store.InTx(ctx, s.lamp, func(tx *ledger.Tx) error { _, err := tx.BeginSeal(ctx, first.ID); return err }))
	require.NoError(t, store.InTx(ctx, s.lamp, func(tx *ledger.Tx) error { _, err := tx.FinishSeal(ctx, first.ID, arrivedOf(first)); return err }))

	begin()
	require.Equal(t, ledger.DSealing, d.State)
	require.Equal(t, int64(1), begin(), "the fence, and COMMIT with it")

	var told ledger.Delivery
	var proof ledger.Receipt
	request := ledger.Request{Method: "POST", Route: "/seal", Key: uuid.NewString()}
	seal := func(tx *ledger.Tx) error {
		tx.LockToSealWithNext(d.ID)
		_, _, err := ledger.Idempotent(ctx, tx, request, func() (_ ledger.Ref, err error) {
			told, err = tx.FinishSeal(ctx, d.ID, arrivedOf(d))
			tx.ReceiptOf(ledger.FactDeliverySealed, d.ID, &proof)
			return ledger.Ref{Kind: "delivery", ID: d.ID}, err
		})
		return err
	}
	require.LessOrEqual(t, in(seal), int64(4), "the key and the lock; the writes with the worker's ticket and the head; perhaps a wake-up; the leaf and COMMIT")
	require.NoError(t, ledger.CheckReceipt(proof))

	var read ledger.Delivery
	var later ledger.Receipt
	require.LessOrEqual(t, in(func(tx *ledger.Tx) (err error) { read, err = tx.Delivery(ctx, d.ID); return err }), int64(2), "one, and COMMIT")
	require.Equal(t, read, told)
	in(func(tx *ledger.Tx) (err error) {
		later, err = tx.Receipt(ctx, ledger.FactDeliverySealed, d.ID)
		return err
	})
	later.Anchor, later.Checkpoint = nil, ""
	require.Equal(t, later, proof)

	proof = ledger.Receipt{}
	in(func(tx *ledger.Tx) (err error) {
		again, err := tx.FinishSeal(ctx, d.ID, arrivedOf(d))
		tx.ReceiptOf(ledger.FactDeliverySealed, d.ID, &proof)
		require.Equal(t, read, again)
		return err
	})
	require.Empty(t, proof.Format, "a repeat makes no fact, and no receipt")
	require.Empty(t, s.verify(s.yardOrder.ID).Problems)
}

// A transaction that sends its statements late keeps what any transaction keeps.
func TestLateTransaction(t *testing.T) {
	s := newScene(t)
	store, trips := s.counted(t)
	ctx := s.ctx()
	project := func(code string) func(tx *ledger.Tx) error {
		return func(tx *ledger.Tx) error {
			_, err := tx.CreateProject(ctx, ledger.NewProject{Code: code, Title: "Quay"})
			return err
		}
	}
	codes := func() (list []string) {
		require.NoError(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
			rows, err := tx.Query(ctx, `SELECT code FROM ph.project WHERE studio_id = $1 AND code LIKE 'LATE%' ORDER BY code`, s.studio.Party)
			require.NoError(t, err)
			list, err = pgx.CollectRows(rows, pgx.RowTo[string])
			return err
		}))
		return list
	}
	require.NoError(t, store.InTx(ctx, s.studio, project("LATE-1")))
	require.ErrorIs(t, store.InTx(ctx, s.studio, project("LATE-1")), ledger.ErrConflict)
	require.ErrorContains(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		require.NoError(t, project("LATE-2")(tx))
		return context.DeadlineExceeded
	}), "deadline")
	require.Equal(t, []string{"LATE-1"}, codes(), "a refused act and one given up leave nothing")

	before := trips.n.Load()
	require.NoError(t, store.InTx(ctx, s.studio, func(*ledger.Tx) error { return nil }))
	require.Equal(t, before, trips.n.Load(), "nothing done, nothing asked")

	require.NoError(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		inner, err := tx.Begin(ctx)
		require.NoError(t, err)
		_, err = inner.Exec(ctx, `SELECT 1/0`)
		require.Error(t, err)
		require.NoError(t, inner.Rollback(ctx))
		return project("LATE-3")(tx)
	}))
	require.Equal(t, []string{"LATE-1", "LATE-3"}, codes(), "what a savepoint undid does not undo the rest")

	before = trips.n.Load()
	require.NoError(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		tx.CommitWithNext()
		_, err := tx.Exec(ctx, `SELECT 1`)
		return err
	}))
	require.Equal(t, int64(1), trips.n.Load()-before, "BEGIN, a statement and COMMIT")
	saved := func(sql string) func(tx *ledger.Tx) error {
		return func(tx *ledger.Tx) error {
			tx.CommitWithNext()
			_, err := tx.Exec(ctx, `INSERT INTO ph.saved_view (party_id, member_id, id, name, query) VALUES ($1, $2, $3, 'quay', 'text=quay')`+sql, s.studio.Party, s.studio.Member, uuid.New())
			return err
		}
	}
	views := func() (n int) {
		require.NoError(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
			return tx.QueryRow(ctx, `SELECT count(*) FROM ph.saved_view`).Scan(&n)
		}))
		return n
	}
	require.Error(t, store.InTx(ctx, s.studio, saved(` RETURNING 1/(1-1)`)))
	require.Zero(t, views(), "what went wrong is not committed by what went behind it")
	require.ErrorIs(t, store.InTx(ctx, s.studio, func(tx *ledger.Tx) error {
		require.NoError(t, saved(``)(tx))
		_, err := tx.Exec(ctx, `SELECT 1`)
		return err
	}), pgx.ErrTxClosed, "nothing comes behind COMMIT")
	require.Equal(t, 1, views())
	require.ErrorIs(t, store.InTx(ctx, s.yard, func(tx *ledger.Tx) error {
		lost := uuid.New()
		tx.LockToSealWithNext(lost)
		_, _, err := ledger.Idempotent(ctx, tx, ledger.Request{Method: "POST", Route: "/lost", Key: lost.String()}, func() (ledger.Ref, error) {
			_, err := tx.FinishSeal(ctx, lost, nil)
			return ledger.Ref{}, err
		})
		return err
	}), ledger.ErrNotFound, "what goes behind a statement tells its own failure")

	gone, cancel := context.WithCancel(ctx)
	require.ErrorIs(t, store.InTx(gone, s.studio, func(tx *ledger.Tx) error {
		cancel()
		_, err := tx.Exec(gone, `SELECT pg_sleep(5)`)
		return err
	}), context.Canceled)
	asked, done := context.WithTimeout(ctx, 10*time.Second)
	defer done()
	require.NoError(t, store.InTx(asked, s.studio, project("LATE-4")), "the only connection is back or replaced")
	require.Empty(t, s.verify(s.studio.Party).Problems)
}
