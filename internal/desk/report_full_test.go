//go:build full

package desk

import (
	"context"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestReportInABrowser looks at a real inspection's page in Chromium with axe-core (WCAG 2.2 AA), with and without script.
func TestReportInABrowser(t *testing.T) {
	t.Parallel()
	folder, specPath := delivery(t, "кнехт 木箱 صندوق")
	code, _, errs := called(t, Streams{Language: "de"}, "--spec", specPath, folder)
	require.Contains(t, []int{ExitPass, ExitFail}, code, errs)
	testdata := filepath.Join("..", "..", "testdata")
	out, err := filepath.Abs(filepath.Join(testdata, "out", "report"))
	require.NoError(t, err)
	require.DirExists(t, filepath.Join(testdata, "browser", "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "report.mjs", filepath.Join(folder+"-evidence", ReportName), out)
	node.Dir = filepath.Join(testdata, "browser")
	said, err := node.CombinedOutput()
	require.NoError(t, err, "%s", said)
}
