package desk

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// runAlone runs one command in a process that the kernel kills as soon as it, or a child of it, opens a socket of the
// internet: seccomp(2), SECCOMP_RET_KILL_PROCESS on socket(AF_INET or AF_INET6).
func runAlone(args []string) int {
	if err := killOnSocket(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 99
	}
	exe, err := os.Executable()
	if err != nil {
		return 99
	}
	s := Streams{Out: os.Stdout, Err: os.Stderr, CacheDir: os.Getenv("DESK_CACHE")}
	switch args[0] {
	case "dial": // what must not happen, to see that it is noticed
		conn, err := net.Dial("tcp", "127.0.0.1:9")
		if err == nil {
			conn.Close()
		}
		return 0
	case "drop":
		return Dropped(context.Background(), s, exe, args[1], args[1:])
	case "watch":
		ctx, stop := context.WithTimeout(context.Background(), 3*time.Second)
		defer stop()
		return Inspect(ctx, s, exe, "", args[1:])
	}
	return Inspect(context.Background(), s, exe, "", args[1:])
}

func killOnSocket() error {
	const load, equal, answer = unix.BPF_LD | unix.BPF_W | unix.BPF_ABS, unix.BPF_JMP | unix.BPF_JEQ | unix.BPF_K, unix.BPF_RET | unix.BPF_K
	const callAt, firstArgAt = 0, 16 // of struct seccomp_data, little-endian
	filter := []unix.SockFilter{
		{Code: load, K: callAt},
		{Code: equal, K: unix.SYS_SOCKET, Jf: 4},
		{Code: load, K: firstArgAt},
		{Code: equal, K: unix.AF_INET, Jt: 1},
		{Code: equal, K: unix.AF_INET6, Jf: 1},
		{Code: answer, K: unix.SECCOMP_RET_KILL_PROCESS},
		{Code: answer, K: unix.SECCOMP_RET_ALLOW},
	}
	prog := unix.SockFprog{Len: uint16(len(filter)), Filter: &filter[0]}
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	if err := unix.Prctl(unix.PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0); err != nil {
		return err
	}
	const setFilter, allThreads = 1, 1
	if _, _, errno := unix.Syscall(unix.SYS_SECCOMP, setFilter, allThreads, uintptr(unsafe.Pointer(&prog))); errno != 0 {
		return errno
	}
	return nil
}

// TestNothingIsReported: a local test opens no network connection, whatever it does: inspect, the report, a dropped folder,
// watching. The kernel is asked, and asked whether it would notice.
func TestNothingIsReported(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "crate-1")
	run := func(args ...string) *exec.Cmd {
		cmd := exec.Command(self(t), append([]string{alone}, args...)...)
		cmd.Env = append(os.Environ(), "DESK_CACHE="+filepath.Join(filepath.Dir(folder), "cache"))
		return cmd
	}
	out, err := run("dial").CombinedOutput()
	var exit *exec.ExitError
	require.ErrorAs(t, err, &exit, "%s", out)
	require.Equal(t, syscall.SIGSYS, exit.Sys().(syscall.WaitStatus).Signal(), "a connection is noticed")

	for _, args := range [][]string{
		{"inspect", "--spec", specPath, folder},
		{"drop", folder},
		{"watch", "--spec", specPath, "--watch", folder},
	} {
		out, err := run(args...).CombinedOutput()
		if errors.As(err, &exit) {
			require.NotEqual(t, syscall.SIGSYS, exit.Sys().(syscall.WaitStatus).Signal(), "%v opened a connection:\n%s", args, out)
			require.Contains(t, []int{ExitPass, ExitFail}, exit.ExitCode(), "%v: %s", args, out)
		} else {
			require.NoError(t, err)
		}
		require.FileExists(t, filepath.Join(folder+"-evidence", ReportName), "%v: %s", args, out)
	}
}
