package acceptance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/spec"
)

// What is legitimate in a layout beside the defect that looks like it. Every row is judged as a vendor's delivery would
// be: the set's kind and its keys are all that is said.
func TestUVLegitimateBesideDefect(t *testing.T) {
	t.Parallel()
	const e = 1.0 / 1024 // a texel
	baked := spec.Set{Kind: spec.Baked, Stack: "any"}
	none := spec.Set{Kind: spec.Baked, Stack: "none"}
	half := [4]float32{0.1, 0.1, 0.4, 0.4}
	mirrored := [4]float32{0.4, 0.1, 0.1, 0.4} // the same place, read the other way round
	aside := func(r [4]float32, u, v float32) [4]float32 { return [4]float32{r[0] + u, r[1] + v, r[2] + u, r[3] + v} }
	other := [4]float32{0.5, 0.5, 0.9, 0.9}
	for _, c := range []struct {
		name  string
		tier  spec.Tier
		def   spec.Set
		uvs   [][4]float32
		check string
		want  Outcome
	}{
		{"a half set one whole tile aside for the bake", spec.MidGround, baked, [][4]float32{half, aside(mirrored, 1, 0), other}, "uv.overlap", Pass},
		{"the same, in its tile", spec.MidGround, baked, [][4]float32{half, aside(mirrored, 1, 0), other}, "uv.range", Pass},
		{"the same, mirrored with its partner", spec.MidGround, baked, [][4]float32{half, aside(mirrored, 1, 0), other}, "uv.flipped", Pass},
		{"the same, one gap", spec.MidGround, baked, [][4]float32{half, aside(mirrored, 1, 0), other}, "uv.padding", Pass},
		{"set a part of a tile aside", spec.MidGround, baked, [][4]float32{half, aside(mirrored, 0.95, 0), other}, "uv.overlap", Fail},
		{"two whole tiles down", spec.MidGround, baked, [][4]float32{half, aside(half, 0, -2), other}, "uv.overlap", Pass},
		{"a copy slipped by two texels", spec.MidGround, baked, [][4]float32{half, aside(half, 2*e, 0), other}, "uv.overlap", Fail},
		{"a copy slipped by a third of a texel", spec.MidGround, baked, [][4]float32{half, aside(half, e/3, 0), other}, "uv.overlap", Pass},
		{"a smaller island under another", spec.MidGround, baked, [][4]float32{half, {0.2, 0.2, 0.3, 0.3}, other}, "uv.overlap", Fail},
		{"stacks where the spec says none", spec.MidGround, none, [][4]float32{half, half, other}, "uv.overlap", Fail},
		{"no stacks where the spec says none", spec.MidGround, none, [][4]float32{half, other}, "uv.overlap", Pass},
		{"mirrored pair where mirrored is allowed", spec.MidGround, spec.Set{Kind: spec.Baked, Stack: "mirrored"}, [][4]float32{half, mirrored, other}, "uv.overlap", Pass},
		{"copies where only mirrored is allowed", spec.MidGround, spec.Set{Kind: spec.Baked, Stack: "mirrored"}, [][4]float32{half, half, other}, "uv.overlap", Fail},
		{"copies where copies are allowed", spec.MidGround, spec.Set{Kind: spec.Baked, Stack: "copies"}, [][4]float32{half, half, other}, "uv.overlap", Pass},
		{"much stacked far away", spec.Background, baked, [][4]float32{half, half}, "uv.overlap", Pass},
		{"much stacked close up", spec.CloseUp, baked, [][4]float32{half, half}, "uv.overlap", Warn},
		{"a third of the layout stacked, hero", spec.Hero, baked, [][4]float32{half, half, {0.45, 0.1, 0.95, 0.7}}, "uv.overlap", Pass},
		{"a trim sheet", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 4, 0.25}, {0.3, 0, 2, 0.25}}, "uv.overlap", NotApplicable},
		{"a trim sheet has no padding", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 4, 0.25}}, "uv.padding", NotApplicable},
		{"a trim sheet has no coverage", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 4, 0.25}}, "uv.coverage", NotApplicable},
		{"a trim sheet needs no seams", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 4, 0.25}}, "uv.seams_at_hard_edges", NotApplicable},
		{"a trim sheet keeps its density", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 1, 1}}, "uv.texel_density", Pass},
		{"a trim sheet of half the density", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 0.5, 0.5}}, "uv.texel_density", Fail},
		{"a trim sheet keeps its shape", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 1, 1}}, "uv.stretch", Pass},
		{"a trim sheet that smears", spec.Hero, spec.Set{Kind: spec.Trim}, [][4]float32{{0, 0, 1, 0.5}}, "uv.stretch", Warn},
		{"tiling", spec.Hero, spec.Set{Kind: spec.Tiling}, [][4]float32{{0, 0, 9, 9}, {0.5, 0.5, 3, 3}}, "uv.overlap", NotApplicable},
		{"tiling, mirrored", spec.Hero, spec.Set{Kind: spec.Tiling}, [][4]float32{{3, 0, 0, 3}}, "uv.flipped", NotApplicable},
		{"a decal atlas read twice", spec.Hero, spec.Set{Kind: spec.DecalAtlas}, [][4]float32{half, half}, "uv.overlap", NotApplicable},
		{"a decal the right way round", spec.Hero, spec.Set{Kind: spec.DecalAtlas}, [][4]float32{half}, "uv.flipped", Pass},
		{"a decal mirrored", spec.Hero, spec.Set{Kind: spec.DecalAtlas}, [][4]float32{half, mirrored}, "uv.flipped", Fail},
		{"mirrored alone", spec.Hero, baked, [][4]float32{mirrored, other}, "uv.flipped", Warn},
		{"a kit piece on a shared atlas", spec.Hero, spec.Set{Kind: spec.Shared}, [][4]float32{{0.1, 0.1, 0.4, 0.37}}, "uv.coverage", NotApplicable},
		{"as little of a map of its own", spec.Hero, baked, [][4]float32{{0.1, 0.1, 0.4, 0.37}}, "uv.coverage", Warn},
		{"a well filled map", spec.Hero, baked, [][4]float32{{0.02, 0.02, 0.98, 0.98}}, "uv.coverage", Pass},
		{"gaps of the size that a map of 1024 asks for", spec.Hero, baked, [][4]float32{half, {0.4 + 4.01*e, 0.1, 0.9, 0.4}}, "uv.padding", Pass},
		{"gaps that a packer rounded down", spec.Hero, baked, [][4]float32{half, {0.4 + 3.8*e, 0.1, 0.9, 0.4}}, "uv.padding", Pass},
		{"gaps of three quarters of it", spec.Hero, baked, [][4]float32{half, {0.4 + 3*e, 0.1, 0.9, 0.4}}, "uv.padding", Warn},
		{"gaps of a texel", spec.Hero, baked, [][4]float32{half, {0.4 + e, 0.1, 0.9, 0.4}}, "uv.padding", Fail},
		{"two texels to the border", spec.Hero, baked, [][4]float32{{2.01 * e, 0.1, 0.4, 0.4}}, "uv.padding", Pass},
		{"half a texel to the border", spec.Hero, baked, [][4]float32{{0.5 * e, 0.1, 0.4, 0.4}}, "uv.padding", Fail},
		{"a strip once around, from border to border", spec.Hero, baked, [][4]float32{{0, 0.1, 1, 0.4}}, "uv.padding", Pass},
		{"a strip that only almost goes around", spec.Hero, baked, [][4]float32{{0, 0.1, 0.9, 0.4}}, "uv.padding", Fail},
		{"one island over the whole tile", spec.Hero, baked, [][4]float32{{0, 0, 1, 1}}, "uv.padding", Pass},
		{"two islands that touch", spec.Hero, baked, [][4]float32{half, {0.4, 0.1, 0.9, 0.4}}, "uv.padding", Fail},
	} {
		b := quadsAt(1024, c.uvs...)
		s := b.subject(t, specOf(t, c.tier, "checks: {uv.texel_density: {target_px_per_m: 1024}}"))
		s.Sets = []*Set{b.set(0, c.def)}
		f := run1(t, s, c.check)
		require.Equal(t, c.want, f.Outcome, "%s: %s %v", c.name, f.Sentence, f.Metrics)
	}
}

