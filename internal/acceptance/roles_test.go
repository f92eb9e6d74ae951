package acceptance

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// TestRolesFromFileNames: what a vendor's usual names tell, without a line of manifest.
func TestRolesFromFileNames(t *testing.T) {
	t.Parallel()
	plain := specFromText(t, "prop: quay_lantern\ntier: hero\n", spec.Final)
	own := specFromText(t, `
prop: quay_lantern
tier: hero
conventions: {packing: {mask: [wear, dirt]}}
sets: [{name: metal}, {name: glass}]
files:
  - {role: game, pattern: "SM_{prop}.glb"}
  - {role: "game.lod{lod}", pattern: "SM_{prop}_L{lod}.glb"}
  - {role: "map.{map}@{set}", pattern: "T_{set}_{map}.*"}
  - {role: map.normal, pattern: "/(?i).*_N\\.png/"}
`, spec.Final)
	rows := []struct {
		sp   *spec.Spec
		file string
		want roleOf
	}{
		{plain, "quay_lantern.glb", roleOf{Role: "game"}},
		{plain, "quay_lantern_game.glb", roleOf{Role: "game"}},
		{plain, "meshes/Quay_Lantern_Game.GLB", roleOf{Role: "game"}},
		{plain, "game.gltf", roleOf{Role: "game"}},
		{plain, "quay_lantern_lod0.glb", roleOf{Role: "game"}},
		{plain, "quay_lantern_lod02.glb", roleOf{Role: "game.lod2"}},
		{plain, "quay_lantern_sculpt.ply", roleOf{Role: "sculpt"}},
		{plain, "quay_lantern_handle_sculpt.obj", roleOf{Role: "sculpt", Part: "handle"}},
		{plain, "quay_lantern_sculpt_handle.obj", roleOf{Role: "sculpt", Part: "handle"}},
		{plain, "quay_lantern_cage.glb", roleOf{Role: "cage"}},
		{plain, "quay_lantern_collision.obj", roleOf{Role: "collision"}},
		{plain, "quay_lantern_base_color.png", roleOf{Role: "map.base_color"}},
		{plain, "quay_lantern_Normal_Baked.TGA", roleOf{Role: "map.normal_baked"}},
		{plain, "maps/quay_lantern_glass_orm.tif", roleOf{Role: "map.orm", Set: "glass"}},
		{plain, "reference/board.png", roleOf{Role: "reference"}},
		{plain, "source/quay_lantern.layers", roleOf{Role: "source.layers"}},
		// Nothing tells what these are.
		{plain, "quay_lantern_nromal.png", roleOf{}},
		{plain, "harbour.glb", roleOf{}},
		{plain, "quay_lantern_sculpt.txt", roleOf{}},
		{plain, "quay_lantern.bin", roleOf{}},
		// A spec's own patterns, tokens and expressions.
		{own, "SM_quay_lantern.glb", roleOf{Role: "game"}},
		{own, "SM_quay_lantern_L1.glb", roleOf{Role: "game.lod1"}},
		{own, "T_Metal_base_color.png", roleOf{Role: "map.base_color", Set: "metal"}},
		{own, "T_glass_mask.tga", roleOf{Role: "map.mask", Set: "glass"}},
		{own, "T_wood_normal.png", roleOf{}},
		{own, "lamp_n.png", roleOf{Role: "map.normal"}},
	}
	for _, r := range rows {
		table, err := newRoleTable(r.sp)
		require.NoError(t, err)
		require.Equal(t, r.want, table.file(r.file), r.file)
	}
}

// TestQuestions: only what names leave open is asked, with what it could be.
func TestQuestions(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: crate\ntier: mid\n", spec.Final)
	dir := writeFolder(t, map[string]any{
		"crate.glb": "x", "crate.obj": "x", "lid.glb": "x", "crate_nromal.png": "x", "readme.txt": "x", ".DS_Store": "x", "crate.bin": "x",
	})
	m, questions, err := Infer(sp, dir)
	require.NoError(t, err)
	roles := map[string]string{}
	for _, f := range m.Files {
		roles[f.Path] = f.Role
	}
	require.Equal(t, map[string]string{"crate.glb": "game", "crate.obj": "other", "lid.glb": "other", "crate_nromal.png": "other",
		"readme.txt": "other", "crate.bin": "other"}, roles)
	var paths []string
	for _, q := range questions {
		paths = append(paths, q.Path)
		require.NotEmpty(t, q.Why)
		german, ok := words.In("de")
		require.True(t, ok)
		require.NotEqual(t, q.Why, q.In(german), "said in the reader's language")
		require.NotEmpty(t, q.Candidates)
	}
	require.ElementsMatch(t, []string{"crate.obj", "lid.glb", "crate_nromal.png"}, paths)
}

