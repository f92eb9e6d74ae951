// Package pgserver runs a private PostgreSQL from the system's own binaries: a cluster of its own in a data folder, on
// a Unix socket, with random passwords, never as root.
//
// Folder layout: data/ (the cluster), run/ (the socket), password (0600), server.log. A process that starts a cluster
// owns it until Stop; the server also ends when that process is killed. With Config.Shared the server outlives its
// starter and others attach to it: that is for tests only.
package pgserver

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/jackc/pgx/v5"
	"golang.org/x/sys/unix"
)

// Owner is the role that owns the cluster and its database.
const Owner = "proofhouse"

// Database is the database that Start makes.
const Database = "proofhouse"

// DefaultFolder is where a cluster started by root lives unless told otherwise.
const DefaultFolder = "/var/lib/proofhouse"

const (
	socketPort   = 5432                        // names the socket file only, unless Config.Port asks for TCP
	pollInterval = 20 * time.Millisecond       // between connection attempts while the server starts
	startLimit   = 60 * time.Second            // crash recovery of a large cluster can take long
	stopLimit    = 30 * time.Second            // then the server is stopped without a checkpoint
	socketMaxLen = 107 - len("/.s.PGSQL.") - 5 // sun_path holds 108 bytes with its end mark (unix(7))
)

// Config says where the cluster lives and how it runs.
type Config struct {
	Folder string // everything is kept below it
	Port   int    // TCP port on 127.0.0.1 beside the socket; 0: no TCP
	User   string // account to run as when the caller is root; "": postgres, or nobody where there is none

	// For tests only.
	Shared         bool // outlive this process; attach where it runs already
	NoSync         bool // no fsync: a crash of the machine may lose the cluster
	MaxConnections int  // 0: 100
}

// Server is a running PostgreSQL.
type Server struct {
	folder   string // Config.Folder/postgres
	runDir   string
	port     int
	password string
	bin      string // folder of the binaries
	lock     *os.File
	pid      int
	done     chan struct{} // closed when the server has ended; nil for one that was attached to
	stopOnce sync.Once
	stopErr  error
}

// Start makes the cluster where there is none, starts the server and waits until it takes connections. Errors are one
// sentence that says what to do.
func Start(ctx context.Context, cfg Config) (*Server, error) {
	if cfg.Folder == "" {
		return nil, errors.New("embedded PostgreSQL: no data folder given")
	}
	folder, err := filepath.Abs(filepath.Join(cfg.Folder, "postgres"))
	if err != nil {
		return nil, fmt.Errorf("embedded PostgreSQL: data folder %s: %w", cfg.Folder, err)
	}
	account, err := accountFor(cfg.User)
	if err != nil {
		return nil, err
	}
	if err := prepareFolder(folder, account); err != nil {
		return nil, err
	}
	bin, err := findBinaries(filepath.Join(folder, "data"))
	if err != nil {
		return nil, err
	}
	s := &Server{folder: folder, runDir: filepath.Join(folder, "run"), port: socketPort, bin: bin}
	if cfg.Port != 0 {
		s.port = cfg.Port
	}
	if len(s.runDir) > socketMaxLen {
		return nil, fmt.Errorf("embedded PostgreSQL: the path %s is too long for a Unix socket (%d characters at most): choose a shorter data folder", s.runDir, socketMaxLen)
	}
	if s.lock, err = lockFolder(folder); err != nil {
		return nil, err
	}
	if err := s.startLocked(ctx, cfg, bin, account); err != nil {
		s.lock.Close()
		return nil, err
	}
	if cfg.Shared { // whoever comes next may take the folder while the server goes on
		s.lock.Close()
	}
	return s, nil
}

func (s *Server) startLocked(ctx context.Context, cfg Config, bin string, account *account) error {
	var err error
	if s.password, err = loadPassword(filepath.Join(s.folder, "password")); err != nil {
		return err
	}
	if err := s.initCluster(ctx, cfg, bin, account); err != nil {
		return err
	}
	running, err := s.runningPID()
	if err != nil {
		return err
	}
	if running != 0 {
		if cfg.Shared {
			s.pid = running
			return s.waitReady(ctx, nil)
		}
		// The process that started it was killed before it could stop the server; the lock is ours, so nobody uses it.
		s.pid = running
		if err := s.signalAndWait(); err != nil {
			return err
		}
	}
	return s.launch(ctx, cfg, bin, account)
}

