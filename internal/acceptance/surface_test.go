package acceptance

import (
	"context"
	"encoding/json"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// sculpted is a delivery of one part whose sculpt is given as primitives.
func sculpted(t tester, sp *spec.Spec, game []mesh.Primitive, sculpt []mesh.Primitive) *Subject {
	t.Helper()
	b := newProp("crate_a.glb")
	m := b.material("wood", 1024)
	for _, p := range game {
		p.Material = m
		b.node("body", identity16, p)
	}
	s := b.subject(t, sp)
	s.Threads = 2
	if sculpt == nil {
		return s
	}
	h := newProp("crate_a_sculpt.glb")
	h.material("clay", 0)
	for _, p := range sculpt {
		h.node("body_sculpt", identity16, p)
	}
	s.Sculpt = &Body{Surface: mesh.Flatten(h.scene, h.scene.Draws)}
	s.Parts[0].Sculpt = s.Sculpt.Surface
	s.Parts[0].DiagonalMM = diagonalMM(&s.Parts[0].Game)
	return s
}

// slab is a box whose upper side is a grid raised by f, for sculpts with lumps.
func slab(lo, hi [3]float32, n int, f func(x, z float64) float64) mesh.Primitive {
	p := boxPrim(0, lo, hi)
	// The upper side goes; a grid takes its place.
	kept := mesh.Primitive{Mode: 4, Pos: p.Pos, Nrm: p.Nrm, UV: p.UV}
	for i := 0; i < len(p.Tri); i += 3 {
		if p.Nrm[3*p.Tri[i]+1] < 0.5 {
			kept.Tri = append(kept.Tri, p.Tri[i:i+3]...)
		}
	}
	base := uint32(len(kept.Pos) / 3)
	for i := range n + 1 {
		for j := range n + 1 {
			x, z := lo[0]+(hi[0]-lo[0])*float32(i)/float32(n), lo[2]+(hi[2]-lo[2])*float32(j)/float32(n)
			kept.Pos = append(kept.Pos, x, hi[1]+float32(f(float64(x), float64(z))), z)
			kept.Nrm = append(kept.Nrm, 0, 1, 0)
			kept.UV[0] = append(kept.UV[0], 0.5, 0.5)
		}
	}
	for i := range n {
		for j := range n {
			a := base + uint32(i*(n+1)+j)
			b, c, d := a+1, a+uint32(n)+2, a+uint32(n)+1
			kept.Tri = append(kept.Tri, a, b, c, a, c, d)
		}
	}
	return kept
}

var (
	crateLo, crateHi = [3]float32{-.5, 0, -.5}, [3]float32{.5, .5, .5}
	surfaceNames     = []string{"surface.poke_through", "surface.deviation", "surface.cage_reach", "surface.cage_mesh", "surface.symmetry", "surface.silhouette"}
)

func level(x, z float64) float64 { return 0 }

// Every check of the family carries the metrics it says, whatever comes out.
func TestSurfaceMetricsAreThere(t *testing.T) {
	t.Parallel()
	s := sculpted(t, specOf(t, spec.Hero, "conventions: {mirror: x}"), []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, []mesh.Primitive{slab(crateLo, crateHi, 20, level)})
	s.Parts[0].Cage = mesh.Flatten(newCage(0.01).scene, newCage(0.01).scene.Draws)
	for _, name := range surfaceNames {
		f := run1(t, s, name)
		require.NotEqual(t, NotEvaluated, f.Outcome, "%s: %s", name, f.Sentence)
		for _, c := range checks() {
			if c.Def.Name == name {
				for _, m := range c.Def.Metrics {
					require.Contains(t, f.Metrics, m, name)
				}
				for m := range f.Metrics {
					require.True(t, slices.Contains(c.Def.Metrics, m), "%s: %s is not in its description", name, m)
				}
			}
		}
	}
}

func newCage(by float32) *propBuild {
	b := newProp("crate_a_cage.glb")
	b.node("body_cage", identity16, boxPrim(b.material("cage", 0), [3]float32{crateLo[0] - by, crateLo[1] - by, crateLo[2] - by}, [3]float32{crateHi[0] + by, crateHi[1] + by, crateHi[2] + by}))
	return b
}

// A lump just above the limit is found and just below it is not, wherever it stands; the finding names its height, its
// place and its side.
func TestPlantedLump(t *testing.T) {
	t.Parallel()
	game := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}
	sp := specOf(t, spec.Hero, "checks:\n  surface.poke_through: {max_height_mm: 4, max_share_above: 1}\n")
	rapid.Check(t, func(rt *rapid.T) {
		const n = 40
		i, j := rapid.IntRange(4, n-4).Draw(rt, "i"), rapid.IntRange(4, n-4).Draw(rt, "j")
		over := rapid.Bool().Draw(rt, "over")
		height := 3.99
		if over {
			height = 4.01
		}
		x0, z0 := -.5+float64(i)/n, -.5+float64(j)/n
		lump := func(x, z float64) float64 { return height / 1000 * math.Max(0, 1-20*math.Hypot(x-x0, z-z0)) }
		f := run1(rt, sculpted(rt, sp, game, []mesh.Primitive{slab(crateLo, crateHi, n, lump)}), "surface.poke_through")
		require.InDelta(rt, height, f.Metrics["max_height_mm"], 0.005)
		require.Equal(rt, 1.0, f.Metrics["patches"])
		require.Equal(rt, "top", f.Where[0].Side)
		require.Equal(rt, "body_sculpt", f.Where[0].Node)
		require.InDelta(rt, 1000*x0, f.Where[0].PointMM[0], 0.01)
		require.InDelta(rt, 1000*z0, f.Where[0].PointMM[2], 0.01)
		require.Len(rt, f.Where[0].Triangles, 1)
		if over {
			require.Equal(rt, Fail, f.Outcome, f.Sentence)
			require.True(rt, f.Blocks)
			require.InDelta(rt, height, f.Measured.Value, 0.005)
		} else {
			require.Equal(rt, Pass, f.Outcome, f.Sentence)
		}
	})
}

