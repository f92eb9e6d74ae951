//go:build full

package acceptance

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// Good props, whole: each is what the trade calls correct, annotated as a vendor would, inspected by every check at once, and
// nothing that blocks may be found. Beside it stands the same prop with the real defect, which must be. What is
// correct is common practice, no source.

// texelScale is the suite's texel density: UV a metre. On 1024 texels it is mid-ground's 512 px/m.
const texelScale = 0.5

// packer lays rectangles out in rows, with eight texels of 1024 and a rounding between them.
type packer struct{ rows []packRow }

type packRow struct{ u, v, h float32 }

const packGap = 18.0 / 1024

func (k *packer) place(w, h float32) (u, v float32) {
	for i := range k.rows { // the first row that is high enough and has room
		if r := &k.rows[i]; h <= r.h && r.u+w+packGap <= 1 {
			u, v = r.u, r.v
			r.u += w + packGap
			return u, v
		}
	}
	v = packGap
	if n := len(k.rows); n > 0 {
		v = k.rows[n-1].v + k.rows[n-1].h + packGap
	}
	k.rows = append(k.rows, packRow{u: packGap + w + packGap, v: v, h: h})
	return packGap, v
}

// box is a box with an island of its true size for each side.
func (k *packer) box(lo, hi [3]float32) mesh.Primitive {
	p := boxPrim(0, lo, hi)
	for side := range 6 {
		axis := side / 2
		a, b := (axis+1)%3, (axis+2)%3
		if side%2 == 0 {
			a, b = b, a
		}
		w, h := texelScale*(hi[a]-lo[a]), texelScale*(hi[b]-lo[b])
		u, v := k.place(w, h)
		for c, at := range [4][2]float32{{0, 1}, {1, 1}, {1, 0}, {0, 0}} { // V points down
			p.UV[0][2*(4*side+c)], p.UV[0][2*(4*side+c)+1] = u+at[0]*w, v+at[1]*h
		}
	}
	return p
}

// pane is a square facing front, at z.
func (k *packer) pane(x, y, size, z float32) mesh.Primitive {
	u, v := k.place(texelScale*size, texelScale*size)
	p := quadPrim(0, x, y, x+size, y+size, u, v, u+texelScale*size, v+texelScale*size)
	return shiftBy(p, 0, 0, z)
}

// goodProp is a delivery in the making: nodes of the game mesh, of the sculpt, and what else belongs to it.
type goodProp struct {
	game, sculpt []goodNode
	more         map[string][]goodNode // files by name
	double       bool                  // the material is two-sided
	spec         string
	scale        float32 // of everything; 0 is 1
}

type goodNode struct {
	name  string
	prims []mesh.Primitive
}

// crate is what every prop of the suite begins with: a crate of 600 mm that stands on the ground, and its sculpt a
// millimetre inside it.
func crate(k *packer) *goodProp {
	return &goodProp{
		game:   []goodNode{{"crate_body", []mesh.Primitive{k.box([3]float32{-0.3, 0, -0.3}, [3]float32{0.3, 0.6, 0.3})}}},
		sculpt: []goodNode{{"crate_body_sculpt", []mesh.Primitive{boxPrim(0, [3]float32{-0.299, 0.001, -0.299}, [3]float32{0.299, 0.599, 0.299})}}},
		more:   map[string][]goodNode{},
		spec:   "size_mm: [600, 600, 600]\n",
	}
}

func (g *goodProp) add(name string, prims ...mesh.Primitive) {
	g.game = append(g.game, goodNode{name, prims})
}
func (g *goodProp) addSculpt(name string, prims ...mesh.Primitive) {
	g.sculpt = append(g.sculpt, goodNode{name, prims})
}

// inside is a sculpt of a box a millimetre in.
func inside(lo, hi [3]float32) mesh.Primitive {
	for k := range 3 {
		lo[k] += 0.001
		hi[k] -= 0.001
	}
	return boxPrim(0, lo, hi)
}

func (g *goodProp) scene(nodes []goodNode) glbwrite.Scene {
	m := &glbwrite.Material{Name: "crate", DoubleSided: g.double}
	var s glbwrite.Scene
	for _, n := range nodes {
		p := piecePrim(n.prims...)
		pos := slices.Clone(p.Pos)
		for i := range pos {
			pos[i] *= max(g.scale, 1)
		}
		s.Roots = append(s.Roots, &glbwrite.Node{Name: n.name, Mesh: &glbwrite.Mesh{Name: n.name, Prims: []glbwrite.Prim{{Pos: pos, Nrm: p.Nrm, UV: p.UV[0], Tri: p.Tri, Material: m}}}})
	}
	return s
}

