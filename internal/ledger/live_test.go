package ledger_test

import (
	"context"
	"io/fs"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/migrations"
)

// liveSince is the newest schema of the release before: everything later may be migrated to while that release serves.
const liveSince = 12

// contracting are statements that take something away from, or shut out, the programs that run meanwhile.
var contracting = regexp.MustCompile(`(?im)^\s*(DROP TABLE|ALTER TABLE \S+ (DROP COLUMN|RENAME)|.*\bALTER COLUMN \S+ (TYPE|SET NOT NULL)|DROP FUNCTION)`)

// fillsWithout is a new column that old programs' inserts would leave empty against its own rule.
var fillsWithout = regexp.MustCompile(`(?im)ADD COLUMN (\w+) [^,;]*\bNOT NULL\b[^,;]*`)

// Expand, then contract: a migration that takes something away says so in ph.oldest_program, so that programs it no longer
// fits leave the service instead of failing in the middle of it; a new column never needs what old programs do not write.
func TestNewMigrationsExpand(t *testing.T) {
	db := ledgertest.New(t)
	var oldest int
	require.NoError(t, db.Pool(ledger.RoleAPI).QueryRow(t.Context(), `SELECT ph.oldest_program()`).Scan(&oldest))
	files, err := fs.ReadDir(migrations.FS, ".")
	require.NoError(t, err)
	looked := 0
	for _, f := range files {
		number, err := strconv.Atoi(f.Name()[:5])
		require.NoError(t, err)
		if number <= liveSince {
			continue
		}
		looked++
		text, err := migrations.FS.ReadFile(f.Name())
		require.NoError(t, err)
		sql := regexp.MustCompile(`--[^\n]*`).ReplaceAllString(string(text), "")
		if m := contracting.FindString(sql); m != "" {
			require.LessOrEqual(t, number, oldest, "%s takes something away (%q): let ph.oldest_program say so", f.Name(), strings.TrimSpace(m))
		}
		for _, m := range fillsWithout.FindAllString(sql, -1) {
			require.Contains(t, strings.ToUpper(m), "DEFAULT", "%s: programs of the release before do not write this column: %s", f.Name(), m)
		}
	}
	require.Positive(t, looked)
}

// A migration never waits long for a lock, and so nobody waits long behind it: with a report that holds a table for seconds,
// it gives up, lets the others through, comes again and gets there.
func TestMigrationLetsOthersThrough(t *testing.T) {
	ctx := t.Context()
	db := ledgertest.NewEmpty(t)
	at(t, db, liveSince)
	owner, err := pgx.Connect(ctx, db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer owner.Close(context.Background())
	report, err := owner.Begin(ctx)
	require.NoError(t, err)
	_, err = report.Exec(ctx, `SELECT count(*) FROM ph.inspection`) // holds ACCESS SHARE until it ends
	require.NoError(t, err)

	migrated := make(chan error, 1)
	go func() { migrated <- ledger.Migrate(ctx, db.AdminURL(), db.Passwords()) }()
	other, err := pgx.Connect(ctx, db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer other.Close(context.Background())
	var worst time.Duration
	held := false
	for until := time.Now().Add(20 * time.Second); time.Now().Before(until) && !held; {
		from := time.Now()
		_, err := other.Exec(ctx, `SELECT count(*) FROM ph.inspection WHERE state = 'queued'`)
		require.NoError(t, err)
		worst = max(worst, time.Since(from))
		held = worst > time.Second // and let through
		time.Sleep(20 * time.Millisecond)
	}
	require.NoError(t, report.Rollback(ctx))
	select {
	case err = <-migrated:
	case <-time.After(time.Minute):
		require.Fail(t, "the migration hangs")
	}
	if err != nil { // it gave up for good: run again, as the runbook says
		require.ErrorContains(t, err, "lock timeout")
		require.NoError(t, ledger.Migrate(ctx, db.AdminURL(), db.Passwords()))
	}
	t.Logf("behind the migration others waited for at most %s", worst.Round(time.Millisecond))
	require.Less(t, worst, 6*time.Second, "lock_timeout is 2 s; the machine is busy")
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	require.NoError(t, store.Ready(ctx))
}

// at brings an empty database to an older version of the schema.
func at(t *testing.T, db *ledgertest.DB, version int64) {
	t.Helper()
	cfg, err := pgx.ParseConfig(db.AdminURL())
	require.NoError(t, err)
	conn, err := pgx.ConnectConfig(t.Context(), cfg)
	require.NoError(t, err)
	_, err = conn.Exec(t.Context(), `CREATE SCHEMA IF NOT EXISTS ph AUTHORIZATION ph_owner; CREATE SCHEMA IF NOT EXISTS river AUTHORIZATION ph_owner`)
	require.NoError(t, err)
	require.NoError(t, conn.Close(t.Context()))
	cfg.RuntimeParams["role"] = "ph_owner"
	sql := stdlib.OpenDB(*cfg)
	defer sql.Close()
	provider, err := goose.NewProvider(goose.DialectPostgres, sql, migrations.FS, goose.WithTableName("ph.goose_db_version"), goose.WithDisableGlobalRegistry(true))
	require.NoError(t, err)
	_, err = provider.UpTo(t.Context(), version)
	require.NoError(t, err)
}
