//go:build full

package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// friday is how many props come at the end of a week.
const friday = 40

// oneByOne is how many of them the script decides on one by one: what forty would show, a dozen shows.
const oneByOne = 12

// kit orders as many pieces of one kit and has them delivered and found clear.
func (w *world) kit() {
	w.t.Helper()
	due := time.Date(2031, 3, 14, 0, 0, 0, 0, time.UTC)
	for i := range friday {
		code := fmt.Sprintf("fender-%02d", i+1)
		w.props[code] = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
			return tx.CreateProp(ctx, ledger.NewProp{WorkOrder: w.order.ID, Code: code, Title: fmt.Sprintf("Quay fender %d", i+1), Tier: "background", PriceMinor: 9_000, Kit: "fenders",
				Milestones: []ledger.NewMilestone{{Kind: "game_mesh", ShareBP: 10_000, Due: &due}}})
		})
		w.spec(code, fmt.Sprintf("prop: %s\ntitle: Quay fender %d\ntier: background\nchecks:\n  budget.triangles: {max_triangles: 900}\n", code, i+1))
		w.deliver(code, code, ole)
		w.inspect(reviewable())
	}
}

// Forty props are decided on by keys alone, thirty-four accepted and six returned: on the contact sheet. Then a dozen one by one.
func TestFortyPropsInABrowser(t *testing.T) {
	w := newWorld(t)
	w.inspect(reviewable()) // the crate, which waits before them
	w.kit()
	scripts, out := filepath.Join(root, "testdata", "browser"), filepath.Join(root, "testdata", "out", "batch")
	require.DirExists(t, filepath.Join(scripts, "node_modules"), "run npm ci --ignore-scripts in testdata/browser")
	require.NoError(t, os.RemoveAll(out))
	play := func(part string) {
		config, err := json.Marshal(map[string]any{"base": w.base, "password": password, "out": out, "people": map[string]string{"director": marek}, "deliveries": w.deliveries, "part": part})
		require.NoError(t, err)
		ctx, cancel := context.WithTimeout(t.Context(), browserTime)
		defer cancel()
		node := exec.CommandContext(ctx, "node", "batch.mjs")
		node.Dir, node.Stdin = scripts, bytes.NewReader(config)
		report, err := node.CombinedOutput()
		t.Logf("%s", report)
		require.NoError(t, err, "forty props in a browser: "+part)
	}
	split := func(byHand bool, accepted, returned int) {
		all := w.pending(marek)
		require.Len(t, all, accepted+returned)
		count := map[ledger.Decision]int{}
		for _, q := range all {
			count[q.Decision]++
			require.Equal(t, byHand, q.SendAt == nil)
			if !byHand {
				require.WithinDuration(t, q.At.Add(ledger.UndoFor), *q.SendAt, time.Second)
			}
			if q.Decision == ledger.Return {
				require.Equal(t, "The rope eye is too thin.", q.Reason)
			}
			signed := as(w, marek, func(ctx context.Context, tx *ledger.Tx) ([]ledger.SignOff, error) {
				return tx.SignOffs(ctx, q.DeliveryID)
			})
			require.Empty(t, signed, "the vendor knows already")
		}
		require.Equal(t, map[ledger.Decision]int{ledger.Accept: accepted, ledger.Return: returned}, count)
	}
	play("sheet")
	split(true, friday-6, 6)
	for _, q := range w.pending(marek) {
		as(w, marek, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
			return struct{}{}, tx.UndoSignOff(ctx, q.ID)
		})
	}
	play("keys")
	split(false, oneByOne-2, 2)
}