// subjectOf builds the subject of a folder.
func subjectOf(t testing.TB, sp *spec.Spec, dir string) (*Subject, []Exempt, []Question) {
	t.Helper()
	m, questions, err := Infer(sp, dir)
	require.NoError(t, err)
	files := filesOf(dir, m, sp)
	ctx := t.Context()
	require.NoError(t, hashFiles(ctx, dir, files, nil, func(float64) {}))
	s, exempted, asked, err := build(ctx, sp, dir, files, 2, func(string, float64) {})
	require.NoError(t, err)
	t.Cleanup(func() { closeScenes(s) })
	return s, exempted, append(questions, asked...)
}

func unitBox(name string, at float32, m *glbwrite.Material) *glbwrite.Node {
	return glbBoxNode(name, [3]float32{at, 0, 0}, [3]float32{at + .1, .1, .1}, m)
}

// triangles by part, for short tables: game, sculpt, floaters, cage.
func trianglesByPart(s *Subject) map[string][4]int {
	out := map[string][4]int{}
	for _, p := range s.Parts {
		out[p.Name] = [4]int{p.Game.Triangles(), p.Sculpt.Triangles(), p.Floaters.Triangles(), p.Cage.Triangles()}
	}
	return out
}

// TestOneFile: LODs, cage and collision in one file, told by node names, also through a group above them.
func TestOneFile(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: crate\ntier: mid\n", spec.Final)
	s, _, questions := subjectOf(t, sp, writeFolder(t, map[string]any{"crate.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
		unitBox("crate_body", 0, nil), unitBox("crate_lid", 1, nil), unitBox("crate_lod1", 2, nil),
		{Name: "lod2", Children: []*glbwrite.Node{unitBox("crate_far", 3, nil)}},
		unitBox("crate_body_cage", 4, nil), unitBox("crate_collision_01", 5, nil), unitBox("crate_collision", 6, nil),
	}}}))
	require.Empty(t, questions)
	require.Len(t, s.LODs, 3)
	require.Equal(t, []int{24, 12, 12}, []int{s.LODs[0].Triangles(), s.LODs[1].Triangles(), s.LODs[2].Triangles()})
	require.Equal(t, 12, s.Cage.Triangles())
	require.Equal(t, 24, s.Hulls.Triangles())
	require.Nil(t, s.Sculpt)
	require.Equal(t, map[string][4]int{"": {24, 0, 0, 12}}, trianglesByPart(s))
}

// TestFilePerPart: game files that name a part in their own name are that part, whatever their nodes are called.
func TestFilePerPart(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: crate\ntier: mid\nparts: [{name: lid}, {name: body}]\n", spec.Final)
	s, _, questions := subjectOf(t, sp, writeFolder(t, map[string]any{
		"crate_lid_game.glb":  glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("mesh", 0, nil), unitBox("body_strap", 0, nil)}},
		"crate_body_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("mesh", 1, nil)}},
	}))
	require.Empty(t, questions)
	require.Equal(t, map[string][4]int{"lid": {24, 0, 0, 0}, "body": {12, 0, 0, 0}}, trianglesByPart(s))
	require.Len(t, s.LODs[0].Files, 2)
}

