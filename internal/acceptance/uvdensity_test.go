package acceptance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

const densityAt1024 = `
checks:
  uv.texel_density: {target_px_per_m: 1024, tolerance_share: 0.25, max_share_outside: 0.1}
`

// Closed forms: a square metre that fills a map of N × N pixels has N px/m; half the edge in the world doubles it, half
// the edge in UV halves it.
func TestDensityClosedForms(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name     string
		edge, uv float32
		px       int
		want     float64
	}{
		{"unit quad", 1, 1, 1024, 1024},
		{"half a metre", 0.5, 1, 1024, 2048},
		{"half the tile", 1, 0.5, 1024, 512},
		{"both", 0.5, 0.5, 2048, 2048},
		{"two metres", 2, 1, 4096, 2048},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newProp("crate_a.glb")
			b.node("lid", identity16, quadPrim(b.material("wood", c.px), 0, 0, c.edge, c.edge, 0, 0, c.uv, c.uv))
			f := run1(t, b.subject(t, specOf(t, spec.MidGround, densityAt1024)), "uv.texel_density")
			require.InEpsilon(t, c.want, f.Metrics["mean_px_per_m"], 1e-6)
			require.InEpsilon(t, c.want, f.Metrics["min_px_per_m"], 1e-6)
			require.InEpsilon(t, c.want, f.Metrics["max_px_per_m"], 1e-6)
			inside := c.want >= 768 && c.want <= 1280
			require.Equal(t, inside, f.Outcome == Pass, f.Sentence)
		})
	}
}

// The mean is the root of all texel area over all world area. For a sphere of radius r in latitude and longitude over
// the whole tile that is sqrt(W·H / 4πr²); the extremes are near a pole (dense) and near the equator.
func TestDensityOfSphere(t *testing.T) {
	t.Parallel()
	const r, px = 0.35, 2048
	b := newProp("buoy_a.glb")
	b.node("buoy", identity16, spherePrim(b.material("paint", px), r, 256, 128))
	f := run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density")
	want := math.Sqrt(px * px / (4 * math.Pi * r * r))
	require.InEpsilon(t, want, f.Metrics["mean_px_per_m"], 2e-4, "the polyhedron of 65 thousand faces is 0.02 % off the sphere")
	// At the equator a step of longitude is as long as it gets: W/(2πr) by H/(πr).
	require.InEpsilon(t, math.Sqrt(px/(2*math.Pi*r)*px/(math.Pi*r)), f.Metrics["min_px_per_m"], 1e-3)
	require.Greater(t, f.Metrics["max_px_per_m"], 5*want)
}

// spherePrim is a sphere by longitude (columns) and latitude (rows), its UVs the whole tile.
func spherePrim(material int, r float64, columns, rows int) mesh.Primitive {
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}}
	for y := range rows + 1 {
		for x := range columns + 1 {
			lon, lat := 2*math.Pi*float64(x)/float64(columns), math.Pi*float64(y)/float64(rows)
			n := [3]float32{float32(math.Sin(lat) * math.Cos(lon)), float32(math.Cos(lat)), float32(-math.Sin(lat) * math.Sin(lon))}
			p.Nrm = append(p.Nrm, n[:]...)
			p.Pos = append(p.Pos, float32(r)*n[0], float32(r)*n[1], float32(r)*n[2])
			p.UV[0] = append(p.UV[0], float32(x)/float32(columns), float32(y)/float32(rows))
		}
	}
	row := uint32(columns + 1)
	for y := range uint32(rows) {
		for x := range uint32(columns) {
			a := y*row + x
			p.Tri = append(p.Tri, a, a+row, a+1, a+1, a+row, a+row+1)
		}
	}
	return p
}

// panels is a row of squares of one metre, each an island of density px·k/m on a map of px pixels.
func panels(b *propBuild, material int, factors []float32) {
	for i, k := range factors {
		b.node(fmt.Sprintf("panel_%02d", i), moved(2*float64(i), 0, 0), quadPrim(material, 0, 0, 1, 1, 0, 0, k, k))
	}
}

