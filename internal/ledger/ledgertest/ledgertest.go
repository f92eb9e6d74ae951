// Package ledgertest gives tests a migrated database of their own in a real PostgreSQL. One cluster serves all test
// binaries of a run (and of later runs) on this machine: the first starts it, the last stops it. fsync is off there and
// nowhere else.
package ledgertest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"golang.org/x/sys/unix"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger"
	"proofhouse/migrations"
)

// DB is one test's own database, migrated, empty, dropped at the end.
type DB struct {
	tb     testing.TB
	name   string
	server *pgserver.Server
}

// New makes a database for the test. It fails the test where PostgreSQL cannot be started.
func New(tb testing.TB) *DB {
	tb.Helper()
	ctx := context.Background()
	c, err := hold(ctx)
	if err != nil {
		tb.Fatalf("test database: %v", err)
	}
	tb.Cleanup(func() {
		if err := letGo(ctx); err != nil {
			tb.Errorf("test database: %v", err)
		}
	})
	db := &DB{tb: tb, server: c.server, name: fmt.Sprintf("t_%d_%d", os.Getpid(), counter.Add(1))}
	if err := c.admin(ctx, "CREATE DATABASE "+db.name+" TEMPLATE "+c.template); err != nil {
		tb.Fatalf("test database: %v", err)
	}
	tb.Cleanup(func() {
		if err := c.admin(ctx, "DROP DATABASE "+db.name+" WITH (FORCE)"); err != nil {
			tb.Errorf("test database: %v", err)
		}
	})
	return db
}

// NewEmpty makes a database without any schema, for tests of migrations.
func NewEmpty(tb testing.TB) *DB {
	tb.Helper()
	db := New(tb)
	err := func() error {
		conn, err := pgx.Connect(context.Background(), db.URL(pgserver.Owner))
		if err != nil {
			return err
		}
		defer conn.Close(context.Background())
		_, err = conn.Exec(context.Background(), `DROP SCHEMA ph CASCADE; DROP SCHEMA river CASCADE`)
		return err
	}()
	if err != nil {
		tb.Fatalf("empty test database: %v", err)
	}
	return db
}

// URL is the database's address for a role; pgserver.Owner is its superuser.
func (db *DB) URL(role string) string {
	password := db.server.RolePassword(role)
	if role == pgserver.Owner {
		password = db.server.OwnerPassword()
	}
	return db.server.URLFor(role, password, db.name)
}

// AdminURL is the address that ledger.Migrate and ledger.BootstrapStudio take.
func (db *DB) AdminURL() string { return db.URL(pgserver.Owner) }

// Passwords is what ledger.Migrate takes, for this cluster.
func (db *DB) Passwords() func(role string) string { return db.server.RolePassword }

// Pool opens a pool of at most 16 connections as one role; it is closed at the end of the test.
func (db *DB) Pool(role string) *pgxpool.Pool {
	db.tb.Helper()
	cfg, err := pgxpool.ParseConfig(db.URL(role))
	if err != nil {
		db.tb.Fatalf("test pool: %v", err)
	}
	cfg.MaxConns = 16
	ledger.PlainUUIDs(cfg)
	pool, err := pgxpool.NewWithConfig(context.Background(), cfg)
	if err != nil {
		db.tb.Fatalf("test pool: %v", err)
	}
	db.tb.Cleanup(pool.Close)
	return pool
}

// Studio sets up a studio whose first member has every studio role. The e-mail is made of the studio's name.
func (db *DB) Studio(name string) ledger.Who {
	db.tb.Helper()
	email := fmt.Sprintf("lead-%d@%s.example", counter.Add(1), hex.EncodeToString([]byte(name))[:8])
	who, err := ledger.BootstrapStudio(context.Background(), db.AdminURL(), name, ledger.FirstMember{Name: "Lead of " + name, Email: email, Password: "a password of the tests"})
	if err != nil {
		db.tb.Fatalf("test studio: %v", err)
	}
	return who
}

var counter atomic.Int64

// Hashes of passwords were half of what tests of pages cost. FullPasswords is for those that look at the cost itself.
func init() { ledger.CheapPasswords(true) }

// FullPasswords makes hashes cost what they cost a service until the test ends; tests beside it only get slower.
func FullPasswords(tb testing.TB) {
	ledger.CheapPasswords(false)
	tb.Cleanup(func() { ledger.CheapPasswords(true) })
}

// Main runs a package's tests with the cluster held throughout, so that it is not stopped between two tests:
//
//	func TestMain(m *testing.M) { ledgertest.Main(m) }
func Main(m *testing.M) { os.Exit(Run(m)) }

// Run is Main for packages that have something of their own to clear away; it gives the code to end with.
func Run(m *testing.M) (code int) {
	ctx := context.Background()
	if _, err := hold(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "test database:", err)
		return 1
	}
	code = m.Run()
	if err := letGo(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "test database:", err)
		code = 1
	}
	return code
}

// cluster is the shared server as this process holds it.
type cluster struct {
	folder   string
	server   *pgserver.Server
	template string
	use      *os.File // shared lock while any test of this process uses the server
}

var (
	mu      sync.Mutex
	current *cluster
	holders int
)

// hold starts or joins the cluster; every hold needs one letGo.
func hold(ctx context.Context) (*cluster, error) {
	mu.Lock()
	defer mu.Unlock()
	if holders == 0 {
		c, err := join(ctx)
		if err != nil {
			return nil, err
		}
		current = c
	}
	holders++
	return current, nil
}

func letGo(ctx context.Context) error {
	mu.Lock()
	defer mu.Unlock()
	if holders--; holders > 0 {
		return nil
	}
	return current.leave(ctx)
}

