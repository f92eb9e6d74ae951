package httpapi_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/ledger"
)

const minPart = 5 << 20 // Amazon S3 user guide, "Multipart upload limits": every part but the last is at least 5 MiB

func someFiles(seed string) (game, sculpt localFile) {
	game = localFile{path: "lantern.glb", role: "game", data: []byte("glTF game mesh " + seed)}
	sculpt = localFile{path: "sculpt/lantern.glb", role: "sculpt", data: bytes.Repeat([]byte(seed+"sculpt.."), minPart/8), partBytes: minPart}
	sculpt.data = sculpt.data[:minPart+1000]
	return game, sculpt
}

func TestTheWholeStory(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane Salvage Models", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")

	work := vendor.ok("GET", "/v1/my-work", nil)
	require.Equal(t, "lantern_a", work.get(t, "items.0.prop_code"))
	require.Equal(t, "Krane Salvage Models", studio.ok("GET", "/v1/work-orders/"+c.order, nil).get(t, "vendor"))
	require.Equal(t, "58000", vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "milestones.0.amount.amount_minor"))
	require.Equal(t, "2030-03-31", vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "milestones.0.due_on"))

	explained := vendor.ok("GET", "/v1/specs/"+c.spec+"/explained?milestone=game_mesh", nil)
	require.Contains(t, string(explained.body), "budget.triangles")
	require.Contains(t, explained.get(t, "text"), "budget.triangles")

	// Opened, and sealed too early: nothing is lost, and the answer says what is missing.
	game, sculpt := someFiles("one")
	opened := vendor.ok("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game, sculpt))
	delivery := opened.get(t, "delivery.id")
	early := vendor.do("POST", "/v1/deliveries/"+delivery+"/seal", nil)
	require.Equal(t, 409, early.status, string(early.body))
	require.Equal(t, "/problems/bytes-missing", early.get(t, "type"))
	require.Equal(t, "lantern.glb", early.get(t, "missing.0.path"))
	require.Equal(t, "open", vendor.ok("GET", "/v1/deliveries/"+delivery, nil).get(t, "state"))

	// One file and one part arrive; then the line breaks, and fresh links go on from there.
	first := planOf(t, opened, "plan")
	require.Equal(t, 200, first.Files[0].Put.send(t, game.data, nil))
	part := first.Files[1].Parts[0]
	require.Equal(t, 200, part.Put.send(t, sculpt.data[:minPart], nil))
	again := planOf(t, vendor.ok("GET", "/v1/deliveries/"+delivery+"/uploads", nil), "")
	require.Equal(t, int64(len(game.data)+minPart), again.BytesThere)
	require.Equal(t, "there", again.Files[0].State)
	require.Nil(t, again.Files[0].Put)
	require.Len(t, again.Files[1].Parts, 1)
	require.Equal(t, 2, again.Files[1].Parts[0].Number)
	incomplete := vendor.do("POST", "/v1/deliveries/"+delivery+"/files/"+again.Files[1].FileID+"/complete", nil)
	require.Equal(t, 409, incomplete.status)
	again.upload(t, game, sculpt)
	for range 2 {
		require.Equal(t, "there", vendor.ok("POST", "/v1/deliveries/"+delivery+"/files/"+again.Files[1].FileID+"/complete", nil).get(t, "state"))
	}

	// Sealed, twice by the same key and once by another: once.
	sealed := vendor.ok("POST", "/v1/deliveries/"+delivery+"/seal", nil, "Idempotency-Key", "seal-key-1")
	require.Equal(t, "sealed", sealed.get(t, "delivery.state"))
	require.Equal(t, "delivery.sealed", sealed.get(t, "receipt.kind"))
	for _, key := range []string{"seal-key-1", "seal-key-2"} {
		repeat := vendor.ok("POST", "/v1/deliveries/"+delivery+"/seal", nil, "Idempotency-Key", key)
		require.Equal(t, sealed.get(t, "receipt.index"), repeat.get(t, "receipt.index"))
	}
	require.Equal(t, 409, vendor.do("POST", "/v1/deliveries/"+delivery+"/abandon", nil).status)
	require.Equal(t, 412, first.Files[0].Put.send(t, game.data, nil), "a link of before the seal puts nothing any more")

	// Looking never waits for the machine; accepting does.
	look := studio.ok("GET", "/v1/deliveries/"+delivery, nil)
	require.Empty(t, look.get(t, "opened_by"), "the studio sees the vendor, not its people")
	require.Equal(t, 409, studio.do("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "accept"}).status)
	got := studio.do("GET", "/v1/deliveries/"+delivery+"/files/"+look.get(t, "files.0.id")+"/content", nil)
	require.Equal(t, http.StatusFound, got.status)
	r, err := http.NewRequestWithContext(t.Context(), "GET", got.header.Get("Location"), nil)
	require.NoError(t, err)
	require.Equal(t, game.data, send(t, r).body)

	job := s.inspect(ledger.VerdictPass)
	require.Equal(t, delivery, job.Delivery.ID.String())
	s.readEvidence(t, studio, vendor, job.Inspection.ID.String())
	s.decide(t, studio, vendor, c, delivery, look.header.Get("ETag"))
	s.prove(t, studio, vendor, c, sealed)
}

// readEvidence reads what the inspection left, as both sides.
func (s *service) readEvidence(t *testing.T, studio, vendor *person, inspection string) {
	for _, p := range []*person{studio, vendor} {
		i := p.ok("GET", "/v1/inspections/"+inspection, nil)
		require.Equal(t, "pass", i.get(t, "verdict"))
		require.Equal(t, "true", i.get(t, "current"))
		evidence := p.ok("GET", "/v1/inspections/"+inspection+"/evidence", nil)
		require.Equal(t, i.get(t, "evidence_sha256"), digest(evidence.body))
		require.Equal(t, `"`+digest(evidence.body)+`"`, evidence.header.Get("ETag"))
		require.Equal(t, 304, p.do("GET", "/v1/inspections/"+inspection+"/evidence", nil, "If-None-Match", evidence.header.Get("ETag")).status)
		picture := p.ok("GET", i.get(t, "pictures.0.url"), nil)
		require.Equal(t, "image/png", picture.header.Get("Content-Type"))
		require.Equal(t, i.get(t, "pictures.0.sha256"), digest(picture.body))
		require.Equal(t, 404, p.do("GET", "/v1/inspections/"+inspection+"/pictures/none.png", nil).status)
		findings := p.ok("GET", "/v1/inspections/"+inspection+"/findings?limit=1", nil)
		require.Equal(t, "file.intact", findings.get(t, "items.0.check"))
		rest := p.ok("GET", "/v1/inspections/"+inspection+"/findings?limit=1&after="+findings.get(t, "next"), nil)
		require.Equal(t, "uv.texel_density", rest.get(t, "items.0.check"))
		require.Equal(t, "<nil>", rest.get(t, "next"))
	}
}

func (s *service) decide(t *testing.T, studio, vendor *person, c contract, delivery, oldTag string) {
	stale := studio.do("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "accept"}, "If-Match", oldTag)
	require.Equal(t, 412, stale.status, string(stale.body))
	require.Equal(t, 403, vendor.do("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "accept"}).status)
	require.Equal(t, 422, studio.do("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "return"}).status, "a return needs a reason")
	tag := studio.ok("GET", "/v1/deliveries/"+delivery, nil).header.Get("ETag")
	require.NotEqual(t, oldTag, tag)
	signed := studio.ok("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "accept"}, "If-Match", tag, "Idempotency-Key", "sign-key-1")
	require.Equal(t, "58000", signed.get(t, "sign_off.payable.amount.amount_minor"))
	repeat := studio.ok("POST", "/v1/deliveries/"+delivery+"/sign-offs", map[string]any{"decision": "accept"}, "If-Match", tag, "Idempotency-Key", "sign-key-1")
	require.Equal(t, signed.get(t, "sign_off.id"), repeat.get(t, "sign_off.id"))
	require.Equal(t, "accepted", vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "milestones.0.state"))
	payables := vendor.ok("GET", "/v1/payables?work_order_id="+c.order, nil)
	require.Equal(t, "58000", payables.get(t, "items.0.amount.amount_minor"))
	require.Equal(t, "58000", studio.ok("GET", "/v1/work-orders/"+c.order, nil).get(t, "payable.amount_minor"))
	require.Equal(t, "accept", vendor.ok("GET", "/v1/deliveries/"+delivery+"/sign-offs", nil).get(t, "items.0.decision"))
}

// prove follows the log to its end and checks the export with no server, against the receipt of the seal.
func (s *service) prove(t *testing.T, studio, vendor *person, c contract, sealed answer) {
	notary, err := ledger.NewNotary(s.db.Pool(ledger.RoleNotary), filepath.Join(t.TempDir(), "notary.key"))
	require.NoError(t, err)
	_, err = notary.AnchorOnce(t.Context())
	require.NoError(t, err)

	after, kinds := "-1", []string{}
	for {
		page := vendor.ok("GET", "/v1/logs/"+c.order+"/events?limit=2&after="+after, nil)
		var body struct {
			Items  []struct{ Kind string }
			Cursor int64
		}
		require.NoError(t, json.Unmarshal(page.body, &body))
		for _, e := range body.Items {
			kinds = append(kinds, e.Kind)
		}
		after = fmt.Sprint(body.Cursor)
		if len(body.Items) == 0 {
			break
		}
	}
	for _, kind := range []string{"work_order.placed", "prop.ordered", "spec.revised", "delivery.opened", "delivery.sealed", "inspection.recorded", "milestone.signed_off", "milestone.payable"} {
		require.Contains(t, kinds, kind)
	}
	heads := studio.ok("GET", "/v1/logs", nil)
	require.Contains(t, string(heads.body), c.order)
	require.Contains(t, string(heads.body), fmt.Sprintf(`"size":%d`, len(kinds)))
	proof := vendor.ok("GET", fmt.Sprintf("/v1/logs/%s/consistency?from=1&to=%d", c.order, len(kinds)), nil)
	require.NotEqual(t, "[]", proof.get(t, "proof"))

	var kept struct{ Receipt ledger.Receipt }
	require.NoError(t, json.Unmarshal(sealed.body, &kept))
	bundle := vendor.ok("GET", "/v1/work-orders/"+c.order+"/export", nil)
	require.Contains(t, bundle.header.Get("Content-Disposition"), ".json")
	report, err := ledger.VerifyBundle(bundle.body, []string{notary.Verifier()}, kept.Receipt)
	require.NoError(t, err)
	require.True(t, report.OK(), "%v", report.Problems)
	require.EqualValues(t, len(kinds), report.Facts)
	other := vendor.ok("GET", "/v1/receipts/delivery.sealed/"+sealed.get(t, "delivery.id"), nil)
	require.Equal(t, sealed.get(t, "receipt.leaf_hash"), other.get(t, "leaf_hash"))
	forged := bytes.Replace(bundle.body, []byte("58000"), []byte("58001"), 1)
	require.NotEqual(t, bundle.body, forged)
	report, err = ledger.VerifyBundle(forged, []string{notary.Verifier()}, kept.Receipt)
	require.True(t, err != nil || !report.OK(), "a forged amount must be found")
}

func TestReturnedAndSentAgain(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")
	game, _ := someFiles("one")
	d := vendor.deliver(c.milestones[0], game)
	failed := s.inspect(ledger.VerdictFail)
	require.Equal(t, 409, studio.do("POST", "/v1/deliveries/"+d+"/sign-offs", map[string]any{"decision": "accept"}).status, "a failed delivery is not accepted")
	require.Equal(t, "fail", vendor.ok("GET", "/v1/deliveries/"+d, nil).get(t, "inspection.verdict"))

	note := vendor.ok("POST", "/v1/deliveries/"+d+"/notes", map[string]any{"text": "meant so"})
	require.Equal(t, "vendor", note.get(t, "side"))
	studio.ok("POST", "/v1/deliveries/"+d+"/notes", map[string]any{"text": "between us", "private": true})
	require.NotContains(t, string(vendor.ok("GET", "/v1/deliveries/"+d+"/notes", nil).body), "between us")
	require.Contains(t, string(studio.ok("GET", "/v1/deliveries/"+d+"/notes", nil).body), "between us")
	require.Equal(t, 403, vendor.do("POST", "/v1/deliveries/"+d+"/notes", map[string]any{"text": "x", "private": true}).status)

	conceded := studio.ok("POST", "/v1/inspections/"+failed.Inspection.ID.String()+"/concessions", map[string]any{"ord": 1, "reason": "never seen"}, "Idempotency-Key", "concede-1")
	repeat := studio.ok("POST", "/v1/inspections/"+failed.Inspection.ID.String()+"/concessions", map[string]any{"ord": 1, "reason": "never seen"}, "Idempotency-Key", "concede-1")
	require.Equal(t, conceded.get(t, "id"), repeat.get(t, "id"))
	require.Equal(t, "uv.texel_density", vendor.ok("GET", "/v1/deliveries/"+d+"/concessions", nil).get(t, "items.0.check"))

	again := studio.ok("POST", "/v1/deliveries/"+d+"/inspections", map[string]any{"reason": "the spec was mended"})
	require.Equal(t, "queued", again.get(t, "state"))
	s.inspect(ledger.VerdictFail)
	require.Equal(t, "2", fmt.Sprint(strings.Count(string(vendor.ok("GET", "/v1/deliveries/"+d+"/inspections", nil).body), `"attempts"`)))
	studio.ok("POST", "/v1/deliveries/"+d+"/sign-offs", map[string]any{"decision": "return", "reason": "see the second picture"})
	second, _ := someFiles("two")
	d2 := vendor.deliver(c.milestones[0], second)
	require.Equal(t, "2", vendor.ok("GET", "/v1/deliveries/"+d2, nil).get(t, "number"))
	list := studio.ok("GET", "/v1/deliveries?prop_id="+c.prop, nil)
	require.Contains(t, string(list.body), d)
	require.Contains(t, string(list.body), d2)

	cancelled := studio.ok("POST", "/v1/milestones/"+c.milestones[1]+"/cancel", map[string]any{"reason": "the scene was cut"}, "Idempotency-Key", "cancel-01")
	require.Equal(t, "cancelled", cancelled.get(t, "state"))
	require.Equal(t, "cancelled", studio.ok("POST", "/v1/milestones/"+c.milestones[1]+"/cancel", map[string]any{"reason": "the scene was cut"}, "Idempotency-Key", "cancel-01").get(t, "state"))
}

func TestSpecs(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")

	bad := studio.do("POST", "/v1/props/"+c.prop+"/specs", "prop: lantern_a\ntier: hero\nchekcs: {}\n")
	require.Equal(t, 422, bad.status)
	require.Equal(t, "/problems/invalid-spec", bad.get(t, "type"))
	require.Equal(t, "3", bad.get(t, "errors.0.line"))
	require.Equal(t, "1", bad.get(t, "errors.0.column"))
	require.Equal(t, 422, studio.do("POST", "/v1/props/"+c.prop+"/specs", "prop: other\ntier: mid\n").status)
	require.Equal(t, 422, studio.do("POST", "/v1/props/"+c.prop+"/specs", map[string]any{"document": "{not yaml"}).status)
	require.Equal(t, 403, vendor.do("POST", "/v1/props/"+c.prop+"/specs", fmt.Sprintf(specText, "lantern_a")).status)

	// Work begins under the first revision; the second binds once the vendor says so.
	game, _ := someFiles("one")
	opened := vendor.ok("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game))
	require.Equal(t, c.spec, opened.get(t, "delivery.spec_id"))
	text := fmt.Sprintf(specText, "lantern_a") + "title: tall lantern\n"
	second := studio.ok("POST", "/v1/props/"+c.prop+"/specs", map[string]any{"document": text, "note": "a title"})
	require.Equal(t, "2", second.get(t, "number"))
	require.Equal(t, text, vendor.ok("GET", "/v1/specs/"+second.get(t, "id"), nil).get(t, "document"))
	require.Equal(t, second.get(t, "id"), vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "spec_offered_id"))
	require.Equal(t, c.spec, vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "spec_in_force_id"))
	require.Equal(t, 403, studio.do("POST", "/v1/specs/"+second.get(t, "id")+"/acknowledge", nil).status)
	vendor.ok("POST", "/v1/specs/"+second.get(t, "id")+"/acknowledge", nil)
	require.Equal(t, second.get(t, "id"), vendor.ok("GET", "/v1/props/"+c.prop, nil).get(t, "spec_in_force_id"))
	require.Equal(t, "2", vendor.ok("GET", "/v1/props/"+c.prop+"/specs", nil).get(t, "items.0.number"))
	vendor.ok("POST", "/v1/deliveries/"+opened.get(t, "delivery.id")+"/abandon", nil)
	require.Equal(t, "abandoned", vendor.ok("GET", "/v1/deliveries/"+opened.get(t, "delivery.id")+"/uploads", nil).get(t, "state"))
}

func TestIdempotency(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	key := []string{"Idempotency-Key", "one-key-for-all"}
	first := studio.ok("POST", "/v1/projects", map[string]any{"code": "QUAY", "title": "The Quay"}, key...)
	repeat := studio.ok("POST", "/v1/projects", map[string]any{"code": "QUAY", "title": "The Quay"}, key...)
	require.JSONEq(t, string(first.body), string(repeat.body))
	other := studio.do("POST", "/v1/projects", map[string]any{"code": "YARD", "title": "The Yard"}, key...)
	require.Equal(t, 422, other.status)
	require.Equal(t, "/problems/key-reused", other.get(t, "type"))
	second := studio.do("POST", "/v1/projects", map[string]any{"code": "QUAY", "title": "The Quay"})
	require.Equal(t, 409, second.status, "without the key it is a second one")
	require.Equal(t, "A project with this code is there already.", second.get(t, "detail"))
	vendor := studio.ok("POST", "/v1/vendors", map[string]any{"name": "Krane"}, key...) // the key counts per address
	require.Equal(t, vendor.get(t, "id"), studio.ok("POST", "/v1/vendors", map[string]any{"name": "Krane"}, key...).get(t, "id"))

	token := studio.do("POST", "/v1/tokens", map[string]any{"name": "a", "scopes": []string{"read"}}, key...)
	require.Equal(t, 201, token.status)
	again := studio.do("POST", "/v1/tokens", map[string]any{"name": "a", "scopes": []string{"read"}}, key...)
	require.Equal(t, 200, again.status)
	require.Equal(t, token.get(t, "token.id"), again.get(t, "token.id"))
	require.Equal(t, "<nil>", again.get(t, "secret"))
	invited := studio.do("POST", "/v1/invitations", map[string]any{"party_id": vendor.get(t, "id"), "email": "o@k.example", "roles": []string{"vendor_lead"}}, key...)
	require.Equal(t, 201, invited.status, string(invited.body))
	again = studio.do("POST", "/v1/invitations", map[string]any{"party_id": vendor.get(t, "id"), "email": "o@k.example", "roles": []string{"vendor_lead"}}, key...)
	require.Equal(t, 200, again.status, string(again.body))
	require.Equal(t, invited.get(t, "invitation.id"), again.get(t, "invitation.id"))
	require.Equal(t, "<nil>", again.get(t, "secret"))
	// No digest of a password is kept, and all the same a repeat is told from another password under the same key.
	next, further := "another sentence of the tests", "a third sentence of the tests"
	studio.ok("POST", "/v1/me/password", map[string]any{"old": password, "new": next}, key...)
	require.Equal(t, 204, studio.do("POST", "/v1/me/password", map[string]any{"old": password, "new": next}, key...).status, "a repeat")
	other = studio.do("POST", "/v1/me/password", map[string]any{"old": next, "new": further}, key...)
	require.Equal(t, 422, other.status, "it was not set, so it must not be said to be")
	require.Equal(t, "/problems/key-reused", other.get(t, "type"))
	require.NotContains(t, s.logs.String(), token.get(t, "secret"))
	require.NotContains(t, s.logs.String(), invited.get(t, "secret"))
	require.NotContains(t, s.logs.String(), password)
}

func TestLinksCannotBeWidened(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")
	game, sculpt := someFiles("one")
	opened := vendor.ok("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game, sculpt))
	p := planOf(t, opened, "plan")
	link, part := p.Files[0].Put, p.Files[1].Parts[0].Put
	wrong := bytes.Repeat([]byte("x"), len(game.data))
	require.Equal(t, 400, link.send(t, wrong, nil), "other bytes of the same length")
	require.GreaterOrEqual(t, link.send(t, game.data[:5], nil), 400, "shorter")
	require.GreaterOrEqual(t, link.send(t, append(game.data, 'x'), nil), 400, "longer")
	require.Equal(t, 403, link.send(t, game.data, func(r *http.Request) { r.Header.Del("If-None-Match") }), "without the condition")
	require.Equal(t, 403, link.send(t, game.data, func(r *http.Request) { r.Header.Del("X-Amz-Checksum-Sha256") }), "without the digest")
	require.GreaterOrEqual(t, link.send(t, nil, func(r *http.Request) { r.Method = "GET" }), 400, "to read")
	require.GreaterOrEqual(t, link.send(t, nil, func(r *http.Request) { r.Method = "DELETE" }), 400, "to delete")
	require.Equal(t, 403, link.send(t, game.data, func(r *http.Request) {
		r.URL.Path = strings.Replace(r.URL.Path, p.Files[0].FileID, uuid.NewString(), 1)
	}), "elsewhere")
	require.GreaterOrEqual(t, part.send(t, bytes.Repeat([]byte("x"), minPart), nil), 400, "other bytes of a part")
	require.GreaterOrEqual(t, part.send(t, sculpt.data[:minPart], func(r *http.Request) {
		q := r.URL.Query()
		q.Set("partNumber", "2")
		r.URL.RawQuery = q.Encode()
	}), 400, "another part's number")
	require.Equal(t, 200, link.send(t, game.data, nil))
	require.Equal(t, 412, link.send(t, game.data, nil), "a second time")
	sees := planOf(t, studio.ok("GET", "/v1/deliveries/"+opened.get(t, "delivery.id")+"/uploads", nil), "")
	require.Equal(t, int64(len(game.data)), sees.BytesThere)
	require.Nil(t, sees.Files[0].Put)
	require.Empty(t, sees.Files[1].Parts, "the studio follows the upload and gets no links")
}

func TestManifestsAreChecked(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")
	sum := digest(nil)
	for name, file := range map[string]map[string]any{
		"leads out":      {"path": "../x.glb", "role": "game", "bytes": 1, "sha256": sum},
		"absolute":       {"path": "/etc/x.glb", "role": "game", "bytes": 1, "sha256": sum},
		"large, whole":   {"path": "x.glb", "role": "game", "bytes": 65 << 20, "sha256": sum},
		"parts and none": {"path": "x.glb", "role": "game", "bytes": 6 << 20, "sha256": sum, "part_bytes": minPart},
		"too few parts":  {"path": "x.glb", "role": "game", "bytes": 6 << 20, "sha256": sum, "part_bytes": minPart, "part_sha256": []string{sum}},
	} {
		a := vendor.do("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", map[string]any{"files": []any{file}})
		require.Equal(t, 422, a.status, "%s: %s", name, a.body)
		require.Equal(t, "/problems/invalid-input", a.get(t, "type"))
		require.NotEmpty(t, a.get(t, "errors.0.reason"))
	}
}

func TestSealingAtOnceAndAfterACrash(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")
	game, sculpt := someFiles("one")
	opened := vendor.ok("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game, sculpt))
	id := opened.get(t, "delivery.id")
	again := vendor.do("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game))
	require.Equal(t, 409, again.status)
	require.Contains(t, again.get(t, "detail"), "is open: go on with it")

	// A service that died between fencing the uploads and finishing the seal leaves this state behind.
	who, err := ledger.NewLogin(s.db.Pool(ledger.RoleLogin)).Password(t.Context(), vendor.email, password)
	require.NoError(t, err)
	store, err := ledger.NewStore(s.db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	require.NoError(t, store.InTx(t.Context(), who, func(tx *ledger.Tx) error {
		_, err := tx.BeginSeal(t.Context(), uuid.MustParse(id))
		return err
	}))
	require.Equal(t, "sealing", vendor.ok("GET", "/v1/deliveries/"+id, nil).get(t, "state"))
	early := vendor.do("POST", "/v1/deliveries/"+id+"/seal", nil)
	require.Equal(t, 409, early.status)
	planOf(t, vendor.ok("GET", "/v1/deliveries/"+id+"/uploads", nil), "").upload(t, game, sculpt)

	answers := make([]answer, 6)
	var group errgroup.Group
	for i := range answers {
		group.Go(func() error { answers[i] = vendor.do("POST", "/v1/deliveries/"+id+"/seal", nil); return nil })
	}
	require.NoError(t, group.Wait())
	receipts := map[string]bool{}
	for _, a := range answers {
		require.Equal(t, 200, a.status, string(a.body))
		receipts[a.get(t, "receipt.index")] = true
	}
	require.Len(t, receipts, 1, "sealed once")
	queued, _, err := s.worker.Waiting(t.Context())
	require.NoError(t, err)
	require.Equal(t, 1, queued, "queued once")
}

// A seal whose last step is refused is taken back: a milestone that is cancelled between the fence and the seal leaves a delivery that
// can be given up, and one such delivery does not keep the rest of its batch.
func TestASealThatCannotBeFinishedIsTakenBack(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	who, err := ledger.NewLogin(s.db.Pool(ledger.RoleLogin)).Password(t.Context(), vendor.email, password)
	require.NoError(t, err)
	store, err := ledger.NewStore(s.db.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	fence := func(act func(tx *ledger.Tx) error) { require.NoError(t, store.InTx(t.Context(), who, act)) }
	game, sculpt := someFiles("one")

	c := studio.contract(vendor, "lantern_a")
	opened := vendor.ok("POST", "/v1/milestones/"+c.milestones[0]+"/deliveries", manifest(game, sculpt))
	id := opened.get(t, "delivery.id")
	planOf(t, opened, "plan").upload(t, game, sculpt)
	fence(func(tx *ledger.Tx) error { _, err := tx.BeginSeal(t.Context(), uuid.MustParse(id)); return err })
	studio.ok("POST", "/v1/milestones/"+c.milestones[0]+"/cancel", map[string]any{"reason": "not needed any more"})
	require.Equal(t, 409, vendor.do("POST", "/v1/deliveries/"+id+"/seal", nil).status)
	require.Equal(t, "open", vendor.ok("GET", "/v1/deliveries/"+id, nil).get(t, "state"))
	vendor.ok("POST", "/v1/deliveries/"+id+"/abandon", nil)

	d := studio.contract(vendor, "lantern_b")
	var deliveries []any
	for _, milestone := range d.milestones {
		one := manifest(game)
		one["milestone_id"] = milestone
		deliveries = append(deliveries, one)
	}
	batch := vendor.ok("POST", "/v1/work-orders/"+d.order+"/batches", map[string]any{"title": "Friday", "deliveries": deliveries})
	b := batch.get(t, "id")
	byMilestone := map[string]string{}
	for i := range d.milestones {
		one := batch.get(t, fmt.Sprintf("deliveries.%d.id", i))
		byMilestone[batch.get(t, fmt.Sprintf("deliveries.%d.milestone_id", i))] = one
		planOf(t, vendor.ok("GET", "/v1/deliveries/"+one+"/uploads", nil), "").upload(t, game)
	}
	fence(func(tx *ledger.Tx) error { _, err := tx.BeginSealBatch(t.Context(), uuid.MustParse(b)); return err })
	studio.ok("POST", "/v1/milestones/"+d.milestones[0]+"/cancel", map[string]any{"reason": "not needed any more"})
	require.Equal(t, 409, vendor.do("POST", "/v1/batches/"+b+"/seal", nil).status)
	vendor.ok("POST", "/v1/deliveries/"+byMilestone[d.milestones[0]]+"/abandon", nil)
	vendor.ok("POST", "/v1/batches/"+b+"/seal", nil)
	require.Equal(t, "sealed", vendor.ok("GET", "/v1/deliveries/"+byMilestone[d.milestones[1]], nil).get(t, "state"))
}
