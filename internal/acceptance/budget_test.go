package acceptance

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

func TestTrianglesCountInstancesAndLeaveJointsOut(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	m := b.material("wood", 512)
	b.node("plank", identity16, boxPrim(m, [3]float32{}, [3]float32{1, 0.1, 0.1}))
	b.instance("plank_2", moved(0, 0.2, 0), 0)
	b.instance("plank_3", moved(0, 0.4, 0), 0)
	// A strip of two quads joined by empty triangles, as drawn: 2 + 4 joints + 2.
	strip := mesh.Primitive{Material: m, Mode: 5, Drawn: 8,
		Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0, 3, 0, 0, 4, 0, 0, 3, 1, 0, 4, 1, 0},
		UV:  [][]float32{make([]float32, 16)},
		Tri: []uint32{0, 1, 2, 2, 1, 3, 2, 3, 3, 3, 3, 4, 3, 4, 4, 4, 4, 5, 4, 5, 6, 6, 5, 7}}
	b.node("band", identity16, strip)
	f := run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "budget.triangles")
	require.Equal(t, 3*12.0+8, f.Metrics["triangles"])
	require.Equal(t, 3*12.0+4, f.Metrics["triangles_non_degenerate"])
	require.Contains(t, f.Sentence, "4 triangles without area")
}

// A triangle is flat where its height is within the rounding of its coordinates, wherever it stands.
func TestWorldAreaFlat(t *testing.T) {
	t.Parallel()
	p := func(x, y, z float64) [3]float64 { return [3]float64{x, y, z} }
	require.Zero(t, worldArea(p(1, 1, 1), p(1, 1, 1), p(2, 1, 1)), "repeated vertex")
	require.Zero(t, worldArea(p(0, 0, 0), p(1, 0, 0), p(0.25, 0, 0)), "on a line")
	require.Zero(t, worldArea(p(10, 0, 0), p(11, 0, 0), p(10.5, 1e-6, 0)), "a micrometre at ten metres is rounding")
	require.NotZero(t, worldArea(p(0.1, 0, 0), p(0.2, 0, 0), p(0.15, 1e-6, 0)), "a micrometre at ten centimetres is not")
	require.InDelta(t, 0.5, worldArea(p(0, 0, 0), p(1, 0, 0), p(0, 1, 0)), 1e-15)
	require.InEpsilon(t, 5e-17, worldArea(p(0, 0, 0), p(1e-8, 0, 0), p(0, 1e-8, 0)), 1e-9, "a speck at the origin has its area")
	require.Zero(t, worldArea(p(math.NaN(), 0, 0), p(1, 0, 0), p(0, 1, 0)))
	require.Zero(t, worldArea(p(math.Inf(1), 0, 0), p(1, 0, 0), p(0, 1, 0)))
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Float64Range(-10, 10)
		a, d := p(c.Draw(t, "ax"), c.Draw(t, "ay"), c.Draw(t, "az")), p(c.Draw(t, "dx"), c.Draw(t, "dy"), c.Draw(t, "dz"))
		k := rapid.Float64Range(0, 1).Draw(t, "k")
		on := p(a[0]+k*(d[0]-a[0]), a[1]+k*(d[1]-a[1]), a[2]+k*(d[2]-a[2]))
		r := func(q [3]float64) [3]float64 {
			return p(float64(float32(q[0])), float64(float32(q[1])), float64(float32(q[2])))
		}
		require.Zero(t, worldArea(r(a), r(d), r(on)), "points on a line, stored in float32")
	})
}

func TestTriangleBudgetLimits(t *testing.T) {
	t.Parallel()
	const text = "checks: {budget.triangles: {max_triangles: %d}}"
	b := newProp("crate_a.glb")
	b.node("grid", identity16, gridPrim(b.material("wood", 512), 10)) // 200 triangles
	for _, c := range []struct {
		budget int
		want   Outcome
	}{
		{200, Pass}, {199, Warn}, {191, Warn}, {190, Fail}, {100, Fail}, {400, Pass}, {401, Warn},
	} {
		f := run1(t, b.subject(t, specOf(t, spec.MidGround, fmt.Sprintf(text, c.budget))), "budget.triangles")
		require.Equal(t, c.want, f.Outcome, "%d: %s", c.budget, f.Sentence)
		require.Equal(t, "count", f.Measured.Unit)
	}
}

