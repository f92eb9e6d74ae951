package httpapi_test

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestFromContractToPayment is a whole contract through the public interface alone: a list of props from a spreadsheet, a
// question that blocks, a batch, a failed round, a spec change with its price, a concession for a kit, a changed mind, a
// hold, sign-offs, what is paid, what is handed over, the figures, and the export that verifies with no server.
func TestFromContractToPayment(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane Salvage Models", "ole@krane.example")
	euros := func(n int) map[string]any { return map[string]any{"amount_minor": n, "currency": "EUR"} }

	// The contract.
	studio.ok("POST", "/v1/calendars", map[string]any{"time_zone": "Europe/Oslo", "workdays": []int{1, 2, 3, 4, 5}, "holidays": []string{"2026-12-25"}})
	project := studio.ok("POST", "/v1/projects", map[string]any{"code": "QUAY", "title": "The Quay"}).get(t, "id")
	order := studio.ok("POST", "/v1/work-orders", map[string]any{"project_id": project, "vendor_id": vendor.party, "code": "QUAY-1", "title": "Jetty", "currency": "EUR",
		"rounds_included": 0, "review_days": 3, "kill_fee_bp": 2500, "silence_accepts": true}).get(t, "id")
	require.Equal(t, "Europe/Oslo", vendor.ok("GET", "/v1/work-orders/"+order+"/calendars", nil).get(t, "items.0.time_zone"))
	sheet := "code,title,tier,price,kit,pilot,game_mesh_share,final_share,final_due\nplank_a,Plank,mid,100.00,jetty,yes,40,60,2030-01-31\nplank_b,Plank,mid,100.00,jetty,,40,60,2030-01-31\nplank_c,Plank,wrong,100,jetty,,40,60,\n"
	dry := studio.ok("POST", "/v1/work-orders/"+order+"/props/import?dry_run=true", csvText(sheet))
	require.Equal(t, "4", dry.get(t, "faults.0.line"))
	require.Equal(t, "tier", dry.get(t, "faults.0.column"))
	sheet = strings.Replace(sheet, "wrong", "mid", 1)
	studio.ok("POST", "/v1/work-orders/"+order+"/props/import", csvText(sheet), "Idempotency-Key", "import-0001")
	again := studio.ok("POST", "/v1/work-orders/"+order+"/props/import", csvText(sheet), "Idempotency-Key", "import-0001")
	require.Equal(t, "plank_a", studio.ok("GET", "/v1/work-orders/"+order+"/props", nil).get(t, "items.0.code"))
	require.NotContains(t, again.get(t, "faults.0.reason"), "<nil>", "ordered once")
	props := studio.ok("GET", "/v1/work-orders/"+order+"/props", nil)
	prop, mesh, final := make([]string, 3), make([]string, 3), make([]string, 3)
	for i := range prop {
		at := fmt.Sprintf("items.%d.", i)
		prop[i], mesh[i], final[i] = props.get(t, at+"id"), props.get(t, at+"milestones.0.id"), props.get(t, at+"milestones.1.id")
		studio.ok("POST", "/v1/props/"+prop[i]+"/specs", fmt.Sprintf("prop: plank_%c\ntier: mid\n", 'a'+i))
	}

	// A question that blocks; the pilot goes first.
	question := vendor.ok("POST", "/v1/props/"+prop[0]+"/questions", map[string]any{"text": "Which end floats?", "blocks": true}).get(t, "id")
	require.Equal(t, "true", vendor.ok("GET", "/v1/my-work", nil).get(t, "items.0.blocked"))
	studio.ok("POST", "/v1/questions/"+question+"/replies", map[string]any{"event": "answer", "text": "The left one."})
	vendor.ok("POST", "/v1/questions/"+question+"/replies", map[string]any{"event": "close"})
	game, _ := someFiles("plank")
	held := vendor.do("POST", "/v1/milestones/"+mesh[1]+"/deliveries", manifest(game))
	require.Equal(t, 409, held.status)
	require.Contains(t, held.get(t, "detail"), "plank_a is the pilot")

	// A failed round, mended; a spec change with its price between.
	first := vendor.deliver(mesh[0], game)
	s.inspect(ledger.VerdictFail)
	require.Equal(t, "fail", vendor.ok("GET", "/v1/deliveries/"+first, nil).get(t, "inspection.verdict"))
	state := func(path string) string {
		return vendor.ok("GET", "/v1/props/"+prop[0], nil).get(t, "milestones.0."+path)
	}
	require.Equal(t, []string{"failed", "vendor", "1", "0"}, []string{state("state"), state("desk"), state("rounds"), state("rework.vendor")}, "a round, and nothing handed in again yet")
	spec := studio.ok("POST", "/v1/props/"+prop[0]+"/specs", map[string]any{"document": "prop: plank_a\ntier: mid\nchecks:\n  budget.triangles: { max_triangles: 4000 }\n", "note": "fewer triangles",
		"change": map[string]any{"price": euros(1500)}}).get(t, "id")
	diff := vendor.ok("GET", "/v1/specs/"+spec+"/difference?milestone=game_mesh", nil)
	require.Equal(t, "budget.triangles", diff.get(t, "rows.0.check"), string(diff.body))
	require.Equal(t, "tighter", diff.get(t, "rows.0.change"))
	vendor.ok("POST", "/v1/specs/"+spec+"/acknowledge", nil)
	require.Equal(t, "agreed", studio.ok("GET", "/v1/work-orders/"+order+"/change-orders", nil).get(t, "items.0.state"))
	require.Equal(t, "5500", vendor.ok("GET", "/v1/props/"+prop[0], nil).get(t, "milestones.0.amount.amount_minor"), "40.00 and 15.00 more")
	second, _ := someFiles("mended")
	pilot := vendor.deliver(mesh[0], second)
	failed := s.inspect(ledger.VerdictFail)
	studio.ok("POST", "/v1/inspections/"+failed.Inspection.ID.String()+"/concessions", map[string]any{"ord": 1, "reason": "never seen from below", "scope": "kit"})
	signed := studio.ok("POST", "/v1/deliveries/"+pilot+"/sign-offs", map[string]any{"decision": "accept"})
	require.Equal(t, []string{"milestone", "5500"}, []string{signed.get(t, "sign_off.payable.kind"), signed.get(t, "sign_off.payable.amount.amount_minor")}, "released with the changed price")
	require.Equal(t, []string{"accepted", "2", "1", "0", "fail"}, []string{state("state"), state("rounds"), state("rework.vendor"), state("rework.studio"), state("delivery.inspection.verdict")}, "accepted by a concession; the finding stays one")

	// The others in a batch: they fail only by what is conceded for the kit, and come to review. One accepted, one returned.
	var deliveries []any
	for i := 1; i < 3; i++ {
		one := manifest(game)
		one["milestone_id"] = mesh[i]
		deliveries = append(deliveries, one)
	}
	batch := vendor.ok("POST", "/v1/work-orders/"+order+"/batches", map[string]any{"title": "Friday", "deliveries": deliveries})
	early := vendor.do("POST", "/v1/batches/"+batch.get(t, "id")+"/seal", nil)
	require.Equal(t, "/problems/bytes-missing", early.get(t, "type"))
	ids := []string{batch.get(t, "deliveries.0.id"), batch.get(t, "deliveries.1.id")}
	for _, id := range ids {
		planOf(t, vendor.ok("GET", "/v1/deliveries/"+id+"/uploads", nil), "").upload(t, game)
	}
	vendor.ok("POST", "/v1/batches/"+batch.get(t, "id")+"/seal", nil)
	for range ids {
		s.inspect(ledger.VerdictFail)
	}
	require.Equal(t, "review", studio.ok("GET", "/v1/deliveries/"+ids[0], nil).get(t, "milestone_state"))
	bad := studio.do("POST", "/v1/batches/"+batch.get(t, "id")+"/decisions", map[string]any{"decisions": []any{
		map[string]any{"delivery_id": ids[0], "decision": "accept"}, map[string]any{"delivery_id": ids[1], "decision": "return", "reason": "darker wood", "cause": "changed_mind"}}})
	require.Equal(t, 422, bad.status, "no round is in the price: a changed mind has one")
	require.Equal(t, "/decisions/1", bad.get(t, "errors.0.pointer"))
	studio.ok("POST", "/v1/batches/"+batch.get(t, "id")+"/decisions", map[string]any{"decisions": []any{
		map[string]any{"delivery_id": ids[0], "decision": "accept"},
		map[string]any{"delivery_id": ids[1], "decision": "return", "reason": "darker wood", "cause": "changed_mind", "price": map[string]any{"price": euros(700)}}}})
	change := vendor.ok("GET", "/v1/work-orders/"+order+"/change-orders", nil).get(t, "items.0.id")
	vendor.ok("POST", "/v1/change-orders/"+change+"/decisions", map[string]any{"decision": "agree"})
	last := vendor.deliver(mesh[2], second)
	s.inspect(ledger.VerdictPass)
	note := studio.ok("POST", "/v1/deliveries/"+last+"/notes", map[string]any{"text": "lovely grain", "pin": map[string]any{"file_id": studio.ok("GET", "/v1/deliveries/"+last, nil).get(t, "files.0.id"), "position_mm": []float64{1, 2, 3}}})
	studio.ok("POST", "/v1/notes/"+note.get(t, "id")+"/resolution", map[string]any{"resolved": true})
	held = studio.ok("POST", "/v1/milestones/"+mesh[2]+"/hold", map[string]any{"reason": "the street is looked at on Friday"})
	require.Equal(t, "held", held.get(t, "state"))
	require.Equal(t, "1", held.get(t, "rework.studio"))
	studio.ok("POST", "/v1/milestones/"+mesh[2]+"/resume", nil)
	studio.ok("POST", "/v1/deliveries/"+last+"/sign-offs", map[string]any{"decision": "accept"})
	cancelled := studio.ok("POST", "/v1/milestones/"+final[2]+"/cancel", map[string]any{"reason": "the scene was cut"})
	require.Equal(t, "cancelled", cancelled.get(t, "state"))

	// What is paid: 55.00, 40.00, 47.00, and a quarter of 60.00 for what was cut.
	paid := vendor.ok("GET", "/v1/payables/export?from=2026-01-01", nil)
	require.Equal(t, "15700", paid.get(t, "totals.0.amount_minor"))
	paper := studio.ok("GET", "/v1/payables/export?format=csv", nil)
	require.Equal(t, "attachment; filename=payables.csv", paper.header.Get("Content-Disposition"))
	lines, err := csv.NewReader(bytes.NewReader(paper.body)).ReadAll()
	require.NoError(t, err)
	require.Len(t, lines, 5)
	require.Equal(t, []string{"kill_fee", "15.00", "EUR", "1500"}, lines[4][5:9], "an amount as people write it, and as programs count it")
	figures := studio.ok("GET", "/v1/figures?by=vendor", nil)
	var leaves int64
	var logs struct {
		Items []struct {
			Size int64 `json:"size"`
		} `json:"items"`
	}
	require.NoError(t, json.Unmarshal(studio.ok("GET", "/v1/logs", nil).body, &logs))
	for _, log := range logs.Items {
		leaves += log.Size
	}
	require.Equal(t, strconv.FormatInt(leaves, 10), figures.header.Get("Log-Leaves"), "the figures say up to where they go")
	require.Equal(t, "3", figures.get(t, "items.0.accepted"))
	require.Equal(t, "1", figures.get(t, "items.0.rework_studio"))
	require.Equal(t, "uv.texel_density", studio.ok("GET", "/v1/figures/checks", nil).get(t, "items.0.check"))
	plan := studio.ok("GET", "/v1/figures/plan?work_order_id="+order+"&seed=3", nil)
	require.Equal(t, "3", plan.get(t, "items.0.drawn_from"))
	require.Equal(t, plan.body, studio.ok("GET", "/v1/figures/plan?work_order_id="+order+"&seed=3", nil).body)
	s.handOver(t, studio, order, game)
	s.proveContract(t, vendor, order)
}

