package endtoend

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/client"
	"proofhouse/internal/ledger"
)

// sent counts the uploads that storage took.
func (g *gate) sent() (n int) {
	for _, r := range g.requests() {
		if strings.HasPrefix(r, "PUT /"+objects.Bucket+"/in/") {
			n++
		}
	}
	return n
}

func (h *harbour) send(folder string, args ...string) ran {
	h.t.Helper()
	return run(h.t, []string{"PROOFHOUSE_TOKEN=" + h.token, "XDG_CACHE_HOME=" + h.desk}, append([]string{"send", "--server", h.base, "--spec", specOfBollards(h.t), "--no-pictures", folder}, args...)...)
}

// receipt reads the receipt that a sending left beside the folder.
func receipt(t *testing.T, path string) ledger.Receipt {
	t.Helper()
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	var kept struct{ Receipt ledger.Receipt }
	require.NoError(t, json.Unmarshal(data, &kept))
	require.Equal(t, ledger.FactDeliverySealed, kept.Receipt.Kind)
	return kept.Receipt
}

// One prop from the order to the sign-off: the vendor's own test stops a bad delivery before it is sent; one that is sent
// all the same fails at the studio for the same reason; it is returned; the mended one is clear at both, and accepted. The
// vendor's receipts hold against the studio's record.
func TestFromOrderToSignOff(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	document, err := os.ReadFile(specOfBollards(t))
	require.NoError(t, err)
	h.contract("bollard", "mid", string(document))
	dir := bollards(t, "lumpy", "good")
	p := h.serve()

	r := h.send(filepath.Join(dir, "lumpy"))
	require.Equal(t, 1, r.code, r.err)
	require.Contains(t, r.out, "Nothing was sent")
	require.Zero(t, h.gate.sent())
	require.Zero(t, h.count(`SELECT count(*) FROM ph.delivery`))

	r = h.send(filepath.Join(dir, "lumpy"), "--anyway", "--note", "a first look")
	require.Equal(t, 1, r.code, r.err)
	here, there, found := strings.Cut(r.out, "The service’s findings:\n")
	require.True(t, found, r.out)
	local := strings.TrimPrefix(strings.Split(here, "\n")[0], "Inspected here: ")
	require.Equal(t, local, strings.Split(there, "\n")[0], "both sides find the same")
	require.Contains(t, there, "surface.poke_through")
	require.Equal(t, 5, h.gate.sent())

	first := h.delivery(1)
	decided, err := h.studio.SignOffWithResponse(t.Context(), first.Id, &client.SignOffParams{IdempotencyKey: key()},
		client.NewSignOff{Decision: client.Decision("return"), Reason: new("The lump on the left side.")})
	require.NoError(t, err)
	require.NotNil(t, decided.JSON201, string(decided.Body))

	r = h.send(filepath.Join(dir, "good"))
	require.Zero(t, r.code, r.out+r.err)
	require.Contains(t, r.out, "technical: clear")
	require.Equal(t, 10, h.gate.sent())
	r = h.send(filepath.Join(dir, "good"))
	require.Zero(t, r.code, r.out+r.err)
	require.Contains(t, r.out, "number 2")
	require.Equal(t, 10, h.gate.sent(), "sent again, nothing moves")
	h.recordedOnce(2)

	second := h.delivery(2)
	h.evidence(second.Inspection)
	decided, err = h.studio.SignOffWithResponse(t.Context(), second.Id, &client.SignOffParams{IdempotencyKey: key()}, client.NewSignOff{Decision: client.Decision("accept")})
	require.NoError(t, err)
	require.NotNil(t, decided.JSON201, string(decided.Body))
	require.Zero(t, p.stop())

	bundle, err := h.vendor.ExportWorkOrderWithResponse(t.Context(), h.order)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, bundle.StatusCode())
	report, err := ledger.VerifyBundle(bundle.Body, nil,
		receipt(t, filepath.Join(dir, "lumpy-receipt-game_mesh-1.json")), receipt(t, filepath.Join(dir, "good-receipt-game_mesh-2.json")))
	require.NoError(t, err)
	require.Empty(t, report.Problems)
}