// Defects planted just inside and just outside the tolerance, at a random place among good panels.
func TestDensityPlantedIslands(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, densityAt1024)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "panels")
		bad := rapid.IntRange(0, n-1).Draw(t, "bad")
		step := rapid.Float32Range(0.001, 0.2).Draw(t, "step")
		sign := rapid.SampledFrom([]float32{-1, 1}).Draw(t, "denser")
		inside := rapid.Bool().Draw(t, "inside")
		factors := make([]float32, n)
		for i := range factors {
			factors[i] = 1
		}
		if inside {
			step = -step
		}
		factors[bad] = 1 + sign*(0.25+step)
		b := newProp("wall_a.glb")
		panels(b, b.material("steel", 1024), factors)
		f := run1(t, b.subject(t, sp), "uv.texel_density")
		want := 0.0
		if !inside {
			want = 1 / float64(n)
		}
		require.InDelta(t, want, f.Metrics["share_outside"], 1e-6)
		require.Equal(t, want <= 0.1, f.Outcome == Pass)
		if !inside {
			require.Equal(t, fmt.Sprintf("panel_%02d", bad), f.Where[0].Node)
			require.InEpsilon(t, 1024*float64(factors[bad]), f.Where[0].Value.Value, 1e-4)
		}
	})
}

func TestDensityParts(t *testing.T) {
	t.Parallel()
	b := newProp("cabin_a.glb")
	m := b.material("paint", 1024)
	panels(b, m, []float32{1, 0.5})
	s := b.subject(t, specOf(t, spec.MidGround, densityAt1024))
	f := run1(t, s, "uv.texel_density")
	require.Equal(t, Fail, f.Outcome, "half density on half the surface")
	require.InDelta(t, 0.5, f.Metrics["share_outside"], 1e-6)

	// Legitimate: the part is declared to have half the density, as an underside may.
	s.Parts = []*Part{
		b.part("front", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:1]),
		b.part("underside", spec.Part{Kind: spec.Solid, Density: 0.5}, b.scene.Draws[1:]),
	}
	f = run1(t, s, "uv.texel_density")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Zero(t, f.Metrics["share_outside"])

	// The defect beside it: the declared part is at full density.
	s.Parts[0], s.Parts[1] = b.part("underside", spec.Part{Kind: spec.Solid, Density: 0.5}, b.scene.Draws[:1]),
		b.part("front", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[1:])
	require.Equal(t, 1.0, run1(t, s, "uv.texel_density").Metrics["share_outside"])

	// A part left out altogether.
	s.Parts[0].Def.Density, s.Parts[1].Def.Density = 1, 0
	f = run1(t, s, "uv.texel_density")
	require.Zero(t, f.Metrics["share_outside"], "density: 0 leaves the part out")
}

