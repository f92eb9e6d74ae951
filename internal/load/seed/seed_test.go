package seed_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/load/seed"
)

func TestMain(m *testing.M) { ledgertest.Main(m) }

// TestWorldIsTrue draws a small world and lets the ledger itself look for anything that is not so.
func TestWorldIsTrue(t *testing.T) {
	ctx := context.Background()
	db := ledgertest.New(t)
	w, err := seed.Fill(ctx, seed.Config{Props: 90, Deliveries: 6, Now: time.Date(2026, 11, 20, 8, 0, 0, 0, time.UTC), Seed: 7, Password: "a password of the tests", Admin: db.AdminURL(), Tell: t.Logf})
	require.NoError(t, err)
	require.Equal(t, 90, w.Counts.Props)
	require.InDelta(t, 6*90, w.Counts.Deliveries, 90)
	conn, err := pgx.Connect(ctx, db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer conn.Close(ctx)

	rows, err := conn.Query(ctx, `SELECT id, studio_id FROM ph.log ORDER BY id`)
	require.NoError(t, err)
	type log struct{ ID, Studio uuid.UUID }
	logs, err := pgx.CollectRows(rows, pgx.RowToStructByPos[log])
	require.NoError(t, err)
	require.Len(t, logs, w.Counts.Orders+w.Counts.Studios)
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	for _, l := range logs {
		who := ledger.Who{Party: l.Studio, Member: l.Studio, Side: ledger.StudioSide}
		require.NoError(t, store.InSnapshot(ctx, who, func(tx *ledger.Tx) error {
			r, err := tx.Verify(ctx, l.ID)
			require.Empty(t, r.Problems)
			return err
		}))
	}
	// The sums that triggers keep are those that a scan gives.
	for what, query := range map[string]string{
		"judged":   `SELECT (SELECT sum(judged) FROM ph.check_count WHERE vendor_id IS NULL AND project_id IS NULL) = (SELECT count(*) FROM ph.finding WHERE outcome IN ('pass', 'warn', 'fail'))`,
		"failed":   `SELECT (SELECT sum(failed) FROM ph.check_count WHERE vendor_id IS NOT NULL AND project_id IS NOT NULL) = (SELECT count(*) FROM ph.finding WHERE blocks AND outcome = 'fail')`,
		"accepted": `SELECT (SELECT sum(accepted) FROM ph.milestone_count) = (SELECT count(*) FROM ph.milestone WHERE state = 'accepted')`,
		"rounds":   `SELECT (SELECT sum(rounds) FROM ph.milestone_count) = (SELECT sum(rounds) FROM ph.milestone WHERE state = 'accepted')`,
		"stored":   `SELECT (SELECT sum(delivered_bytes) FROM ph.stored) = (SELECT sum(bytes) FROM ph.delivery WHERE state = 'sealed')`,
		"lines":    `SELECT (SELECT count(*) FROM ph.prop_line) = (SELECT count(*) FROM ph.prop)`,
		"blocked":  `SELECT NOT EXISTS (SELECT FROM ph.prop p WHERE blocked_by <> (SELECT count(*) FROM ph.question q WHERE q.prop_id = p.id AND q.blocks AND q.state = 'asked'))`,
		"shares":   `SELECT NOT EXISTS (SELECT FROM ph.prop p WHERE price_minor <> (SELECT sum(amount_minor) FROM ph.milestone m WHERE m.prop_id = p.id))`,
		"indexes":  `SELECT bool_and(indisvalid) FROM pg_index`,
	} {
		var same bool
		require.NoError(t, conn.QueryRow(ctx, query).Scan(&same), what)
		require.True(t, same, what)
	}
	_, err = seed.Fill(ctx, seed.Config{Props: 1, Now: time.Now(), Password: "a password of the tests", Admin: db.AdminURL()})
	require.Error(t, err, "a ledger that holds something is not filled")
}