// TestPairing: sculpt pieces go to parts many to one, by pattern, by file, by node name; what floats is kept apart.
func TestPairing(t *testing.T) {
	t.Parallel()
	game := glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body", 0, nil), unitBox("crate_lid", 1, nil), unitBox("crate_hook", 2, nil)}}
	rows := []struct {
		name, spec string
		files      map[string]any
		want       map[string][4]int
	}{
		{"no parts: everything is the prop's", "", map[string]any{"crate_sculpt.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("any", 0, nil), unitBox("thing", 1, nil)}}},
			map[string][4]int{"": {36, 24, 0, 0}}},
		{"by node name, several to one", "parts: [{name: lid}, {name: body}]\n", map[string]any{"crate_sculpt.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
			unitBox("crate_lid_sculpt", 0, nil), unitBox("crate_lid_strap_sculpt", 0, nil), unitBox("crate_body_sculpt", 1, nil), unitBox("crate_hook_sculpt", 1, nil)}}},
			map[string][4]int{"lid": {12, 24, 0, 0}, "body": {12, 12, 0, 0}, "rest": {12, 12, 0, 0}}},
		{"by the part's own pattern", "parts: [{name: lid, sculpt: ['top*']}, {name: body, match: ['*body*', '*hook*']}]\n", map[string]any{"crate_sculpt.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
			unitBox("top_a", 0, nil), unitBox("top_b", 0, nil), unitBox("crate_body_sculpt", 1, nil)}}},
			map[string][4]int{"lid": {12, 24, 0, 0}, "body": {24, 12, 0, 0}}},
		{"one file per part", "parts: [{name: lid}, {name: body, match: ['*body*', '*hook*']}]\n", map[string]any{
			"crate_lid_sculpt.glb": glbwrite.Single("mesh", glbBox([3]float32{0, 0, 0}, [3]float32{.1, .1, .1}, nil, 1)),
			"crate_sculpt_body.ply": "ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\n" +
				"property list uchar int vertex_indices\nend_header\n0 0 0\n1 0 0\n0 1 0\n3 0 1 2\n"},
			map[string][4]int{"lid": {12, 12, 0, 0}, "body": {24, 1, 0, 0}}},
		{"floaters on the sculpt", "parts: [{name: lid}, {name: body, match: ['*body*', '*hook*']}]\n", map[string]any{"crate_sculpt.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
			unitBox("crate_lid_sculpt", 0, nil), unitBox("crate_lid_bolt_floater.001", 0, nil), unitBox("crate_body_sculpt", 1, nil)}}},
			map[string][4]int{"lid": {12, 12, 12, 0}, "body": {24, 12, 0, 0}}},
		{"a part without a sculpt leaves it to the other", "parts: [{name: lid, sculpt: none}, {name: body, match: ['*body*', '*hook*']}]\n",
			map[string]any{"crate_sculpt.glb": glbwrite.Single("scan", glbBox([3]float32{0, 0, 0}, [3]float32{.1, .1, .1}, nil, 1))},
			map[string][4]int{"lid": {12, 0, 0, 0}, "body": {24, 12, 0, 0}}},
		{"parts that share one", "parts: [{name: lid, sculpt: shared}, {name: body, match: ['*body*', '*hook*'], sculpt: shared}]\n",
			map[string]any{"crate_sculpt.glb": glbwrite.Single("scan", glbBox([3]float32{0, 0, 0}, [3]float32{.1, .1, .1}, nil, 1))},
			map[string][4]int{"lid": {12, 12, 0, 0}, "body": {24, 12, 0, 0}}},
		{"nothing tells whose it is", "parts: [{name: lid}, {name: body, match: ['*body*', '*hook*']}]\n",
			map[string]any{"crate_sculpt.glb": glbwrite.Single("scan", glbBox([3]float32{0, 0, 0}, [3]float32{.1, .1, .1}, nil, 1))},
			map[string][4]int{"lid": {12, 0, 0, 0}, "body": {24, 0, 0, 0}}},
		{"cage by part", "parts: [{name: lid}, {name: body, match: ['*body*', '*hook*']}]\n", map[string]any{"crate_cage.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
			unitBox("crate_lid_cage", 0, nil), unitBox("crate_hook_cage", 1, nil)}}},
			map[string][4]int{"lid": {12, 0, 0, 12}, "body": {24, 0, 0, 12}}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			r.files["crate_game.glb"] = game
			s, _, _ := subjectOf(t, specFromText(t, "prop: crate\ntier: mid\n"+r.spec, spec.Final), writeFolder(t, r.files))
			require.Equal(t, r.want, trianglesByPart(s))
			// A part's surface is its piece of the body: the same places whichever way it is looked at.
			total := 0.0
			for _, p := range s.Parts {
				total += p.AreaShare
				for i, of := range p.Game.Of {
					_, _, ok := boundsOf(&p.Game, p.Game.Of[i:i+1])
					require.True(t, ok, of.NodeName())
				}
			}
			require.InDelta(t, 1, total, 1e-12)
		})
	}
}