// initCluster runs initdb into a folder beside and renames it, so that a cut initdb is never taken for a cluster.
func (s *Server) initCluster(ctx context.Context, cfg Config, bin string, account *account) error {
	data := filepath.Join(s.folder, "data")
	if _, err := os.Stat(filepath.Join(data, "PG_VERSION")); err == nil {
		return nil
	}
	fresh := filepath.Join(s.folder, "data.new")
	if err := os.RemoveAll(fresh); err != nil {
		return fmt.Errorf("embedded PostgreSQL: remove a half-made cluster: %w", err)
	}
	pwFile := filepath.Join(s.folder, "initdb.password")
	if err := os.WriteFile(pwFile, []byte(s.password+"\n"), 0o600); err != nil {
		return explainFile("write the first password", err)
	}
	defer os.Remove(pwFile)
	if err := account.own(pwFile); err != nil {
		return err
	}
	args := []string{"--pgdata=" + fresh, "--username=" + Owner, "--pwfile=" + pwFile, "--auth=scram-sha-256",
		"--encoding=UTF8", "--locale=C", "--data-checksums", "--no-instructions"}
	if cfg.NoSync {
		args = append(args, "--no-sync")
	}
	cmd := exec.CommandContext(ctx, filepath.Join(bin, "initdb"), args...)
	cmd.Dir = s.folder
	cmd.Env = serverEnv()
	cmd.SysProcAttr = account.sysProcAttr()
	if out, err := cmd.CombinedOutput(); err != nil {
		return explain("make the cluster", string(out), err)
	}
	if err := os.Rename(fresh, data); err != nil {
		return explainFile("put the new cluster in place", err)
	}
	return nil
}

func (s *Server) launch(ctx context.Context, cfg Config, bin string, account *account) error {
	logPath := filepath.Join(s.folder, "server.log")
	logFile, err := os.OpenFile(logPath, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o640)
	if err != nil {
		return explainFile("open "+logPath, err)
	}
	defer logFile.Close()
	from, err := logFile.Seek(0, 2)
	if err != nil {
		return explainFile("open "+logPath, err)
	}
	maxConns := cfg.MaxConnections
	if maxConns == 0 {
		maxConns = 100
	}
	listen := ""
	if cfg.Port != 0 {
		listen = "127.0.0.1"
	}
	settings := []string{"unix_socket_directories=" + s.runDir, "unix_socket_permissions=0777", "listen_addresses=" + listen,
		"port=" + strconv.Itoa(s.port), "max_connections=" + strconv.Itoa(maxConns), "timezone=UTC", "log_timezone=UTC",
		"lc_messages=C", "cluster_name=proofhouse"}
	if cfg.NoSync {
		settings = append(settings, "fsync=off", "synchronous_commit=off", "full_page_writes=off", "max_wal_size=2GB", "autovacuum=off")
	}
	args := []string{"-D", filepath.Join(s.folder, "data")}
	for _, v := range settings {
		args = append(args, "-c", v)
	}
	cmd := exec.Command(filepath.Join(bin, "postgres"), args...)
	cmd.Dir = s.folder
	cmd.Env = serverEnv()
	cmd.Stdout, cmd.Stderr = logFile, logFile
	cmd.SysProcAttr = account.sysProcAttr()
	if cfg.Shared {
		cmd.SysProcAttr.Setsid = true
	} else {
		cmd.SysProcAttr.Setpgid = true // an interrupt at the terminal is for us; we stop the server ourselves
		cmd.SysProcAttr.Pdeathsig = syscall.SIGINT
	}
	if err := s.run(cmd); err != nil {
		return fmt.Errorf("embedded PostgreSQL: start %s: %w", cmd.Path, err)
	}
	if err := s.waitReady(ctx, func() error {
		return explain("start", logSince(logPath, from), errors.New("the server ended at once"))
	}); err != nil {
		s.kill()
		return err
	}
	return nil
}

