package pgserver

import (
	"context"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
)

// dataFolder is a folder that the server's account can reach also when the tests run as root, short enough for a socket.
func dataFolder(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "ph-pg-")
	require.NoError(t, err)
	require.NoError(t, os.Chmod(dir, 0o755))
	t.Cleanup(func() { require.NoError(t, os.RemoveAll(dir)) })
	return dir
}

func start(t *testing.T, cfg Config) *Server {
	t.Helper()
	cfg.NoSync = true
	s, err := Start(context.Background(), cfg)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Stop()) })
	return s
}

func exec1(t *testing.T, url, sql string) string {
	t.Helper()
	conn, err := pgx.Connect(context.Background(), url)
	require.NoError(t, err)
	defer conn.Close(context.Background())
	var out string
	require.NoError(t, conn.QueryRow(context.Background(), sql).Scan(&out))
	return out
}

func TestRestartKeepsData(t *testing.T) {
	dir := dataFolder(t)
	s := start(t, Config{Folder: dir})
	require.Equal(t, "made", exec1(t, s.URL(), `WITH made AS (SELECT set_config('search_path','public',false)) SELECT 'made' FROM made`))
	conn, err := pgx.Connect(context.Background(), s.URL())
	require.NoError(t, err)
	_, err = conn.Exec(context.Background(), `CREATE TABLE public.kept AS SELECT 'crate'::text AS word`)
	require.NoError(t, err)
	require.NoError(t, conn.Close(context.Background()))
	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "stopping twice")
	<-s.Done()

	began := time.Now()
	again := start(t, Config{Folder: dir})
	require.Less(t, time.Since(began), 5*time.Second)
	require.Equal(t, "crate", exec1(t, again.URL(), `SELECT word FROM public.kept`))
	info, err := os.Stat(filepath.Join(dir, "postgres", "password"))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	if os.Geteuid() == 0 {
		st, err := os.Stat("/proc/" + strconv.Itoa(again.PID()))
		require.NoError(t, err)
		require.NotZero(t, st.Sys().(*syscall.Stat_t).Uid, "the server must not run as root")
	}
	require.NotEqual(t, again.RolePassword("a"), again.RolePassword("b"))
}

func TestTwoProcessesOneFolder(t *testing.T) {
	dir := dataFolder(t)
	start(t, Config{Folder: dir})
	_, err := Start(context.Background(), Config{Folder: dir})
	require.ErrorContains(t, err, "another process uses")
}

func TestStalePidFiles(t *testing.T) {
	for _, row := range []struct {
		name string
		pid  int // whose process id stands in the file
	}{
		{"process gone", 1 << 22}, // above the kernel's largest pid (proc(5), pid_max)
		{"process is another program", os.Getpid()},
	} {
		t.Run(row.name, func(t *testing.T) {
			dir := dataFolder(t)
			s := start(t, Config{Folder: dir})
			require.NoError(t, s.Stop())
			pidFile := filepath.Join(dir, "postgres", "data", "postmaster.pid")
			text := strconv.Itoa(row.pid) + "\n" + filepath.Dir(pidFile) + "\n0\n5432\n\n\n"
			require.NoError(t, os.WriteFile(pidFile, []byte(text), 0o644))
			again := start(t, Config{Folder: dir})
			require.Equal(t, "1", exec1(t, again.URL(), `SELECT '1'`))
		})
	}
}

func TestServerLeftByKilledStarter(t *testing.T) {
	dir := dataFolder(t)
	left := start(t, Config{Folder: dir, Shared: true})
	again := start(t, Config{Folder: dir})
	require.NotEqual(t, left.PID(), again.PID())
	<-left.Done()
	require.Equal(t, "1", exec1(t, again.URL(), `SELECT '1'`))
}

func TestSharedAttaches(t *testing.T) {
	dir := dataFolder(t)
	first := start(t, Config{Folder: dir, Shared: true})
	second := start(t, Config{Folder: dir, Shared: true})
	require.Equal(t, first.PID(), second.PID())
	require.Equal(t, "1", exec1(t, second.URL(), `SELECT '1'`))
}

func TestTCP(t *testing.T) {
	dir := dataFolder(t)
	s := start(t, Config{Folder: dir, Port: 54329})
	tcp := "postgres://" + Owner + ":" + s.password + "@127.0.0.1:54329/" + Database + "?sslmode=disable"
	require.Equal(t, "1", exec1(t, tcp, `SELECT '1'`))
	other := dataFolder(t)
	_, err := Start(context.Background(), Config{Folder: other, Port: 54329, NoSync: true})
	require.ErrorContains(t, err, "port or socket is taken")
}

func TestErrorsSayWhatToDo(t *testing.T) {
	t.Run("wrong version", func(t *testing.T) {
		dir := dataFolder(t)
		data := filepath.Join(dir, "postgres", "data")
		require.NoError(t, os.MkdirAll(data, 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(data, "PG_VERSION"), []byte("9\n"), 0o644))
		_, err := Start(context.Background(), Config{Folder: dir})
		require.ErrorContains(t, err, "made by version 9")
		require.ErrorContains(t, err, "install postgresql-9")
	})
	t.Run("password lost", func(t *testing.T) {
		dir := dataFolder(t)
		require.NoError(t, start(t, Config{Folder: dir}).Stop())
		require.NoError(t, os.Remove(filepath.Join(dir, "postgres", "password")))
		_, err := Start(context.Background(), Config{Folder: dir, NoSync: true})
		require.ErrorContains(t, err, "does not fit the cluster")
	})
	t.Run("too long for a socket", func(t *testing.T) {
		dir := filepath.Join(dataFolder(t), strings.Repeat("x", 100))
		_, err := Start(context.Background(), Config{Folder: dir})
		require.ErrorContains(t, err, "too long for a Unix socket")
	})
	t.Run("no folder", func(t *testing.T) {
		_, err := Start(context.Background(), Config{})
		require.ErrorContains(t, err, "no data folder")
	})
	t.Run("disk full", func(t *testing.T) {
		require.ErrorContains(t, explain("start", "x\nFATAL:  could not write lock file: No space left on device\n", os.ErrInvalid), "the disk is full")
		require.ErrorContains(t, explainFile("write", syscall.ENOSPC), "the disk is full")
	})
	t.Run("closed to the account", func(t *testing.T) {
		closed := filepath.Join(dataFolder(t), "home")
		require.NoError(t, os.Mkdir(closed, 0o700))
		a := &account{name: "nobody", uid: 65534, gid: 65534}
		require.False(t, a.mayEnter(closed) && os.Geteuid() != 65534)
		if os.Geteuid() == 0 {
			_, err := Start(context.Background(), Config{Folder: filepath.Join(closed, "data")})
			require.ErrorContains(t, err, "is closed to others")
			require.ErrorContains(t, err, DefaultFolder)
		}
	})
}
