package httpapi_test

import (
	"crypto/sha256"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// prop orders one more prop in the order of a contract, without a spec.
func (p *person) prop(c contract, code string) contract {
	t := p.s.t
	t.Helper()
	made := p.ok("POST", "/v1/work-orders/"+c.order+"/props", map[string]any{
		"code": code, "title": "A " + code, "tier": "hero", "price": map[string]any{"amount_minor": 1000, "currency": "EUR"},
		"milestones": []map[string]any{{"kind": "game_mesh", "share_bp": 10_000, "due_on": nil}},
	})
	return contract{project: c.project, order: c.order, prop: made.get(t, "id"), milestones: []string{made.get(t, "milestones.0.id")}}
}

// TestSpecExtendsAnother: kit, lantern, tall lantern; what is in force is the same for the publisher, the vendor, and the
// inspector, and goes on being so when the parents get new revisions.
func TestSpecExtendsAnother(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "kit")
	publish := func(prop, text string) answer { return studio.ok("POST", "/v1/props/"+prop+"/specs", text) }

	kitText := "prop: kit\ntier: hero\nchecks:\n  budget.triangles: {max_triangles: 4321}\n  surface.poke_through: {max_height_px: 7}\n"
	require.Equal(t, "2", publish(c.prop, kitText).get(t, "number"))
	lantern := studio.prop(c, "lantern")
	lanternText := "prop: lantern\nextends: [{spec: kit, revision: 2}]\nchecks:\n  surface.poke_through: {max_height_px: 9}\n"
	publish(lantern.prop, lanternText)
	tall := studio.prop(c, "lantern_tall")
	tallText := "prop: lantern_tall\nextends: [{spec: lantern, digest: " + digest([]byte(lanternText)) + "}]\n"
	published := publish(tall.prop, tallText)
	require.Equal(t, tallText, vendor.ok("GET", "/v1/specs/"+published.get(t, "id"), nil).get(t, "document"), "kept as written")

	// A spec that says the same by itself has the same digest: what is published is what is in force.
	alone := publish(tall.prop, "prop: lantern_tall\ntier: hero\nchecks:\n  budget.triangles: {max_triangles: 4321}\n  surface.poke_through: {max_height_px: 9}\n")
	require.Equal(t, alone.get(t, "digest"), published.get(t, "digest"))
	again := publish(tall.prop, tallText)
	require.Equal(t, published.get(t, "digest"), again.get(t, "digest"))

	explained := func() string {
		of := func(p *person) string {
			return string(p.ok("GET", "/v1/specs/"+again.get(t, "id")+"/explained?milestone=game_mesh", nil).body)
		}
		require.Equal(t, of(studio), of(vendor))
		return of(vendor)
	}
	before := explained()
	require.Contains(t, before, `"value":"4321"`)
	require.Contains(t, before, "parent kit@2 line 4")
	require.Contains(t, before, `"value":"9"`)

	// New revisions of the parents: the child stays as it was published.
	publish(c.prop, "prop: kit\ntier: hero\nchecks:\n  budget.triangles: {max_triangles: 99}\n")
	publish(lantern.prop, "prop: lantern\ntier: hero\n")
	require.Equal(t, before, explained())
	require.Equal(t, published.get(t, "digest"), publish(tall.prop, tallText).get(t, "digest"))

	game, _ := someFiles("one")
	vendor.deliver(tall.milestones[0], game)
	lanternSum := sha256.Sum256([]byte(lanternText))
	job, err := s.worker.Claim(t.Context(), "test")
	require.NoError(t, err)
	for want, ref := range map[string]ledger.SpecRef{
		lanternText: {Code: "lantern", SHA256: lanternSum[:]},
		kitText:     {Code: "kit", Revision: 2},
	} {
		got, err := s.worker.SpecExtended(t.Context(), job, ref)
		require.NoError(t, err)
		require.Equal(t, want, string(got))
	}
	_, err = s.worker.SpecExtended(t.Context(), job, ledger.SpecRef{Code: "kit", Revision: 9})
	require.ErrorIs(t, err, ledger.ErrNotFound)
}

// TestSpecExtendsNothingElsewhere: another order's spec, the same vendor's or not, is refused in the words for one that
// is not there; so is a spec that would come round to itself.
func TestSpecExtendsNothingElsewhere(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	vendor := studio.vendor("Krane", "ole@krane.example")
	c := studio.contract(vendor, "lantern_a")
	studio.contract(vendor, "same_vendor")
	studio.contract(studio.vendor("Hull & Rope", "ida@hull.example"), "other_vendor")
	s.studio("Lock Works", "kai@lock.example").contract(s.logIn("kai@lock.example").vendor("Krane of the lock", "ole2@krane.example"), "other_studio")

	refused := func(ref string) answer {
		a := studio.do("POST", "/v1/props/"+c.prop+"/specs", "prop: lantern_a\ntier: hero\nextends:\n  - "+ref+"\n")
		require.Equal(t, 422, a.status, "%s: %s", ref, a.body)
		require.Equal(t, "/problems/invalid-spec", a.get(t, "type"))
		require.Equal(t, "4", a.get(t, "errors.0.line"), ref)
		require.Equal(t, "5", a.get(t, "errors.0.column"), ref)
		require.Equal(t, "extends[0]", a.get(t, "errors.0.pointer"), ref)
		return a
	}
	for _, code := range []string{"missing", "same_vendor", "other_vendor", "other_studio"} {
		require.Equal(t, fmt.Sprintf("%q cannot be read: this work order has no prop of that code with a spec revision 1", code),
			refused("{spec: "+code+", revision: 1}").get(t, "errors.0.reason"))
		require.Equal(t, fmt.Sprintf("%q cannot be read: this work order has no prop of that code with a spec of that digest", code),
			refused("{spec: "+code+", digest: "+digest(fmt.Appendf(nil, specText, code))+"}").get(t, "errors.0.reason"))
	}
	require.Contains(t, refused("{spec: lantern_a, revision: 2}").get(t, "errors.0.reason"), "no prop of that code with a spec revision 2", "the one being published")
	require.Contains(t, refused("{spec: lantern_a}").get(t, "errors.0.reason"), "not pinned")
	require.Contains(t, refused("{spec: lantern_a, revision: 1, digest: "+digest([]byte("other"))+"}").get(t, "errors.0.reason"), "it has changed")

	// Nothing of the refused is left; its own earlier revision is a parent like any other.
	second := studio.ok("POST", "/v1/props/"+c.prop+"/specs", "prop: lantern_a\nextends: [{spec: lantern_a, revision: 1}]\ntitle: Quay lantern\n")
	require.Equal(t, "2", second.get(t, "number"))
}
