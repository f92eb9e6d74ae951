package pgserver

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

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

// TestServer takes one cluster through its life; initdb is most of the time, so it runs once.
func TestServer(t *testing.T) {
	dir := dataFolder(t)
	for _, step := range []struct {
		name string
		run  func(t *testing.T, dir string)
	}{
		{"restart keeps data", restartKeepsData},
		{"two processes, one folder", twoProcesses},
		{"pid file of a process that is gone", func(t *testing.T, dir string) { stalePidFile(t, dir, 1<<22) }}, // above the kernel's largest pid (proc(5), pid_max)
		{"pid file of another program", func(t *testing.T, dir string) { stalePidFile(t, dir, os.Getpid()) }},
		{"left by a killed starter", leftByKilledStarter},
		{"shared: the second attaches", sharedAttaches},
		{"TCP", tcp},
		{"password lost", passwordLost}, // last: the cluster cannot be opened after it
	} {
		t.Run(step.name, func(t *testing.T) { step.run(t, dir) })
	}
}

func restartKeepsData(t *testing.T, dir string) {
	s := start(t, Config{Folder: dir})
	conn, err := pgx.Connect(context.Background(), s.URL())
	require.NoError(t, err)
	_, err = conn.Exec(context.Background(), `CREATE TABLE public.kept AS SELECT 'crate'::text AS word`)
	require.NoError(t, err)
	require.NoError(t, conn.Close(context.Background()))
	require.NoError(t, s.Stop())
	require.NoError(t, s.Stop(), "stopping twice")
	<-s.Done()

	again := start(t, Config{Folder: dir})
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

func twoProcesses(t *testing.T, dir string) {
	start(t, Config{Folder: dir})
	_, err := Start(context.Background(), Config{Folder: dir})
	require.ErrorContains(t, err, "another process uses")
}

func stalePidFile(t *testing.T, dir string, pid int) {
	pidFile := filepath.Join(dir, "postgres", "data", "postmaster.pid")
	text := strconv.Itoa(pid) + "\n" + filepath.Dir(pidFile) + "\n0\n5432\n\n\n"
	require.NoError(t, os.WriteFile(pidFile, []byte(text), 0o644))
	s := start(t, Config{Folder: dir})
	require.Equal(t, "1", exec1(t, s.URL(), `SELECT '1'`))
}

func leftByKilledStarter(t *testing.T, dir string) {
	left := start(t, Config{Folder: dir, Shared: true})
	again := start(t, Config{Folder: dir})
	require.NotEqual(t, left.PID(), again.PID())
	<-left.Done()
	require.Equal(t, "1", exec1(t, again.URL(), `SELECT '1'`))
}

func sharedAttaches(t *testing.T, dir string) {
	first := start(t, Config{Folder: dir, Shared: true})
	second := start(t, Config{Folder: dir, Shared: true})
	require.Equal(t, first.PID(), second.PID())
	require.Equal(t, "1", exec1(t, second.URL(), `SELECT '1'`))
}

func tcp(t *testing.T, dir string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	port := l.Addr().(*net.TCPAddr).Port
	_, err = Start(context.Background(), Config{Folder: dir, Port: port, NoSync: true})
	require.ErrorContains(t, err, "port or socket is taken")
	require.NoError(t, l.Close())
	s := start(t, Config{Folder: dir, Port: port})
	address := fmt.Sprintf("postgres://%s:%s@127.0.0.1:%d/%s?sslmode=disable", Owner, s.OwnerPassword(), port, Database)
	require.Equal(t, "1", exec1(t, address, `SELECT '1'`))
}

func passwordLost(t *testing.T, dir string) {
	require.NoError(t, os.Remove(filepath.Join(dir, "postgres", "password")))
	_, err := Start(context.Background(), Config{Folder: dir, NoSync: true})
	require.ErrorContains(t, err, "does not fit the cluster")
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
