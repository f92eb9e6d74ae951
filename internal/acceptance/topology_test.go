package acceptance

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// piecePrim joins primitives into one, each piece with vertices of its own.
func piecePrim(pieces ...mesh.Primitive) mesh.Primitive {
	out := mesh.Primitive{Mode: 4, Material: pieces[0].Material, UV: [][]float32{nil}}
	for _, p := range pieces {
		first := uint32(len(out.Pos) / 3)
		out.Pos, out.Nrm, out.UV[0] = append(out.Pos, p.Pos...), append(out.Nrm, p.Nrm...), append(out.UV[0], p.UV[0]...)
		for _, v := range p.Tri {
			out.Tri = append(out.Tri, first+v)
		}
	}
	return out
}

// without takes sides out of a box of boxPrim: 0 −X, 1 +X, 2 −Y, 3 +Y, 4 −Z, 5 +Z.
func without(p mesh.Primitive, sides ...int) mesh.Primitive {
	var tri []uint32
	for t := 0; t < len(p.Tri)/3; t++ {
		keep := true
		for _, s := range sides {
			keep = keep && t/2 != s
		}
		if keep {
			tri = append(tri, p.Tri[3*t:3*t+3]...)
		}
	}
	p.Tri = tri
	return p
}

// turned turns all faces round.
func turned(p mesh.Primitive) mesh.Primitive {
	p.Tri = append([]uint32(nil), p.Tri...)
	for t := 0; t < len(p.Tri); t += 3 {
		p.Tri[t+1], p.Tri[t+2] = p.Tri[t+2], p.Tri[t+1]
	}
	p.Nrm = append([]float32(nil), p.Nrm...)
	for i := range p.Nrm {
		p.Nrm[i] = -p.Nrm[i]
	}
	return p
}

func shiftBy(p mesh.Primitive, x, y, z float32) mesh.Primitive {
	p.Pos = append([]float32(nil), p.Pos...)
	for i := 0; i < len(p.Pos); i += 3 {
		p.Pos[i], p.Pos[i+1], p.Pos[i+2] = p.Pos[i]+x, p.Pos[i+1]+y, p.Pos[i+2]+z
	}
	return p
}

func unitCube() mesh.Primitive { return boxPrim(0, [3]float32{}, [3]float32{1, 1, 1}) }

// part says what a prop of one or two nodes is made of.
type madePart struct {
	name  string
	def   spec.Part
	prims []mesh.Primitive
}

// propOf is a prop of parts, each one node, on one material.
func propOf(t tester, sp *spec.Spec, material mesh.Material, parts ...madePart) *Subject {
	t.Helper()
	b := newProp("crate_a.glb")
	b.material("wood", 0)
	none := mesh.TexRef{Image: -1}
	material.Name, material.BaseTex, material.Normal, material.MetalRough, material.Occlusion, material.Emissive = "wood", none, none, none, none, none
	b.scene.Materials[0] = material
	for _, p := range parts {
		b.node(p.name, identity16, piecePrim(p.prims...))
	}
	s := b.subject(t, sp)
	s.Parts = nil
	for i, p := range parts {
		if p.def.Density == 0 {
			p.def.Density = 1
		}
		if p.def.Kind == "" {
			p.def.Kind = spec.Solid
		}
		s.Parts = append(s.Parts, b.part(p.name, p.def, b.scene.Draws[i:i+1]))
	}
	return s
}

