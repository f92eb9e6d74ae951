package inspection

import (
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"

	"golang.org/x/sys/unix"
)

// separate puts the child in a process group of its own and ends it when its parent dies.
func separate(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}

func killGroup(cmd *exec.Cmd) { _ = unix.Kill(-cmd.Process.Pid, unix.SIGKILL) }

// restrain sets the kernel's limits on a child that still waits for its job.
func restrain(pid int, lim Limits, mapped int64) error {
	set := func(what int, value int64) error {
		if value <= 0 {
			return nil
		}
		r := unix.Rlimit{Cur: uint64(value), Max: uint64(value)}
		if err := unix.Prlimit(pid, what, &r, nil); err != nil {
			return fmt.Errorf("limit %d: %w", what, err)
		}
		return nil
	}
	if lim.MemoryBytes > 0 {
		// A backstop for a single huge allocation between two looks. Go reserves more address space than it uses, and
		// mapped files count here: the gap is theirs.
		if err := set(unix.RLIMIT_AS, lim.MemoryBytes+mapped+(1<<30)); err != nil {
			return err
		}
	}
	if err := set(unix.RLIMIT_CPU, int64(lim.CPU.Seconds())); err != nil {
		return err
	}
	if err := set(unix.RLIMIT_FSIZE, lim.FileBytes); err != nil {
		return err
	}
	none := unix.Rlimit{}
	if err := unix.Prlimit(pid, unix.RLIMIT_CORE, &none, nil); err != nil {
		return fmt.Errorf("limit core: %w", err)
	}
	return set(unix.RLIMIT_NOFILE, 256)
}

// privateBytes is the resident memory of a process without mapped files, 0 once it is gone (proc(5), statm).
func privateBytes(pid int) int64 {
	data, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/statm")
	if err != nil {
		return 0
	}
	fields := strings.Fields(string(data))
	if len(fields) < 3 {
		return 0
	}
	resident, err1 := strconv.ParseInt(fields[1], 10, 64)
	shared, err2 := strconv.ParseInt(fields[2], 10, 64)
	if err1 != nil || err2 != nil {
		return 0
	}
	return (resident - shared) * int64(os.Getpagesize())
}
