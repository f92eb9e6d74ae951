package main

import (
	"log/slog"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
	"proofhouse/internal/storage"
)

// An object that nothing speaks of is found, marked, waited for and deleted; nothing is deleted before, and the probe's own
// objects are not looked at.
func TestOrphansInStorageAreSwept(t *testing.T) {
	db := ledgertest.New(t)
	t.Cleanup(func() { _ = os.Chdir(root) }) // the server moves into its folder
	s3, err := s3server.Start(t.Context(), s3server.Config{Dir: t.TempDir(), Listen: "127.0.0.1:0", Bucket: "harbour"})
	require.NoError(t, err)
	t.Cleanup(func() { _ = s3.Stop() })
	store, err := storage.Open(storage.Config{Endpoint: s3.Endpoint, Region: s3server.Region, Bucket: s3.Bucket, AccessKey: s3.API.Access, SecretKey: s3.API.Secret})
	require.NoError(t, err)
	ctx := t.Context()
	owner, err := pgx.Connect(ctx, db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer owner.Close(ctx)
	sum, _, err := store.PutEvidence(ctx, uuid.NewString(), strings.NewReader("left behind"), "text/plain")
	require.NoError(t, err)
	var key string
	require.NoError(t, store.List(ctx, "wo/", func(page []storage.Listed) error {
		for _, o := range page {
			if strings.HasSuffix(o.Key, sum) {
				key = o.Key
			}
		}
		return nil
	}))
	require.NotEmpty(t, key)
	k := newKeeper(ledger.NewClock(db.Pool(ledger.RoleClock)), store, slog.New(slog.DiscardHandler), prometheus.NewRegistry())
	there := func() bool { _, err := store.Head(ctx, key); return err == nil }

	require.NoError(t, k.sweepOrphans(ctx, time.Now()))
	require.Zero(t, valueOf(t, k.orphans), "too young to be asked about")
	later := time.Now().Add(2 * orphanAge)
	require.NoError(t, k.sweepOrphans(ctx, later))
	require.NoError(t, k.sweepOrphans(ctx, later))
	require.Positive(t, valueOf(t, k.orphans))
	require.True(t, there(), "marked, and waited for")
	_, err = owner.Exec(ctx, `UPDATE ph.orphan SET marked_at = now() - $1::interval`, 2*ledger.OrphanWait)
	require.NoError(t, err)
	require.NoError(t, k.sweepOrphans(ctx, later))
	require.False(t, there())
	require.Positive(t, valueOf(t, k.swept))
}

func valueOf(t *testing.T, c prometheus.Counter) float64 {
	t.Helper()
	var m dto.Metric
	require.NoError(t, c.Write(&m))
	return m.GetCounter().GetValue()
}
