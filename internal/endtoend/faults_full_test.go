//go:build full

package endtoend

import (
	"context"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"proofhouse/internal/embedded/pgserver"
)

// Faults of the storm that need machinery of their own: disks that fill, a clock that jumps, a cable to the database that is
// pulled.

// disk is a folder with a file system of its own that can be full.
type disk struct{ path string }

// newDisk mounts one in memory. Not everybody may; then there is none, and STORM_DISKS=1 makes that a failure.
func newDisk(t *testing.T, path string) *disk {
	require.NoError(t, os.MkdirAll(path, 0o755))
	if err := unix.Mount("tmpfs", path, "tmpfs", 0, "size=16g,mode=0755"); err != nil {
		require.Empty(t, os.Getenv("STORM_DISKS"), "mount %s: %v", path, err)
		t.Logf("no disk is filled at %s: mount: %v", path, err)
		return nil
	}
	t.Cleanup(func() { _ = unix.Unmount(path, unix.MNT_DETACH) })
	return &disk{path}
}

// fill leaves no room: the file system becomes as large as what lies in it.
func (d *disk) fill() error {
	var st unix.Statfs_t
	if err := unix.Statfs(d.path, &st); err != nil {
		return err
	}
	used := (st.Blocks - st.Bfree) * uint64(st.Bsize)
	return unix.Mount("tmpfs", d.path, "tmpfs", unix.MS_REMOUNT, fmt.Sprintf("size=%d", used+4096))
}

func (d *disk) empty() error {
	return unix.Mount("tmpfs", d.path, "tmpfs", unix.MS_REMOUNT, "size=16g")
}

// falseClock is a clock that is put forward and back under a PostgreSQL started while it is in force: libfaketime reads the file
// at each look (Debian's package libfaketime).
type falseClock struct{ file string }

// newFalseClock makes pgserver find a PostgreSQL whose clock can be moved. Its server program is the machine's own.
func newFalseClock(t *testing.T, dir string) *falseClock {
	libraries, err := filepath.Glob("/usr/lib/*/faketime/libfaketime.so.1")
	require.NoError(t, err)
	if len(libraries) == 0 {
		require.Empty(t, os.Getenv("PROOFHOUSE_FULL"), "apt install libfaketime")
		t.Skip("libfaketime is not installed")
	}
	real, err := exec.Command("pg_config", "--bindir").Output()
	if err != nil {
		found, gerr := filepath.Glob("/usr/lib/postgresql/*/bin")
		require.NoError(t, gerr)
		require.NotEmpty(t, found)
		real = []byte(found[len(found)-1])
	}
	bin, from := filepath.Join(dir, "bin"), strings.TrimSpace(string(real))
	require.NoError(t, os.MkdirAll(bin, 0o755))
	programs, err := os.ReadDir(from)
	require.NoError(t, err)
	for _, p := range programs {
		if p.Name() != "postgres" && p.Name() != "pg_config" {
			require.NoError(t, os.Symlink(filepath.Join(from, p.Name()), filepath.Join(bin, p.Name())))
		}
	}
	w := &falseClock{filepath.Join(dir, "clock")}
	w.set(t, 0)
	script := func(name, text string) {
		require.NoError(t, os.WriteFile(filepath.Join(bin, name), []byte("#!/bin/sh\n"+text+"\n"), 0o755))
	}
	script("pg_config", "echo "+bin)
	// Timeouts inside the server go by the clock that does not jump.
	script("postgres", "LD_PRELOAD="+libraries[0]+" FAKETIME_TIMESTAMP_FILE="+w.file+" FAKETIME_NO_CACHE=1 FAKETIME_DONT_FAKE_MONOTONIC=1 exec "+filepath.Join(from, "postgres")+` "$@"`)
	t.Setenv("PATH", bin+":"+os.Getenv("PATH"))
	return w
}

func (w *falseClock) set(t *testing.T, off time.Duration) {
	require.NoError(t, os.WriteFile(w.file, []byte(fmt.Sprintf("%+d\n", int(off.Seconds()))), 0o644))
}

// cable stands between the programs and PostgreSQL, and can be pulled: what was sent may have been done, and nobody is told.
type cable struct {
	l    net.Listener
	mu   sync.Mutex
	to   string // socket
	open map[net.Conn]bool
}

