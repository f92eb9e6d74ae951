//go:build full

package guard

import (
	"bytes"
	"os"
	"os/exec"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
)

// fused matches arm64's fused multiply-adds in the compiler's listing, and header the line that begins a function.
var (
	fused  = regexp.MustCompile(`\t(FN?M(ADD|SUB)[SD])\t`)
	header = regexp.MustCompile(`^(\S+) STEXT`)
)

// listing compiles packages for arm64, where the compiler fuses whatever the language lets it, and returns its assembly
// of the packages whose import path matches. Unlike a linked program it leaves no unused function out.
func listing(t *testing.T, match string, packages ...string) []byte {
	t.Helper()
	cmd := exec.Command("go", append([]string{"build", "-gcflags=" + match + "=-S"}, packages...)...)
	cmd.Env = append(os.Environ(), "GOARCH=arm64", "GOOS=linux", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil { // say what the compiler said, without the listing
		for line := range bytes.Lines(out) {
			if bytes.Contains(line, []byte(".go:")) && !bytes.HasPrefix(line, []byte("\t")) {
				t.Logf("%s", line)
			}
		}
	}
	require.NoError(t, err)
	return out
}

func fusedFunctions(list []byte) (functions int, fusedIn map[string]int) {
	name := ""
	fusedIn = map[string]int{}
	for line := range bytes.Lines(list) {
		if m := header.FindSubmatch(line); m != nil {
			name = string(m[1])
			functions++
		}
		if fused.Match(line) {
			fusedIn[name]++
		}
	}
	return functions, fusedIn
}

func TestNoFusedMultiplyAdds(t *testing.T) {
	t.Parallel()
	functions, found := fusedFunctions(listing(t, "proofhouse/internal/acceptance/...", "proofhouse/internal/acceptance/..."))
	require.Greater(t, functions, 200)
	for name, n := range found {
		t.Errorf("%s has %d fused multiply-adds on arm64: round the product, as in float64(a*b) + c", name, n)
	}
}

// TestFusedOnesAreSeen looks at a package of the standard library that is known to have them on arm64.
func TestFusedOnesAreSeen(t *testing.T) {
	t.Parallel()
	_, found := fusedFunctions(listing(t, "math", "math"))
	require.NotEmpty(t, found)
}