// gridPrim is a plane of n × n quads over one metre with shared vertices.
func gridPrim(material, n int) mesh.Primitive {
	l := patches(1, n)
	for i := 2; i < len(l.pos); i += 3 {
		l.pos[i] = 0
	}
	return mesh.Primitive{Material: material, Mode: 4, Pos: l.pos, UV: [][]float32{l.uv}, Tri: l.tri}
}

func TestTriangleBudgetOfLODs(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	m := b.material("wood", 512)
	b.node("grid", identity16, gridPrim(m, 10)) // 200
	b.node("grid_lod1", identity16, gridPrim(m, 8))
	b.node("grid_lod2", identity16, gridPrim(m, 5))
	s := b.subject(t, specOf(t, spec.MidGround, "checks: {budget.triangles: {max_triangles: 200}}"))
	s.LODs = nil
	for _, d := range b.scene.Draws {
		s.LODs = append(s.LODs, &Body{Surface: mesh.Flatten(b.scene, []mesh.Draw{d})})
	}
	out := runCheck(t, s, "budget.triangles")
	require.Len(t, out, 3)
	require.Equal(t, []Outcome{Pass, Fail, Pass}, []Outcome{out[0].Outcome, out[1].Outcome, out[2].Outcome}, "128 over 100; 50 of 50")
	require.Equal(t, 1, *out[1].LOD)

	s.Spec = specOf(t, spec.MidGround, "checks: {budget.triangles: {max_triangles: 200, lod_triangles: [130, 40]}}")
	out = runCheck(t, s, "budget.triangles")
	require.Equal(t, []Outcome{Pass, Pass, Fail}, []Outcome{out[0].Outcome, out[1].Outcome, out[2].Outcome})
}

func TestVerticesAsTheGPUSeesThem(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		prim mesh.Primitive
		want int
	}{
		{"quad", quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1), 4},
		{"box with hard edges", boxPrim(0, [3]float32{}, [3]float32{1, 1, 1}), 24},
		{"the same, exported flat", flatExport(boxPrim(0, [3]float32{}, [3]float32{1, 1, 1})), 24},
		{"shared grid", gridPrim(0, 10), 121},
	} {
		b := newProp("crate_a.glb")
		b.material("wood", 0)
		c.prim.Material = 0
		b.node("n", identity16, c.prim)
		b.instance("n2", moved(3, 0, 0), 0)
		f := run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "budget.vertices")
		require.Equal(t, float64(2*c.want), f.Metrics["vertices"], c.name)
		require.Equal(t, float64(c.want), f.Metrics["vertices_stored"], c.name)
	}
	// Colours split too, and a vertex that nothing draws is not counted.
	p := quadPrim(0, 0, 0, 1, 1, 0, 0, 1, 1)
	p = flatExport(p)
	p.Col = make([]float32, 4*6)
	p.Col[4*3] = 0.5 // corner 0 again, in another colour
	p.Pos = append(p.Pos, 9, 9, 9)
	p.Nrm = append(p.Nrm, 0, 0, 1)
	p.UV[0] = append(p.UV[0], 0, 0)
	p.Col = append(p.Col, 0, 0, 0, 0)
	require.Equal(t, 5, distinctVertices(&p))
}

// flatExport gives every corner its own vertex.
func flatExport(p mesh.Primitive) mesh.Primitive {
	q := mesh.Primitive{Material: p.Material, Mode: 4, UV: [][]float32{nil}}
	for _, v := range p.Tri {
		q.Pos = append(q.Pos, p.Pos[3*v:3*v+3]...)
		q.Nrm = append(q.Nrm, p.Nrm[3*v:3*v+3]...)
		q.UV[0] = append(q.UV[0], p.UV[0][2*v:2*v+2]...)
		q.Tri = append(q.Tri, uint32(len(q.Tri)))
	}
	return q
}