// Forty bolts on one island; then one of them slips.
func TestStackedBolts(t *testing.T) {
	t.Parallel()
	bolts := func(slip float32) Finding {
		b := newProp("hatch_a.glb")
		m := b.material("steel", 1024)
		b.node("plate", identity16, quadPrim(m, 0, 0, 1, 1, 0.02, 0.02, 0.7, 0.7))
		for i := range 40 {
			p := discPrim(m, 0.01, 8, 0.85, 0.2, 0.05)
			if i == 17 {
				for k := 0; k < len(p.UV[0]); k += 2 {
					p.UV[0][k] += slip
				}
			}
			b.node(fmt.Sprintf("bolt_%02d", i), moved(float64(i)*0.02, 0, 0.1), p)
		}
		return run1(t, b.subject(t, specOf(t, spec.Hero, "")), "uv.overlap")
	}
	f := bolts(0)
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Zero(t, f.Metrics["partial_share"])
	octagon := 2 * math.Sqrt2 * 0.05 * 0.05
	require.InEpsilon(t, octagon/(octagon+0.68*0.68), f.Metrics["stacked_share"], 1e-5)

	f = bolts(3.0 / 1024)
	require.Equal(t, Fail, f.Outcome)
	require.Contains(t, f.Remedy, "slipped")
	require.Contains(t, []string{"bolt_00", "bolt_17"}, f.Where[0].Node)
}