// Each row of what is legitimate and what is not: the same prop annotated as a vendor would passes, and beside it the defect is found.
func TestTopologyLegitimateBesideDefect(t *testing.T) {
	t.Parallel()
	one := func(def spec.Part, prims ...mesh.Primitive) []madePart {
		return []madePart{{name: "body", def: def, prims: prims}}
	}
	solid, plain, both := spec.Part{}, mesh.Material{}, mesh.Material{DoubleSided: true}
	cube := unitCube()
	pane := func() mesh.Primitive { return quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1) }
	for _, c := range []struct {
		name     string
		check    string
		material mesh.Material
		parts    []madePart
		want     Outcome
		metrics  map[string]float64
	}{
		{"open bottom, declared", "topology.open_edges", plain, one(spec.Part{Open: []string{"below"}}, without(cube, 2)), Pass, map[string]float64{"loops": 1, "count": 4, "unplanned_loops": 0, "length_mm": 4000}},
		{"open bottom, not declared", "topology.open_edges", plain, one(solid, without(cube, 2)), Warn, map[string]float64{"unplanned_loops": 1}},
		{"open bottom declared, open front not", "topology.open_edges", plain, one(spec.Part{Open: []string{"below"}}, without(cube, 2, 5)), Warn, map[string]float64{"loops": 1}},
		{"open back of a wall piece", "topology.open_edges", plain, one(spec.Part{Open: []string{"back"}}, without(cube, 4)), Pass, nil},
		{"kit ends", "topology.open_edges", plain, one(spec.Part{Open: []string{"ends"}}, without(boxPrim(0, [3]float32{}, [3]float32{4, 1, 1}), 0, 1)), Pass, map[string]float64{"loops": 2}},
		{"kit ends, one more open", "topology.open_edges", plain, one(spec.Part{Open: []string{"ends"}}, without(boxPrim(0, [3]float32{}, [3]float32{4, 1, 1}), 0, 3)), Warn, nil},
		{"a plane of the spec", "topology.open_edges", plain, one(spec.Part{OpenAt: []spec.Plane{{Normal: [3]float64{1, 0, 0}, OffsetMM: 1000, TolMM: 1}}}, without(cube, 1)), Pass, nil},
		{"another plane", "topology.open_edges", plain, one(spec.Part{OpenAt: []spec.Plane{{Normal: [3]float64{1, 0, 0}, OffsetMM: 998, TolMM: 1}}}, without(cube, 1)), Warn, nil},
		{"a bolt without a back pushed into a body", "topology.open_edges", plain, one(solid, cube, without(boxPrim(0, [3]float32{0.4, 0.4, 0.5}, [3]float32{0.6, 0.6, 1.1}), 4)), Pass, map[string]float64{"buried_loops": 1}},
		{"a sheet", "topology.open_edges", both, one(spec.Part{Kind: spec.Sheet}, pane()), NotApplicable, nil},
		{"the same sheet, not said", "topology.open_edges", both, one(solid, pane()), Warn, nil},

		{"open bottom on the ground is not seen", "topology.see_through", plain, one(spec.Part{Open: []string{"below"}}, without(cube, 2)), Pass, map[string]float64{"pixels": 0}},
		{"open front is", "topology.see_through", plain, one(spec.Part{Open: []string{"below"}}, without(cube, 5)), Fail, nil},
		{"open front of a two-sided material", "topology.see_through", both, one(solid, without(cube, 5)), Pass, nil},
		{"open front, two-sided by the spec's word", "topology.see_through", plain, one(spec.Part{TwoSided: "material"}, without(cube, 5)), Pass, nil},
		{"a single-sided sheet seen from behind", "topology.see_through", plain, one(spec.Part{Kind: spec.Sheet}, pane()), Fail, nil},
		{"a two-sided sheet", "topology.see_through", both, one(spec.Part{Kind: spec.Sheet}, pane()), Pass, nil},
		{"a sheet with a side of geometry each", "topology.see_through", plain, one(spec.Part{Kind: spec.Sheet, TwoSided: "geometry"}, pane(), turned(pane())), Pass, nil},
		{"inside out", "topology.see_through", plain, one(solid, turned(cube)), Fail, nil},
		{"a card", "topology.see_through", plain, one(spec.Part{Kind: spec.Card}, pane()), NotApplicable, nil},
		{"open bottom, held in the hand", "topology.see_through", plain, one(solid, without(cube, 2)), Pass, nil}, // see TestSeeThroughByPlace

		{"pieces pushed into a body", "topology.self_intersection", plain, one(solid, cube, shiftBy(cube, 0.4, 0.3, 0.2)), Pass, map[string]float64{"within_shell": 0}},
		{"resting on it", "topology.self_intersection", plain, one(solid, cube, shiftBy(cube, 0.2, 1, 0.3)), Pass, map[string]float64{"count": 0}},

		{"layers a tenth of a millimetre apart are told by background's depth", "topology.z_fighting", plain, one(solid, cube, quadAt(0.2, 0.8, 1.0001)), Fail, nil},
		{"layers five millimetres apart", "topology.z_fighting", plain, one(solid, cube, quadAt(0.2, 0.8, 1.005)), Pass, map[string]float64{"pixels": 0}},
		{"in one plane", "topology.z_fighting", plain, one(solid, cube, quadAt(0.2, 0.8, 1)), Fail, nil},
		{"in one plane, inside another piece", "topology.z_fighting", plain, one(solid, cube, quadAt(0.2, 0.8, 1), boxPrim(0, [3]float32{0.1, 0.1, 0.5}, [3]float32{0.9, 0.9, 1.5})), Pass, nil},
		{"back to back", "topology.z_fighting", plain, one(solid, cube, shiftBy(cube, 0, 0, 1)), Pass, nil},
		{"a decal", "topology.z_fighting", plain, []madePart{{"body", solid, []mesh.Primitive{cube}}, {"sign", spec.Part{Kind: spec.Decal}, []mesh.Primitive{quadAt(0.2, 0.8, 1.0001)}}}, NotApplicable, nil},
		{"a floater at three millimetres", "topology.z_fighting", plain, []madePart{{"body", solid, []mesh.Primitive{cube}}, {"bolt", spec.Part{Kind: spec.Floater}, []mesh.Primitive{quadAt(0.2, 0.8, 1.003)}}}, Pass, map[string]float64{}},
		{"a floater that nearly lies on it", "topology.z_fighting", plain, []madePart{{"body", solid, []mesh.Primitive{cube}}, {"bolt", spec.Part{Kind: spec.Floater}, []mesh.Primitive{quadAt(0.2, 0.8, 1.0015)}}}, Warn, nil},
		{"a floater too far out", "topology.z_fighting", plain, []madePart{{"body", solid, []mesh.Primitive{cube}}, {"bolt", spec.Part{Kind: spec.Floater}, []mesh.Primitive{quadAt(0.2, 0.8, 1.05)}}}, Warn, nil},

		{"boxes that touch along an edge", "topology.nonmanifold", plain, one(solid, cube, shiftBy(cube, 1, 1, 0)), Pass, map[string]float64{"count": 0, "touching_edges": 1}},
		{"boxes that touch at a corner", "topology.nonmanifold", plain, one(solid, cube, shiftBy(cube, 1, 1, 1)), Pass, map[string]float64{"bowtie_vertices": 0, "touching_vertices": 1}},
		{"a wall inside a box", "topology.nonmanifold", plain, one(solid, cube, finOn(cube)), Fail, map[string]float64{"count": 1}},

		{"doubled sheets, said", "topology.duplicate", plain, one(spec.Part{Kind: spec.Sheet, TwoSided: "geometry"}, pane(), turned(pane())), Pass, map[string]float64{"count": 0}},
		{"doubled sheets, not said", "topology.duplicate", plain, one(spec.Part{Kind: spec.Sheet}, pane(), turned(pane())), Warn, map[string]float64{"count": 2}},
		{"doubled and two-sided: drawn twice", "topology.duplicate", both, one(spec.Part{Kind: spec.Sheet, TwoSided: "geometry"}, pane(), turned(pane())), Fail, map[string]float64{"count": 2}},
		{"boxes face to face", "topology.duplicate", plain, one(solid, cube, shiftBy(cube, 1, 0, 0)), Pass, map[string]float64{"count": 0}},
		{"a face laid on a box from inside", "topology.duplicate", plain, one(solid, cube, turned(quadAt(0, 1, 1))), Warn, map[string]float64{"count": 2, "touching": 0}},
		{"the same box twice", "topology.duplicate", plain, one(solid, cube, cube), Fail, map[string]float64{"count": 12}},
		{"doubled sheets tie nothing", "topology.nonmanifold", plain, one(spec.Part{Kind: spec.Sheet, TwoSided: "geometry"}, pane(), turned(pane())), Pass, map[string]float64{"count": 0}},

		{"inside out is found", "topology.winding", plain, one(solid, turned(cube)), Fail, map[string]float64{"inverted_shells": 1, "count": 0}},
		{"a bottle's inner shell", "topology.winding", plain, one(solid, cube, turned(boxPrim(0, [3]float32{0.1, 0.1, 0.1}, [3]float32{0.9, 0.9, 0.9}))), Pass, nil},
		{"a bottle's inner shell the other way", "topology.winding", plain, one(solid, cube, boxPrim(0, [3]float32{0.1, 0.1, 0.1}, [3]float32{0.9, 0.9, 0.9})), Pass, nil},
		{"an interior faces inward", "topology.winding", plain, one(spec.Part{Kind: spec.Interior}, turned(cube)), NotApplicable, nil},
		{"a doubled sheet has no inside", "topology.winding", plain, one(solid, pane(), turned(pane())), Pass, nil},

		{"contents behind glass", "topology.hidden", plain, []madePart{{"contents", solid, []mesh.Primitive{boxPrim(0, [3]float32{0.2, 0.2, 0.2}, [3]float32{0.8, 0.8, 0.8})}}, {"pane", spec.Part{Kind: spec.Glass}, []mesh.Primitive{cube}}}, Pass, map[string]float64{"count": 0}},
		{"contents behind walls", "topology.hidden", plain, []madePart{{"contents", solid, []mesh.Primitive{boxPrim(0, [3]float32{0.2, 0.2, 0.2}, [3]float32{0.8, 0.8, 0.8})}}, {"walls", solid, []mesh.Primitive{cube}}}, Warn, map[string]float64{"count": 12}},
		{"a drawer that opens", "topology.hidden", plain, []madePart{{"drawer", spec.Part{Kind: spec.Moving}, []mesh.Primitive{boxPrim(0, [3]float32{0.2, 0.2, 0.2}, [3]float32{0.8, 0.8, 0.8})}}, {"walls", solid, []mesh.Primitive{cube}}}, Pass, map[string]float64{"count": 0}},
		{"an interior", "topology.hidden", plain, []madePart{{"inside", spec.Part{Kind: spec.Interior}, []mesh.Primitive{boxPrim(0, [3]float32{0.2, 0.2, 0.2}, [3]float32{0.8, 0.8, 0.8})}}, {"walls", solid, []mesh.Primitive{cube}}}, NotApplicable, nil},
		{"the underside of what stands", "topology.hidden", plain, one(solid, cube), Pass, map[string]float64{"underside_share": 1.0 / 6, "count": 0}},

		{"long planks", "topology.slivers", plain, one(solid, boxPrim(0, [3]float32{}, [3]float32{4, 0.01, 0.01})), Pass, map[string]float64{"count": 0}},
		{"planks thinner than a pixel", "topology.slivers", plain, one(solid, boxPrim(0, [3]float32{}, [3]float32{4, 0.002, 0.002})), Warn, map[string]float64{"thin_share": 1}},
		{"a flat wall of two triangles", "topology.evenness", plain, one(solid, cube), Pass, map[string]float64{"p95_area_ratio": 1, "curved_share": 0}},
		{"hard edges are no reason to join", "topology.loose", plain, one(solid, cube), Pass, map[string]float64{"unjoined_vertices": 0}},
	} {
		s := propOf(t, specOf(t, spec.MidGround, ""), c.material, c.parts...)
		if c.name == "open bottom, held in the hand" {
			continue
		}
		all := runCheck(t, s, c.check)
		f := all[0]
		if len(c.parts) > 1 && (c.check == "topology.z_fighting") { // the part in question is the second
			f = all[1]
		}
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		for k, v := range c.metrics {
			require.InDelta(t, v, f.Metrics[k], 1e-6, "%s: %s: %s", c.name, k, f.Sentence)
		}
		if c.want == Fail || c.want == Warn {
			require.NotEmpty(t, f.Where, c.name)
		}
	}
}