// The limit is the larger of a share of the part's diagonal and a pixel at the tier's distance, and a spec's own
// millimetres go before both.
func TestPokeLimit(t *testing.T) {
	t.Parallel()
	game, sculpt := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, []mesh.Primitive{slab(crateLo, crateHi, 4, level)}
	diagonal := 1000 * math.Sqrt(1+0.25+1)
	for _, c := range []struct {
		tier spec.Tier
		text string
		want float64
	}{
		{spec.Background, "", 0.008 * diagonal}, {spec.MidGround, "", 0.005 * diagonal}, {spec.Hero, "", 0.0025 * diagonal}, {spec.CloseUp, "", 0.0012 * diagonal},
		{spec.Hero, "view: {distance_m: 15}", 2 * 15000 * math.Tan(25*math.Pi/180) / 1440},
		{spec.Hero, "checks:\n  surface.poke_through: {max_height_mm: 7}", 7},
		{spec.Hero, "checks:\n  surface.poke_through: {max_height_share: 0.01}", 0.01 * diagonal},
	} {
		f := run1(t, sculpted(t, specOf(t, c.tier, c.text), game, sculpt), "surface.poke_through")
		require.InEpsilon(t, c.want, f.Limit["max_height_mm"], 1e-6, "%s %s", c.tier, c.text)
		require.Equal(t, Pass, f.Outcome)
	}
}

// A drum of twelve sides inscribed in a round sculpt: the finding says how many would do (R(1 - cos(π/n)) <= limit).
func TestSidesThatWouldDo(t *testing.T) {
	t.Parallel()
	const radius, limit = 0.3, 4.0
	f := run1(t, sculpted(t, specOf(t, spec.MidGround, "checks:\n  surface.poke_through: {max_height_mm: 4}"),
		[]mesh.Primitive{drumPrim(12, radius, 1)}, []mesh.Primitive{drumPrim(240, radius, 1)}), "surface.poke_through")
	require.Equal(t, Warn, f.Outcome, f.Sentence)
	require.InDelta(t, 1000*radius*(1-math.Cos(math.Pi/12)), f.Metrics["max_height_mm"], 0.05)
	n := 12
	for 1000*radius*(1-math.Cos(math.Pi/float64(n))) > limit {
		n++
	}
	require.Contains(t, f.Remedy, "a drum of 12 sides")
	require.Contains(t, f.Remedy, itoa(n)+" sides would do")
}

func drumPrim(n int, radius, height float64) mesh.Primitive {
	p := mesh.Primitive{Mode: 4, UV: [][]float32{nil}}
	put := func(x, y, z float64) uint32 {
		p.Pos = append(p.Pos, float32(x), float32(y), float32(z))
		p.Nrm = append(p.Nrm, 0, 1, 0)
		p.UV[0] = append(p.UV[0], float32(len(p.Pos))/float32(6*n+6), float32(y))
		return uint32(len(p.Pos)/3 - 1)
	}
	below, above := put(0, 0, 0), put(0, height, 0)
	var ring [2][]uint32
	for k := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		for e := range 2 {
			ring[e] = append(ring[e], put(radius*cos, height*float64(e), radius*sin))
		}
	}
	for k := range n {
		l := (k + 1) % n
		a, b, c, d := ring[0][k], ring[0][l], ring[1][l], ring[1][k]
		p.Tri = append(p.Tri, below, a, b, above, c, d, a, d, c, a, c, b)
	}
	return p
}