// discPrim is a regular polygon as a fan, seen from +Z, with its UVs around a place.
func discPrim(material int, r float32, n int, u, v, uvR float64) mesh.Primitive {
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}}
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		p.Pos = append(p.Pos, r*float32(cos), r*float32(sin), 0)
		p.Nrm = append(p.Nrm, 0, 0, 1)
		p.UV[0] = append(p.UV[0], float32(u+uvR*cos), float32(v-uvR*sin))
	}
	for k := 1; k+1 < n; k++ {
		p.Tri = append(p.Tri, 0, uint32(k), uint32(k+1))
	}
	return p
}

// Everything dumped on one heap: measuring it is ended, and what is known is enough to say that it overlaps.
func TestHeapOfIslands(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	var l layout
	for i := range 2500 {
		for k := range 3 {
			l.pos = append(l.pos, float32(i), float32(k%2), float32(k/2))
			l.uv = append(l.uv, rng.Float32(), rng.Float32())
		}
		l.tri = append(l.tri, uint32(3*i), uint32(3*i+1), uint32(3*i+2))
	}
	sp := specOf(t, spec.Hero, "")
	set := setOf(l, 1024, 1024)
	f := uvOverlap(t.Context(), &Subject{Spec: sp}, Target{Set: set}, sp.Rule("uv.overlap", nil, &set.Def))
	require.Equal(t, Fail, f.Outcome)
	require.Contains(t, f.Sentence, "At least")
	require.Greater(t, f.Metrics["partial_share"], 0.5)
	require.Len(t, f.Where, maxPlaces)
	require.Equal(t, NotEvaluated, uvCoverage(t.Context(), &Subject{Spec: sp}, Target{Set: set}, sp.Rule("uv.coverage", nil, &set.Def)).Outcome)
}

// A prop built as one half and its mirror image, joined along the middle with the same UVs on both: one island folded on
// itself along the middle. It is a stack, and the mirrored half has its partner.
func TestMirroredHalfJoinedInTheMiddle(t *testing.T) {
	t.Parallel()
	build := func(right float32) *propBuild {
		b := newProp("figurehead_a.glb")
		m := b.material("wood", 1024)
		p := mesh.Primitive{Material: m, Mode: 4,
			Pos: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, -1, 0, 0, -1, 1, 0},
			Nrm: []float32{0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1},
			UV:  [][]float32{{0.1, 0.9, 0.9, 0.9, 0.9, 0.1, 0.1, 0.1, right, 0.9, right, 0.1}},
			Tri: []uint32{0, 1, 2, 0, 2, 3, 0, 3, 5, 0, 5, 4}}
		b.node("body", identity16, p)
		return b
	}
	s := build(0.9).subject(t, specOf(t, spec.Background, ""))
	f := run1(t, s, "uv.overlap")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Equal(t, 1.0, f.Metrics["stacked_share"])
	require.Zero(t, f.Metrics["partial_share"])
	f = run1(t, s, "uv.flipped")
	require.Equal(t, Pass, f.Outcome)
	require.Equal(t, 0.5, f.Metrics["area_share"])
	require.Zero(t, f.Metrics["alone_share"])
	require.Equal(t, Pass, run1(t, s, "uv.padding").Outcome)

	// The defect beside it: the mirrored side is folded over without lying on the other.
	s = build(0.5).subject(t, specOf(t, spec.Background, ""))
	f = run1(t, s, "uv.overlap")
	require.Equal(t, Fail, f.Outcome)
	require.InDelta(t, 0.5, f.Metrics["partial_share"], 1e-6)
	require.Equal(t, Warn, run1(t, s, "uv.flipped").Outcome)
}

// A sheet doubled with reversed faces on the same texels is a stack.
func TestDoubledSheet(t *testing.T) {
	t.Parallel()
	b := newProp("sail_a.glb")
	m := b.material("canvas", 1024)
	p := quadPrim(m, 0, 0, 1, 1, 0.1, 0.1, 0.9, 0.9)
	p.Tri = append(p.Tri, 0, 2, 1, 0, 3, 2)
	b.node("sail", identity16, p)
	s := b.subject(t, specOf(t, spec.Background, ""))
	f := run1(t, s, "uv.overlap")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Equal(t, 1.0, f.Metrics["stacked_share"])
	require.Equal(t, Pass, run1(t, s, "uv.flipped").Outcome)
}

