package endtoend

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"proofhouse/internal/embedded/s3server"
	"proofhouse/internal/ledger/ledgertest"
)

var (
	objects   *s3server.Server // one for this test binary: the gateway allows one per process
	objectDir string
	worker    string // the program, built for this run
	scratch   string // removed at the end of the run
)

func TestMain(m *testing.M) { os.Exit(runTests(m)) }

// instead, where it is set, says what this binary is to be in place of a test, and whether it was asked to.
var instead func() (code int, asked bool)

func runTests(m *testing.M) (code int) {
	if instead != nil {
		if code, asked := instead(); asked {
			return code
		}
	}
	dir, err := os.MkdirTemp("", "proofhouse-endtoend-")
	if err != nil {
		return say(err)
	}
	defer os.RemoveAll(dir)
	scratch = dir
	worker = filepath.Join(dir, "worker")
	if out, err := exec.Command("go", "build", "-o", worker, "proofhouse/cmd/worker").CombinedOutput(); err != nil {
		return say(fmt.Errorf("build the worker: %w\n%s", err, out))
	}
	objectDir = filepath.Join(dir, "objects")
	if objects, err = s3server.Start(context.Background(), s3server.Config{Dir: objectDir, Listen: "127.0.0.1:0", Bucket: "harbour"}); err != nil {
		return say(err)
	}
	defer func() {
		if err := objects.Stop(); err != nil {
			code = say(err)
		}
	}()
	return ledgertest.Run(m)
}

func say(err error) int {
	fmt.Fprintln(os.Stderr, err)
	return 1
}
