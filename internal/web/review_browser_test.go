//go:build full

package web_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// references publishes a pack for the order of ole's: a concept and a yardstick.
func (w *world) references() {
	w.t.Helper()
	job := &ledger.Job{}
	files := map[string][]byte{"bollard_concept.png": picture(job, 1), "quay_yardstick.png": picture(job, 9)}
	var in ledger.NewReferencePack
	in.WorkOrder, in.Note = w.order.ID, "The look of the quay."
	for path, what := range map[string]string{"bollard_concept.png": "concept", "quay_yardstick.png": "yardstick"} {
		sum := sha256.Sum256(files[path])
		in.Files = append(in.Files, ledger.NewReference{Path: path, What: what, Size: int64(len(files[path])), SHA256: sum[:], MediaType: "image/png"})
	}
	as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.ReferencePack, error) {
		pack, err := tx.CreateReferencePack(ctx, in)
		if err != nil {
			return pack, err
		}
		for _, f := range pack.Files {
			if err := w.storage.Put(ctx, f.ObjectKey, files[f.Path], f.MediaType); err != nil {
				return pack, err
			}
		}
		return tx.PublishReferencePack(ctx, pack.ID)
	})
}

func TestReviewInABrowser(t *testing.T) {
	w := newWorld(t)
	w.note("bollard-1", marek, "The ring is too thin for a rope of this size.", false)
	w.references()
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "review")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	worst := 12.5
	permit := as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Permission, error) {
		return tx.Permit(ctx, ledger.NewPermission{WorkOrder: w.order.ID, Kind: "permit", Prop: w.props["bollard"].ID, Check: "surface.poke_through", Worst: &worst, Reason: "The beads are cast, not welded."})
	})
	config, err := json.Marshal(map[string]any{
		"base": w.base, "password": password, "out": out, "people": map[string]string{"director": marek, "other": ines, "lead": ole}, "deliveries": w.deliveries, "permit": permit.ID,
	})
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), browserTime)
	defer cancel()
	node := exec.CommandContext(ctx, "node", "review.mjs")
	node.Dir, node.Stdin = scripts, bytes.NewReader(config)
	report, err := node.CombinedOutput()
	t.Logf("%s", report)
	require.NoError(t, err, "the review in a browser")
	if os.Getenv("PAGES_ONLY") != "" {
		return
	}
	// What was drawn waits with its decision.
	var drawn *ledger.PendingSignOff
	for _, q := range w.pending(ines) {
		if q.DeliveryID == w.deliveries["capstan"] {
			drawn = &q
		}
	}
	require.NotNil(t, drawn)
	require.Equal(t, "prop_lit.png", drawn.Sketch.Picture)
}