// clusterFolder is under the temporary folder: as root the server runs as another account, which cannot reach a cache
// folder in root's home.
func clusterFolder() string {
	return filepath.Join(os.TempDir(), fmt.Sprintf("proofhouse-test-%d", os.Getuid()))
}

// join takes the gate, which orders starting and stopping over processes, then a shared lock that says "in use".
func join(ctx context.Context) (*cluster, error) {
	c := &cluster{folder: clusterFolder()}
	if err := os.MkdirAll(c.folder, 0o755); err != nil {
		return nil, err
	}
	gate, err := flock(filepath.Join(c.folder, "gate"), unix.LOCK_EX)
	if err != nil {
		return nil, err
	}
	defer gate.Close()
	if c.use, err = os.OpenFile(filepath.Join(c.folder, "use"), os.O_CREATE|os.O_RDWR, 0o600); err != nil {
		return nil, err
	}
	alone := unix.Flock(int(c.use.Fd()), unix.LOCK_EX|unix.LOCK_NB) == nil
	if err := unix.Flock(int(c.use.Fd()), unix.LOCK_SH); err != nil {
		return nil, err
	}
	if err := c.start(ctx, alone); err != nil {
		c.use.Close()
		return nil, err
	}
	return c, nil
}

func (c *cluster) start(ctx context.Context, alone bool) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Minute)
	defer cancel()
	cfg := pgserver.Config{Folder: c.folder, Shared: true, NoSync: true, MaxConnections: 300}
	server, err := pgserver.Start(ctx, cfg)
	if err != nil && alone { // without fsync a crash may have spoiled it; there is nothing in it to keep
		if err := os.RemoveAll(filepath.Join(c.folder, "postgres")); err != nil {
			return err
		}
		server, err = pgserver.Start(ctx, cfg)
	}
	if err != nil {
		return err
	}
	c.server = server
	digest, err := schemaDigest()
	if err != nil {
		return err
	}
	c.template = "template_" + digest[:16]
	if alone {
		if err := c.dropLeftovers(ctx); err != nil {
			return err
		}
	}
	return c.makeTemplate(ctx)
}

// dropLeftovers removes databases of killed tests and templates of other schemas.
func (c *cluster) dropLeftovers(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, c.server.URLFor(pgserver.Owner, c.server.OwnerPassword(), "postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	rows, err := conn.Query(ctx, `SELECT datname FROM pg_database WHERE (datname ^@ 't_' OR datname ^@ 'template_' OR datname ^@ 'making_') AND datname <> $1`, c.template)
	if err != nil {
		return err
	}
	names, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, name := range names {
		if _, err := conn.Exec(ctx, "DROP DATABASE "+pgx.Identifier{name}.Sanitize()+" WITH (FORCE)"); err != nil {
			return err
		}
	}
	return nil
}

// makeTemplate migrates a database under another name and renames it, so that a cut migration is never a template. The
// gate is held.
func (c *cluster) makeTemplate(ctx context.Context) error {
	conn, err := pgx.Connect(ctx, c.server.URLFor(pgserver.Owner, c.server.OwnerPassword(), "postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	var there bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, c.template).Scan(&there); err != nil || there {
		return err
	}
	making := "making_" + c.template
	if _, err := conn.Exec(ctx, "DROP DATABASE IF EXISTS "+making+" WITH (FORCE)"); err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, "CREATE DATABASE "+making); err != nil {
		return err
	}
	if err := ledger.Migrate(ctx, c.server.URLFor(pgserver.Owner, c.server.OwnerPassword(), making), c.server.RolePassword); err != nil {
		return err
	}
	_, err = conn.Exec(ctx, "ALTER DATABASE "+making+" RENAME TO "+c.template)
	return err
}

// admin runs one statement on the maintenance database. CREATE DATABASE copies a template that nobody may be connected
// to; PostgreSQL waits for that a few seconds by itself.
func (c *cluster) admin(ctx context.Context, sql string) error {
	conn, err := pgx.Connect(ctx, c.server.URLFor(pgserver.Owner, c.server.OwnerPassword(), "postgres"))
	if err != nil {
		return err
	}
	defer conn.Close(ctx)
	_, err = conn.Exec(ctx, sql)
	return err
}

// leave gives the shared lock back and stops the server where no other process has one.
func (c *cluster) leave(ctx context.Context) error {
	gate, err := flock(filepath.Join(c.folder, "gate"), unix.LOCK_EX)
	if err != nil {
		return err
	}
	defer gate.Close()
	defer c.use.Close()
	err = unix.Flock(int(c.use.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return nil
	}
	if err != nil {
		return err
	}
	return c.server.Stop()
}

func flock(path string, how int) (*os.File, error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(f.Fd()), how); err != nil {
		f.Close()
		return nil, fmt.Errorf("lock %s: %w", path, err)
	}
	return f, nil
}

// schemaDigest names the template: SHA-256 over the migration files, the pinned version of River's and the grants.
func schemaDigest() (string, error) {
	names, err := fs.Glob(migrations.FS, "*.sql")
	if err != nil {
		return "", err
	}
	sort.Strings(names)
	h := sha256.New()
	fmt.Fprintf(h, "river %d\n%s\n%s\n", ledger.RiverVersion, ledger.OwnGrants, ledger.RiverGrants)
	for _, name := range names {
		b, err := fs.ReadFile(migrations.FS, name)
		if err != nil {
			return "", err
		}
		fmt.Fprintf(h, "%s %d\n", name, len(b))
		h.Write(b)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}

// BinDir is the folder of the server's binaries, for pg_dump of the same version.
func (db *DB) BinDir() string { return db.server.BinDir() }