// quadAt is a square in the plane z, from lo to hi in x and y.
func quadAt(lo, hi, z float32) mesh.Primitive {
	return shiftBy(quadPrim(0, lo, lo, hi, hi, 0, 0, 1, 1), 0, 0, z)
}

// finOn is a face inside the unit cube along one of its upright edges and across to the middle.
func finOn(mesh.Primitive) mesh.Primitive {
	p := quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1)
	p.Pos = []float32{0, 0, 0, 0.5, 0, 0.5, 0.5, 1, 0.5, 0, 1, 0}
	return p
}

// What is a hole depends on where the camera may be.
func TestSeeThroughByPlace(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		placed string
		open   int
		hole   bool
	}{
		{"ground", 2, false}, {"ground", 3, true}, {"ground", 4, true},
		{"wall", 4, false}, {"wall", 5, true}, {"ceiling", 3, false}, {"ceiling", 2, true},
		{"hand", 2, true}, {"free", 4, true},
	} {
		s := propOf(t, specOf(t, spec.Hero, "view: {placed: "+c.placed+"}"), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{without(unitCube(), c.open)}})
		f := run1(t, s, "topology.see_through")
		require.Equal(t, c.hole, f.Outcome == Fail, "%s without side %d: %s", c.placed, c.open, f.Sentence)
		if c.hole {
			// One looks through at most the opening, a square metre, at the tier's pixels.
			px := s.Spec.View.PixelMM()
			require.Less(t, f.Metrics["pixels"], 1.8*1e6/(px*px))
			require.Greater(t, f.Metrics["pixels"], 0.3*1e6/(px*px))
		}
	}
}

