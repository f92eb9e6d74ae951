//go:build full

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPagesKeepTheirBudget loads every page as a phone on a slow network does, with nothing cached, and holds bytes, painting, jumps,
// script and the server's time to their budgets. Against a ledger of 100,000 props the server's time is measured by scripts/load.
func TestPagesKeepTheirBudget(t *testing.T) {
	w := newWorld(t)
	w.busyHarbour()
	scripts := filepath.Join(root, "testdata", "browser")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	pages := w.seenBy()
	for name, path := range map[string]string{"today": "/", "props": "/props", "props-grouped": "/props?group=state", "projects": "/projects", "figures": "/figures", "bulk-spec": "/props/spec?order=MOLE-04", "capacity": "/capacity", "access": "/access"} {
		pages = append(pages, map[string]any{"who": "producer", "name": "producer-" + name, "path": path})
	}
	config, err := json.Marshal(map[string]any{"base": w.base, "password": password, "pages": pages,
		"people": map[string]string{"director": marek, "producer": petra, "lead": ole, "artist": ada}})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "budget.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the pages' budget")
}
