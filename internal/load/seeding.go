package main

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/jackc/pgx/v5"

	"proofhouse/internal/embedded"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
	"proofhouse/internal/load/seed"
	"proofhouse/internal/storage"
)

// manifest is what a filled data folder says of itself: who may log in, and whose evidence can be read.
type manifest struct {
	seed.World
	Props  int           `json:"props"`
	Seed   uint64        `json:"seed"`
	Now    time.Time     `json:"now"`
	Took   float64       `json:"took_s"`
	Sample []seed.Sample `json:"sample"`
}

const manifestFile = "load.json"

func readManifest(dir string) (m manifest, err error) {
	b, err := os.ReadFile(filepath.Join(dir, manifestFile))
	if err != nil {
		return m, err
	}
	return m, json.Unmarshal(b, &m)
}

func say(format string, args ...any) {
	fmt.Fprintf(os.Stderr, "%s  %s\n", time.Now().UTC().Format(time.TimeOnly), fmt.Sprintf(format, args...))
}

func seedCommand(ctx context.Context, args []string) error {
	f := flag.NewFlagSet("seed", flag.ContinueOnError)
	dir := f.String("dir", "", "data `folder`, as api serve --embedded takes it")
	props := f.Int("props", 100_000, "how many")
	sample := f.Int("sample", 600, "of how many props the newest evidence lies in the storage")
	from := f.Uint64("seed", 1, "what the world is drawn from")
	if err := f.Parse(args); err != nil {
		return err
	}
	if *dir == "" {
		return errors.New("--dir is needed")
	}
	if m, err := readManifest(*dir); err == nil {
		say("%s holds %d props already", *dir, m.Counts.Props)
		return nil
	}
	if _, err := os.Stat(filepath.Join(*dir, "postgres", "data")); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s holds a database that is not whole or not of this command: remove it", *dir)
	}
	m := manifest{Props: *props, Seed: *from, Now: time.Now().UTC().Truncate(24 * time.Hour)}
	if err := fill(ctx, *dir, &m); err != nil {
		return err
	}
	if err := putSample(ctx, *dir, &m, *sample); err != nil {
		return err
	}
	b, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	say("%d props in %.0f s", m.Counts.Props, m.Took)
	return os.WriteFile(filepath.Join(*dir, manifestFile), b, 0o600)
}

// whileLoading and whileServing are the server's settings; what is in neither is PostgreSQL's own.
var (
	whileLoading = map[string]string{"wal_level": "minimal", "max_wal_senders": "0", "shared_buffers": "1GB", "max_wal_size": "4GB", "autovacuum": "off"}
	whileServing = map[string]string{"shared_buffers": "2GB", "effective_cache_size": "8GB", "random_page_cost": "1.1", "max_wal_size": "4GB", "checkpoint_timeout": "15min",
		"max_parallel_workers_per_gather": "0", "jit": "off"} // many short questions: none gains by a second process or by compiling
)

func settle(ctx context.Context, pg *embedded.Postgres, settings map[string]string) error {
	conn, err := pgx.Connect(ctx, pg.URL())
	if err != nil {
		return err
	}
	defer conn.Close(context.WithoutCancel(ctx))
	if _, err := conn.Exec(ctx, `ALTER SYSTEM RESET ALL`); err != nil {
		return err
	}
	for name, value := range settings {
		if _, err := conn.Exec(ctx, fmt.Sprintf(`ALTER SYSTEM SET %s = '%s'`, name, value)); err != nil {
			return err
		}
	}
	return nil
}

// fill makes the database, without waiting for the disk: what is cut short is thrown away.
func fill(ctx context.Context, dir string, m *manifest) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	began := time.Now()
	cfg := embedded.PostgresConfig{Folder: dir, NoSync: true}
	pg, err := embedded.StartPostgres(ctx, cfg)
	if err != nil {
		return err
	}
	if err := errors.Join(settle(ctx, pg, whileLoading), pg.Stop()); err != nil {
		return err
	}
	if pg, err = embedded.StartPostgres(ctx, cfg); err != nil {
		return err
	}
	err = func() error {
		if err := ledger.Migrate(ctx, pg.URL(), pg.RolePassword); err != nil {
			return err
		}
		m.World, err = seed.Fill(ctx, seed.Config{Props: m.Props, Now: m.Now, Seed: m.Seed, Password: rand.Text(), Admin: pg.URL(), Tell: say})
		if err != nil {
			return err
		}
		return settle(ctx, pg, whileServing)
	}()
	m.Took = time.Since(began).Seconds()
	return errors.Join(err, pg.Stop())
}

func putSample(ctx context.Context, dir string, m *manifest, n int) error {
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: dir})
	if err != nil {
		return err
	}
	defer func() { _ = pg.Stop() }()
	s3, err := s3server.Start(ctx, s3server.Config{Dir: filepath.Join(dir, "s3"), Listen: "127.0.0.1:0", Bucket: "proofhouse"})
	if err != nil {
		return err
	}
	defer func() { _ = s3.Stop() }()
	objects, err := storage.Open(storage.Config{Endpoint: s3.Endpoint, Region: s3server.Region, Bucket: s3.Bucket, AccessKey: s3.Worker.Access, SecretKey: s3.Worker.Secret})
	if err != nil {
		return err
	}
	m.Sample, err = seed.PutSample(ctx, pg.URL(), objects, m.Seed, n)
	return err
}