func newCable(t *testing.T, p *pgserver.Server) *cable {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	c := &cable{l: l, open: map[net.Conn]bool{}}
	c.plug(t, p)
	t.Cleanup(func() { _ = l.Close(); c.pull() })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go c.carry(in)
		}
	}()
	return c
}

// plug leads the cable to a server.
func (c *cable) plug(t *testing.T, p *pgserver.Server) {
	u, err := url.Parse(p.URL())
	require.NoError(t, err)
	c.mu.Lock()
	defer c.mu.Unlock()
	c.to = filepath.Join(u.Query().Get("host"), ".s.PGSQL."+u.Query().Get("port"))
}

func (c *cable) carry(in net.Conn) {
	c.mu.Lock()
	to := c.to
	c.mu.Unlock()
	out, err := net.Dial("unix", to)
	if err != nil {
		_ = in.Close()
		return
	}
	c.mu.Lock()
	c.open[in], c.open[out] = true, true
	c.mu.Unlock()
	var both sync.WaitGroup
	pipe := func(dst, src net.Conn) {
		_, _ = io.Copy(dst, src)
		_ = dst.Close()
		_ = src.Close()
	}
	both.Go(func() { pipe(out, in) })
	both.Go(func() { pipe(in, out) })
	both.Wait()
	c.mu.Lock()
	delete(c.open, in)
	delete(c.open, out)
	c.mu.Unlock()
}

// pull breaks every connection.
func (c *cable) pull() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for conn := range c.open {
		_ = conn.Close()
	}
}

// url is a server's address through the cable.
func (c *cable) url(direct string) string {
	u, err := url.Parse(direct)
	if err != nil {
		panic(err)
	}
	q := u.Query()
	host, port, _ := net.SplitHostPort(c.l.Addr().String())
	q.Set("host", host)
	q.Set("port", port)
	u.RawQuery = q.Encode()
	return u.String()
}

// answers says whether PostgreSQL works within a while: a query, and room to write.
func answers(p *pgserver.Server, within time.Duration) bool {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	for ctx.Err() == nil {
		if db, err := pgx.Connect(ctx, p.URL()); err == nil {
			_, err = db.Exec(ctx, `CREATE TEMP TABLE room AS SELECT repeat('x', 1000) FROM generate_series(1, 100)`)
			_ = db.Close(ctx)
			if err == nil {
				return true
			}
		}
		time.Sleep(200 * time.Millisecond)
	}
	return false
}

// fault is one thing that goes wrong, and is mended.
type fault struct {
	name string
	do   func()
}

// rarer are the storm's faults that need this machinery; each appears only where the machine allows it.
func (p *installation) rarer(r *rand.Rand) []fault {
	pause := func() { time.Sleep(300*time.Millisecond + time.Duration(r.Int64N(int64(time.Second)))) }
	out := []fault{{"database cable pulled", func() { p.cable.pull() }}}
	if p.clock != nil {
		for name, off := range map[string]time.Duration{"forward": time.Hour, "back": -time.Hour} {
			out = append(out, fault{"database clock put " + name, func() { p.clock.set(p.t, off); pause(); p.clock.set(p.t, 0) }})
		}
	}
	if len(out) == 3 && out[1].name > out[2].name { // a map has no order, and the seed must give the same faults
		out[1], out[2] = out[2], out[1]
	}
	filled := func(name string, d *disk, mend func()) {
		if d == nil {
			return
		}
		out = append(out, fault{name, func() {
			if err := d.fill(); err != nil {
				p.t.Logf("fill %s: %v", d.path, err)
			}
			pause()
			require.NoError(p.t, d.empty())
			mend()
		}})
	}
	filled("worker's disk full", p.scratch, func() {})
	filled("storage's disk full", p.objects, func() {})
	filled("database's disk full", p.database, func() {
		if !answers(p.pg, 20*time.Second) { // it gave up, as it must where it cannot write its log
			_ = syscall.Kill(p.pg.PID(), syscall.SIGKILL)
			_ = p.pg.Stop()
			p.startPostgres()
			p.cable.plug(p.t, p.pg)
		}
	})
	return out
}