func TestVerticesLimit(t *testing.T) {
	t.Parallel()
	shared, shredded := newProp("crate_a.glb"), newProp("crate_a.glb")
	shared.node("grid", identity16, gridPrim(shared.material("wood", 0), 10))
	g := gridPrim(shredded.material("wood", 0), 10)
	g.Nrm = make([]float32, len(g.Pos))
	g = flatExport(g)
	for v := range g.Nrm {
		g.Nrm[v] = float32(v) // every corner its own normal
	}
	shredded.node("grid", identity16, g)
	require.Equal(t, Pass, run1(t, shared.subject(t, specOf(t, spec.Hero, "")), "budget.vertices").Outcome)
	f := run1(t, shredded.subject(t, specOf(t, spec.Hero, "")), "budget.vertices")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 3.0, f.Metrics["per_triangle"])
	box := newProp("crate_a.glb")
	box.node("box", identity16, boxPrim(box.material("wood", 0), [3]float32{}, [3]float32{1, 1, 1}))
	require.Equal(t, Pass, run1(t, box.subject(t, specOf(t, spec.CloseUp, "")), "budget.vertices").Outcome, "a plain box is no defect")
}

func TestDrawcallsAndMaterials(t *testing.T) {
	t.Parallel()
	b := newProp("locker_a.glb")
	steel, glass := b.material("steel", 0), b.material("glass", 0)
	b.node("body", identity16, boxPrim(steel, [3]float32{}, [3]float32{1, 1, 1}))
	b.node("door", moved(2, 0, 0), boxPrim(steel, [3]float32{}, [3]float32{1, 1, 1}))
	b.node("pane", moved(4, 0, 0), boxPrim(glass, [3]float32{}, [3]float32{1, 1, 1}))
	b.node("socket", moved(6, 0, 0), boxPrim(-1, [3]float32{}, [3]float32{1, 1, 1}))
	s := b.subject(t, specOf(t, spec.MidGround, ""))
	require.Equal(t, 4.0, run1(t, s, "budget.drawcalls").Metrics["count"])
	f := run1(t, s, "budget.materials")
	require.Equal(t, 3.0, f.Metrics["count"], "the default material is one")
	require.Equal(t, Fail, f.Outcome)

	// Legitimate: a socket is never drawn, so a helper costs nothing.
	s.Parts = []*Part{b.part("body", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:3]),
		b.part("socket", spec.Part{Kind: spec.Helper}, b.scene.Draws[3:])}
	require.Equal(t, 3.0, run1(t, s, "budget.drawcalls").Metrics["count"])
	require.Equal(t, 2.0, run1(t, s, "budget.materials").Metrics["count"])
	require.Equal(t, 36.0, run1(t, s, "budget.triangles").Metrics["triangles"])
	require.Equal(t, Fail, run1(t, s, "budget.materials").Outcome, "two materials for one")

	// Legitimate: glass has to have its own material, and a door that opens cannot be joined with the body.
	s.Parts = []*Part{b.part("body", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:1]),
		b.part("door", spec.Part{Kind: spec.Moving, Density: 1}, b.scene.Draws[1:2]),
		b.part("pane", spec.Part{Kind: spec.Glass, Density: 1}, b.scene.Draws[2:3]),
		b.part("socket", spec.Part{Kind: spec.Helper}, b.scene.Draws[3:])}
	s.Spec = specOf(t, spec.Background, "")
	require.Equal(t, Pass, run1(t, s, "budget.materials").Outcome)
	require.Equal(t, Pass, run1(t, s, "budget.drawcalls").Outcome)
	s.Parts[1].Def.Kind = spec.Solid
	require.Equal(t, Warn, run1(t, s, "budget.drawcalls").Outcome, "three draws for two")
}

