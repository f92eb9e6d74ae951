package acceptance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// drumOf is a closed drum about the Y axis, standing on the ground: n sides and two caps, smooth round the side and hard
// at the rims. The side is one island whose width is the circumference, the caps lie beside it.
func drumOf(material, n int, radius, height float64) mesh.Primitive {
	p := mesh.Primitive{Material: material, Mode: 4, UV: [][]float32{nil}}
	add := func(x, y, z, nx, ny, nz, u, v float64) uint32 {
		p.Pos = append(p.Pos, float32(x), float32(y), float32(z))
		p.Nrm = append(p.Nrm, float32(nx), float32(ny), float32(nz))
		p.UV[0] = append(p.UV[0], float32(u), float32(v))
		return uint32(len(p.Pos)/3 - 1)
	}
	at := func(i int) (x, z float64) {
		a := 2 * math.Pi * float64(i%n) / float64(n)
		return math.Sin(a), math.Cos(a)
	}
	for i := range n {
		x0, z0 := at(i)
		x1, z1 := at(i + 1)
		u0, u1 := 0.01+0.6*float64(i)/float64(n), 0.01+0.6*float64(i+1)/float64(n)
		a, b := add(radius*x0, 0, radius*z0, x0, 0, z0, u0, 0.9), add(radius*x1, 0, radius*z1, x1, 0, z1, u1, 0.9)
		c, d := add(radius*x1, height, radius*z1, x1, 0, z1, u1, 0.5), add(radius*x0, height, radius*z0, x0, 0, z0, u0, 0.5)
		p.Tri = append(p.Tri, a, b, c, a, c, d)
	}
	for side, y := range []float64{0, height} {
		up, middle := float64(2*side-1), 0.15+0.3*float64(side)
		first := uint32(len(p.Pos) / 3)
		for i := range n {
			x, z := at(i)
			add(radius*x, y, radius*z, 0, up, 0, middle+0.12*x, 0.2+0.12*z)
		}
		for i := uint32(2); i < uint32(n); i++ {
			if side == 1 {
				p.Tri = append(p.Tri, first, first+i-1, first+i)
			} else {
				p.Tri = append(p.Tri, first, first+i, first+i-1)
			}
		}
	}
	return p
}

// addLOD adds a file of its own as the next LOD.
func addLOD(s *Subject, b *propBuild) {
	s.LODs = append(s.LODs, &Body{Surface: mesh.Flatten(b.scene, b.scene.Draws)})
}

// drumLODs are a drum of 48 sides and its LODs of the given numbers of sides.
func drumLODs(t tester, sp *spec.Spec, sides ...int) (*Subject, []*propBuild) {
	var all []*propBuild
	var s *Subject
	for i, n := range append([]int{48}, sides...) {
		b := newProp("drum.glb")
		b.node("drum"+[]string{"", "_lod1", "_lod2", "_lod3", "_lod4"}[i], identity16, drumOf(b.material("steel", 1024), n, 0.3, 0.9))
		all = append(all, b)
		if i == 0 {
			s = b.subject(t, sp)
		} else {
			addLOD(s, b)
		}
	}
	return s, all
}

func TestLODSteps(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	s, _ := drumLODs(t, sp, 24, 12)
	found := runCheck(t, s, "lod.steps")
	require.Len(t, found, 2)
	require.Equal(t, Pass, run1(t, s, "lod.count").Outcome, "three LODs are what the tier asks for")
	for _, f := range found {
		require.Equal(t, Pass, f.Outcome, f.Sentence)
		require.InDelta(t, 0, f.Metrics["outside_share"], 0.01)
		require.Zero(t, f.Metrics["extra_hard_share"])
	}
	require.InDelta(t, float64(4*24-4)/float64(4*48-4), found[0].Metrics["step_share"], 1e-9, "a drum of n sides has 4n-4 triangles")

	s, _ = drumLODs(t, sp, 26, 12)
	require.Equal(t, Warn, runCheck(t, s, "lod.steps")[0].Outcome, "100 of 188 triangles are more than half")
	s, _ = drumLODs(t, sp, 24)
	f := run1(t, s, "lod.count")
	require.Equal(t, Warn, f.Outcome, "two LODs are too few")
	require.Contains(t, f.Sentence, "2 LODs")
	require.Equal(t, Pass, run1(t, &Subject{Spec: specAt(t, spec.MidGround, spec.Maps, ""), LODs: s.LODs, Parts: s.Parts}, "lod.count").Outcome,
		"before the last milestone LODs are only reported")
}

