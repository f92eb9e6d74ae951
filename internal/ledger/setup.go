package ledger

import (
	"context"
	"fmt"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/rivermigrate"

	"proofhouse/migrations"
)

// Roles of the database that programs log in with.
const (
	RoleAPI    = "ph_api"
	RoleLogin  = "ph_login"
	RoleWorker = "ph_worker"
	RoleNotary = "ph_notary"
	RoleClock  = "ph_clock"
	RolePost   = "ph_post"
)

const (
	roleOwner  = "ph_owner"     // owns the tables, logs in nowhere: the migration takes this role on
	roleBackup = "ph_backup"    // reads everything for a dump
	schemaLock = 0x70685f6d6967 // "ph_mig": advisory lock of role making and migrating, cluster-wide and per database
)

var loginRoles = []string{RoleAPI, RoleLogin, RoleWorker, RoleNotary, RoleClock, RolePost}

// RiverSchema is where River's tables live.
const RiverSchema = "river"

// RiverVersion pins River's migrations to the version in go.mod.
const RiverVersion = 8

// Migrate brings the database to this program's schema: roles, own tables, River's tables. It may run on several
// machines at once and again at any time. adminURL's role must own the database and may create roles. passwords gives
// each login role its password; nil leaves the roles' log-in as it is.
func Migrate(ctx context.Context, adminURL string, passwords func(role string) string) error {
	if err := ensureRoles(ctx, adminURL, passwords); err != nil {
		return fmt.Errorf("migrate: roles: %w", err)
	}
	unlock, err := lockSchema(ctx, adminURL)
	if err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	defer unlock()
	if err := migrateOwn(ctx, adminURL); err != nil {
		return fmt.Errorf("migrate: %w", err)
	}
	if err := migrateRiver(ctx, adminURL); err != nil {
		return fmt.Errorf("migrate: job queue: %w", err)
	}
	return nil
}