// A hole of a few millimetres shows at a hero prop, less than one pixel does not, and a grating through which one sees the
// other side is none.
func TestSmallHoles(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		mm   float64
		want Outcome
	}{{3, Fail}, {1.5, Fail}, {0.3, Pass}} {
		hole := float32(c.mm / 1000)
		front := holed(hole)
		s := propOf(t, specOf(t, spec.Hero, ""), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{without(unitCube(), 5), front}})
		f := run1(t, s, "topology.see_through")
		require.Equal(t, c.want, f.Outcome, "%v mm: %s %v", c.mm, f.Sentence, f.Metrics)
	}
}

// A lid that rounding alone parts from its box leaves open edges, which are told, and no hole.
func TestCrackIsNoHole(t *testing.T) {
	t.Parallel()
	e := float32(0.009)
	box := boxPrim(0, [3]float32{1 - e, 1 - e, 1 - e}, [3]float32{1 + e, 1 + e, 1 + e})
	lid := without(shiftBy(box, 0, 1e-7, 0), 0, 1, 2, 4, 5)
	s := propOf(t, specOf(t, spec.Hero, ""), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{unitCube(), without(box, 3), lid}})
	require.Equal(t, 2.0, run1(t, s, "topology.open_edges").Metrics["loops"])
	require.Equal(t, Pass, run1(t, s, "topology.see_through").Outcome)
	s = propOf(t, specOf(t, spec.Hero, ""), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{unitCube(), without(box, 3)}})
	require.Equal(t, Fail, run1(t, s, "topology.see_through").Outcome, "without the lid")
}

