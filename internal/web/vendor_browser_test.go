//go:build full

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestVendorInABrowser plays the vendor's whole story. The machine inspects when the script says so.
func TestVendorInABrowser(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	secret := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) {
		return tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: w.project.ID, Vendor: w.who[ole].Party, Code: "HERON-1", Title: "The unnamed boat", Currency: "EUR", ReviewDays: 5, Secret: true, Codename: "HERON"})
	})
	machine := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {
		for { // whatever waits: the script goes on when the one that it watches is done
			job, err := w.worker.Claim(context.Background(), "test")
			if err != nil {
				return
			}
			w.record(job, failed())
		}
	}))
	defer machine.Close()
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "vendor")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	config, err := json.Marshal(map[string]any{
		"base": w.base, "password": password, "out": out, "people": map[string]string{"producer": petra, "lead": ole}, "props": w.propIDs(), "deliveries": w.deliveries,
		"order": w.order.ID.String(), "secret": secret.ID.String(), "inspect": machine.URL, "storage": w.storage.LinkOrigin(),
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "vendor.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the vendor in a browser")
	if os.Getenv("PAGES_ONLY") != "" {
		return
	}
	batches := as(w, petra, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.Batch], error) {
		return tx.Batches(ctx, w.order.ID, ledger.Page{})
	})
	require.Len(t, batches.Items, 1, "one seal")
	b := as(w, petra, func(ctx context.Context, tx *ledger.Tx) (ledger.Batch, error) {
		return tx.Batch(ctx, batches.Items[0].ID)
	})
	require.NotNil(t, b.SealedAt)
	require.Len(t, b.Deliveries, 2)
}