// delivery reads the order's delivery of this number.
func (h *harbour) delivery(number int) *client.Delivery {
	t := h.t
	t.Helper()
	page, err := h.vendor.ListDeliveriesWithResponse(t.Context(), &client.ListDeliveriesParams{WorkOrderId: &h.order})
	require.NoError(t, err)
	for _, d := range page.JSON200.Items {
		if d.Number == number {
			return &d
		}
	}
	require.Fail(t, "no such delivery")
	return nil
}

// A sending that is killed goes on where it was: the parts that had arrived are not sent again.
func TestSendIsResumed(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	h.contract("box", "background", boxSpec("box"))
	folder, _ := boxFolder(t, "box")
	large, err := os.Create(filepath.Join(folder, "box_source.bin"))
	require.NoError(t, err)
	require.NoError(t, large.Truncate(70<<20)) // three parts
	require.NoError(t, large.Close())
	spec := filepath.Join(t.TempDir(), "box.yaml")
	require.NoError(t, os.WriteFile(spec, []byte(boxSpec("box")), 0o600))
	args := []string{"send", "--server", h.base, "--spec", spec, "--no-pictures", "--anyway", "--no-wait", folder}

	second := h.gate.holdOn(func(r *http.Request) bool { return r.URL.Query().Get("partNumber") == "2" })
	killed := exec.Command(worker, args...)
	killed.Env = append(os.Environ(), "PROOFHOUSE_TOKEN="+h.token)
	require.NoError(t, killed.Start())
	<-second
	require.NoError(t, killed.Process.Kill())
	_ = killed.Wait()
	require.Equal(t, 2, h.gate.sent(), "the small file and the first part")
	h.gate.open()

	r := run(t, []string{"PROOFHOUSE_TOKEN=" + h.token}, args...)
	require.Zero(t, r.code, r.out+r.err)
	require.Contains(t, r.out, "had arrived before")
	require.Equal(t, 4, h.gate.sent(), "the two parts that were missing, once")
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`))
	require.FileExists(t, folder+"-receipt-game_mesh-1.json")
}

// Other files while a delivery is under way: the sender is told, and may give it up.
func TestSendAnew(t *testing.T) {
	t.Parallel()
	h := newHarbour(t)
	h.contract("box", "background", boxSpec("box"))
	folder, _ := boxFolder(t, "box")
	spec := filepath.Join(t.TempDir(), "box.yaml")
	require.NoError(t, os.WriteFile(spec, []byte(boxSpec("box")), 0o600))
	args := []string{"send", "--server", h.base, "--spec", spec, "--no-pictures", "--anyway", "--no-wait", folder}
	env := []string{"PROOFHOUSE_TOKEN=" + h.token}

	held := h.gate.holdOn(func(r *http.Request) bool { return r.Method == http.MethodPut })
	killed := exec.Command(worker, args...)
	killed.Env = append(os.Environ(), env...)
	require.NoError(t, killed.Start())
	<-held
	require.NoError(t, killed.Process.Kill())
	_ = killed.Wait()
	h.gate.open()

	require.NoError(t, os.WriteFile(filepath.Join(folder, "box_notes.txt"), []byte("one more"), 0o600))
	r := run(t, env, args...)
	require.Equal(t, 3, r.code)
	require.Contains(t, r.err, "under way with other files")
	require.Contains(t, r.err, "--anew")
	r = run(t, env, append(args, "--anew")...)
	require.Zero(t, r.code, r.err)
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'sealed'`))
	require.Equal(t, 1, h.count(`SELECT count(*) FROM ph.delivery WHERE state = 'abandoned'`))

	r = run(t, []string{"PROOFHOUSE_TOKEN=ph_wrong"}, args...)
	require.Equal(t, 3, r.code)
	require.Contains(t, r.err, "token")
}