// inspected is everything that every check finds on the delivery at the milestone of the game mesh.
func (g *goodProp) inspected(t testing.TB) *Evidence {
	files := map[string]any{"crate_game.glb": g.scene(g.game), "crate_sculpt.glb": g.scene(g.sculpt)}
	for name, nodes := range g.more {
		files[name] = g.scene(nodes)
	}
	sp := specFromText(t, "prop: crate\ntier: mid\n"+g.spec+"sets: [{name: main, match: [crate], ship_px: 1024}]\n", spec.GameMesh)
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: writeFolder(t, files), Threads: 1})
	require.NoError(t, err)
	return r.Evidence
}

// blocking are the names of the checks that would send the delivery back.
func blocking(e *Evidence) (out []string) {
	for _, f := range e.Findings {
		if f.Blocks && f.FollowsFrom == "" && (f.Outcome == Fail || f.Outcome == NotEvaluated) && !slices.Contains(out, f.Check) {
			out = append(out, f.Check)
		}
	}
	return out
}

// told says whether a check found something, blocking, warning, or only told at this milestone.
func told(e *Evidence, check string) bool {
	return slices.ContainsFunc(e.Findings, func(f Finding) bool { return f.Check == check && broke(f) })
}

func TestWholeGoodProps(t *testing.T) {
	t.Parallel()
	lo, hi := [3]float32{-0.3, 0, -0.3}, [3]float32{0.3, 0.6, 0.3}
	bolt := func(x, y, z float32) ([3]float32, [3]float32) {
		return [3]float32{x, y, z}, [3]float32{x + 0.1, y + 0.1, z + 0.1}
	}
	rows := []struct {
		name   string
		good   func(k *packer) *goodProp
		defect func(k *packer, g *goodProp)
		found  string // the check that must tell the defect
	}{
		{"a plain crate; a lump of sculpt stands out of it", crate, func(_ *packer, g *goodProp) {
			g.addSculpt("crate_body_sculpt2", boxPrim(0, [3]float32{-0.05, 0.2, 0.2}, [3]float32{0.05, 0.3, 0.33}))
		}, "surface.poke_through"},
		{"open below; open in front", func(k *packer) *goodProp {
			g := crate(k)
			g.game[0] = goodNode{"crate_body_open", []mesh.Primitive{without(g.game[0].prims[0], 2)}}
			return g
		}, func(_ *packer, g *goodProp) { g.game[0].prims[0] = without(g.game[0].prims[0], 4) }, "topology.see_through"},
		{"blocks pushed into the body; a wall inside it", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 650, 600]\n"
			for i := range 3 {
				a, b := bolt(-0.2+0.15*float32(i), 0.55, -0.05)
				g.game[0].prims = append(g.game[0].prims, k.box(a, b))
				g.sculpt[0].prims = append(g.sculpt[0].prims, inside(a, b))
			}
			return g
		}, func(k *packer, g *goodProp) {
			fin := k.pane(0, 0, 0.3, 0)
			fin.Pos = []float32{-0.3, 0, -0.3, 0, 0, 0, 0, 0.6, 0, -0.3, 0.6, -0.3}
			g.game[0].prims = append(g.game[0].prims, fin)
		}, "topology.nonmanifold"},
		{"two crates that touch along an edge; the same crate twice", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 900, 600]\n"
			a, b := [3]float32{-0.3, 0.6, 0.0}, [3]float32{0.0, 0.9, 0.3}
			g.game[0].prims = append(g.game[0].prims, k.box(a, b))
			g.sculpt[0].prims = append(g.sculpt[0].prims, inside(a, b))
			return g
		}, func(_ *packer, g *goodProp) { g.game[0].prims = append(g.game[0].prims, g.game[0].prims[0]) }, "topology.duplicate"},
		{"a sheet on a two-sided material; the same one-sided", func(k *packer) *goodProp {
			g := crate(k)
			g.double, g.spec = true, "size_mm: [600, 1000, 600]\nparts:\n  - {name: flag, match: [\"crate_flag*\"], kind: sheet, sculpt: none}\n"
			g.add("crate_flag_sheet", k.pane(-0.2, 0.6, 0.4, 0))
			return g
		}, func(_ *packer, g *goodProp) { g.double = false }, "topology.see_through"},
		{"a floater on the game mesh; the same in the plane of the wall", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 600, 604]\nchecks: {scene.origin: {mode: warns}}\nparts:\n  - {name: plate, match: [\"crate_plate*\"], kind: floater, sculpt: none}\n"
			g.add("crate_plate_floater", k.pane(-0.1, 0.2, 0.2, 0.304))
			return g
		}, func(k *packer, g *goodProp) {
			g.game[1] = goodNode{"crate_plate", []mesh.Primitive{k.pane(-0.1, 0.2, 0.2, 0.3)}}
			g.spec = "size_mm: [600, 600, 600]\n"
		}, "topology.z_fighting"},
		{"floaters on the sculpt; the same not said to be any", func(k *packer) *goodProp {
			g := crate(k)
			g.addSculpt("crate_body_floater", boxPrim(0, [3]float32{-0.05, 0.2, 0.305}, [3]float32{0.05, 0.3, 0.32}))
			return g
		}, func(_ *packer, g *goodProp) { g.sculpt[1].name = "crate_body_detail" }, "surface.poke_through"},
		{"a bottle with an inner shell; its outer shell inside out", func(k *packer) *goodProp {
			g := crate(k)
			g.game[0].prims = append(g.game[0].prims, turned(k.box([3]float32{-0.15, 0.15, -0.15}, [3]float32{0.15, 0.45, 0.15})))
			g.spec += "checks: {topology.hidden: {mode: warns}}\n"
			return g
		}, func(_ *packer, g *goodProp) { g.game[0].prims[0] = turned(g.game[0].prims[0]) }, "topology.winding"},
		{"contents behind glass; the same behind a wall", func(k *packer) *goodProp {
			g := crate(k)
			g.game[0].name, g.spec = "crate_pane_glass", "size_mm: [600, 600, 600]\nparts:\n  - {name: pane, match: [\"crate_pane*\"], kind: glass, sculpt: none}\n  - {name: lamp, match: [\"crate_lamp*\"]}\n"
			a, b := [3]float32{-0.15, 0.15, -0.15}, [3]float32{0.15, 0.45, 0.15}
			g.add("crate_lamp", k.box(a, b))
			g.sculpt = []goodNode{{"crate_lamp_sculpt", []mesh.Primitive{inside(a, b)}}}
			return g
		}, func(_ *packer, g *goodProp) {
			g.spec = strings.Replace(g.spec, "kind: glass", "kind: solid", 1)
			g.game[0].name = "crate_pane"
		}, "topology.hidden"},
		{"blocks stacked on one island; half over each other", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 650, 600]\n"
			a, b := bolt(-0.2, 0.55, -0.05)
			first := k.box(a, b)
			g.game[0].prims = append(g.game[0].prims, first, shiftBy(first, 0.2, 0, 0))
			g.sculpt[0].prims = append(g.sculpt[0].prims, inside(a, b), shiftBy(inside(a, b), 0.2, 0, 0))
			return g
		}, func(_ *packer, g *goodProp) {
			p := g.game[0].prims[2]
			p.UV = [][]float32{slices.Clone(p.UV[0])}
			for i := 0; i < len(p.UV[0]); i += 2 {
				p.UV[0][i] += 0.02
			}
			g.game[0].prims[2] = p
		}, "uv.overlap"},
		{"an island laid one whole tile aside; one that leaves the tile", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 650, 600]\n"
			a, b := bolt(-0.2, 0.55, -0.05)
			first := k.box(a, b)
			aside := shiftBy(first, 0.2, 0, 0)
			aside.UV = [][]float32{slices.Clone(first.UV[0])}
			for i := 0; i < len(aside.UV[0]); i += 2 {
				aside.UV[0][i]++
			}
			g.game[0].prims = append(g.game[0].prims, first, aside)
			g.sculpt[0].prims = append(g.sculpt[0].prims, inside(a, b), shiftBy(inside(a, b), 0.2, 0, 0))
			return g
		}, func(_ *packer, g *goodProp) {
			p := g.game[0].prims[2]
			for i := 0; i < len(p.UV[0]); i += 2 {
				p.UV[0][i] += 0.985 - p.UV[0][0] // across the border
			}
		}, "uv.range"},
		{"helpers with an editor's names; a shipped node with one", func(k *packer) *goodProp {
			g := crate(k)
			g.spec += "parts:\n  - {name: socket, match: [\"Cube.*\"], kind: helper, sculpt: none}\n  - {name: body}\n"
			g.add("Cube.001", shiftBy(k.pane(0, 0.2, 0.05, 0), 0, 0, 0))
			return g
		}, func(_ *packer, g *goodProp) { g.game[0].name = "Cylinder.003" }, "names.default"},
		{"two LODs of one outline; the second larger than the first", func(k *packer) *goodProp {
			g := crate(k)
			a, b := bolt(-0.05, 0.45, -0.05)
			g.game[0].prims = append(g.game[0].prims, k.box(a, b))
			g.sculpt[0].prims = append(g.sculpt[0].prims, inside(a, b))
			g.more["crate_lod1.glb"] = []goodNode{{"crate_body_lod1", g.game[0].prims[:1]}}
			return g
		}, func(k *packer, g *goodProp) {
			g.more["crate_lod1.glb"] = []goodNode{{"crate_body_lod1", append(slices.Clone(g.game[0].prims), g.game[0].prims[0], g.game[0].prims[0])}}
		}, "lod.steps"},
		{"a convex body to bump into; one with a notch", func(k *packer) *goodProp {
			g := crate(k)
			g.more["crate_collision.glb"] = []goodNode{{"crate_collision_1", []mesh.Primitive{boxPrim(0, lo, hi)}}}
			return g
		}, func(_ *packer, g *goodProp) {
			p := boxPrim(0, lo, hi)
			for i := 0; i < len(p.Pos); i += 3 { // one corner pushed in
				if p.Pos[i] > 0 && p.Pos[i+1] > 0.5 && p.Pos[i+2] > 0 {
					p.Pos[i], p.Pos[i+1], p.Pos[i+2] = 0, 0.3, 0
				}
			}
			g.more["crate_collision.glb"][0].prims[0] = p
		}, "collision.convex"},
		{"metres; centimetres", crate, func(_ *packer, g *goodProp) { g.scale = 100 }, "scene.size"},
		{"a rope without a sculpt; the body without one", func(k *packer) *goodProp {
			g := crate(k)
			g.spec = "size_mm: [600, 700, 600]\nparts:\n  - {name: rope, match: [\"crate_line*\"], kind: rope, sculpt: none}\n  - {name: body}\n"
			g.add("crate_line_rope", k.box([3]float32{-0.02, 0.6, -0.02}, [3]float32{0.02, 0.7, 0.02}))
			return g
		}, func(_ *packer, g *goodProp) {
			g.sculpt[0].name, g.sculpt[0].prims = "crate_other_sculpt", []mesh.Primitive{boxPrim(0, [3]float32{2, 0, 0}, [3]float32{3, 1, 1})}
		}, "surface.cage_reach"},
		{"a trim sheet, used beyond its border; a baked set that is", func(k *packer) *goodProp {
			g := crate(k)
			g.spec += "checks: {uv.texel_density: {mode: warns}}\n"
			g.game[0].prims[0].UV = [][]float32{slices.Clone(g.game[0].prims[0].UV[0])}
			return g
		}, func(_ *packer, g *goodProp) {
			uv := g.game[0].prims[0].UV[0]
			for i := range uv {
				uv[i] *= 1.9
			}
		}, "uv.range"},
	}
	good, found := 0, 0
	for _, row := range rows {
		k := &packer{}
		g := row.good(k)
		e := g.inspected(t)
		if wrong := blocking(e); len(wrong) == 0 {
			good++
		} else {
			t.Errorf("%s: the good prop is sent back by %v: %s", row.name, wrong, sentences(e, wrong))
		}
		if told(e, row.found) && row.found != "topology.hidden" {
			t.Errorf("%s: the good prop is told of %s: %s", row.name, row.found, sentences(e, []string{row.found}))
		}
		row.defect(k, g)
		if e := g.inspected(t); told(e, row.found) {
			found++
		} else {
			t.Errorf("%s: %s does not find the defect: %s", row.name, row.found, sentences(e, []string{row.found}))
		}
	}
	t.Logf("good props: %d of %d pass every check; defects beside them: %d of %d found", good, len(rows), found, len(rows))
}

// sentences are what the named checks say.
func sentences(e *Evidence, checks []string) string {
	var out []string
	for _, f := range e.Findings {
		if slices.Contains(checks, f.Check) {
			out = append(out, fmt.Sprintf("[%s %s %s] %s", f.Check, f.Part+f.Set, f.Outcome, f.Sentence))
		}
	}
	return strings.Join(out, " ")
}