// Text must not be mirrored, stack or not; the same panel under another name may.
func TestMirroredText(t *testing.T) {
	t.Parallel()
	run := func(name string, kind spec.PartKind) Finding {
		b := newProp("shed_a.glb")
		m := b.material("paint", 1024)
		b.node("panel", identity16, quadPrim(m, 0, 0, 1, 1, 0.1, 0.1, 0.4, 0.4))
		b.node(name, moved(2, 0, 0), quadPrim(m, 0, 0, 1, 1, 0.4, 0.1, 0.1, 0.4))
		s := b.subject(t, specOf(t, spec.Hero, ""))
		s.Parts = []*Part{b.part("panel", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:1]),
			b.part("other", spec.Part{Kind: kind, Density: 1}, b.scene.Draws[1:])}
		return run1(t, s, "uv.flipped")
	}
	require.Equal(t, Pass, run("panel_left", spec.Solid).Outcome)
	require.Equal(t, Fail, run("berth_sign", spec.Solid).Outcome)
	require.Equal(t, Fail, run("Berth_Label_02", spec.Solid).Outcome)
	f := run("panel_left", spec.Decal)
	require.Equal(t, Fail, f.Outcome, "a decal")
	require.Equal(t, 0.5, f.Metrics["text_share"])
	require.Equal(t, "panel_left", f.Where[0].Node)
}

// Sets of several tiles: every check per tile, with the size that the tile ships at.
func TestUDIMTiles(t *testing.T) {
	t.Parallel()
	def := spec.Set{Kind: spec.UDIM, Tiles: []int{1001, 1002, 1011}, TilePx: map[int]int{1002: 512}, Stack: "any"}
	good := [][4]float32{{0.02, 0.02, 0.98, 0.98}, {1.02, 0.02, 1.98, 0.98}, {0.02, -0.98, 0.98, -0.02}}
	run := func(uvs [][4]float32, check string) Finding {
		b := quadsAt(1024, uvs...)
		s := b.subject(t, specOf(t, spec.MidGround, "checks: {uv.texel_density: {target_px_per_m: 983}}"))
		s.Sets = []*Set{b.set(0, def)}
		return run1(t, s, check)
	}
	for _, check := range []string{"uv.range", "uv.overlap", "uv.padding", "uv.coverage", "uv.stretch"} {
		f := run(good, check)
		require.Equal(t, Pass, f.Outcome, "%s: %s", check, f.Sentence)
	}
	f := run(good, "uv.coverage")
	require.InDelta(t, 0.96*0.96, f.Metrics["share"], 1e-6)

	// Equal UVs in different tiles are no stack and no overlap.
	require.Zero(t, run(good, "uv.overlap").Metrics["area_share"])

	// The tile of 512 px has half the density.
	f = run(good, "uv.texel_density")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 1002, *f.Tile)
	require.Equal(t, 1.0, f.Metrics["share_outside"])
	require.InDelta(t, 0.96*512, f.Where[0].Value.Value, 0.01)

	// A gap of 4 px in a tile of 1024 is what it wants; of the tile of 512 the same UVs are 2 px, as it wants too.
	const e = 1.0 / 1024
	f = run([][4]float32{{0.02, 0.02, 0.5, 0.98}, {0.5 + 4*e, 0.02, 0.98, 0.98}, {1.02, 0.02, 1.5, 0.98}, {1.5 + 4*e, 0.02, 1.98, 0.98}}, "uv.padding")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	f = run([][4]float32{{0.02, 0.02, 0.5, 0.98}, {0.5 + 4*e, 0.02, 0.98, 0.98}, {1.02, 0.02, 1.5, 0.98}, {1.5 + 1*e, 0.02, 1.98, 0.98}}, "uv.padding")
	require.Equal(t, Fail, f.Outcome, f.Sentence)
	require.Equal(t, 1002, *f.Tile)
	require.InDelta(t, 0.5, f.Metrics["min_px"], 1e-3)
	require.InDelta(t, 1.5, f.Where[0].UV[0], 0.01, "in the tile where it is")

	f = run([][4]float32{good[0], {1.02, 0.02, 1.3, 0.3}, good[2]}, "uv.coverage")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 1002, *f.Tile)
	require.InDelta(t, 0.28*0.28, f.Metrics["tile_share"], 1e-6)

	require.Equal(t, Fail, run([][4]float32{{0.7, 0.1, 1.2, 0.4}}, "uv.range").Outcome, "across a tile's border")
	require.Equal(t, Fail, run([][4]float32{{2.1, 0.1, 2.4, 0.4}}, "uv.range").Outcome, "a tile that is not in the list")
	require.Equal(t, Fail, run([][4]float32{{-0.9, 0.1, -0.2, 0.4}}, "uv.range").Outcome, "no tile has this number")
	require.Equal(t, Fail, run([][4]float32{{0.1, 0.1, 0.4, 0.4}, {0.2, 0.2, 0.5, 0.5}, {1.1, 0.1, 1.4, 0.4}}, "uv.overlap").Outcome)
}