// holed is the front of the unit cube, at z = 1, with a square hole of the given edge (metres) in its middle.
func holed(edge float32) mesh.Primitive {
	lo, hi := 0.5-edge/2, 0.5+edge/2
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	for _, q := range [8][2]float32{{0, 0}, {1, 0}, {1, 1}, {0, 1}, {lo, lo}, {hi, lo}, {hi, hi}, {lo, hi}} {
		p.Pos = append(p.Pos, q[0], q[1], 1)
		p.Nrm = append(p.Nrm, 0, 0, 1)
		p.UV[0] = append(p.UV[0], q[0], q[1])
	}
	for i := range uint32(4) {
		j := (i + 1) % 4
		p.Tri = append(p.Tri, i, j, 4+j, i, 4+j, 4+i)
	}
	return p
}

// Further LODs are looked at as a whole, and parts that do not count are left out there too.
func TestTopologyOfLODs(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	b.material("wood", 0)
	b.node("crate_body", identity16, unitCube())
	b.node("crate_cloth", identity16, quadPrim(0, 2, 0, 3, 1, 0, 0, 1, 1))
	lod := newProp("crate_a_lod1.glb")
	lod.material("wood", 0)
	broken := unitCube()
	broken.Tri[2] = broken.Tri[1]
	lod.node("crate_body_lod1", identity16, broken)
	lod.node("crate_cloth_lod1", identity16, quadPrim(0, 2, 0, 3, 1, 0, 0, 1, 1))
	s := b.subject(t, specOf(t, spec.MidGround, ""))
	s.Parts = []*Part{b.part("body", spec.Part{Kind: spec.Solid}, b.scene.Draws[:1]), b.part("cloth", spec.Part{Kind: spec.Sheet}, b.scene.Draws[1:])}
	s.LODs = append(s.LODs, &Body{Surface: mesh.Flatten(lod.scene, lod.scene.Draws)})
	f := runCheck(t, s, "topology.degenerate")
	require.Len(t, f, 3)
	require.Equal(t, []Outcome{Pass, Pass, Fail}, []Outcome{f[0].Outcome, f[1].Outcome, f[2].Outcome})
	require.Equal(t, 1, *f[2].LOD)
	require.Equal(t, "crate_body_lod1", f[2].Where[0].Node)
	f = runCheck(t, s, "topology.open_edges")
	require.Len(t, f, 3)
	require.Equal(t, 1.0, f[2].Metrics["loops"], "the hole in the body; the cloth is open by nature")
	require.Equal(t, Warn, f[2].Outcome)
}

// Joints of strips have no area and are no fault; in a list they are.
func TestStripJoints(t *testing.T) {
	t.Parallel()
	for mode, want := range map[int]Outcome{5: Pass, 4: Fail} {
		p := quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1)
		p.Mode, p.Tri = mode, append(p.Tri, 2, 3, 3)
		s := propOf(t, specOf(t, spec.MidGround, ""), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{p}})
		s.LODs[0].Of[0].Scene.Prims[0].Mode = mode
		require.Equal(t, want, run1(t, s, "topology.degenerate").Outcome, "mode %d", mode)
	}
}

// An .obj file says by its numbers what is joined: boxes that share two of them tie, boxes that lie at the same places do not.
func TestTopologyTrustsOBJ(t *testing.T) {
	t.Parallel()
	weld := func(share bool) mesh.Primitive {
		p := piecePrim(unitCube(), shiftBy(unitCube(), 1, 1, 0))
		seen := map[[4]float32]uint32{}
		for v := 0; v < len(p.Pos); v += 3 {
			key := [4]float32{p.Pos[v], p.Pos[v+1], p.Pos[v+2], 0}
			if !share && v >= 72 {
				key[3] = 1
			}
			if _, ok := seen[key]; !ok {
				seen[key] = uint32(len(seen))
			}
			p.Place = append(p.Place, seen[key])
		}
		return p
	}
	for share, want := range map[bool]float64{true: 1, false: 0} {
		b := newProp("crate_a.obj")
		b.scene.Format = "obj"
		b.material("wood", 0)
		b.node("crate", identity16, weld(share))
		f := run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "topology.nonmanifold")
		require.Equal(t, want, f.Metrics["count"], f.Sentence)
		require.Zero(t, f.Metrics["touching_edges"])
	}
}