// No sculpt: not evaluated where the spec asks for one, not applicable where it says there is none.
func TestSurfaceWithoutSculpt(t *testing.T) {
	t.Parallel()
	for _, name := range surfaceNames {
		if name == "surface.cage_mesh" || name == "surface.symmetry" {
			continue // not applicable by themselves: no cage asked for, no mirror plane named
		}
		s := sculpted(t, specOf(t, spec.Hero, ""), []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, nil)
		s.Spec.Requires = []string{"game", "sculpt"}
		require.Equal(t, NotEvaluated, run1(t, s, name).Outcome, name)
		s.Parts[0].Def.Sculpt = []string{"none"}
		require.Equal(t, NotApplicable, run1(t, s, name).Outcome, name)
		s = sculpted(t, specOf(t, spec.Hero, ""), []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, nil)
		s.Spec.Requires = []string{"game"}
		require.Equal(t, NotApplicable, run1(t, s, name).Outcome, name)
	}
}

// Good props of kinds that a plain comparison would fail, and each with the real defect beside it.
func TestGoodPropsAndTheirDefects(t *testing.T) {
	t.Parallel()
	box := func(lo, hi [3]float32) mesh.Primitive { return boxPrim(0, lo, hi) }
	crate := box(crateLo, crateHi)
	within := slab([3]float32{-.499, .001, -.499}, [3]float32{.499, .499, .499}, 10, level)
	close := slab([3]float32{-.4998, .0002, -.4998}, [3]float32{.4998, .4998, .4998}, 10, level)
	noBottom := openBelow(crate)
	lumpy := slab(crateLo, crateHi, 20, func(x, z float64) float64 { return 0.03 * math.Max(0, 1-8*math.Hypot(x, z)) })
	plank := box([3]float32{-.4, .3, .45}, [3]float32{.4, .4, .53})
	plankSculpt := box([3]float32{-.399, .301, .46}, [3]float32{.399, .399, .529})
	for _, c := range []struct {
		name         string
		game, sculpt []mesh.Primitive
		open         []string
		check        string
		bad          bool
	}{
		{"crate", []mesh.Primitive{crate}, []mesh.Primitive{within}, nil, "surface.poke_through", false},
		{"crate with a lump", []mesh.Primitive{crate}, []mesh.Primitive{lumpy}, nil, "surface.poke_through", true},
		{"open bottom, declared", []mesh.Primitive{noBottom}, []mesh.Primitive{within}, []string{"below"}, "surface.poke_through", false},
		{"open bottom, declared, distance", []mesh.Primitive{noBottom}, []mesh.Primitive{within}, []string{"below"}, "surface.deviation", false},
		{"open bottom, not declared", []mesh.Primitive{noBottom}, []mesh.Primitive{within}, nil, "surface.deviation", true},
		{"open bottom, declared, with a lump", []mesh.Primitive{noBottom}, []mesh.Primitive{lumpy}, []string{"below"}, "surface.poke_through", true},
		{"plank pushed into the body", []mesh.Primitive{crate, plank}, []mesh.Primitive{within, plankSculpt}, nil, "surface.poke_through", false},
		{"plank pushed into the body, distance", []mesh.Primitive{crate, plank}, []mesh.Primitive{within, plankSculpt}, nil, "surface.deviation", false},
		{"plank pushed into the body, rays", []mesh.Primitive{crate, plank}, []mesh.Primitive{within, plankSculpt}, nil, "surface.cage_reach", false},
		{"sculpt of overlapping shells, never merged", []mesh.Primitive{crate}, []mesh.Primitive{within, box([3]float32{-.3, .1, -.3}, [3]float32{.3, .4, .3})}, nil, "surface.deviation", false},
		{"plank missing in the game mesh", []mesh.Primitive{crate}, []mesh.Primitive{within, plankSculpt}, nil, "surface.poke_through", true},
		{"outline", []mesh.Primitive{crate}, []mesh.Primitive{close}, nil, "surface.silhouette", false},
		{"outline, plank missing", []mesh.Primitive{crate}, []mesh.Primitive{within, plankSculpt}, nil, "surface.silhouette", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := sculpted(t, specOf(t, spec.Hero, "conventions: {cage: averaged, reach_mm: {front: 10, back: 10}}"), c.game, c.sculpt)
			s.Parts[0].Def.Open = c.open
			f := run1(t, s, c.check)
			if c.bad {
				require.Contains(t, []Outcome{Fail, Warn}, f.Outcome, f.Sentence)
			} else {
				require.Equal(t, Pass, f.Outcome, "%s %v %v", f.Sentence, f.Metrics, f.Labels)
			}
		})
	}
}