func TestLODDefects(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	for name, c := range map[string]struct {
		change func(b *propBuild)
		metric string
	}{
		"as it should be": {func(*propBuild) {}, ""},
		"other slot":      {func(b *propBuild) { b.scene.Materials[0].Name = "brass" }, "slots"},
		"slot before":     {func(b *propBuild) { swapSlots(b) }, "slots"},
		"pivot off": {func(b *propBuild) {
			b.scene.Nodes[0].World[13] = 0.005
			for v := 1; v < len(b.scene.Prims[0].Pos); v += 3 {
				b.scene.Prims[0].Pos[v] -= 0.005
			}
		}, "pivot_mm"},
		"stands off": {func(b *propBuild) { shift(&b.scene.Prims[0], 0, 0.02) }, "bounds_mm"},
		"other UVs": {func(b *propBuild) {
			for v := range b.scene.Prims[0].UV[0] {
				b.scene.Prims[0].UV[0][v] = 0.97 * (1 - b.scene.Prims[0].UV[0][v])
			}
		}, "outside_share"},
		"shaded flat": {func(b *propBuild) { b.scene.Prims[0].Nrm = nil }, "extra_hard_share"},
	} {
		s, all := drumLODs(t, sp, 24, 12)
		s.LODs = s.LODs[:1]
		c.change(all[1])
		addLOD(s, all[1])
		f := run1(t, s, "lod.steps")
		if c.metric == "" {
			require.Equal(t, Pass, f.Outcome, f.Sentence)
			continue
		}
		require.Equal(t, Warn, f.Outcome, "%s: %s %v", name, f.Sentence, f.Metrics)
		require.Positive(t, f.Metrics[c.metric], name)
		require.NotEmpty(t, f.Where, name)
	}
}

func shift(p *mesh.Primitive, axis int, by float32) {
	for v := axis; v < len(p.Pos); v += 3 {
		p.Pos[v] += by
	}
}

// swapSlots draws another material first.
func swapSlots(b *propBuild) {
	p := b.scene.Prims[0]
	p.Material = b.material("rope", 1024)
	b.node("rope", identity16, p)
	d := b.scene.Draws
	d[0], d[1] = d[1], d[0]
}

// A LOD may leave out slots at the end, and one that is declared a card has a material and islands of its own.
func TestLODLegitimate(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	b := newProp("drum.glb")
	b.node("drum", identity16, drumOf(b.material("steel", 1024), 48, 0.3, 0.9))
	b.node("label", moved(0, 0, 0.3), quadPrim(b.material("label", 512), -.05, .3, .05, .4, .8, .1, .9, .2))
	s := b.subject(t, sp)
	far := newProp("drum.glb")
	far.node("drum_lod1", identity16, drumOf(far.material("steel", 1024), 24, 0.3, 0.9))
	addLOD(s, far)
	card := newProp("drum.glb")
	card.node("drum_card_lod2", identity16, quadPrim(card.material("card", 256), -0.3, 0, 0.3, 0.9, 0, 0, 1, 1))
	addLOD(s, card)
	found := runCheck(t, s, "lod.steps")
	require.Zero(t, found[0].Metrics["slots"], found[0].Sentence)
	require.NotEmpty(t, found[1].Labels["card"])
	require.NotContains(t, found[1].Metrics, "slots")
	require.Equal(t, NotApplicable, runCheck(t, s, "lod.silhouette")[1].Outcome)

	card.scene.Nodes[0].Name = "drum_lod2" // without the word it is held to everything
	require.Equal(t, Warn, runCheck(t, s, "lod.steps")[1].Outcome)
	s.Spec = specOf(t, spec.MidGround, "checks: {lod.steps: {last: card}}")
	require.NotEmpty(t, runCheck(t, s, "lod.steps")[1].Labels["card"])
}

// The outline of a drum of n sides of radius r is off a round one by r·(1-cos(π/n)) at most: closed form. A drum of 48
// sides against one of n whose corners are among its own.
func TestLODSilhouetteClosedForm(t *testing.T) {
	t.Parallel()
	s, _ := drumLODs(t, specOf(t, spec.MidGround, ""), 24, 12)
	found := runCheck(t, s, "lod.silhouette")
	require.Len(t, found, 2)
	for i, n := range []float64{24, 12} {
		f := found[i]
		// The sagitta between corners of LOD 0 that lie on the flat side's middle; 48/n is even, so there is one.
		want := 300 * (1 - math.Cos(math.Pi/n))
		require.InDelta(t, want, f.Metrics["max_offset_mm"], 0.05*want+0.1, f.Sentence)
		pixel := s.Spec.View.PixelMM() * math.Pow(2, float64(i+1))
		require.InDelta(t, f.Metrics["max_offset_mm"]/pixel, f.Metrics["max_offset_px"], 1e-9)
		require.InDelta(t, 5*math.Pow(2, float64(i+1)), f.Metrics["switch_m"], 1e-9)
	}
	require.Equal(t, Pass, found[0].Outcome)
	require.Equal(t, Pass, found[1].Outcome, found[1].Sentence)
}