// A mesh exported unwelded is one finding, and the other checks look at it as if it were joined.
func TestExportedUnwelded(t *testing.T) {
	t.Parallel()
	flat := func() mesh.Primitive { // a smooth pyramid of 16 sides, each corner of each face for itself
		p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
		corner := func(x, y, z float64) {
			l := float32(math.Sqrt(x*x + y*y + z*z))
			p.Tri = append(p.Tri, uint32(len(p.Pos)/3))
			p.Pos = append(p.Pos, float32(x), float32(y), float32(z))
			p.Nrm = append(p.Nrm, float32(x)/l, float32(y)/l, float32(z)/l)
			p.UV[0] = append(p.UV[0], float32(x), float32(z))
		}
		const n = 16
		at := func(i int) (float64, float64) {
			a := 2 * math.Pi * float64(i%n) / n
			return math.Cos(a), math.Sin(a)
		}
		for i := range n {
			x0, z0 := at(i)
			x1, z1 := at(i + 1)
			corner(0, 1, 0)
			corner(x1, 0, z1)
			corner(x0, 0, z0)
			corner(0, -1, 0)
			corner(x0, 0, z0)
			corner(x1, 0, z1)
		}
		return p
	}
	for _, format := range []string{"glb", "obj"} {
		b := newProp("crate_a." + format)
		b.scene.Format = format
		b.material("wood", 0)
		b.node("crate", identity16, flat())
		s := b.subject(t, specOf(t, spec.MidGround, ""))
		f := run1(t, s, "topology.loose")
		require.Equal(t, Warn, f.Outcome, format)
		require.Equal(t, 96.0-18, f.Metrics["unjoined_vertices"], format)
		require.Contains(t, f.Sentence, "unwelded")
		require.Empty(t, f.Where, "one finding, not a list of vertices")
		require.Zero(t, run1(t, s, "topology.open_edges").Metrics["count"], format)
	}
}

func TestLooseThings(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	p := unitCube()
	p.Pos, p.Nrm, p.UV[0] = append(p.Pos, 5, 5, 5), append(p.Nrm, 0, 0, 1), append(p.UV[0], 0, 0)
	f := run1(t, propOf(t, sp, mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{p}}), "topology.loose")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["stray_vertices"])
	require.Equal(t, [3]float64{5000, 5000, 5000}, *f.Where[0].PointMM)

	px := sp.View.PixelMM() / 1000
	for edge, tiny := range map[float64]float64{px / math.Sqrt(3) * 0.98: 1, px / math.Sqrt(3) * 1.02: 0} {
		e := float32(edge)
		speck := boxPrim(0, [3]float32{2, 2, 2}, [3]float32{2 + e, 2 + e, 2 + e})
		f := run1(t, propOf(t, sp, mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{unitCube(), speck}}), "topology.loose")
		require.Equal(t, tiny, f.Metrics["tiny_shells"], "a speck of %v m", edge)
	}
}

func TestQuads(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "checks:\n  topology.quads: {min_quad_share: 0.9, max_poles: 0}")
	f := run1(t, propOf(t, sp, mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{unitCube()}}), "topology.quads")
	require.Equal(t, 1.0, f.Metrics["quad_share"])
	require.Equal(t, 8.0, f.Metrics["poles_3"], "the corners of a cube are poles of three")
	require.Equal(t, Warn, f.Outcome)

	// Polygons of the file win over pairing: a fan of two triangles, then a pentagon.
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}, Polys: []uint8{3, 3, 5}}
	for i := range 7 {
		a := 2 * math.Pi * float64(i) / 7
		p.Pos, p.Nrm, p.UV[0] = append(p.Pos, float32(math.Cos(a)), float32(math.Sin(a)), 0), append(p.Nrm, 0, 0, 1), append(p.UV[0], 0, 0)
	}
	p.Tri = []uint32{0, 1, 2, 0, 2, 3, 0, 3, 4, 0, 4, 5, 0, 5, 6}
	b := newProp("crate_a.obj")
	b.material("wood", 0)
	b.node("crate", identity16, p)
	f = run1(t, b.subject(t, sp), "topology.quads")
	require.Zero(t, f.Metrics["quad_share"])
	require.Contains(t, f.Sentence, "by the polygons of the file")
}