// TestAnnotations: the end of a name changes what a node is, who may say so is the spec's word, and every exemption
// shows with the share of the surface that it covers.
func TestAnnotations(t *testing.T) {
	t.Parallel()
	game := writeFolder(t, map[string]any{"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
		unitBox("crate_body", 0, nil), unitBox("crate_bolt_floater_02", 1, nil), unitBox("crate_base_nosculpt", 2, nil),
		{Name: "cords_rope", Children: []*glbwrite.Node{unitBox("crate_cord", 3, nil)}},
	}}})
	kinds := func(s *Subject) map[string]spec.PartKind {
		out := map[string]spec.PartKind{}
		for _, p := range s.Parts {
			out[p.Name] = p.Def.Kind
		}
		return out
	}
	s, exempted, _ := subjectOf(t, specFromText(t, "prop: crate\ntier: mid\n", spec.Final), game)
	require.Equal(t, map[string]spec.PartKind{"": spec.Solid, "floater": spec.Floater, "rope": spec.Rope}, kinds(s))
	require.Equal(t, []saidOf{
		{`part "": asked for by name suffix _nosculpt`, "not applied: the studio has not confirmed it", 0.25},
		{`part "floater": floater`, "by the vendor, name suffix _floater", 0.25},
		{`part "rope": rope`, "by the vendor, name suffix _rope", 0.25},
	}, spoken(exempted))

	// The studio says yes to one, and takes another out of the vendor's hands.
	s, exempted, _ = subjectOf(t, specFromText(t, "prop: crate\ntier: mid\nannotations:\n  - {suffix: _nosculpt, who: ask, confirmed: ['crate_base*']}\n  - {suffix: _floater, who: spec_only}\n", spec.Final), game)
	require.Equal(t, map[string]spec.PartKind{"": spec.Solid, "nosculpt": spec.Solid, "rope": spec.Rope}, kinds(s))
	require.Equal(t, []saidOf{
		{`part "nosculpt": no sculpt`, "by the vendor, name suffix _nosculpt", 0.25},
		{`part "rope": rope`, "by the vendor, name suffix _rope", 0.25},
	}, spoken(exempted))

	// A suffix that says what the spec says already makes no part of its own.
	s, exempted, _ = subjectOf(t, specFromText(t, "prop: crate\ntier: mid\nparts: [{name: rope, kind: rope, match: ['*_rope*', '*cord*']}, {name: body, match: ['*']}]\n", spec.Final), game)
	require.Equal(t, spec.Rope, kinds(s)["rope"])
	require.NotContains(t, kinds(s), "rope_rope")
	require.Equal(t, "by the spec", exempted[0].Reason)

	// A whole prop marked away says so in full.
	_, exempted, _ = subjectOf(t, specFromText(t, "prop: crate\ntier: mid\n", spec.Final),
		writeFolder(t, map[string]any{"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body_floater", 0, nil)}}}))
	require.Equal(t, 1.0, exempted[0].AreaShare)
}

// saidOf is an exemption as a reader sees it.
type saidOf struct {
	what, reason string
	share        float64
}

func spoken(list []Exempt) []saidOf {
	var out []saidOf
	for _, x := range list {
		out = append(out, saidOf{x.What, x.Reason, x.AreaShare})
	}
	return out
}

// TestSets: materials become texture sets, maps find theirs by name, by manifest or by the glTF's own reference.
func TestSets(t *testing.T) {
	t.Parallel()
	metal, glass := &glbwrite.Material{Name: "crate_metal"}, &glbwrite.Material{Name: "crate_glass", BaseColorMap: &glbwrite.Image{URI: "pane.png"}}
	game := glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body", 0, metal), unitBox("crate_pane", 1, glass), unitBox("socket_helper", 2, metal)}}
	type found struct {
		triangles, px int
		from          string
		maps          []string
	}
	rows := []struct {
		name, spec string
		files      map[string]any
		want       map[string]found
		asked      []string
	}{
		{"one for each material", "", map[string]any{"crate_metal_base_color.png": pngOf(t, 64), "pane.png": pngOf(t, 32)},
			map[string]found{
				"crate_metal": {12, 64, "map base_color, crate_metal_base_color.png", []string{"base_color"}},
				"crate_glass": {12, 32, "material crate_glass, base color in crate_game.glb", []string{"base_color"}},
			}, nil},
		{"the spec's own, ship size above what is delivered", "sets: [{name: all, ship_px: 512}]\n", map[string]any{"crate_normal.png": pngOf(t, 64), "pane.png": pngOf(t, 32)},
			map[string]found{"all": {24, 512, "spec ship_px", []string{"base_color", "normal"}}}, nil},
		{"reference map", "sets: [{name: all, reference_map: normal}]\n", map[string]any{"crate_normal.png": pngOf(t, 64), "crate_base_color.png": pngOf(t, 128), "pane.png": pngOf(t, 32)},
			map[string]found{"all": {24, 64, "map normal, crate_normal.png", []string{"base_color", "normal"}}}, nil},
		{"a map that could be either's", "", map[string]any{"crate_normal.png": pngOf(t, 64), "crate_wood_normal.png": pngOf(t, 64)},
			map[string]found{"crate_metal": {12, 0, "", nil}, "crate_glass": {12, 0, "", nil}}, []string{"crate_normal.png", "crate_wood_normal.png"}},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			r.files["crate_game.glb"] = game
			s, _, questions := subjectOf(t, specFromText(t, "prop: crate\ntier: mid\n"+r.spec, spec.Final), writeFolder(t, r.files))
			got := map[string]found{}
			for _, set := range s.Sets {
				got[set.Name] = found{set.Game.Triangles(), set.WidthPx, words.English().Sentence(set.SizeFrom), sortedKeysOrNil(set.Maps)}
			}
			require.Equal(t, r.want, got)
			var asked []string
			for _, q := range questions {
				if filepath.Base(q.Path) != "pane.png" { // bound by the glTF, whatever its name
					asked = append(asked, q.Path)
				}
			}
			require.Equal(t, r.asked, asked)
		})
	}
}

func sortedKeysOrNil(m map[string]*File) []string {
	if len(m) == 0 {
		return nil
	}
	return sortedKeys(m)
}