// openBelow is a box without its lower side.
func openBelow(p mesh.Primitive) mesh.Primitive {
	out := p
	out.Tri = nil
	for i := 0; i < len(p.Tri); i += 3 {
		if p.Nrm[3*p.Tri[i]+1] > -0.5 {
			out.Tri = append(out.Tri, p.Tri[i:i+3]...)
		}
	}
	return out
}

// hug: centred expects sculpt on both sides; patches are then what stands above the limit.
func TestHugCentred(t *testing.T) {
	t.Parallel()
	game := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}
	waves := func(x, z float64) float64 {
		return 0.002*math.Sin(20*x)*math.Sin(20*z) + 0.006*math.Max(0, 1-20*math.Hypot(x-.2, z-.2))
	}
	sculpt := []mesh.Primitive{slab(crateLo, crateHi, 100, waves)}
	limit := "\nchecks:\n  surface.poke_through: {max_height_mm: 3}"
	outside := run1(t, sculpted(t, specOf(t, spec.Hero, "conventions: {hug: outside}"+limit), game, sculpt), "surface.poke_through")
	centred := run1(t, sculpted(t, specOf(t, spec.Hero, "conventions: {hug: centred}"+limit), game, sculpt), "surface.poke_through")
	require.Greater(t, outside.Metrics["patches"], 10.0)
	require.Equal(t, 1.0, centred.Metrics["patches"])
	require.Equal(t, outside.Metrics["max_height_mm"], centred.Metrics["max_height_mm"])
	require.Equal(t, outside.Metrics["area_share"], centred.Metrics["area_share"])
}

// A lump on one side of the mirror plane: that side carries it, the other is clean, and the sentence says so.
func TestSymmetrySides(t *testing.T) {
	t.Parallel()
	game := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}
	for side, x0 := range map[string]float64{"left": 0.25, "right": -0.25} { // +X is left
		lump := func(x, z float64) float64 { return 0.02 * math.Max(0, 1-10*math.Hypot(x-x0, z)) }
		f := run1(t, sculpted(t, specOf(t, spec.Hero, "conventions: {mirror: x}"), game, []mesh.Primitive{slab(crateLo, crateHi, 40, lump)}), "surface.symmetry")
		other := map[string]string{"left": "right", "right": "left"}[side]
		require.Equal(t, Warn, f.Outcome)
		require.InDelta(t, 20, f.Metrics[side+"_max_height_mm"], 0.01)
		require.Equal(t, 1.0, f.Metrics[side+"_patches"])
		require.Positive(t, f.Metrics[side+"_area_share"])
		require.Zero(t, f.Metrics[other+"_max_height_mm"])
		require.Zero(t, f.Metrics[other+"_patches"])
		require.Contains(t, f.Sentence, "The "+side+" side is over the limit")
	}
}

// A delivered cage that fits, and each way in which one does not.
func TestCageMeshDefects(t *testing.T) {
	t.Parallel()
	game, sculpt := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, []mesh.Primitive{slab(crateLo, crateHi, 10, level)}
	for name, c := range map[string]struct {
		change func(p *mesh.Primitive)
		metric string
	}{
		"fits":         {func(p *mesh.Primitive) {}, ""},
		"crosses":      {func(p *mesh.Primitive) { moveCorner(p, crateHi, [3]float32{-1.2, 0, 0}) }, "crossings"},
		"inside":       {func(p *mesh.Primitive) { moveCorner(p, crateHi, [3]float32{-.1, -.1, -.1}) }, "game_outside_mm"},
		"other number": {func(p *mesh.Primitive) { p.Tri = p.Tri[3:] }, "other_triangles"},
		"other order":  {func(p *mesh.Primitive) { p.Tri = append(p.Tri[9:len(p.Tri):len(p.Tri)], p.Tri[:9]...) }, "other_triangles"},
	} {
		s := sculpted(t, specOf(t, spec.Hero, "conventions: {cage: mesh}"), game, sculpt)
		b := newCage(0.01)
		c.change(&b.scene.Prims[0])
		s.Parts[0].Cage = mesh.Flatten(b.scene, b.scene.Draws)
		f := run1(t, s, "surface.cage_mesh")
		if c.metric == "" {
			require.Equal(t, Pass, f.Outcome, "%s: %s %v", name, f.Sentence, f.Metrics)
			require.Equal(t, Pass, run1(t, s, "surface.cage_reach").Outcome)
			require.Contains(t, run1(t, s, "surface.cage_reach").Labels["cage"], "delivered cage")
			continue
		}
		require.Equal(t, Fail, f.Outcome, "%s: %s", name, f.Sentence)
		require.Positive(t, f.Metrics[c.metric], name)
	}
	s := sculpted(t, specOf(t, spec.Hero, "conventions: {cage: mesh}"), game, sculpt)
	require.Equal(t, NotEvaluated, run1(t, s, "surface.cage_mesh").Outcome)
	require.NotEmpty(t, run1(t, s, "surface.cage_reach").Labels["advisory"], "without the cage asked for, rays are advice")
	s = sculpted(t, specOf(t, spec.Hero, ""), game, sculpt)
	require.Equal(t, NotApplicable, run1(t, s, "surface.cage_mesh").Outcome)
}