// Just inside and just outside the limit, at any place, size and order of triangles: a drum whose LOD is thinner all round
// by a length around the limit, so that every view shows it. Few draws: each looks from 32
// directions.
func TestLODSilhouettePlanted(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	for range 2 {
		inside, fade := r.IntN(2) == 0, r.IntN(2) == 0
		text, limit := "view: {distance_m: 5}\nchecks: {lod.silhouette: {switch_m: [10]", 2.0
		if fade {
			text, limit = text+", transition: cross_fade", 4
		}
		sp := specOf(t, spec.MidGround, text+"}}")
		thinner := limit * 2 * sp.View.PixelMM() / 1000
		if inside {
			thinner *= 0.96
		} else {
			thinner *= 1.04
		}
		radius, height := 0.2+r.Float64(), 0.3+2*r.Float64()
		at := [3]float64{4 * r.Float64(), 4 * r.Float64(), 4 * r.Float64()}
		drum := func(name string, radius float64) *propBuild {
			b := newProp("drum.glb")
			p := drumOf(b.material("steel", 512), 48, radius, height)
			tris := len(p.Tri) / 3
			r.Shuffle(tris, func(i, j int) {
				for k := range 3 {
					p.Tri[3*i+k], p.Tri[3*j+k] = p.Tri[3*j+k], p.Tri[3*i+k]
				}
			})
			b.node(name, moved(at[0], at[1], at[2]), p)
			return b
		}
		s := drum("drum", radius).subject(t, sp)
		addLOD(s, drum("drum_lod1", radius-thinner))
		f := run1(t, s, "lod.silhouette")
		require.InDelta(t, thinner*1000, f.Metrics["max_offset_mm"], 0.01*thinner*1000, "seed %d", seed)
		require.Equal(t, inside, f.Outcome == Pass, "seed %d: %v: %s", seed, f.Metrics, f.Sentence)
	}
}

// Texels outside the islands, by area: a rectangle in the texture of which a known part lies outside LOD 0's.
func TestLODIslandsPlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		u := rapid.Float32Range(-1, 1).Draw(t, "u") // whole tiles aside are the same place
		out := rapid.Float32Range(0.02, 0.2).Draw(t, "out")
		size := rapid.SampledFrom([]int{256, 512, 1024, 2048}).Draw(t, "size")
		b := newProp("sign.glb")
		b.node("sign", identity16, quadPrim(b.material("paint", size), 0, 0, 1, 1, u, 0.1, u+0.4, 0.5))
		s := b.subject(t, specOf(t, spec.Hero, "checks: {lod.steps: {bleed_px: 0}}"))
		far := newProp("sign.glb")
		far.node("sign_lod1", identity16, quadPrim(far.material("paint", size), 0, 0, 1, 1, u+2+out, 0.1, u+2.4+out, 0.5))
		addLOD(s, far)
		f := run1(t, s, "lod.steps")
		require.InDelta(t, float64(out)/0.4, f.Metrics["outside_share"], 3/(0.4*float64(min(size, 2048))), "u %v out %v", u, out)
		require.Equal(t, Warn, f.Outcome)
	})
}

// Degenerate sets: no crash, no number that is none.
func TestLODDegenerate(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	nan := float32(math.NaN())
	for name, p := range map[string]mesh.Primitive{
		"collapsed": {Mode: 4, Pos: make([]float32, 9), Nrm: make([]float32, 9), UV: [][]float32{make([]float32, 6)}, Tri: []uint32{0, 1, 2}},
		"no number": {Mode: 4, Pos: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, Nrm: []float32{nan, 0, 0, 0, 0, 0, 0, 0, 0}, UV: [][]float32{{nan, 0, 1, 0, 0, 1}}, Tri: []uint32{0, 1, 2}},
		"twice":     {Mode: 4, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Nrm: make([]float32, 9), UV: [][]float32{{0, 0, 1e9, 0, 0, 1}}, Tri: []uint32{0, 1, 2, 0, 1, 2}},
	} {
		s, _ := drumLODs(t, sp)
		b := newProp("drum.glb")
		b.material("steel", 1024)
		b.node("drum_lod1", identity16, p)
		addLOD(s, b)
		runCheck(t, s, "lod.steps")
		if name != "twice" {
			require.Equal(t, NotEvaluated, run1(t, s, "lod.silhouette").Outcome, name)
		}
		s.LODs[0], s.LODs[1] = s.LODs[1], s.LODs[0]
		runCheck(t, s, "lod.steps")
	}
}

func BenchmarkLODSteps(b *testing.B) {
	near, far := newProp("drums.glb"), newProp("drums.glb")
	steel, farSteel := near.material("steel", 2048), far.material("steel", 2048)
	for i := range 24 {
		near.node("drum", moved(float64(i), 0, 0), drumOf(steel, 128, 0.3, 0.9))
		far.node("drum", moved(float64(i), 0, 0), drumOf(farSteel, 64, 0.3, 0.9))
	}
	s := near.subject(b, specOf(b, spec.Hero, ""))
	addLOD(s, far)
	b.ReportAllocs()
	for b.Loop() {
		lodHardEdges(s, 1)
		lodIslands(s, 1, 2)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(s.LODs[0].Triangles()), "ns/triangle")
}
