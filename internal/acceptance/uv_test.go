package acceptance

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

func quadsAt(px int, uvs ...[4]float32) *propBuild {
	b := newProp("crate_a.glb")
	m := b.material("wood", px)
	for i, c := range uvs {
		b.node("quad", moved(2*float64(i), 0, 0), quadPrim(m, 0, 0, 1, 1, c[0], c[1], c[2], c[3]))
	}
	return b
}

func TestUVRange(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		def   spec.Set
		uvs   [][4]float32
		want  Outcome
		count float64
	}{
		{"the whole tile", spec.Set{Kind: spec.Baked}, [][4]float32{{0, 0, 1, 1}}, Pass, 0},
		{"half a texel over is rounding", spec.Set{Kind: spec.Baked}, [][4]float32{{0, 0, 1 + 0.49/1024, 1}}, Pass, 0},
		{"two texels over", spec.Set{Kind: spec.Baked}, [][4]float32{{0, 0, 1 + 2.0/1024, 1}}, Fail, 1},
		{"stacked one tile aside for the bake", spec.Set{Kind: spec.Baked}, [][4]float32{{0.1, 0.1, 0.4, 0.4}, {1.1, 0.1, 1.4, 0.4}, {-0.9, -2.9, -0.6, -2.6}}, Pass, 0},
		{"across a border", spec.Set{Kind: spec.Baked}, [][4]float32{{0.8, 0.1, 1.2, 0.4}}, Fail, 1},
		{"over several tiles", spec.Set{Kind: spec.Baked}, [][4]float32{{0, 0, 3, 1}}, Fail, 1},
		{"a shared atlas is held to its tile", spec.Set{Kind: spec.Shared}, [][4]float32{{0.8, 0.1, 1.2, 0.4}}, Fail, 1},
		{"tiling", spec.Set{Kind: spec.Tiling}, [][4]float32{{0, 0, 7, 3}}, NotApplicable, 0},
		{"trim", spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 7, 0.1}}, NotApplicable, 0},
		{"decal atlas", spec.Set{Kind: spec.DecalAtlas}, [][4]float32{{0.8, 0, 1.2, 0.1}}, NotApplicable, 0},
		{"numbered tiles in the list", spec.Set{Kind: spec.UDIM, Tiles: []int{1001, 1002, 1011}},
			[][4]float32{{0.1, 0.1, 0.9, 0.9}, {1.1, 0.1, 1.9, 0.9}, {0.1, -0.9, 0.9, -0.1}}, Pass, 0},
		{"a tile that is not in the list", spec.Set{Kind: spec.UDIM, Tiles: []int{1001, 1002}}, [][4]float32{{2.1, 0.1, 2.9, 0.9}}, Fail, 1},
		{"row upward, not downward", spec.Set{Kind: spec.UDIM, Tiles: []int{1001, 1011}}, [][4]float32{{0.1, 1.1, 0.9, 1.9}}, Fail, 1},
		{"across numbered tiles", spec.Set{Kind: spec.UDIM, Tiles: []int{1001, 1002}}, [][4]float32{{0.8, 0.1, 1.2, 0.4}}, Fail, 1},
	} {
		b := quadsAt(1024, c.uvs...)
		s := b.subject(t, specOf(t, spec.MidGround, ""))
		s.Sets = []*Set{b.set(0, c.def)}
		f := run1(t, s, "uv.range")
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		require.Equal(t, c.count, f.Metrics["count"], c.name)
	}
}

// Islands planted at random places and tiles, just inside or over a border by a random number of texels.
func TestUVRangePlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	rapid.Check(t, func(t *rapid.T) {
		px := rapid.SampledFrom([]int{256, 1024, 4096}).Draw(t, "px")
		w, h := rapid.Float32Range(0.2, 0.9).Draw(t, "w"), rapid.Float32Range(0.05, 0.9).Draw(t, "h")
		tile := float32(rapid.IntRange(-3, 3).Draw(t, "tile"))
		overPx := rapid.Float32Range(0.6, 20).Draw(t, "over")
		inside := rapid.Bool().Draw(t, "inside")
		over := overPx / float32(px)
		if inside {
			over = -over
		}
		x1 := tile + 1 + over
		b := quadsAt(px, [4]float32{x1 - w, 0.99 - h, x1, 0.99})
		f := run1(t, b.subject(t, sp), "uv.range")
		require.Equal(t, inside, f.Outcome == Pass, f.Sentence)
		if !inside { // at most 20 of 256 px: less than half the island, whose middle stays in the tile
			require.InDelta(t, overPx, f.Metrics["max_overhang_px"], 0.01)
			require.Equal(t, 1.0, f.Metrics["share_outside"])
		}
	})
}

