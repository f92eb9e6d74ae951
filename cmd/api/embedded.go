package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"proofhouse/internal/embedded"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
)

// Files in the data folder of --embedded, for this user alone.
const (
	adminFile  = "admin.env"  // for bootstrap beside a running service
	workerFile = "worker.env" // for `worker serve` on this machine
	notaryFile = "notary.key"
	postFile   = "post.key"
)

// startEmbedded starts a private PostgreSQL and an S3 server below the data folder, brings the database to the schema
// and points the configuration at them. stop ends both.
func (c *config) startEmbedded(ctx context.Context, log *slog.Logger) (stop func(), err error) {
	if err := os.MkdirAll(c.embedded, 0o755); err != nil {
		return nil, fmt.Errorf("the data folder cannot be made: %w", err)
	}
	pg, err := embedded.StartPostgres(ctx, embedded.PostgresConfig{Folder: c.embedded})
	if err != nil {
		return nil, err
	}
	stopAll := func() {
		if err := pg.Stop(); err != nil {
			log.Error("the database did not stop cleanly", "error", err.Error())
		}
	}
	defer func() {
		if err != nil {
			stopAll()
		}
	}()
	if err := ledger.Migrate(ctx, pg.URL(), pg.RolePassword); err != nil {
		return nil, err
	}
	objects, err := s3server.Start(ctx, s3server.Config{
		Dir: filepath.Join(c.embedded, "s3"), Listen: c.s3Listen, Bucket: c.s3Bucket, AllowedOrigin: c.publicURL,
	})
	if err != nil {
		return nil, err
	}
	c.useEmbedded(pg, objects)
	key, err := ledger.PostKeyFile(filepath.Join(c.embedded, postFile))
	if err != nil {
		_ = objects.Stop()
		return nil, err
	}
	c.postKey = secret(key)
	if _, err := ledger.Reseal(ctx, pg.URL(), c.key()); err != nil { // what older versions kept plain
		log.Warn("secrets of webhooks or log-in providers do not open with this folder's key", "error", err.Error())
	}
	if err := c.writeEnvironments(pg, objects); err != nil {
		_ = objects.Stop()
		return nil, fmt.Errorf("write into the data folder: %w", err)
	}
	return func() {
		if err := objects.Stop(); err != nil {
			log.Error("the object storage did not stop cleanly", "error", err.Error())
		}
		stopAll()
	}, nil
}

func (c *config) useEmbedded(pg *embedded.Postgres, objects *s3server.Server) {
	c.database = database{
		api: secret(pg.RoleURL(ledger.RoleAPI)), login: secret(pg.RoleURL(ledger.RoleLogin)), notary: secret(pg.RoleURL(ledger.RoleNotary)),
		worker: secret(pg.RoleURL(ledger.RoleWorker)), clock: secret(pg.RoleURL(ledger.RoleClock)), post: secret(pg.RoleURL(ledger.RolePost)),
	}
	c.notaryKey = filepath.Join(c.embedded, notaryFile)
	c.s3Endpoint, c.s3Region, c.s3Bucket = objects.Endpoint, s3server.Region, objects.Bucket
	c.s3AccessKey, c.s3SecretKey = secret(objects.API.Access), secret(objects.API.Secret)
}

// writeEnvironments leaves what other programs on this machine need: each gets its own role and keys, no more.
func (c *config) writeEnvironments(pg *embedded.Postgres, objects *s3server.Server) error {
	err := writeSecretFile(filepath.Join(c.embedded, workerFile), envLines(
		"DATABASE_URL", pg.RoleURL(ledger.RoleWorker), "S3_ENDPOINT", objects.Endpoint, "S3_REGION", s3server.Region, "S3_BUCKET", objects.Bucket,
		"S3_ACCESS_KEY", objects.Worker.Access, "S3_SECRET_KEY", objects.Worker.Secret,
	))
	if err != nil {
		return err
	}
	return writeSecretFile(filepath.Join(c.embedded, adminFile), envLines("DATABASE_ADMIN_URL", pg.URL()))
}

// envLines writes names and values as a shell reads them.
func envLines(pairs ...string) string {
	var b strings.Builder
	for i := 0; i < len(pairs); i += 2 {
		fmt.Fprintf(&b, "%s='%s'\n", pairs[i], strings.ReplaceAll(pairs[i+1], "'", `'\''`))
	}
	return b.String()
}

// envValue reads one value that envLines wrote.
func envValue(text, name string) string {
	for line := range strings.Lines(text) {
		if v, ok := strings.CutPrefix(strings.TrimRight(line, "\n"), name+"='"); ok {
			return strings.ReplaceAll(strings.TrimSuffix(v, "'"), `'\''`, "'")
		}
	}
	return ""
}
