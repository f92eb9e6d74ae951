package desk

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/inspection"
)

// The test binary is its own inspector, and, started with alone, runs one command where the network is closed.
func TestMain(m *testing.M) {
	if len(os.Args) > 1 && os.Args[1] == inspection.ChildArg {
		frames := os.Stdout
		os.Stdout = os.Stderr
		if err := inspection.RunChild(os.Stdin, frames); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	if len(os.Args) > 1 && os.Args[1] == alone {
		os.Exit(runAlone(os.Args[2:]))
	}
	os.Exit(m.Run())
}

// alone is the argument that starts the test binary for runAlone.
const alone = "__alone"

// crateSpec asks for little, so that a test is quick.
const crateSpec = "prop: crate\ntier: background\nsize_mm: [1000, 1000, 1000]\n"

// box is a cube of one metre as text, each face with its own corner of the map; wide makes it wider.
func box(wide float64) string {
	var b strings.Builder
	b.WriteString("o crate_body\n")
	for _, x := range []float64{-wide / 2, wide / 2} {
		for _, y := range []float64{0, 1} {
			for _, z := range []float64{-0.5, 0.5} {
				fmt.Fprintf(&b, "v %g %g %g\n", x, y, z)
			}
		}
	}
	for i := range 6 {
		u, v := float64(i%3)/3, float64(i/3)/2
		fmt.Fprintf(&b, "vt %g %g\nvt %g %g\nvt %g %g\nvt %g %g\n", u+.02, v+.02, u+.28, v+.02, u+.28, v+.28, u+.02, v+.28)
	}
	for i, f := range [6][4]int{{1, 2, 4, 3}, {5, 7, 8, 6}, {1, 5, 6, 2}, {3, 4, 8, 7}, {1, 3, 7, 5}, {2, 6, 8, 4}} {
		fmt.Fprintf(&b, "f %d/%d %d/%d %d/%d %d/%d\n", f[0], 4*i+1, f[1], 4*i+2, f[2], 4*i+3, f[3], 4*i+4)
	}
	return b.String()
}

// delivery makes a folder of the given name with a crate in it, and the spec beside it.
func delivery(t testing.TB, name string) (folder, specPath string) {
	t.Helper()
	dir := t.TempDir()
	folder, specPath = filepath.Join(dir, name), filepath.Join(dir, "crate.yaml")
	require.NoError(t, os.Mkdir(folder, 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "crate_game.obj"), []byte(box(1)), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "delivery.yaml"),
		[]byte("prop: crate\nmilestone: game_mesh\nfiles:\n  - {path: crate_game.obj, role: game}\n"), 0o644))
	require.NoError(t, os.WriteFile(specPath, []byte(crateSpec), 0o644))
	return folder, specPath
}

// text is a writer that many may write to and read.
type text struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (w *text) Write(p []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.Write(p)
}

func (w *text) String() string {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.b.String()
}

func self(t testing.TB) string {
	t.Helper()
	exe, err := os.Executable()
	require.NoError(t, err)
	return exe
}