// Painted at 4096 and shipped at 1024: the gap is what is left at ship size.
func TestPaddingAtShipSize(t *testing.T) {
	t.Parallel()
	b := quadsAt(4096, [4]float32{0.1, 0.1, 0.4, 0.4}, [4]float32{0.4 + 8.0/4096, 0.1, 0.8, 0.4})
	s := b.subject(t, specOf(t, spec.Hero, ""))
	f := run1(t, s, "uv.padding")
	require.InDelta(t, 8, f.Metrics["min_px"], 1e-3)
	require.Equal(t, 3.0, f.Metrics["mip_levels"])
	require.Equal(t, Warn, f.Outcome, "16 are wanted at 4096")
	s.Sets[0].Def.ShipPx = 1024
	s.Sets[0].WidthPx, s.Sets[0].HeightPx = 1024, 1024
	f = run1(t, s, "uv.padding")
	require.InDelta(t, 2, f.Metrics["min_px"], 1e-3)
	require.Equal(t, Warn, f.Outcome, "half of the 4 that are wanted at 1024")
	require.Equal(t, 1.0, f.Metrics["mip_levels"])
	s.Sets[0].WidthPx, s.Sets[0].HeightPx = 0, 0
	f = run1(t, s, "uv.padding")
	require.Contains(t, f.Sentence, "as if the map had 1024")
}

// A straightened strip has one bad triangle: L∞ is large, the area is small. A wall that smears is the defect.
func TestStraightenedStrip(t *testing.T) {
	t.Parallel()
	b := newProp("rail_a.glb")
	m := b.material("rope", 1024)
	b.node("rail", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	bad := quadPrim(m, 0, 0, 0.1, 0.1, 0, 0, 0.2, 0.01)
	bad.Tri = bad.Tri[:3]
	b.node("end", moved(2, 0, 0), bad)
	s := b.subject(t, specOf(t, spec.CloseUp, ""))
	f := run1(t, s, "uv.stretch")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Greater(t, f.Metrics["linf"], 5.0)
	require.InEpsilon(t, 0.005/1.005, f.Metrics["anisotropic_share"], 1e-5)

	b.node("wall", moved(4, 0, 0), quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 0.5))
	f = run1(t, b.subject(t, specOf(t, spec.CloseUp, "")), "uv.stretch")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, "wall", f.Where[0].Node)
}

// Closed forms for stretch (Sander et al. 2001). The development of a cylinder or a cone of flat faces is an isometry: no
// stretch. A cone seen from above is scaled by the cosine of its slope along the slope and not across it; so is a tube
// whose strip is squeezed.
func TestStretchOfDevelopments(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	run := func(p mesh.Primitive) map[string]float64 {
		b := newProp("buoy_a.glb")
		p.Material = b.material("steel", 1024)
		b.node("shell", identity16, p)
		return run1(t, b.subject(t, sp), "uv.stretch").Metrics
	}
	const n, r, h = 24, 0.3, 0.8
	chord := 2 * r * math.Sin(math.Pi/n)
	for _, squeeze := range []float64{1, 1.25, 3} {
		m := run(ring(n, func(k int, top float64) ([3]float64, [2]float64) {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
			return [3]float64{r * cos, top * h, r * sin}, [2]float64{float64(k) * chord / 4, (1 - top) * h / 4 / squeeze}
		}))
		// Singular values 1 and squeeze, per quarter of a metre; UV area is 1/squeeze of the surface's.
		scale := 1 / math.Sqrt(squeeze)
		require.InEpsilon(t, scale*math.Sqrt((1+squeeze*squeeze)/2), m["l2"], 1e-5)
		require.InEpsilon(t, scale*squeeze, m["linf"], 1e-5)
		require.Equal(t, squeeze > 1.5, m["anisotropic_share"] > 0.99)
	}
	cone := func(flat bool) mesh.Primitive {
		slant := math.Sqrt(r*r*math.Cos(math.Pi/n)*math.Cos(math.Pi/n) + h*h) // of a face
		edge := math.Sqrt(r*r + h*h)
		angle := 2 * math.Atan(chord/2/slant) // of a face at the tip
		return fan(n, func(k int) ([3]float64, [2]float64) {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / n)
			if flat {
				return [3]float64{r * cos, 0, r * sin}, [2]float64{0.5 + r*cos, 0.5 + r*sin}
			}
			s, c := math.Sincos(angle * float64(k))
			return [3]float64{r * cos, 0, r * sin}, [2]float64{0.5 + edge*c/4, 0.5 + edge*s/4}
		}, [3]float64{0, h, 0}, [2]float64{0.5, 0.5})
	}
	m := run(cone(false))
	require.InDelta(t, 1, m["l2"], 1e-5, "a development")
	require.InDelta(t, 1, m["linf"], 1e-4)
	cosine := r * math.Cos(math.Pi/n) / math.Sqrt(r*r*math.Cos(math.Pi/n)*math.Cos(math.Pi/n)+h*h)
	m = run(cone(true))
	require.InEpsilon(t, math.Sqrt(cosine*(1+1/(cosine*cosine))/2), m["l2"], 1e-4, "seen from above")
	require.InEpsilon(t, math.Sqrt(cosine)/cosine, m["linf"], 1e-4)
	require.Equal(t, 1.0, m["anisotropic_share"])
}

