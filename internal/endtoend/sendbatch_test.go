package endtoend

import (
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A folder of folders goes as one batch, each by its own prop's spec, which the service gives with what it extends. Killed on
// the way it goes on where it was; a receipt of each proves it.
func TestSendBatch(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	h.contract("kit", "background", boxSpec("kit"))
	h.contract("left", "background", "prop: left\nextends: [{spec: kit, revision: 1}]\n")
	h.contract("right", "background", boxSpec("right"))
	friday := filepath.Join(t.TempDir(), "Freitag № 1")
	for _, code := range []string{"left", "right"} {
		folder, _ := boxFolder(t, code)
		require.NoError(t, os.CopyFS(filepath.Join(friday, code), os.DirFS(folder)))
	}
	cache := t.TempDir() // where fetched specs lie
	env := []string{"PROOFHOUSE_TOKEN=" + h.token, "XDG_CACHE_HOME=" + cache, "HOME=" + cache}
	args := []string{"send", "--server", h.base, "--no-pictures", "--anyway", "--no-wait", friday}

	held := h.gate.holdOn(func(r *http.Request) bool { return r.Method == http.MethodPut })
	killed := exec.Command(worker, args...)
	killed.Env = append(os.Environ(), env...)
	require.NoError(t, killed.Start())
	<-held
	require.NoError(t, killed.Process.Kill())
	_ = killed.Wait()
	h.gate.open()
	before := h.gate.sent()
	require.Zero(t, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`), "sealed as a whole, not one by one")

	r := run(t, env, args...)
	require.Zero(t, r.code, r.out+r.err)
	require.Contains(t, r.out, "Delivered together as batch 1 of order W1: left, right")
	require.Equal(t, 2, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`))
	sent := h.gate.sent()
	require.Greater(t, sent, before-1)
	r = run(t, env, args...)
	require.Zero(t, r.code, r.out+r.err)
	require.Equal(t, sent, h.gate.sent(), "sent again, nothing moves")
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.batch`))

	p := h.serve()
	require.Eventually(t, func() bool { return h.count(`SELECT count(*) FROM ph.inspection WHERE state = 'done'`) == 2 }, waiting, 100*time.Millisecond)
	h.recordedOnce(2)
	require.Zero(t, p.stop())
	bundle, err := h.vendor.ExportWorkOrderWithResponse(t.Context(), h.order)
	require.NoError(t, err)
	report, err := ledger.VerifyBundle(bundle.Body, nil, receipt(t, filepath.Join(friday, "left-receipt-game_mesh-1.json")), receipt(t, filepath.Join(friday, "right-receipt-game_mesh-1.json")))
	require.NoError(t, err)
	require.Empty(t, report.Problems)
	// The spec that was fetched is the one that judges.
	var published string
	require.NoError(t, h.owner.QueryRow(t.Context(), `SELECT encode(s.digest, 'hex') FROM ph.spec_revision s JOIN ph.prop p ON p.id = s.prop_id WHERE p.code = 'left'`).Scan(&published))
	require.Equal(t, published, readEvidence(t, filepath.Join(friday, "left-evidence")).Spec.Digest)
}

// What is not clear keeps a batch here, or stays here alone; folders that no work bears the name of are told.
func TestSendBatchInPart(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	h.contract("left", "background", boxSpec("left")+"checks:\n  scene.origin: {mode: warns}\n") // its origin lies in its middle
	h.contract("right", "background", "prop: right\ntier: background\nchecks:\n  budget.triangles: {max_triangles: 3}\n")
	folder := t.TempDir()
	for _, code := range []string{"left", "right"} {
		one, _ := boxFolder(t, code)
		require.NoError(t, os.CopyFS(filepath.Join(folder, code), os.DirFS(one)))
	}
	env := []string{"PROOFHOUSE_TOKEN=" + h.token, "LC_ALL=de_DE.UTF-8", "XDG_CACHE_HOME=" + t.TempDir()}
	args := []string{"send", "--server", h.base, "--no-pictures", "--no-wait", folder}
	r := run(t, env, args...)
	require.Equal(t, 1, r.code, r.out+r.err)
	require.Contains(t, r.out, "Nichts wurde gesendet.")
	require.Regexp(t, `(?m)^left \(game_mesh\) +pass `, r.out, "the box is clear")
	require.Regexp(t, `(?m)^right \(game_mesh\) +fail `, r.out)
	require.Zero(t, h.gate.sent())
	r = run(t, env, append(args, "--clear-only", "--title", "die guten")...)
	require.Equal(t, 1, r.code, "something stayed here: "+r.out+r.err)
	require.Contains(t, r.out, "Hier geblieben: right")
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`))
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.batch WHERE title = 'die guten'`))

	require.NoError(t, os.Rename(filepath.Join(folder, "left"), filepath.Join(folder, "anchor")))
	r = run(t, env, args...)
	require.Equal(t, 3, r.code)
	require.Contains(t, r.err, "kein Meilenstein eines Objekts anchor")
	r = run(t, env, "inspect", "--server", h.base, "--no-pictures", "--prop", "right", filepath.Join(folder, "anchor"))
	require.Equal(t, 1, r.code, r.out+r.err)
	require.Contains(t, r.err, fmt.Sprintf("Geprüft nach %s", "right-spec-1.yaml"))
}
