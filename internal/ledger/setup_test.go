package ledger_test

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/migrations"
)

var update = flag.Bool("update", false, "write the dumped schema")

const schemaFile = "../../migrations/schema.sql"

// TestSchemaIsDumped: the committed dump is what the migrations make.
func TestSchemaIsDumped(t *testing.T) {
	db := ledgertest.New(t)
	cmd := exec.Command(filepath.Join(db.BinDir(), "pg_dump"), "--schema=ph", "--schema-only", "--dbname="+db.AdminURL())
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	got := plain(string(out))
	if *update {
		require.NoError(t, os.WriteFile(schemaFile, []byte(got), 0o644))
	}
	want, err := os.ReadFile(schemaFile)
	require.NoError(t, err)
	require.Equal(t, string(want), got, "run: go test ./internal/ledger -run TestSchemaIsDumped -update")
}

// plain leaves out what differs between versions of pg_dump and says nothing about the schema.
func plain(dump string) string {
	var out []string
	for _, line := range strings.Split(dump, "\n") {
		if strings.HasPrefix(line, "--") || strings.HasPrefix(line, "SET ") || strings.HasPrefix(line, `\`) ||
			strings.HasPrefix(line, "SELECT pg_catalog.set_config") || (line == "" && (len(out) == 0 || out[len(out)-1] == "")) {
			continue
		}
		out = append(out, line)
	}
	return "-- Made by the migrations, for reading and for comparing. Not run by anything.\n\n" + strings.TrimSpace(strings.Join(out, "\n")) + "\n"
}

func TestMigrateFromNothingAndAgain(t *testing.T) {
	db := ledgertest.NewEmpty(t)
	ctx := context.Background()
	store, err := ledger.NewStore(db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	require.ErrorIs(t, store.Ready(ctx), ledger.ErrSchema, "an empty database is not ready")
	require.NoError(t, ledger.Migrate(ctx, db.AdminURL(), db.Passwords()))
	require.NoError(t, ledger.Migrate(ctx, db.AdminURL(), db.Passwords()), "again changes nothing")
	require.NoError(t, store.Ready(ctx))
	for _, role := range []string{ledger.RoleLogin, ledger.RoleWorker, ledger.RoleNotary} {
		require.NoError(t, db.Pool(role).Ping(ctx), role)
	}

	owner, err := pgx.Connect(ctx, db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer owner.Close(ctx)
	set := func(version int64) {
		_, err := owner.Exec(ctx, `INSERT INTO ph.goose_db_version (version_id, is_applied) VALUES ($1, true)`, version)
		require.NoError(t, err)
	}
	set(migrations.Version + 9)
	require.NoError(t, store.Ready(ctx), "a newer schema that took nothing away is served")
	_, err = owner.Exec(ctx, fmt.Sprintf(`CREATE OR REPLACE FUNCTION ph.oldest_program() RETURNS integer LANGUAGE sql IMMUTABLE AS $$ SELECT %d $$`, migrations.Version+1))
	require.NoError(t, err)
	require.ErrorContains(t, store.Ready(ctx), "this program needs")
}

func TestMigrateAtOnce(t *testing.T) {
	db := ledgertest.NewEmpty(t)
	errs := make(chan error, 3)
	for range cap(errs) {
		go func() { errs <- ledger.Migrate(context.Background(), db.AdminURL(), db.Passwords()) }()
	}
	for range cap(errs) {
		require.NoError(t, <-errs)
	}
}

func TestMigrationFilesSayLockAndCost(t *testing.T) {
	files, err := migrations.FS.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		b, err := migrations.FS.ReadFile(f.Name())
		require.NoError(t, err)
		require.Contains(t, string(b), "-- Lock: ", f.Name())
		require.Contains(t, string(b), "Cost: ", f.Name())
		require.NotContains(t, string(b), "+goose Down", "migrations go forward only")
	}
}

func TestBootstrap(t *testing.T) {
	db := ledgertest.New(t)
	ctx := context.Background()
	first := ledger.FirstMember{Name: "Ana", Email: "ana@harbour.example", Password: "a password of the tests"}
	_, err := ledger.BootstrapStudio(ctx, db.AdminURL(), "Harbour", ledger.FirstMember{Name: "Ana", Email: "ana@harbour.example", Password: "short"})
	require.ErrorIs(t, err, ledger.ErrInvalid)
	who, err := ledger.BootstrapStudio(ctx, db.AdminURL(), "Harbour", first)
	require.NoError(t, err)
	_, err = ledger.BootstrapStudio(ctx, db.AdminURL(), "Harbour again", first)
	require.ErrorIs(t, err, ledger.ErrConflict)
	found, err := ledger.NewLogin(db.Pool(ledger.RoleLogin)).Password(ctx, first.Email, first.Password)
	require.NoError(t, err)
	require.Equal(t, who.Member, found.Member)
}

// TestSourceKeepsItsPromises greps the package: what a reviewer would otherwise have to remember.
func TestSourceKeepsItsPromises(t *testing.T) {
	files, err := filepath.Glob("*.go")
	require.NoError(t, err)
	for _, row := range []struct {
		name, pattern string
		allowed       map[string]bool // files
	}{
		{"a session-wide SET would leak into the pool's next caller", "`SET [a-z]|\"SET [a-z]|set_config\\([^)]*, false\\)", nil},
		{"DISCARD ALL drops pgx's prepared statements", "DISCARD ALL", nil},
		{"NOTIFY in a fact's transaction queues all commits", "pg_notify|NOTIFY ", map[string]bool{"notary.go": true, "news.go": true, "tell.go": true}}, // each in a transaction of its own
		// Nothing of the record is deleted. These keep what is none: mail and news already told, decisions that wait and are
		// undone, a reviewer's own phrases.
		{"no deletion by the service", "DELETE FROM", map[string]bool{"mails.go": true, "pending.go": true, "savednotes.go": true}},
		{"rules take a transaction, not the pool", "pool\\.(Query|QueryRow|Exec|Begin|Acquire)", map[string]bool{"store.go": true, "latetx.go": true, "login.go": true, "loginlimits.go": true, "readers.go": true, "reset.go": true, "digest.go": true, "mails.go": true, "news.go": true, "tell.go": true, "loginprovider.go": true, "worker.go": true, "notary.go": true, "setup.go": true, "idempotency.go": true, "figures.go": true, "previous.go": true}},
		{"the clock is the database's", "time\\.Now\\(", map[string]bool{"tell.go": true}}, // it paces its own looking
		{"no waiting by time", "time\\.Sleep", nil},
	} {
		re := regexp.MustCompile(row.pattern)
		for _, f := range files {
			if strings.HasSuffix(f, "_test.go") || row.allowed[f] {
				continue
			}
			b, err := os.ReadFile(f)
			require.NoError(t, err)
			for i, line := range strings.Split(string(b), "\n") {
				if code, _, _ := strings.Cut(line, "//"); re.MatchString(code) {
					t.Errorf("%s:%d: %s: %s", f, i+1, row.name, strings.TrimSpace(line))
				}
			}
		}
	}
}