// ring is a strip of n quads between two rows of places, top 0 and 1, each quad with corners of its own.
func ring(n int, at func(k int, top float64) ([3]float64, [2]float64)) mesh.Primitive {
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	for k := range n {
		base := uint32(len(p.Pos) / 3)
		for _, c := range [4][2]int{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			pos, uv := at(k+c[0], float64(c[1]))
			addCorner(&p, pos, uv)
		}
		p.Tri = append(p.Tri, base, base+2, base+1, base, base+3, base+2)
	}
	return p
}

// fan is n triangles between neighbouring places on a rim and a tip, each with corners of its own.
func fan(n int, at func(k int) ([3]float64, [2]float64), tip [3]float64, tipUV [2]float64) mesh.Primitive {
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	for k := range n {
		base := uint32(len(p.Pos) / 3)
		for _, j := range [2]int{k, k + 1} {
			pos, uv := at(j)
			addCorner(&p, pos, uv)
		}
		addCorner(&p, tip, tipUV)
		p.Tri = append(p.Tri, base, base+2, base+1)
	}
	return p
}

func addCorner(p *mesh.Primitive, pos [3]float64, uv [2]float64) {
	p.Pos = append(p.Pos, float32(pos[0]), float32(pos[1]), float32(pos[2]))
	p.Nrm = append(p.Nrm, 0, 1, 0)
	p.UV[0] = append(p.UV[0], float32(uv[0]), float32(uv[1]))
}

// Glass that no map covers needs no layout; the same pane on a solid part does.
func TestGlassWithoutAMap(t *testing.T) {
	t.Parallel()
	run := func(kind spec.PartKind, px int) Finding {
		b := newProp("lamp_a.glb")
		m := b.material("pane", px)
		b.node("left", identity16, quadPrim(m, 0, 0, 1, 1, 0.1, 0.1, 0.5, 0.5))
		b.node("right", moved(2, 0, 0), quadPrim(m, 0, 0, 1, 1, 0.2, 0.2, 0.7, 0.7))
		s := b.subject(t, specOf(t, spec.Hero, ""))
		s.Parts[0].Def.Kind = kind
		return run1(t, s, "uv.overlap")
	}
	require.Equal(t, NotApplicable, run(spec.Glass, 0).Outcome)
	require.Equal(t, Fail, run(spec.Glass, 512).Outcome)
	require.Equal(t, Fail, run(spec.Solid, 0).Outcome)
}

// LODs, collision and cage lie where LOD 0 lies in the layout, and are never held against it.
func TestNoOverlapAcrossLODs(t *testing.T) {
	t.Parallel()
	dir := harbourBollard(t)
	m := &glbwrite.Material{Name: "bollard"}
	lo, hi := [3]float32{-.21, 0, -.21}, [3]float32{.21, .7, .21}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "bollard_game.glb"), glbwrite.Scene{Roots: []*glbwrite.Node{
		glbBoxNode("bollard_body", lo, hi, m), glbBoxNode("bollard_body_lod1", lo, hi, m), glbBoxNode("bollard_body_collision", lo, hi, m)}}))
	e := inspectFolder(t, specFromFile(t, "bollard.yaml", spec.Final), dir).Evidence
	f := findingOf(t, e, "uv.overlap")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Zero(t, f.Metrics["area_share"])
}