// waitReady connects until the server answers and its database exists. died explains the end of our own child.
func (s *Server) waitReady(ctx context.Context, died func() error) error {
	ctx, cancel := context.WithTimeout(ctx, startLimit)
	defer cancel()
	tick := time.NewTicker(pollInterval)
	defer tick.Stop()
	for {
		conn, err := pgx.Connect(ctx, s.URLFor(Owner, s.password, "postgres"))
		if err == nil {
			err = ensureDatabase(ctx, conn)
			conn.Close(context.WithoutCancel(ctx))
			return err
		}
		if strings.Contains(err.Error(), "28P01") {
			return fmt.Errorf("embedded PostgreSQL: the password in %s does not fit the cluster beside it: put the old file back, or move the folder away for a new cluster", filepath.Join(s.folder, "password"))
		}
		select {
		case <-s.done:
			return died()
		case <-ctx.Done():
			return fmt.Errorf("embedded PostgreSQL: not ready (see %s): %w", filepath.Join(s.folder, "server.log"), context.Cause(ctx))
		case <-tick.C:
		}
	}
}

func ensureDatabase(ctx context.Context, conn *pgx.Conn) error {
	var there bool
	if err := conn.QueryRow(ctx, `SELECT EXISTS (SELECT FROM pg_database WHERE datname = $1)`, Database).Scan(&there); err != nil {
		return fmt.Errorf("embedded PostgreSQL: look for the database: %w", err)
	}
	if there {
		return nil
	}
	if _, err := conn.Exec(ctx, `CREATE DATABASE `+Database); err != nil {
		return explain("make the database", err.Error(), err)
	}
	return nil
}

// URL is the address for the owner, who may migrate.
func (s *Server) URL() string { return s.URLFor(Owner, s.password, Database) }

// RoleURL is the address for another role, with the password that RolePassword gives it.
func (s *Server) RoleURL(role string) string { return s.URLFor(role, s.RolePassword(role), Database) }

// URLFor is the address of one database for one role.
func (s *Server) URLFor(role, password, database string) string {
	q := url.Values{"host": {s.runDir}, "port": {strconv.Itoa(s.port)}, "sslmode": {"disable"}}
	u := url.URL{Scheme: "postgres", User: url.UserPassword(role, password), Path: "/" + database, RawQuery: q.Encode()}
	return u.String()
}

// RolePassword derives a role's password from the cluster's own, so that there is one secret file.
func (s *Server) RolePassword(role string) string {
	mac := hmac.New(sha256.New, []byte(s.password))
	mac.Write([]byte("role " + role))
	return hex.EncodeToString(mac.Sum(nil))
}

// Done is closed when the server has ended, planned or not. It is nil for a server that was attached to.
func (s *Server) Done() <-chan struct{} { return s.done }

// BinDir is the folder of the binaries it runs from; pg_dump of the same version is there.
func (s *Server) BinDir() string { return s.bin }

// PID is the server's process id.
func (s *Server) PID() int { return s.pid }

// Stop ends the server cleanly; open connections are closed. Stopping twice is fine.
func (s *Server) Stop() error {
	s.stopOnce.Do(func() {
		s.stopErr = s.signalAndWait()
		s.lock.Close()
	})
	return s.stopErr
}

func loadPassword(path string) (string, error) {
	b, err := os.ReadFile(path)
	if err == nil {
		if p := strings.TrimSpace(string(b)); p != "" {
			return p, nil
		}
	} else if !errors.Is(err, os.ErrNotExist) {
		return "", explainFile("read "+path, err)
	}
	raw := make([]byte, 24)
	rand.Read(raw) // never fails (crypto/rand)
	password := hex.EncodeToString(raw)
	tmp := path + ".new"
	if err := os.WriteFile(tmp, []byte(password+"\n"), 0o600); err != nil {
		return "", explainFile("write "+path, err)
	}
	if err := os.Rename(tmp, path); err != nil {
		return "", explainFile("write "+path, err)
	}
	return password, nil
}

func lockFolder(folder string) (*os.File, error) {
	path := filepath.Join(folder, "lock")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, explainFile("open "+path, err)
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		f.Close()
		return nil, fmt.Errorf("embedded PostgreSQL: another process uses %s: stop it, or choose another data folder", folder)
	}
	return f, nil
}

// OwnerPassword is the password of the role Owner.
func (s *Server) OwnerPassword() string { return s.password }