// lockSchema waits until no other migration of this database runs. The lock ends with its connection.
func lockSchema(ctx context.Context, adminURL string) (unlock func(), err error) {
	conn, err := pgx.Connect(ctx, adminURL)
	if err != nil {
		return nil, err
	}
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock($1)`, int64(schemaLock)); err != nil {
		conn.Close(context.WithoutCancel(ctx))
		return nil, fmt.Errorf("wait for another migration: %w", err)
	}
	return func() { conn.Close(context.WithoutCancel(ctx)) }, nil
}

func ownerConfig(adminURL string) (*pgx.ConnConfig, error) {
	cfg, err := pgx.ParseConfig(adminURL)
	if err != nil {
		return nil, fmt.Errorf("database address: %w", err)
	}
	cfg.RuntimeParams["role"] = roleOwner
	cfg.RuntimeParams["lock_timeout"] = "2s" // rather fail and be run again than stop the service behind a lock
	return cfg, nil
}

// ensureRoles makes the roles, which belong to the cluster. Two CREATE or ALTER ROLE at a time fail with "tuple
// concurrently updated": the lock keeps two migrations of one database apart, the retry those of two databases.
func ensureRoles(ctx context.Context, adminURL string, passwords func(role string) string) error {
	conn, err := pgx.Connect(ctx, adminURL)
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	return retry(ctx, func() error {
		return pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
			if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, int64(schemaLock)); err != nil {
				return err
			}
			if _, err := tx.Exec(ctx, createRoles); err != nil {
				return err
			}
			if passwords != nil {
				for _, role := range loginRoles {
					if _, err := tx.Exec(ctx, alterPassword(role, passwords(role))); err != nil {
						return fmt.Errorf("%s: %w", role, err)
					}
				}
			}
			_, err := tx.Exec(ctx, createSchemas)
			return err
		})
	})
}

// alterPassword quotes by hand: utility statements take no parameters.
func alterPassword(role, password string) string {
	quoted := "'" + strings.ReplaceAll(password, "'", "''") + "'"
	return "SET LOCAL standard_conforming_strings = on; ALTER ROLE " + role + " LOGIN PASSWORD " + quoted
}

const createRoles = `
DO $$
DECLARE r text;
BEGIN
  FOREACH r IN ARRAY ARRAY['ph_owner', 'ph_api', 'ph_login', 'ph_worker', 'ph_notary', 'ph_clock', 'ph_post', 'ph_backup'] LOOP
    IF NOT EXISTS (SELECT FROM pg_roles WHERE rolname = r) THEN
      EXECUTE format('CREATE ROLE %I', r);
    END IF;
  END LOOP;
  IF NOT (SELECT rolbypassrls FROM pg_roles WHERE rolname = 'ph_backup') THEN
    BEGIN
      ALTER ROLE ph_backup BYPASSRLS;
    EXCEPTION WHEN insufficient_privilege THEN
      RAISE NOTICE 'ph_backup has no BYPASSRLS here: dump as a superuser';
    END;
  END IF;
  IF NOT pg_has_role(current_user, 'ph_owner', 'MEMBER') THEN
    EXECUTE format('GRANT ph_owner TO %I', current_user);
  END IF;
END $$`

const createSchemas = `
DO $$
BEGIN
  IF to_regnamespace('ph') IS NULL THEN CREATE SCHEMA ph AUTHORIZATION ph_owner; END IF;
  IF to_regnamespace('river') IS NULL THEN CREATE SCHEMA river AUTHORIZATION ph_owner; END IF;
END $$`

// OwnGrants follow the migrations of our own tables, RiverGrants those of the job queue, whose tables we do not write.
const (
	OwnGrants = `
		GRANT SELECT ON ph.goose_db_version TO ph_api, ph_login, ph_worker, ph_notary, ph_clock, ph_post, ph_backup;
		GRANT SELECT ON ALL TABLES IN SCHEMA ph TO ph_backup;
		GRANT SELECT ON ALL SEQUENCES IN SCHEMA ph TO ph_backup;
		ALTER DEFAULT PRIVILEGES IN SCHEMA ph GRANT SELECT ON TABLES TO ph_backup; -- partitions that come later
		ALTER DEFAULT PRIVILEGES IN SCHEMA ph GRANT SELECT ON SEQUENCES TO ph_backup`
	RiverGrants = `
		GRANT USAGE ON SCHEMA river TO ph_api, ph_worker;
		GRANT SELECT, INSERT, UPDATE ON river.river_job TO ph_api;
		GRANT SELECT ON river.river_queue, river.river_migration TO ph_api;
		GRANT ALL ON ALL TABLES IN SCHEMA river TO ph_worker;
		GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA river TO ph_api, ph_worker;
		GRANT USAGE ON SCHEMA river TO ph_backup;
		GRANT SELECT ON ALL TABLES IN SCHEMA river TO ph_backup;
		GRANT SELECT ON ALL SEQUENCES IN SCHEMA river TO ph_backup;`
)

func migrateOwn(ctx context.Context, adminURL string) error {
	cfg, err := ownerConfig(adminURL)
	if err != nil {
		return err
	}
	db := stdlib.OpenDB(*cfg)
	defer db.Close()
	provider, err := goose.NewProvider(goose.DialectPostgres, db, migrations.FS,
		goose.WithTableName("ph.goose_db_version"), goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return err
	}
	if err := retry(ctx, func() error { _, err := provider.Up(ctx); return err }); err != nil {
		return err
	}
	_, err = db.ExecContext(ctx, OwnGrants)
	return err
}

func migrateRiver(ctx context.Context, adminURL string) error {
	cfg, err := pgxpool.ParseConfig(adminURL)
	if err != nil {
		return err
	}
	cfg.MaxConns = 2
	cfg.ConnConfig.RuntimeParams["role"] = roleOwner
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return err
	}
	defer pool.Close()
	migrator, err := rivermigrate.New(riverpgxv5.New(pool), &rivermigrate.Config{Schema: RiverSchema})
	if err != nil {
		return err
	}
	if _, err := migrator.Migrate(ctx, rivermigrate.DirectionUp, &rivermigrate.MigrateOpts{TargetVersion: RiverVersion}); err != nil {
		return err
	}
	// Inserting a job updates too (a unique job's state), hence the grant to ph_api. Jobs carry an opaque ticket only.
	_, err = pool.Exec(ctx, RiverGrants)
	return err
}

// checkSchema refuses a schema older than this program's, and a newer one that took away what this program needs: while a
// release is rolled out, programs of both versions run over one database.
func checkSchema(ctx context.Context, pool *pgxpool.Pool) error {
	var version, oldest int64
	err := pool.QueryRow(ctx, `SELECT coalesce(max(version_id), 0) FROM ph.goose_db_version WHERE is_applied`).Scan(&version)
	if err == nil && version > migrations.Version {
		err = pool.QueryRow(ctx, `SELECT ph.oldest_program()`).Scan(&oldest)
	}
	switch {
	case isCode(err, "42P01", "3F000"): // undefined_table, invalid_schema_name
		version = 0
	case err != nil:
		return fmt.Errorf("read the schema version: %w", err)
	}
	if version < migrations.Version || oldest > migrations.Version {
		return fmt.Errorf("%w: the database has version %d, this program needs %d: run migrate, or the program that fits", ErrSchema, version, migrations.Version)
	}
	return nil
}

// FirstMember is the person who sets up a studio.
type FirstMember struct{ Name, Email, Password string }

// BootstrapStudio makes a studio with its first member, who has every studio role. adminURL as for Migrate. An e-mail
// that is taken is ErrConflict.
func BootstrapStudio(ctx context.Context, adminURL, studio string, first FirstMember) (Who, error) {
	hash, err := hashPassword(first.Password)
	if err != nil {
		return Who{}, err
	}
	if studio = strings.TrimSpace(studio); studio == "" {
		return Who{}, invalid("studio", "needs a name")
	}
	cfg, err := ownerConfig(adminURL)
	if err != nil {
		return Who{}, err
	}
	conn, err := pgx.ConnectConfig(ctx, cfg)
	if err != nil {
		return Who{}, fmt.Errorf("set up studio: %w", err)
	}
	defer conn.Close(context.WithoutCancel(ctx))
	who := Who{Party: newID(), PartyName: studio, Member: newID(), Name: first.Name, Side: StudioSide,
		Roles: []Role{Producer, ArtDirector, TechnicalArtist}, Scopes: Scopes}
	err = pgx.BeginFunc(ctx, conn, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `INSERT INTO ph.party (id, side, name) VALUES ($1, 'studio', $2)`, who.Party, studio); err != nil {
			return err
		}
		if _, err := tx.Exec(ctx, `INSERT INTO ph.member (party_id, id, side, name, email, password_hash, roles)
			VALUES ($1, $2, 'studio', $3, $4, $5, $6)`,
			who.Party, who.Member, first.Name, normalEmail(first.Email), hash, who.Roles); err != nil {
			return err
		}
		_, err := tx.Exec(ctx, `INSERT INTO ph.log (studio_id, vendor_id, id, root) VALUES ($1, NULL, $1, $2)`, who.Party, emptyRoot[:])
		return err
	})
	if err != nil {
		return Who{}, fmt.Errorf("set up studio %q: %w", studio, mapError(err))
	}
	return who, nil
}