// Strips of a trim sheet: inside their strip, or over its border.
func TestTrimStrips(t *testing.T) {
	t.Parallel()
	run := func(text string, uvs ...[4]float32) Finding {
		b := quadsAt(1024, uvs...)
		s := b.subject(t, specOf(t, spec.Hero, text))
		s.Sets = []*Set{b.set(0, spec.Set{Kind: spec.Trim})}
		return run1(t, s, "uv.strips")
	}
	strips := "checks: {uv.strips: {borders_px: [0, 256, 512, 1024]}}"
	require.Equal(t, NotApplicable, run("", [4]float32{0, 0, 1, 1}).Outcome, "no strips are named")
	require.Equal(t, Pass, run(strips, [4]float32{0, 0.01, 7, 0.25}, [4]float32{2, 0.26, 3, 0.49}, [4]float32{0, 1.5, 1, 2}).Outcome)
	f := run(strips, [4]float32{0, 0.01, 7, 0.30})
	require.Equal(t, Warn, f.Outcome)
	require.InDelta(t, 0.05*1024, f.Metrics["max_overhang_px"], 1e-3)
	down := "checks: {uv.strips: {borders_px: [0, 512, 1024], run: down}}"
	require.Equal(t, Pass, run(down, [4]float32{0.51, 0, 0.99, 9}).Outcome)
	require.Equal(t, Warn, run(down, [4]float32{0.4, 0, 0.6, 9}).Outcome)
}

// A second set is only wanted where the spec says so; stacks are no excuse there.
func TestLightmap(t *testing.T) {
	t.Parallel()
	run := func(text string, uv1 ...[4]float32) Finding {
		b := newProp("hut_a.glb")
		m := b.material("wood", 1024)
		for i, c := range uv1 {
			p := quadPrim(m, 0, 0, 1, 1, 0.1, 0.1, 0.4, 0.4) // stacked in the first set
			if c != [4]float32{} {
				p.UV = append(p.UV, []float32{c[0], c[3], c[2], c[3], c[2], c[1], c[0], c[1]})
			}
			b.node(fmt.Sprintf("wall_%d", i), moved(2*float64(i), 0, 0), p)
		}
		return run1(t, b.subject(t, specOf(t, spec.Hero, text)), "uv.lightmap")
	}
	wanted := "checks: {uv.lightmap: {wanted: yes}}"
	left, right := [4]float32{0.02, 0.02, 0.48, 0.98}, [4]float32{0.52, 0.02, 0.98, 0.98}
	require.Equal(t, NotApplicable, run("", left, right).Outcome)
	f := run(wanted, left, right)
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.InDelta(t, 0.04*256, f.Metrics["min_px"], 1e-3)
	f = run(wanted, left, left)
	require.Equal(t, Fail, f.Outcome, "a stack")
	require.Equal(t, 1.0, f.Metrics["overlap_share"])
	require.Equal(t, Fail, run(wanted, left, [4]float32{0.485, 0.02, 0.98, 0.98}).Outcome, "1.3 texels apart")
	require.Equal(t, Fail, run(wanted, left, [4]float32{}).Outcome, "half of it has no second set")
	require.Equal(t, Fail, run(wanted, left, [4]float32{0.52, 0.02, 1.2, 0.98}).Outcome, "over the border")
}

// Hard edges without a seam block near the camera and warn far away; trims and shared sets are not asked.
func TestSeamsAtHardEdges(t *testing.T) {
	t.Parallel()
	run := func(tier spec.Tier, kind spec.SetKind, split float64, seam bool) Finding {
		b := newProp("step_a.glb")
		b.node("step", identity16, roofPrim(b.material("wood", 1024), 90, split, seam))
		s := b.subject(t, specOf(t, tier, ""))
		s.Sets = []*Set{b.set(0, spec.Set{Kind: kind, Stack: "any"})}
		return run1(t, s, "uv.seams_at_hard_edges")
	}
	require.Equal(t, Pass, run(spec.Hero, spec.Baked, 90, true).Outcome)
	f := run(spec.Hero, spec.Baked, 90, false)
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["missing"])
	require.InDelta(t, 1000, f.Metrics["length_mm"], 0.01)
	require.InDelta(t, 90, f.Where[0].Value.Value, 0.1)
	require.Equal(t, Warn, run(spec.MidGround, spec.Baked, 90, false).Outcome)
	require.Equal(t, Fail, run(spec.Hero, spec.UDIM, 90, false).Outcome)
	require.Equal(t, NotApplicable, run(spec.Hero, spec.Trim, 90, false).Outcome)
	require.Equal(t, NotApplicable, run(spec.Hero, spec.Shared, 90, false).Outcome)
	f = run(spec.Hero, spec.Baked, 1.5, false)
	require.Equal(t, Warn, f.Outcome, "weighted normals are soft, but 90° inside one island make a gradient")
	require.Equal(t, 1.0, f.Metrics["steep_soft"])
	require.Equal(t, Pass, run(spec.Hero, spec.Baked, 0, true).Outcome, "the same with a seam")

	b := newProp("step_a.glb")
	p := roofPrim(b.material("wood", 1024), 90, 90, false)
	p.Nrm = nil
	b.node("step", identity16, p)
	require.Equal(t, NotEvaluated, run1(t, b.subject(t, specOf(t, spec.Hero, "")), "uv.seams_at_hard_edges").Outcome)
}

