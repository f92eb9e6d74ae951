package pgserver

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const childFolder = "PGSERVER_TEST_CHILD_FOLDER"

// TestServerEndsWithItsKilledStarter starts this test binary again as the starter and kills it with SIGKILL.
func TestServerEndsWithItsKilledStarter(t *testing.T) {
	if dir := os.Getenv(childFolder); dir != "" {
		s, err := Start(context.Background(), Config{Folder: dir, NoSync: true})
		require.NoError(t, err)
		fmt.Printf("server %d\n", s.PID())
		select {}
	}
	dir := dataFolder(t)
	child := exec.Command(os.Args[0], "-test.run=^TestServerEndsWithItsKilledStarter$")
	child.Env = append(os.Environ(), childFolder+"="+dir)
	out, err := child.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, child.Start())
	pid := 0
	for lines := bufio.NewScanner(out); pid == 0 && lines.Scan(); {
		if word, number, _ := strings.Cut(lines.Text(), " "); word == "server" {
			pid, err = strconv.Atoi(number)
			require.NoError(t, err)
		}
	}
	require.NotZero(t, pid, "the child started no server")
	require.NoError(t, child.Process.Kill())
	_ = child.Wait() // killed
	require.Eventually(t, func() bool { return syscall.Kill(pid, 0) == syscall.ESRCH }, 30*time.Second, 20*time.Millisecond)
}
