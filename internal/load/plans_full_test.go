//go:build full

package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPlansUseIndexes draws a ledger that is large enough for PostgreSQL to choose as over a larger one, asks every read route and every
// page as every role, and holds PostgreSQL's own report (auto_explain, with what was really read, as the role ph_api under row-level
// security) to it: no large table is read whole, no sort is without bound, and no scan throws away most of what it reads.
func TestPlansUseIndexes(t *testing.T) {
	root, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	t.Chdir(root)
	// Not t.TempDir: the database's own account has to reach it.
	dir, err := os.MkdirTemp("/var/tmp", "ph-plans-") // /var/tmp: a socket's path is short
	require.NoError(t, err)
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	require.NoError(t, os.Chmod(dir, 0o755))
	program := filepath.Join(dir, "api")
	out, err := exec.Command("go", "build", "-o", program, "./cmd/api").CombinedOutput()
	require.NoError(t, err, string(out))
	data := filepath.Join(dir, "d")
	require.NoError(t, seedCommand(t.Context(), []string{"--dir", data, "--props", "3000", "--sample", "30"}))
	t.Chdir(root) // the S3 server changes it
	faults, asked, err := lookAtPlans(t.Context(), data, program, "")
	require.NoError(t, err)
	require.Greater(t, asked, 300)
	for _, f := range faults {
		t.Errorf("%s as %s: %s\n%s", f.Route, f.Caller, f.What, f.Query)
	}
}

// TestPlanFaultsAreSeen: what the other test looks for is found where it is.
func TestPlanFaultsAreSeen(t *testing.T) {
	log := []byte("2026 LOG:  duration: 1 ms  plan:\n\t{\n\t  \"Query Text\": \"SELECT 1\",\n\t  \"Plan\": {\"Node Type\": \"Sort\", \"Sort Method\": \"quicksort\", \"Plans\": [" +
		"{\"Node Type\": \"Seq Scan\", \"Relation Name\": \"delivery\", \"Actual Rows\": 20000, \"Actual Loops\": 1, \"Rows Removed by Filter\": 30000}]}\n\t}\nnext line\n")
	found := plansIn(log)
	require.Len(t, found, 1)
	require.Len(t, found[0].Plan.faults(map[string]bool{"delivery": true}, nil), 3)
	require.Empty(t, node{Type: "Index Scan", Relation: "delivery", Rows: 50, Loops: 1}.faults(map[string]bool{"delivery": true}, nil))
}