// faulty is a prop with one fault of every kind that the picture shows.
func faulty(t tester) *Subject {
	crooked := unitCube()
	for i := 0; i < len(crooked.Pos); i += 3 { // one corner pushed through the far side
		if crooked.Pos[i] == 0 && crooked.Pos[i+1] == 0 && crooked.Pos[i+2] == 1 {
			crooked.Pos[i], crooked.Pos[i+1], crooked.Pos[i+2] = 1.4, 0.6, 0.3
		}
	}
	fin := finOn(unitCube())
	flipped := unitCube()
	flipped.Tri[30], flipped.Tri[31] = flipped.Tri[31], flipped.Tri[30]
	flat := unitCube()
	flat.Tri = append(flat.Tri, 0, 1, 1)
	return propOf(t, specOf(t, spec.MidGround, ""), mesh.Material{},
		madePart{name: "open", prims: []mesh.Primitive{without(unitCube(), 5)}},
		madePart{name: "declared", def: spec.Part{Open: []string{"below"}}, prims: []mesh.Primitive{without(shiftBy(unitCube(), 1.5, 0, 0), 2, 3)}},
		madePart{name: "wall", prims: []mesh.Primitive{without(shiftBy(unitCube(), 3, 0, 0), 5), shiftBy(fin, 3, 0, 0)}},
		madePart{name: "crooked", prims: []mesh.Primitive{shiftBy(crooked, 0, 1.5, 0)}},
		madePart{name: "layers", prims: []mesh.Primitive{shiftBy(unitCube(), 2, 1.5, 0), shiftBy(quadAt(0.2, 0.8, 1), 2, 1.5, 0)}},
		madePart{name: "twice", prims: []mesh.Primitive{shiftBy(unitCube(), 3.5, 1.5, 0), shiftBy(quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1), 3.5, 1.5, 1), shiftBy(quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1), 3.5, 1.5, 1)}},
		madePart{name: "hidden", prims: []mesh.Primitive{shiftBy(unitCube(), 0, 3, 0), boxPrim(0, [3]float32{0.05, 3.05, 0.05}, [3]float32{0.95, 3.95, 0.95})}},
		madePart{name: "turned", prims: []mesh.Primitive{shiftBy(flipped, 1.5, 3, 0)}},
		madePart{name: "flat", prims: []mesh.Primitive{shiftBy(flat, 3, 3, 0)}},
	)
}

func TestTopologyPicture(t *testing.T) {
	t.Parallel()
	s := faulty(t)
	var all []Finding
	for _, c := range topologyChecks() {
		all = append(all, runCheck(t, s, c.Def.Name)...)
	}
	p := topologyPicture(context.Background(), s, all)
	require.NotNil(t, p)
	for _, check := range []string{"topology.open_edges", "topology.see_through", "topology.nonmanifold", "topology.self_intersection",
		"topology.winding", "topology.z_fighting", "topology.duplicate", "topology.degenerate", "topology.hidden"} {
		require.Contains(t, p.Checks, check)
	}
	again := topologyPicture(context.Background(), s, all)
	require.Equal(t, p.canvas.Digest(), again.canvas.Digest())
	if dir := os.Getenv("PROOFHOUSE_PICTURES"); dir != "" {
		data, err := p.canvas.PNG()
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "topology.png"), data, 0o644))
	}
	clean := propOf(t, specOf(t, spec.MidGround, ""), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{unitCube()}})
	var none []Finding
	for _, c := range topologyChecks() {
		none = append(none, runCheck(t, clean, c.Def.Name)...)
	}
	require.Nil(t, topologyPicture(context.Background(), clean, none), "nothing to show")
}

// A tray with a plate before it is closed by its cabinet at rest; pulled out as far as the spec says, one looks into it.
func TestSeeThroughInPoses(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		poses, drawer string
		want          Outcome
		pose          string
	}{
		{"", "", Pass, ""},
		{"[closed, open]", "", Fail, "open"},
		{"[closed, open]", "two_sided: material", Pass, ""},
		{"[closed, half, open]", "", Fail, "open"},
	} {
		text := "view: {placed: ground}\nparts:\n  - name: drawer\n    kind: moving\n    pivot: slide\n"
		if c.poses != "" {
			text += "    poses: " + c.poses + "\n    checks:\n      scene.swing: {line_mm: [0, 0, 0, 0, 0, 1], travel_mm: 900}\n"
		}
		sp := specOf(t, spec.MidGround, text)
		def := sp.Parts[0]
		if c.drawer != "" {
			def.TwoSided = "material"
		}
		s := propOf(t, sp, mesh.Material{},
			madePart{name: "drawer", def: def, prims: []mesh.Primitive{
				without(boxPrim(0, [3]float32{0.1, 0.1, 0.1}, [3]float32{0.9, 0.9, 1}), 3), boxPrim(0, [3]float32{0, 0, 1}, [3]float32{1, 1, 1.02})}},
			madePart{name: "cabinet", def: spec.Part{Open: []string{}, TwoSided: "material"}, prims: []mesh.Primitive{without(unitCube(), 5)}})
		f := runCheck(t, s, "topology.see_through")[0]
		require.Equal(t, c.want, f.Outcome, "poses %s: %s", c.poses, f.Sentence)
		require.Equal(t, c.pose, f.Pose)
	}
}