// roofPrim is two quads of a metre that meet along an edge at an angle, their normals there split by another.
func roofPrim(material int, foldDeg, splitDeg float64, seam bool) mesh.Primitive {
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}, Tri: []uint32{0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7}}
	for side := range 2 {
		sign := float64(1 - 2*side)
		sin, cos := math.Sincos(foldDeg / 2 * math.Pi / 180)
		ns, nc := math.Sincos(splitDeg / 2 * math.Pi / 180)
		for _, c := range [4][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
			p.Pos = append(p.Pos, float32(c[0]), float32(-sin*c[1]), float32(cos*sign*c[1]))
			p.Nrm = append(p.Nrm, 0, float32(nc), float32(ns*sign))
			v := sign * c[1] / 4
			if seam && side == 1 {
				v -= 0.1
			}
			p.UV[0] = append(p.UV[0], float32(0.1+c[0]/4), float32(0.5+v))
		}
	}
	return p
}

// The picture tells stacks from overlaps by shape, rings what is too close, and lays tiles out with their numbers.
func TestUVPictureOfFaults(t *testing.T) {
	t.Parallel()
	const e = 1.0 / 1024
	b := quadsAt(1024, [4]float32{0.05, 0.05, 0.35, 0.35}, [4]float32{1.05, 0.05, 1.35, 0.35}, // a stack
		[4]float32{0.5, 0.05, 0.8, 0.35}, [4]float32{0.7, 0.2, 0.95, 0.45}, // an overlap
		[4]float32{0.05, 0.6, 0.3, 0.9}, [4]float32{0.3 + 1.5*e, 0.6, 0.6, 0.9}, // too close
		[4]float32{0.7, 0.6, 1 - 0.5*e, 0.8}) // too close to the border
	s := b.subject(t, specOf(t, spec.Hero, "checks: {uv.texel_density: {target_px_per_m: 307}}"))
	sheet := newUVSheet(t.Context(), s, s.Sets[0])
	require.NotNil(t, sheet)
	require.Len(t, sheet.gaps, 3, "the overlap, the two that are close, and the border")
	d := uvPicture(t.Context(), s, s.Sets[0], "uv_density.png")
	require.False(t, sheet.clearSurface, "not drawn yet")
	dark := func(u0, v0, u1, v1 float64) float64 {
		n, on := 0, 0
		for y := int(v0 * uvTilePx); y < int(v1*uvTilePx); y++ {
			for x := int(u0 * uvTilePx); x < int(u1*uvTilePx); x++ {
				n++
				if c := d.canvas.Get(sheetMargin+x, headHeight+y); c.R < 150 && c.G < 150 {
					on++
				}
			}
		}
		return float64(on) / float64(n)
	}
	require.InDelta(t, 1.0/9, dark(0.07, 0.22, 0.15, 0.3), 0.03, "thin lines over the stack")
	require.Greater(t, dark(0.71, 0.21, 0.79, 0.3), 0.4, "a lattice over the overlap")
	require.Less(t, dark(0.1, 0.8, 0.14, 0.88), 0.02, "nothing over an island alone")
	keepPicture(t, d, "uv_faults.png")

	tiles := quadsAt(1024, [4]float32{0.1, 0.1, 0.9, 0.9}, [4]float32{1.1, 0.1, 1.9, 0.5}, [4]float32{0.1, -0.9, 0.5, -0.1})
	s = tiles.subject(t, specOf(t, spec.Hero, ""))
	s.Sets = []*Set{tiles.set(0, spec.Set{Kind: spec.UDIM, Stack: "any"})}
	d = uvPicture(t.Context(), s, s.Sets[0], "uv_density.png")
	at := func(x, y float64) raster.Colour {
		return d.canvas.Get(sheetMargin+int(x*uvTilePx), headHeight+int(y*uvTilePx))
	}
	require.NotEqual(t, white, at(0.2, 0.6), "tile 1001 is below")
	require.Equal(t, white, at(0.45, 0.25), "the right half of tile 1011, above it, is empty")
	require.NotEqual(t, white, at(0.15, 0.35), "its left half is not")
	require.Equal(t, paper, at(0.75, 0.25), "there is no tile 1012")
	keepPicture(t, d, "uv_tiles.png")
}

// keepPicture writes a picture where PROOFHOUSE_PICTURES names a folder, to be looked at.
func keepPicture(t *testing.T, d *drawn, name string) {
	t.Helper()
	dir := os.Getenv("PROOFHOUSE_PICTURES")
	if dir == "" {
		return
	}
	data, err := d.canvas.PNG()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o644))
}
