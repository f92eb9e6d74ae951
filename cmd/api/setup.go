package main

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/embedded"
	"proofhouse/internal/ledger"
)

const migrateAbout = `Bring the database to this program's schema: roles, tables, job queue. Safe to run again, and on several machines at once.

DATABASE_ADMIN_URL logs in as the database's owner, who may create roles. Give DATABASE_URL, DATABASE_LOGIN_URL,
DATABASE_WORKER_URL, DATABASE_NOTARY_URL, DATABASE_CLOCK_URL and DATABASE_POST_URL too, and each role gets the password that
stands in its URL; give none of them to leave the passwords as they are. With --embedded DIR "api serve" does this by itself.
`

func migrateCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "migrate", migrateAbout,
		"database-admin-url database-url database-login-url database-worker-url database-notary-url database-clock-url database-post-url", args)
	if done {
		return code
	}
	if faults := c.migrateFaults(); len(faults) > 0 {
		return complain(io, "migrate", faults)
	}
	if err := ledger.Migrate(ctx, string(c.database.admin), c.passwords()); err != nil {
		return failed(ctx, io, "migrate", err)
	}
	fmt.Fprintln(io.out, "The database has this program's schema.")
	return exitOK
}

// roleURLs are the addresses that carry the roles' passwords.
func (c config) roleURLs() []struct {
	name, role string
	url        secret
} {
	return []struct {
		name, role string
		url        secret
	}{
		{"DATABASE_URL", ledger.RoleAPI, c.database.api}, {"DATABASE_LOGIN_URL", ledger.RoleLogin, c.database.login},
		{"DATABASE_WORKER_URL", ledger.RoleWorker, c.database.worker}, {"DATABASE_NOTARY_URL", ledger.RoleNotary, c.database.notary},
		{"DATABASE_CLOCK_URL", ledger.RoleClock, c.database.clock}, {"DATABASE_POST_URL", ledger.RolePost, c.database.post},
	}
}

func (c config) migrateFaults() (faults []string) {
	if len(c.rest) > 0 {
		faults = append(faults, "it takes no arguments besides its flags")
	}
	if c.database.admin == "" {
		faults = append(faults, "DATABASE_ADMIN_URL is not set: it is the PostgreSQL URL of the database's owner")
	}
	faults = append(faults, roleFault("DATABASE_ADMIN_URL", c.database.admin, "", false)...)
	given := 0
	for _, r := range c.roleURLs() {
		if r.url != "" {
			given++
		}
	}
	for _, r := range c.roleURLs() {
		faults = append(faults, roleFault(r.name, r.url, r.role, given > 0)...)
	}
	return faults
}

// passwords gives each role the password of its address; nil where none was given.
func (c config) passwords() func(role string) string {
	byRole := map[string]string{}
	for _, r := range c.roleURLs() {
		if r.url == "" {
			return nil
		}
		cfg, err := pgx.ParseConfig(string(r.url))
		if err != nil {
			return nil // migrateFaults has refused it before
		}
		byRole[r.role] = cfg.Password
	}
	return func(role string) string { return byRole[role] }
}

const bootstrapAbout = `Make the first studio and its first member, who has every studio role. The password is random and printed once.

  api bootstrap --embedded DIR --studio "Harbour Works" --name "Ines Haddal" --email ines@harbour.example

Without --embedded, DATABASE_ADMIN_URL names the database; run "api migrate" on it first.
`

func bootstrapCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "bootstrap", bootstrapAbout, "embedded database-admin-url studio name email", args)
	if done {
		return code
	}
	if faults := c.bootstrapFaults(); len(faults) > 0 {
		return complain(io, "bootstrap", faults)
	}
	admin, stop, err := c.adminAddress(ctx)
	if err != nil {
		return failed(ctx, io, "bootstrap", err)
	}
	defer stop()
	password := rand.Text() // 26 characters, 128 bits
	_, err = ledger.BootstrapStudio(ctx, admin, c.studio, ledger.FirstMember{Name: c.name, Email: c.email, Password: password})
	if errors.Is(err, ledger.ErrConflict) {
		return failed(ctx, io, "bootstrap", errors.New("somebody with this e-mail address is there already"))
	}
	if err != nil {
		return failed(ctx, io, "bootstrap", err)
	}
	fmt.Fprintf(io.out, "Studio %q is there. Its first member logs in with:\n\n  e-mail    %s\n  password  %s\n\nThe password is shown this once; change it after the first log-in.\n",
		c.studio, c.email, password)
	return exitOK
}

func (c config) bootstrapFaults() (faults []string) {
	if len(c.rest) > 0 {
		faults = append(faults, "it takes no arguments besides its flags")
	}
	for _, f := range []struct{ flag, value string }{{"studio", c.studio}, {"name", c.name}, {"email", c.email}} {
		if f.value == "" {
			faults = append(faults, "--"+f.flag+" is needed")
		}
	}
	if (c.embedded == "") == (c.database.admin == "") {
		faults = append(faults, "say which database: either --embedded DIR or DATABASE_ADMIN_URL")
	}
	return append(faults, roleFault("DATABASE_ADMIN_URL", c.database.admin, "", false)...)
}

// adminAddress is the owner's address. For --embedded it is that of the service where one is running on the folder;
// else the database is started for the moment.
func (c config) adminAddress(ctx context.Context) (address string, stop func(), err error) {
	if c.embedded == "" {
		return string(c.database.admin), func() {}, nil
	}
	if text, err := os.ReadFile(filepath.Join(c.embedded, adminFile)); err == nil {
		if address := envValue(string(text), "DATABASE_ADMIN_URL"); answers(ctx, address) {
			return address, func() {}, nil
		}
	}
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: c.embedded})
	if err != nil {
		return "", nil, err
	}
	if err := ledger.Migrate(ctx, pg.URL(), pg.RolePassword); err != nil {
		_ = pg.Stop()
		return "", nil, err
	}
	return pg.URL(), func() { _ = pg.Stop() }, nil
}

func answers(ctx context.Context, address string) bool {
	conn, err := pgx.Connect(ctx, address)
	if err != nil {
		return false
	}
	return conn.Close(ctx) == nil
}
