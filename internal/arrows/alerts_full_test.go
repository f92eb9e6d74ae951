//go:build full

package arrows

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The alarms are read by the reference parser of their format, github.com/prometheus/prometheus v0.316.0 (package rulefmt, Apache-2.0, from
// the Go proxy); and it refuses them with a bracket, a unit, a function or a key that is wrong.
func TestAlarmsAreReadByTheReferenceParser(t *testing.T) {
	t.Parallel()
	root, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	program := filepath.Join(t.TempDir(), "alerts")
	build := exec.CommandContext(t.Context(), "go", "build", "-o", program, ".")
	build.Dir = filepath.Join(root, "testdata", "alerts")
	out, err := build.CombinedOutput()
	require.NoError(t, err, string(out))
	text, err := os.ReadFile(filepath.Join(root, "docs", "alerts.yaml"))
	require.NoError(t, err)
	read := func(text string) (string, error) {
		path := filepath.Join(t.TempDir(), "alerts.yaml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		var said, why bytes.Buffer
		run := exec.CommandContext(t.Context(), program, path)
		run.Stdout, run.Stderr = &said, &why
		err := run.Run()
		return said.String() + why.String(), err
	}
	said, err := read(string(text))
	require.NoError(t, err, said)
	require.Equal(t, strconv.Itoa(strings.Count(string(text), "- alert: ")), strings.TrimSpace(said))
	for good, bad := range map[string]string{") > 900": " > 900", "for: 10m": "for: 10 minutes", "max(": "maximum(", "severity: page": "severity: 17, 3: {}", "expr: ": "exp: ", "[30m]": ""} {
		require.Contains(t, string(text), good)
		_, err := read(strings.Replace(string(text), good, bad, 1))
		require.Error(t, err, "%q in place of %q", bad, good)
	}
}
