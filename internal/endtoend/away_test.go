package endtoend

import (
	"bytes"
	"context"
	"log/slog"
	"os/exec"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/inspection"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// locked is a buffer that several write to.
type locked struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *locked) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *locked) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// Storage that stays away for longer than an inspection waits uses up no attempts, however often it is asked: the inspection
// goes back into the queue, and is made when storage is there again.
func TestALongOutageUsesUpNoAttempts(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	h.gate.close()
	store, err := storage.Open(storage.Config{Endpoint: h.gate.url, Region: s3server.Region, Bucket: objects.Bucket, AccessKey: objects.Worker.Access, SecretKey: objects.Worker.Secret})
	require.NoError(t, err)
	pool := h.db.Pool(ledger.RoleWorker)
	log := &locked{}
	s := &inspection.Service{
		Ledger: ledger.NewWorker(pool), Pool: pool, Store: store, Log: slog.New(slog.NewTextHandler(log, nil)), Exe: worker, Owner: "patient", Scratch: t.TempDir(), Slots: 1, Threads: 1,
		Patience: time.Millisecond, Grace: time.Minute,
	}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	h.eventually("taken and given back more often than it may be tried", `SELECT count(*) FROM ph.inspection WHERE fence > $1`, ledger.MaxAttempts+1)
	h.gate.open()
	got := h.await(d)
	h.evidence(got)
	h.recordedOnce(1)
	require.Equal(t, 1, h.count(`SELECT attempts FROM ph.inspection`))
	require.Contains(t, log.String(), "this was no attempt")
	stop()
	require.NoError(t, <-ended)
}

// A worker whose storage keys are refused says so and ends: it would hold up whatever it takes.
func TestAWorkerWhoseKeysAreRefusedTakesNothing(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	for _, keys := range [][2]string{{objects.Worker.Access, "another"}, {"unknown", objects.Worker.Secret}} {
		cmd := exec.Command(worker, "serve", "--scratch", t.TempDir())
		cmd.Env = []string{"DATABASE_URL=" + h.db.URL(ledger.RoleWorker), "S3_ENDPOINT=" + objects.Endpoint, "S3_REGION=" + s3server.Region, "S3_BUCKET=" + objects.Bucket,
			"S3_ACCESS_KEY=" + keys[0], "S3_SECRET_KEY=" + keys[1]}
		out, err := cmd.CombinedOutput()
		require.Error(t, err)
		require.Contains(t, string(out), "the storage refuses S3_ACCESS_KEY and S3_SECRET_KEY")
		require.NotContains(t, string(out), "taking inspections")
		require.NotContains(t, string(out), keys[1])
	}
}

// A worker whose disk has no room keeps nothing back for good: what it took waits, is no attempt, and is made elsewhere or later.
func TestAFullDiskUsesUpNoAttempts(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	folder, roles := boxFolder(t, "box")
	d := h.deliver(h.contract("box", "background", boxSpec("box")), folder, roles)
	var disk unix.Statfs_t
	require.NoError(t, unix.Statfs(t.TempDir(), &disk))
	free, all := int64(disk.Bavail)*disk.Bsize, int64(disk.Blocks)*disk.Bsize
	var was int64
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT bytes FROM ph.delivery`).Scan(&was))
	says := func(bytes int64) {
		_, err := h.owner.Exec(t.Context(), `UPDATE ph.delivery SET bytes = $1`, bytes)
		require.NoError(t, err)
	}
	says(free/2 + (all-free)/4) // twice that lies half-way between what is free and what the disk has in all
	p := h.serve()
	p.awaitLine("disk is full")
	require.Contains(t, p.logged("disk is full")[0]["error"], "MiB free and the delivery needs")
	says(was)
	h.evidence(h.await(d))
	h.recordedOnce(1)
	require.Equal(t, 1, h.count(`SELECT attempts FROM ph.inspection`))
	require.Zero(t, p.stop())
}

// A setting that is no number is said, and not taken for another one.
func TestAWorkersSettingsAreNotGuessed(t *testing.T) {
	t.Parallel()
	cmd := exec.Command(worker, "serve")
	cmd.Env = []string{"WORKER_SLOTS=two", "WORKER_MEMORY_MB=4GB"}
	out, err := cmd.CombinedOutput()
	require.Error(t, err)
	for _, name := range []string{"WORKER_SLOTS", "WORKER_MEMORY_MB"} {
		require.Contains(t, string(out), "worker serve: "+name+" is not a whole number")
	}
}