// Small islands are free, but a layout in shreds is not: islands of 0.4 % each that fill the surface are judged.
func TestDensitySmallIslands(t *testing.T) {
	t.Parallel()
	some := newProp("pallet_a.glb")
	m := some.material("wood", 1024)
	some.node("deck", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	for i := range 20 { // 20 × 0.04² of a square metre: 3.1 % together, 0.155 % each
		some.node(fmt.Sprintf("nail_%02d", i), moved(0, 0, float64(i+1)), quadPrim(m, 0, 0, 0.04, 0.04, 0, 0, 0.2, 0.2))
	}
	f := run1(t, some.subject(t, specOf(t, spec.Hero, densityAt1024)), "uv.texel_density")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Zero(t, f.Metrics["share_outside"])

	shreds := newProp("net_a.glb")
	m = shreds.material("rope", 1024)
	for i := range 250 {
		shreds.node(fmt.Sprintf("knot_%03d", i), moved(0, 0, float64(i)), quadPrim(m, 0, 0, 0.1, 0.1, 0, 0, 0.3, 0.3))
	}
	f = run1(t, shreds.subject(t, specOf(t, spec.Hero, densityAt1024)), "uv.texel_density")
	require.Equal(t, Fail, f.Outcome, f.Sentence)
	require.InDelta(t, 0.9, f.Metrics["share_outside"], 0.005, "all but the free tenth")
}

// A texture that repeats by its own transform has the density that is seen, not that of the bare UVs.
func TestDensityReadsTextureTransform(t *testing.T) {
	t.Parallel()
	b := newProp("deck_a.glb")
	m := b.material("planks", 1024)
	b.scene.Materials[m].BaseTex.Scale = [2]float64{2, 0.5}
	b.scene.Materials[m].BaseTex.Rotation = 0.7
	b.node("deck", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	require.InEpsilon(t, 1024, run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density").Metrics["mean_px_per_m"], 1e-5)
	b.scene.Materials[m].BaseTex.Scale = [2]float64{3, 3}
	require.InEpsilon(t, 3072, run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density").Metrics["mean_px_per_m"], 1e-5)
}

// The worked example of KHR_texture_transform: offset 0,1, a quarter turn and scale 0.5 read the lower left quadrant.
func TestTextureTransformWorkedExample(t *testing.T) {
	t.Parallel()
	ref := mesh.TexRef{Offset: [2]float64{0, 1}, Rotation: math.Pi / 2, Scale: [2]float64{0.5, 0.5}}
	src := []float32{0, 0, 1, 0, 1, 1, 0, 1}
	dst := make([]float32, 8)
	transformUV(dst, src, ref)
	want := []float32{0, 1, 0, 0.5, 0.5, 0.5, 0.5, 1}
	for i := range want {
		require.InDelta(t, want[i], dst[i], 1e-6, "%v", dst)
	}
}

func TestDensityWithoutSizeOrArea(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	m := b.material("wood", 0)
	b.node("lid", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	require.Equal(t, NotEvaluated, run1(t, b.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density").Outcome)

	flat := newProp("crate_a.glb")
	m = flat.material("wood", 512)
	flat.node("lid", identity16, quadPrim(m, 0, 0, 1, 0, 0, 0, 1, 1))
	require.Equal(t, NotEvaluated, run1(t, flat.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density").Outcome)

	nan := newProp("crate_a.glb")
	m = nan.material("wood", 512)
	p := quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1)
	p.UV[0][0] = float32(math.NaN())
	p.UV[0][5] = float32(math.Inf(1))
	nan.node("lid", identity16, p)
	f := run1(t, nan.subject(t, specOf(t, spec.MidGround, "")), "uv.texel_density")
	require.Equal(t, NotEvaluated, f.Outcome)
}

func TestDensityDoesNotDependOnNumbering(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := patches(rapid.IntRange(1, 4).Draw(t, "patches"), rapid.IntRange(1, 5).Draw(t, "edge"))
		for i := range l.uv {
			l.uv[i] *= 1 + float32(i/2%7)/50
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		m := renumbered(l, rng)
		a := densityOf(setOf(l, 512, 256).layout())
		b := densityOf(setOf(m, 512, 256).layout())
		require.Equal(t, a.min, b.min)
		require.Equal(t, a.max, b.max)
		require.InEpsilon(t, a.texelSum, b.texelSum, 1e-12)
		require.InEpsilon(t, a.areaSum, b.areaSum, 1e-12)
	})
}

func BenchmarkDensity(b *testing.B) {
	for _, size := range []struct {
		name          string
		patches, edge int
	}{{"12k", 24, 16}, {"1M", 500, 32}} {
		b.Run(size.name, func(b *testing.B) {
			l := patches(size.patches, size.edge)
			set := setOf(l, 2048, 2048)
			b.ReportAllocs()
			for b.Loop() {
				densityOf(set.layout())
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(l.tri)/3), "ns/triangle")
		})
	}
}

// A map of two to one ships in its shape: ship_px is its longer edge.
func TestSetSizeAtShip(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ deliveredW, deliveredH, ship, wantW, wantH int }{
		{4096, 4096, 2048, 2048, 2048}, {4096, 2048, 2048, 2048, 1024}, {1024, 2048, 0, 1024, 2048},
		{0, 0, 1024, 1024, 1024}, {512, 512, 1024, 1024, 1024}, {4096, 1, 2048, 2048, 1}, {0, 0, 0, 0, 0},
	} {
		set := &Set{Def: spec.Set{ShipPx: c.ship}, Maps: map[string]*File{"base_color": {WidthPx: c.deliveredW, HeightPx: c.deliveredH}}}
		sizeSet(&Subject{}, set, nil, nil)
		require.Equal(t, [2]int{c.wantW, c.wantH}, [2]int{set.WidthPx, set.HeightPx}, "%+v", c)
	}
}