func TestUVPresent(t *testing.T) {
	t.Parallel()
	b := quadsAt(512, [4]float32{0, 0, 1, 1}, [4]float32{0, 0, 1, 1}, [4]float32{0, 0, 1, 1})
	sp := specOf(t, spec.MidGround, "")
	require.Equal(t, Pass, run1(t, b.subject(t, sp), "uv.present").Outcome)

	b.scene.Prims[1].UV = nil
	b.scene.Prims[2].UV[0][0] = float32(math.NaN())
	s := b.subject(t, sp)
	f := run1(t, s, "uv.present")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 4.0, f.Metrics["count"], "two without, and both triangles of the broken corner")
	require.InDelta(t, 2.0/3, f.Metrics["area_share"], 1e-6)

	// Helpers are never drawn, so they need no UVs.
	s.Parts = []*Part{b.part("lid", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:1]),
		b.part("socket", spec.Part{Kind: spec.Helper}, b.scene.Draws[1:])}
	require.Equal(t, Pass, run1(t, s, "uv.present").Outcome)
}

func TestSides(t *testing.T) {
	t.Parallel()
	box := boxPrim(0, [3]float32{}, [3]float32{1, 1, 1})
	sf := mesh.Surface{Pos: box.Pos, Tri: box.Tri}
	want := []string{"right", "left", "below", "top", "back", "front"} // -X, +X, -Y, +Y, -Z, +Z
	for i := range sf.Triangles() {
		require.Equal(t, want[i/2], facing(corners(&sf, i)))
	}
	require.Empty(t, facing([3]float64{}, [3]float64{}, [3]float64{}))
}

// A LOD in between that was left out is told, not passed.
func TestLODsWithoutGap(t *testing.T) {
	t.Parallel()
	b := quadsAt(512, [4]float32{0, 0, 1, 1})
	s := b.subject(t, specOf(t, spec.MidGround, ""))
	s.LODs = append(s.LODs, &Body{}, s.LODs[0])
	for _, check := range []string{"uv.present", "budget.triangles", "budget.vertices", "budget.drawcalls", "budget.materials"} {
		out := runCheck(t, s, check)
		require.Len(t, out, 3)
		require.Equal(t, NotEvaluated, out[1].Outcome, check)
	}
}

// A finding carries the metrics that its check says it does, and the fixed names are among them.
func TestMetricsAsDeclared(t *testing.T) {
	t.Parallel()
	fixed := map[string][]string{
		"budget.triangles": {"triangles", "triangles_non_degenerate"}, "budget.vertices": {"vertices"}, "budget.drawcalls": {"count"},
		"budget.materials": {"count"}, "budget.texture_bytes": {"bytes"}, "names.pattern": {"count"}, "names.unique": {"count"},
		"names.default": {"count"}, "names.pairing": {"count"}, "scene.size": {"x_mm", "y_mm", "z_mm"}, "scene.origin": {"offset_mm"},
		"scene.pivot": {"offset_mm"}, "uv.texel_density": {"mean_px_per_m", "min_px_per_m", "max_px_per_m", "share_outside"},
		"uv.overlap": {"area_share", "stacked_share", "partial_share"}, "uv.padding": {"min_px", "mip_levels"}, "uv.stretch": {"l2", "linf"},
		"uv.coverage": {"share"}, "uv.flipped": {"area_share"}, "uv.seams_at_hard_edges": {"missing", "length_mm"},
	}
	b := crateAt([3]float32{1, 1, 1}, [3]float32{})
	for i := range b.scene.Images {
		b.scene.Images[i].Data = pngOf(t, 64)
	}
	s := b.subject(t, specOf(t, spec.MidGround, "size_mm: [1000, 1000, 1000]"))
	s.Sculpt = s.LODs[0]
	s.Parts[0].Sculpt = s.Sculpt.Surface
	s.Parts[0].Def.Kind = spec.Moving
	for _, c := range checks() {
		if strings.HasPrefix(c.Def.Name, "surface.") {
			continue
		}
		names := fixed[c.Def.Name]
		for _, name := range names {
			require.Contains(t, c.Def.Metrics, name, c.Def.Name)
		}
		for _, f := range runCheck(t, s, c.Def.Name) {
			if f.Outcome == NotApplicable {
				continue
			}
			for _, name := range c.Def.Metrics {
				require.Contains(t, f.Metrics, name, c.Def.Name)
			}
			require.Len(t, f.Metrics, len(c.Def.Metrics), c.Def.Name)
		}
		delete(fixed, c.Def.Name)
	}
	require.Empty(t, fixed, "every check with fixed names is there")
}

