//go:build full

package endtoend

import (
	"os"
	"path/filepath"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
)

// The same bytes whatever the number of threads.
func TestThreadsChangeNothing(t *testing.T) {
	t.Parallel()
	dir := bollards(t, "lumpy")
	var first map[string]string
	for _, threads := range []string{"1", "2", "8"} {
		out := filepath.Join(t.TempDir(), "out")
		r := run(t, nil, "inspect", "--spec", specOfBollards(t), "--out", out, "--threads", threads, filepath.Join(dir, "lumpy"))
		require.Equal(t, 1, r.code, r.err)
		got := contents(t, out)
		if first == nil {
			first = got
			require.Greater(t, len(first), 4)
		}
		require.Equal(t, sortedNames(first), sortedNames(got))
		for name := range first {
			require.True(t, first[name] == got[name], "%s differs on %s threads", name, threads)
		}
	}
}

func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(data)
	}
	return out
}

func sortedNames(m map[string]string) []string {
	var out []string
	for name := range m {
		out = append(out, name)
	}
	sort.Strings(out)
	return out
}