// Vertices are one place only where they agree exactly, unless the spec asks for a tolerance; and that never goes beyond a hundred
// thousandth of the prop.
func TestWeldTolerance(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		spec  string
		apart float32 // metres between two halves of a box
		loops float64
	}{
		{"", 0, 0}, {"", 5e-6, 2}, {"conventions: {weld_mm: 0.05}", 5e-6, 0}, {"conventions: {weld_mm: 0.001}", 5e-6, 2}, {"conventions: {weld_mm: 5}", 1e-3, 2},
	} {
		lower, upper := without(unitCube(), 3), without(shiftBy(unitCube(), 0, 1+c.apart, 0), 2)
		s := propOf(t, specOf(t, spec.MidGround, c.spec), mesh.Material{}, madePart{name: "body", prims: []mesh.Primitive{lower, upper}})
		require.Equal(t, c.loops, run1(t, s, "topology.open_edges").Metrics["loops"], "%q, %v apart", c.spec, c.apart)
	}
}

// A node that mirrors turns winding round (glTF 2.0, 3.7.4): what it draws faces outward like the rest.
func TestMirroredNodeFacesOutward(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	b.material("wood", 0)
	mirrored := identity16
	mirrored[0] = -1
	b.node("left", moved(1, 0, 0), unitCube())
	b.instance("right", mirrored, 0)
	s := b.subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, Pass, run1(t, s, "topology.winding").Outcome)
	require.Equal(t, Pass, run1(t, s, "topology.see_through").Outcome)
}

// What a vendor says by the end of a node's name is heard, told with the surface that it takes out, and not imagined: without
// the suffix the check fires.
func TestTopologyAnnotationsAreHonest(t *testing.T) {
	t.Parallel()
	node := func(name string, p mesh.Primitive) *glbwrite.Node {
		return &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{{Pos: p.Pos, Nrm: p.Nrm, UV: p.UV[0], Tri: p.Tri}}}}
	}
	sp := specFromText(t, "prop: crate\ntier: mid\n", spec.Final)
	for _, c := range []struct {
		suffix, check string
		piece         mesh.Primitive
		with, bare    Outcome
	}{
		{"_sheet", "topology.open_edges", quadAt(0, 1, 3), NotApplicable, Warn},
		{"_open", "topology.open_edges", without(shiftBy(unitCube(), 2, 0, 0), 2), Pass, Warn},
		{"_rope", "topology.open_edges", without(shiftBy(unitCube(), 2, 0, 0), 0, 1), NotApplicable, Warn},
		{"_card", "topology.see_through", quadAt(0, 1, 3), NotApplicable, Fail},
		{"_glass", "topology.see_through", quadAt(0, 1, 3), NotApplicable, Fail},
		{"_decal", "topology.z_fighting", quadAt(0.2, 0.8, 1), NotApplicable, Fail},
		{"_floater", "topology.see_through", without(shiftBy(unitCube(), 2, 0, 0), 4), NotApplicable, Fail},
	} {
		for _, suffix := range []string{c.suffix, ""} {
			dir := writeFolder(t, map[string]any{"crate.glb": glbwrite.Scene{Roots: []*glbwrite.Node{node("crate_body", unitCube()), node("crate_piece"+suffix, c.piece)}}})
			s, exempted, _ := subjectOf(t, sp, dir)
			all := runCheck(t, s, c.check)
			want := c.with
			if suffix == "" {
				want = c.bare
				require.Len(t, all, 1, "one part")
				require.Empty(t, exempted)
			} else {
				require.NotEmpty(t, exempted, suffix)
				require.Positive(t, exempted[0].AreaShare, suffix)
			}
			got := Pass
			for _, f := range all {
				if f.Outcome != Pass {
					got = f.Outcome
				}
			}
			require.Equal(t, want, got, "%q %s", suffix, c.check)
		}
	}
	dir := writeFolder(t, map[string]any{"crate.glb": glbwrite.Scene{Roots: []*glbwrite.Node{node("crate_body_floater", unitCube())}}})
	_, exempted, _ := subjectOf(t, sp, dir)
	require.Len(t, exempted, 1)
	require.Equal(t, 1.0, exempted[0].AreaShare, "a prop that is all floater says so")
}
