package pgserver

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// run starts the server from a thread that lives as long as the server: Linux sends Pdeathsig when the thread that
// forked ends, not the process (prctl(2), PR_SET_PDEATHSIG).
func (s *Server) run(cmd *exec.Cmd) error {
	started := make(chan error, 1)
	s.done = make(chan struct{})
	go func() {
		runtime.LockOSThread() // never unlocked: the thread ends with this goroutine, after the server
		err := cmd.Start()
		started <- err
		if err == nil {
			_ = cmd.Wait() // how it ended is in its log
		}
		close(s.done)
	}()
	if err := <-started; err != nil {
		return err
	}
	s.pid = cmd.Process.Pid
	return nil
}

// runningPID is the process that serves this cluster now, or 0. A pid file left by a crash is removed when its
// process is gone or is some other program, which PostgreSQL itself would take for a live server.
func (s *Server) runningPID() (int, error) {
	data := filepath.Join(s.folder, "data")
	path := filepath.Join(data, "postmaster.pid")
	b, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		return 0, nil
	}
	if err != nil {
		return 0, explainFile("read "+path, err)
	}
	first, _, _ := strings.Cut(string(b), "\n")
	pid, err := strconv.Atoi(strings.TrimSpace(first))
	if err == nil && pid > 0 {
		// The postmaster's working directory is its data folder.
		if cwd, err := os.Readlink(fmt.Sprintf("/proc/%d/cwd", pid)); err == nil && samePath(cwd, data) {
			return pid, nil
		}
	}
	if err := os.Remove(path); err != nil {
		return 0, explainFile("remove the stale "+path, err)
	}
	return 0, nil
}

func samePath(a, b string) bool {
	ra, errA := filepath.EvalSymlinks(a)
	rb, errB := filepath.EvalSymlinks(b)
	return errA == nil && errB == nil && ra == rb
}

// signalAndWait asks for a fast shutdown (SIGINT), and after stopLimit for an immediate one (SIGQUIT).
func (s *Server) signalAndWait() error {
	if s.pid == 0 {
		return nil
	}
	for _, sig := range []syscall.Signal{syscall.SIGINT, syscall.SIGQUIT, syscall.SIGKILL} {
		if err := syscall.Kill(s.pid, sig); errors.Is(err, syscall.ESRCH) {
			return nil
		}
		if s.waitGone(stopLimit) {
			return nil
		}
	}
	return fmt.Errorf("embedded PostgreSQL: process %d does not end", s.pid)
}

func (s *Server) waitGone(limit time.Duration) bool {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	tick := time.NewTicker(pollInterval)
	defer tick.Stop()
	for {
		if s.done == nil {
			if err := syscall.Kill(s.pid, 0); errors.Is(err, syscall.ESRCH) {
				return true
			}
		}
		select {
		case <-s.done:
			return true
		case <-timer.C:
			return false
		case <-tick.C:
		}
	}
}

func (s *Server) kill() {
	if s.pid != 0 && s.done != nil {
		_ = syscall.Kill(s.pid, syscall.SIGQUIT)
		<-s.done
	}
}

// serverEnv keeps the caller's environment (and its secrets) out of the server.
func serverEnv() []string { return []string{"PATH=/usr/bin:/bin", "LC_ALL=C", "TZ=UTC"} }