// Sizes of mip chains: rgba8 in closed form (4^11 - 1) / 3 texels of 4 bytes for 1024²; block formats level by level.
func TestChainBytes(t *testing.T) {
	t.Parallel()
	require.EqualValues(t, (1<<22-1)/3*4, gpuFormats["rgba8"].chainBytes(1024, 1024))
	// 1024² in 4 × 4 blocks: 65536 + 16384 + … + 1 blocks down to 4 px, then two levels more of one block each.
	blocks := int64(65536+16384+4096+1024+256+64+16+4+1) + 2
	require.Equal(t, blocks*16, gpuFormats["bc7"].chainBytes(1024, 1024))
	require.Equal(t, blocks*8, gpuFormats["bc1"].chainBytes(1024, 1024))
	require.EqualValues(t, 8, gpuFormats["bc1"].chainBytes(1, 1))
	require.EqualValues(t, 16*(2*1+1+1+1), gpuFormats["bc7"].chainBytes(8, 2), "8×2, 4×1, 2×1, 1×1")
	require.InEpsilon(t, 4.0/3*2048*2048, float64(gpuFormats["bc5"].chainBytes(2048, 2048)), 1e-4)
}

func TestTextureBytes(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	m := b.material("wood", 1024)
	b.node("lid", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	s := b.subject(t, specOf(t, spec.MidGround, "checks: {budget.texture_bytes: {format: rgba8, max_bytes: 5592404}}"))
	f := run1(t, s, "budget.texture_bytes")
	require.Equal(t, 5592404.0, f.Metrics["bytes"])
	require.Equal(t, Pass, f.Outcome, "at the limit")

	// Delivered files replace what the inspection copy embeds; the raw bake does not ship; ship size counts.
	file := func(name string, px int) *File {
		return &File{Path: name, SHA256: name, Bytes: 1, WidthPx: px, HeightPx: px}
	}
	s.Sets[0].Maps = map[string]*File{"base_color": file("bc.tga", 4096), "normal": file("n.tga", 4096), "normal_baked": file("nb.tga", 8192)}
	s.Sets[0].Def.ShipPx = 2048
	s.Spec = specOf(t, spec.MidGround, "checks: {budget.texture_bytes: {format: bc1, map_formats: [normal=bc5]}}")
	f = run1(t, s, "budget.texture_bytes")
	require.Equal(t, float64(gpuFormats["bc1"].chainBytes(2048, 2048)+gpuFormats["bc5"].chainBytes(2048, 2048)), f.Metrics["bytes"])
	require.Contains(t, f.Sentence, "bc1 and bc5")

	s.Sets[0].Maps["orm"] = file("broken.tga", 0)
	require.Equal(t, NotEvaluated, run1(t, s, "budget.texture_bytes").Outcome, "an unread map makes no sum")

	// Two sets that share one file count it once.
	b.material("wood_2", 0)
	b.node("side", moved(0, 0, 1), quadPrim(1, 0, 0, 1, 1, 0, 0, 1, 1))
	s = b.subject(t, specOf(t, spec.MidGround, "checks: {budget.texture_bytes: {format: r8}}"))
	shared := file("atlas.png", 512)
	for _, set := range s.Sets {
		set.Maps = map[string]*File{"base_color": shared}
	}
	require.Equal(t, float64(gpuFormats["r8"].chainBytes(512, 512)), run1(t, s, "budget.texture_bytes").Metrics["bytes"])
}

func TestWorstKeepsTheLargest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOf(rapid.SampledFrom([]float64{1, 2, 3, 4, 5, 6, 7})).Draw(t, "values")
		w := worst{}
		for i, v := range values {
			w.add(v, i)
		}
		require.Len(t, w.top(), min(len(values), maxPlaces))
		for i, e := range w.top() {
			require.Equal(t, values[e.at], e.value)
			higher := 0
			for j, v := range values {
				if v > e.value || v == e.value && j < e.at {
					higher++
				}
			}
			require.Equal(t, i, higher, "largest first, equal ones in order")
		}
	})
}