// moveCorner moves every vertex that lies beyond a corner in all three axes.
func moveCorner(p *mesh.Primitive, corner, by [3]float32) {
	for v := 0; v < len(p.Pos); v += 3 {
		if p.Pos[v] > corner[0] && p.Pos[v+1] > corner[1] && p.Pos[v+2] > corner[2] {
			for k := range 3 {
				p.Pos[v+k] += by[k]
			}
		}
	}
}

// With a reach that the spec names, holes in the sculpt block; with our own guess they warn.
func TestCageReachIsAdviceWithoutReach(t *testing.T) {
	t.Parallel()
	game := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}
	sculpt := []mesh.Primitive{openBelow(boxPrim(0, crateLo, crateHi))}
	f := run1(t, sculpted(t, specOf(t, spec.Hero, "conventions: {cage: averaged, reach_mm: {front: 10, back: 10}}"), game, sculpt), "surface.cage_reach")
	require.Equal(t, Fail, f.Outcome, f.Sentence)
	require.InDelta(t, 0.25, f.Metrics["miss_share"], 0.02) // one side of four square metres' worth
	require.Equal(t, "below", f.Where[0].Side)
	f = run1(t, sculpted(t, specOf(t, spec.Hero, "conventions: {cage: averaged}"), game, sculpt), "surface.cage_reach")
	require.Equal(t, Warn, f.Outcome, f.Sentence)
}

// Findings are the same to the byte on any number of threads.
func TestSurfaceFindingsOnAnyNumberOfThreads(t *testing.T) {
	t.Parallel()
	bumps := func(x, z float64) float64 { return 0.004 * math.Sin(30*x) * math.Sin(23*z) }
	var first [][]byte
	for _, threads := range []int{1, 2, 8} {
		s := sculpted(t, specOf(t, spec.Hero, "conventions: {mirror: x, hug: centred, cage: mesh}"), []mesh.Primitive{boxPrim(0, crateLo, crateHi)},
			[]mesh.Primitive{slab(crateLo, crateHi, 120, bumps), boxPrim(0, [3]float32{-.3, .1, -.3}, [3]float32{.3, .55, .3})})
		b := newCage(0.01)
		s.Parts[0].Cage = mesh.Flatten(b.scene, b.scene.Draws)
		s.Threads = threads
		var got [][]byte
		for _, name := range surfaceNames {
			data, err := json.Marshal(run1(t, s, name))
			require.NoError(t, err)
			got = append(got, data)
		}
		if first == nil {
			first = got
		}
		for i := range got {
			require.Equal(t, string(first[i]), string(got[i]), "%d threads", threads)
		}
	}
}

// A stopped inspection leaves no answer that looks like one.
func TestSurfaceStops(t *testing.T) {
	t.Parallel()
	ctx, stop := context.WithCancel(context.Background())
	stop()
	s := sculpted(t, specOf(t, spec.Hero, "conventions: {mirror: x}"), []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, []mesh.Primitive{slab(crateLo, crateHi, 20, level)})
	for _, c := range surfaceChecks() {
		if c.Def.Name == "surface.cage_mesh" {
			continue // none delivered
		}
		f := c.Run(ctx, s, Target{Part: s.Parts[0]}, ruleFor(s, c.Def.Name, Target{Part: s.Parts[0]}))
		require.Equal(t, NotEvaluated, f.Outcome, c.Def.Name)
	}
}
