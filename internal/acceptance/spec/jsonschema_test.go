package spec

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"
)

// compiled is the spec schema in an independent implementation of JSON Schema 2020-12.
func compiled(t testing.TB) *jsonschema.Schema {
	t.Helper()
	data, err := json.Marshal(JSONSchema(testCatalogue()))
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(data)))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("spec.schema.json", doc))
	s, err := c.Compile("spec.schema.json")
	require.NoError(t, err)
	return s
}

// asJSON is a YAML document as the schema sees it.
func asJSON(t testing.TB, text string) any {
	t.Helper()
	var v any
	require.NoError(t, yaml.Unmarshal([]byte(text), &v))
	data, err := json.Marshal(v)
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(data)))
	require.NoError(t, err)
	return doc
}

// documents on which parser and schema must agree.
var documents = []struct {
	name, text string
	good       bool
}{
	{"smallest", "prop: lantern\ntier: hero\n", true},
	{"nothing at all", "{}\n", true},
	{"a kit without a prop", "conventions: {green: down}\n", true},
	{"everything", everything, true},
	{"unknown key", "prop: lantern\ncolour: red\n", false},
	{"unknown key in conventions", "conventions: {greeen: up}\n", false},
	{"unknown check", "checks: {uv.paddding: {min_px: 2}}\n", false},
	{"unknown limit", "checks: {uv.padding: {min_pixels: 2}}\n", false},
	{"unknown key in a part's checks", "parts: [{name: lid, checks: {uv.padding: {min_pixels: 2}}}]\n", false},
	{"number for a word", "tier: 3\n", false},
	{"number for a text", "prop: 42\n", false},
	{"text for a number", "checks: {uv.padding: {min_px: many}}\n", false},
	{"limit turned off", "checks: {uv.padding: {min_px: off}}\n", true},
	{"negative limit", "checks: {uv.padding: {min_px: -1}}\n", false},
	{"share above one", "checks: {budget.triangles: {low_share: 1.5}}\n", false},
	{"wrong word", "tier: heroic\n", false},
	{"two numbers for a size", "size_mm: [1, 2]\n", false},
	{"size of zero", "size_mm: [1, 2, 0]\n", false},
	{"half a pixel", "sets: [{name: main, ship_px: 0.5}]\n", false},
	{"part without a name", "parts: [{kind: card}]\n", false},
	{"not applicable without a reason", "checks: {uv.padding: {mode: not_applicable}}\n", false},
	{"not applicable with a reason", "checks: {uv.padding: {mode: not_applicable, reason: tiles}}\n", true},
	{"reach as one number", "conventions: {reach_mm: 4}\n", true},
	{"reach with one side", "conventions: {reach_mm: {front: 4}}\n", false},
	{"empty text", "title: ''\n", false},
	{"list for an object", "view: [1]\n", false},
	{"nothing for an object", "view:\n", false},
	{"milestones as a list", "checks: {uv.padding: {from: [maps, final]}}\n", true},
	{"bad digest", "extends: [{spec: kit, digest: abc}]\n", false},
	{"bad suffix", "annotations: [{suffix: floater}]\n", false},
}

const everything = `
spec: proofhouse/spec/1
prop: lantern
title: Quay lantern
tier: hero
extends: [{spec: yard-kit, revision: 3}]
size_mm: [180, 320, 180.5]
conventions:
  unit: m
  up: +Y
  forward: +Z
  green: down
  packing: {orm: [occlusion, roughness, metallic]}
  hug: centred
  look: stylised
  mirror: x
  weld_mm: 0.05
  cage: mesh
  reach_mm: {front: 3, back: 5}
  origin_at: point
  origin_mm: [0, -12.5, 0]
view: {placed: hand, distance_m: 0.6, fov_deg: 45, screen_lines: 2160}
parts:
  - name: glass
    kind: glass
    match: ["*_glass", "/pane_[0-9]+/"]
    open: [below, {plane: [0, 1, 0, 310], tol_mm: 2}]
    two_sided: geometry
    sculpt: none
    reach_mm: 2
    density: 0.5
    may_cross: [any]
    mirror: none
    poses: [closed]
    checks: {surface.poke_through: {max_height_mm: 0.5}}
  - {name: handle, kind: moving, pivot: hinge, sculpt: ["handle*"]}
sets:
  - {name: metal, kind: baked, match: ["metal*"], author_px: 4096, ship_px: 2048, reference_map: normal, green: up, stack: mirrored,
     alpha: none, tiles: [1001, 1002], channels: {mask: [wear, dirt]}, checks: {uv.padding: {min_px: 4}}}
files:
  - {role: game, pattern: "{prop}.glb", needed: true, from: game_mesh}
  - {role: "map.{map}@{set}", pattern: ["{prop}_{set}_{map}.png", "{prop}_{set}_{map}.tga"]}
  - {role: "game.lod{lod}", pattern: "*_lod{lod}", node: true}
annotations:
  - {suffix: _floater, who: ask, kind: floater, confirmed: ["bolt*"]}
checks:
  budget.triangles: {max_triangles: 6000, mode: warns, from: game_mesh}
  names.pattern: {nodes: ["{prop}_{part}_lod{lod}"], case: lower}
`

func TestSchemaAgreesWithParser(t *testing.T) {
	t.Parallel()
	schema := compiled(t)
	for _, d := range documents {
		t.Run(d.name, func(t *testing.T) {
			t.Parallel()
			_, parsed := Parse("spec.yaml", []byte(d.text), testCatalogue())
			validated := schema.Validate(asJSON(t, d.text))
			if d.good {
				require.NoError(t, parsed)
				require.NoError(t, validated)
				return
			}
			require.Error(t, parsed, "the parser must refuse it")
			require.Error(t, validated, "the schema must refuse it")
		})
	}
}

// TestExpressions: what the parser matches with RE2 and the schema with ECMA expressions must be in both languages.
func TestExpressions(t *testing.T) {
	t.Parallel()
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case map[string]any:
			if p, ok := v["pattern"].(string); ok {
				_, err := regexp.Compile(p)
				require.NoError(t, err)
				require.NotContains(t, p, `\z`)
				require.NotContains(t, p, `(?i)`)
				require.NotContains(t, p, `(?P<`)
			}
			for _, sub := range v {
				walk(sub)
			}
		case []any:
			for _, sub := range v {
				walk(sub)
			}
		}
	}
	walk(JSONSchema(testCatalogue()))
}