// Every check takes every degenerate mesh: no panic, no number that is not one.
func TestChecksOnDegenerateMeshes(t *testing.T) {
	t.Parallel()
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	prims := map[string]mesh.Primitive{
		"no triangles":        {Mode: 4, Material: 0, Pos: []float32{0, 0, 0}, UV: [][]float32{{0, 0}}},
		"points":              {Mode: 0, Material: 0, Pos: []float32{0, 0, 0}},
		"one point":           {Mode: 4, Material: 0, Pos: []float32{1, 1, 1, 1, 1, 1, 1, 1, 1}, UV: [][]float32{make([]float32, 6)}, Tri: []uint32{0, 1, 2}},
		"one vertex":          {Mode: 4, Material: 0, Pos: []float32{1, 1, 1}, UV: [][]float32{{0, 0}}, Tri: []uint32{0, 0, 0}},
		"a line":              {Mode: 4, Material: 0, Pos: []float32{0, 0, 0, 1, 0, 0, 2, 0, 0}, UV: [][]float32{make([]float32, 6)}, Tri: []uint32{0, 1, 2}},
		"huge":                {Mode: 4, Material: 0, Pos: []float32{-3e38, 0, 0, 3e38, 0, 0, 0, 3e38, 0}, UV: [][]float32{{-3e38, 0, 3e38, 0, 0, 3e38}}, Tri: []uint32{0, 1, 2}},
		"tiny":                {Mode: 4, Material: 0, Pos: []float32{0, 0, 0, 1e-40, 0, 0, 0, 1e-40, 0}, UV: [][]float32{{0, 0, 1e-40, 0, 0, 1e-40}}, Tri: []uint32{0, 1, 2}},
		"not a number":        {Mode: 4, Material: 0, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, UV: [][]float32{{nan, inf, -inf, 0, 0, nan}}, Tri: []uint32{0, 1, 2}},
		"no UVs":              {Mode: 4, Material: 0, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}},
		"no material":         {Mode: 4, Material: -1, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}},
		"not a number, place": {Mode: 4, Material: 0, Pos: []float32{nan, 0, 0, 1, inf, 0, 0, 1, 0}, UV: [][]float32{make([]float32, 6)}, Tri: []uint32{0, 1, 2}},
	}
	worlds := map[string][16]float64{"identity": identity16, "zero": {}, "not a number": {0: math.NaN(), 5: 1, 10: 1, 15: 1}}
	for name, p := range prims {
		for world, m := range worlds {
			b := newProp("crate_a.glb")
			b.material("wood", 256)
			b.node("piece", m, p)
			for _, text := range []string{"", "size_mm: [100, 200, 300]"} {
				s := b.subject(t, specOf(t, spec.Hero, text))
				s.Parts[0].Def.Kind = spec.Moving
				for _, def := range Catalogue() {
					for _, f := range runCheck(t, s, def.Name) {
						require.NotContains(t, f.Sentence, "NaN", "%s, %s: %s", name, world, def.Name)
					}
				}
				if f, mended := rootCause(s); f != nil {
					require.NotSame(t, s, mended)
				}
			}
		}
	}
	empty := &Subject{Spec: specOf(t, spec.Hero, "size_mm: [100, 200, 300]")}
	for _, def := range Catalogue() {
		runCheck(t, empty, def.Name)
	}
	f, mended := rootCause(empty)
	require.Nil(t, f)
	require.Same(t, empty, mended)
}