// handOver packs what is accepted and reads the package as the engine team would.
func (s *service) handOver(t *testing.T, studio *person, order string, game localFile) {
	made := studio.ok("POST", "/v1/work-orders/"+order+"/handovers", map[string]any{"pattern": "props/{prop}/{role}{ext}"})
	pack := studio.ok("GET", "/v1/handovers/"+made.get(t, "id")+"/package", nil).body
	in, err := zip.NewReader(bytes.NewReader(pack), int64(len(pack)))
	require.NoError(t, err)
	require.Len(t, in.File, 4)
	require.Equal(t, "SHA256SUMS", in.File[0].Name)
	f, err := in.Open("props/plank_b/game.glb")
	require.NoError(t, err)
	var b bytes.Buffer
	_, err = b.ReadFrom(f)
	require.NoError(t, err)
	require.Equal(t, game.data, b.Bytes())
}

// proveContract checks the export with no server and no trust in the database, and that a forged one is found.
func (s *service) proveContract(t *testing.T, vendor *person, order string) {
	notary, err := ledger.NewNotary(s.db.Pool(ledger.RoleNotary), filepath.Join(t.TempDir(), "notary.key"))
	require.NoError(t, err)
	_, err = notary.AnchorOnce(t.Context())
	require.NoError(t, err)
	bundle := vendor.ok("GET", "/v1/work-orders/"+order+"/export", nil).body
	report, err := ledger.VerifyBundle(bundle, []string{notary.Verifier()})
	require.NoError(t, err)
	require.Empty(t, report.Problems)
	require.Equal(t, report.Facts, report.Signed)
	t.Logf("the contract is %d facts, all under a good signature", report.Facts)
	kinds := map[string]bool{}
	var parsed struct{ Leaves []struct{ Body string } }
	require.NoError(t, json.Unmarshal(bundle, &parsed))
	for _, l := range parsed.Leaves {
		var leaf struct{ Kind string }
		require.NoError(t, json.Unmarshal([]byte(l.Body), &leaf))
		kinds[leaf.Kind] = true
	}
	for _, kind := range []string{"change_order.decided", "concession.granted", "permission.begun", "question.said", "batch.sealed", "milestone.held", "milestone.cancelled", "note.resolved", "calendar.pinned"} {
		require.True(t, kinds[kind], kind)
	}
	for _, forge := range [][2]string{{`\"amount_minor\":4700`, `\"amount_minor\":4701`}, {"Which end floats?", "Which end sinks?"}, {`\"decision\":\"accept\"`, `\"decision\":\"return\"`}} {
		forged := bytes.Replace(bundle, []byte(forge[0]), []byte(forge[1]), 1)
		require.NotEqual(t, bundle, forged, forge[0])
		report, err := ledger.VerifyBundle(forged, []string{notary.Verifier()})
		require.True(t, err != nil || !report.OK(), "forged %s must be found", forge[0])
	}
	s.objectsAreTheirs(t, bundle)
}

// objectsAreTheirs reads every stored object that the leaves commit to, and finds one that was put in another's place.
func (s *service) objectsAreTheirs(t *testing.T, bundle []byte) {
	refs, err := ledger.BundleObjects(bundle)
	require.NoError(t, err)
	require.Greater(t, len(refs), 8)
	for _, ref := range refs {
		head, err := s.storage.Head(t.Context(), ref.Key)
		require.NoError(t, err, ref.What)
		sum, size, err := s.storage.Fetch(t.Context(), ref.Key, head.ETag, io.Discard)
		require.NoError(t, err, ref.What)
		require.Equal(t, hex.EncodeToString(ref.SHA256), sum, ref.What)
		require.True(t, ref.Size < 0 || ref.Size == size, ref.What)
	}
}
