package inspection

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// separate puts the child in a process group of its own, out of reach of the keyboard, and ends it when its parent dies.
func separate(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}

func killGroup(cmd *exec.Cmd) { _ = unix.Kill(-cmd.Process.Pid, unix.SIGKILL) }

// goReserve is the address space that Go's runtime and the C library's threads reserve beside what they use. Measured: a
// program that only allocates 16 MiB dies under a limit of 512 MiB and lives at 1 GiB; one that is linked with C lives at
// 2 GiB. More of it lets one allocation go farther before the next look.
const goReserve = 2 << 30

// openFiles is more than an inspection has open at a time: it opens a delivery's files one after another.
const openFiles = 256

// restrain sets the kernel's limits on a child that still waits for its job. It sets all it can.
func restrain(pid int, lim Limits, mapped int64) error {
	limits := []struct {
		what  int
		name  string
		value int64
	}{
		{unix.RLIMIT_CORE, "core file", 0},
		{unix.RLIMIT_NOFILE, "open files", openFiles},
	}
	add := func(what int, name string, value int64) {
		limits = append(limits, struct {
			what  int
			name  string
			value int64
		}{what, name, value})
	}
	if lim.MemoryBytes > 0 && addressSpaceCounts {
		// A backstop for a single huge allocation between two looks. Mapped files count here too.
		add(unix.RLIMIT_AS, "address space", lim.MemoryBytes+mapped+goReserve)
	}
	if lim.CPU > 0 {
		add(unix.RLIMIT_CPU, "processor time", max(1, int64(lim.CPU.Seconds())))
	}
	if lim.FileBytes > 0 {
		add(unix.RLIMIT_FSIZE, "file size", lim.FileBytes)
	}
	var failed []string
	for _, l := range limits {
		r := unix.Rlimit{Cur: uint64(l.value), Max: uint64(l.value)}
		if err := unix.Prlimit(pid, l.what, &r, nil); err != nil {
			failed = append(failed, l.name+": "+err.Error())
		}
	}
	if failed != nil {
		return fmt.Errorf("limits: %s", strings.Join(failed, ", "))
	}
	return nil
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

// writtenBytes is what a process has written, to files and pipes, 0 once it is gone or where the kernel does not count
// (proc(5), io: wchar are the bytes of its calls, write_bytes those of pages that it made dirty, by mapping too).
func writtenBytes(pid int) (most int64) {
	data, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/io")
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(data)) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), ": ")
		if n, err := strconv.ParseInt(value, 10, 64); err == nil && (name == "wchar" || name == "write_bytes") {
			most = max(most, n)
		}
	}
	return most
}

// openPeak opens this process's own account before the file system closes; the function that it returns reads from it
// the most memory that was resident at any time, mapped files included (proc(5), status, VmHWM).
func openPeak() func() int64 {
	f, err := os.Open("/proc/self/status")
	if err != nil {
		return func() int64 { return 0 }
	}
	return func() int64 {
		data, err := io.ReadAll(f)
		if err != nil {
			return 0
		}
		for line := range bytes.Lines(data) {
			if rest, ok := bytes.CutPrefix(line, []byte("VmHWM:")); ok {
				kib, err := strconv.ParseInt(string(bytes.TrimSpace(bytes.TrimSuffix(bytes.TrimSpace(rest), []byte("kB")))), 10, 64)
				if err != nil {
					return 0
				}
				return kib << 10
			}
		}
		return 0
	}
}

// outOfTime says whether the kernel ended a process for its limit on processor time. Go's runtime ignores the signal
// that warns of it; the one that kills is the same as anybody's.
func outOfTime(s *os.ProcessState, limit time.Duration) bool {
	return limit > 0 && endedBy(s, unix.SIGKILL) && s.UserTime()+s.SystemTime() >= limit*9/10 // the two clocks are not one
}

// shotFromOutside says whether somebody else killed a process: the kernel where memory was short, or a person.
func shotFromOutside(s *os.ProcessState) bool {
	return endedBy(s, unix.SIGKILL) || endedBy(s, unix.SIGTERM) || endedBy(s, unix.SIGINT)
}

func endedBy(s *os.ProcessState, sig syscall.Signal) bool {
	if s == nil {
		return false
	}
	status, ok := s.Sys().(syscall.WaitStatus)
	return ok && status.Signaled() && status.Signal() == sig
}
