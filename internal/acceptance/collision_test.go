package acceptance

import (
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// withHulls gives a subject a collision mesh of one node for each primitive.
func withHulls(s *Subject, prims ...mesh.Primitive) *Subject {
	b := newProp("crate_a_collision.glb")
	for i, p := range prims {
		p.Material = -1
		b.node("hull_"+itoa(i), identity16, p)
	}
	s.Hulls = &Body{Surface: mesh.Flatten(b.scene, b.scene.Draws)}
	return s
}

// crateSubject is a box of 1 × 0.8 × 0.6 m on the ground.
func crateSubject(t tester, sp *spec.Spec) *Subject {
	return crateAt([3]float32{1, 0.8, 0.6}, [3]float32{}).subject(t, sp)
}

// crateHull is the crate's box, grown by a length on all sides but below.
func crateHull(grow float32) mesh.Primitive {
	return boxPrim(-1, [3]float32{-0.5 - grow, 0, -0.3 - grow}, [3]float32{0.5 + grow, 0.8 + grow, 0.3 + grow})
}

const asksCollision = "files:\n  - {role: game, pattern: '{prop}.*', needed: true}\n  - {role: collision, pattern: '{prop}_collision.*', needed: true}\n"

func TestCollisionPresent(t *testing.T) {
	t.Parallel()
	require.Equal(t, NotApplicable, run1(t, crateSubject(t, specOf(t, spec.Hero, "")), "collision.present").Outcome, "not asked, not delivered")
	for _, check := range []string{"collision.count", "collision.convex", "collision.fit"} {
		require.Equal(t, NotApplicable, run1(t, crateSubject(t, specOf(t, spec.Hero, "")), check).Outcome)
		require.Equal(t, NotEvaluated, run1(t, crateSubject(t, specOf(t, spec.Hero, asksCollision)), check).Outcome)
	}
	f := run1(t, crateSubject(t, specOf(t, spec.Hero, asksCollision)), "collision.present")
	require.Equal(t, Fail, f.Outcome)
	require.True(t, f.Blocks)
	require.Equal(t, Pass, run1(t, withHulls(crateSubject(t, specOf(t, spec.Hero, asksCollision)), crateHull(0)), "collision.present").Outcome)
	f = run1(t, withHulls(crateSubject(t, specOf(t, spec.Hero, asksCollision)), quadPrim(-1, 0, 0, 1, 1, 0, 0, 1, 1)), "collision.present")
	require.Equal(t, Fail, f.Outcome, "a sheet has no volume")
	require.Equal(t, 1.0, f.Metrics["flat"])
}

func TestCollisionCount(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.MidGround, "")
	four := []mesh.Primitive{crateHull(0), crateHull(0.01), crateHull(0.02), crateHull(0.03)}
	require.Equal(t, Pass, run1(t, withHulls(crateSubject(t, sp), four...), "collision.count").Outcome)
	f := run1(t, withHulls(crateSubject(t, sp), append(four, crateHull(0.04))...), "collision.count")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 5.0, f.Metrics["count"])
	f = run1(t, withHulls(crateSubject(t, sp), drumOf(-1, 127, 0.3, 0.8)), "collision.count")
	require.Equal(t, Pass, f.Outcome, "254 corners")
	require.Equal(t, 254.0, f.Metrics["corners"])
	require.Equal(t, Warn, run1(t, withHulls(crateSubject(t, sp), drumOf(-1, 128, 0.3, 0.8)), "collision.count").Outcome, "256 corners")
	require.Equal(t, Pass, run1(t, withHulls(crateSubject(t, specOf(t, spec.CloseUp, "")), append(four, four...)...), "collision.count").Outcome, "the order says")
}

// dentedBox is a box whose top has a pyramid pressed in at a place: in the middle of the pyramid the dent is as deep as said.
func dentedBox(lo, hi [3]float32, x, z, wide, deep float32) mesh.Primitive {
	p := boxPrim(-1, lo, hi)
	var keep []uint32
	for i := 0; i < len(p.Tri); i += 3 {
		if !(p.Nrm[3*p.Tri[i]+1] > 0.5) {
			keep = append(keep, p.Tri[i:i+3]...)
		}
	}
	p.Tri = keep
	add := func(x, y, z float32) uint32 {
		p.Pos = append(p.Pos, x, y, z)
		p.Nrm = append(p.Nrm, 0, 1, 0)
		p.UV[0] = append(p.UV[0], 0, 0)
		return uint32(len(p.Pos)/3 - 1)
	}
	y := hi[1]
	outer := [4]uint32{add(lo[0], y, lo[2]), add(lo[0], y, hi[2]), add(hi[0], y, hi[2]), add(hi[0], y, lo[2])}
	inner := [4]uint32{add(x-wide, y, z-wide), add(x-wide, y, z+wide), add(x+wide, y, z+wide), add(x+wide, y, z-wide)}
	tip := add(x, y-deep, z)
	for k := range 4 {
		n := (k + 1) % 4
		p.Tri = append(p.Tri, outer[k], outer[n], inner[n], outer[k], inner[n], inner[k], inner[k], inner[n], tip)
	}
	return p
}

// The depth of a dent is known: just inside and just outside the limit, at any place and size, triangles in any order and
// wound either way.
func TestCollisionConvexPlanted(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	s := crateSubject(t, sp)
	rapid.Check(t, func(t *rapid.T) {
		size := rapid.Float32Range(0.05, 5).Draw(t, "size")
		lo, hi := [3]float32{-size, 0, -size}, [3]float32{size, 2 * size, size}
		diagonal := float64(size) * math.Sqrt(12)
		inside := rapid.Bool().Draw(t, "inside")
		deep := 0.01 * diagonal * 0.98
		if !inside {
			deep = 0.01 * diagonal * 1.02
		}
		x, z := rapid.Float32Range(-0.6, 0.6).Draw(t, "x")*size, rapid.Float32Range(-0.6, 0.6).Draw(t, "z")*size
		p := dentedBox(lo, hi, x, z, 0.3*size, float32(deep))
		order := rapid.Permutation(indicesTo(len(p.Tri)/3)).Draw(t, "order")
		flip := rapid.Bool().Draw(t, "flip")
		var tri []uint32
		for _, i := range order {
			a, b, c := p.Tri[3*i], p.Tri[3*i+1], p.Tri[3*i+2]
			if flip {
				b, c = c, b
			}
			tri = append(tri, a, b, c)
		}
		p.Tri = tri
		f := run1(t, withHulls(s, p), "collision.convex")
		require.InEpsilon(t, deep*1000, f.Metrics["dent_mm"], 0.002)
		require.Equal(t, inside, f.Outcome == Pass, f.Sentence)
		require.Equal(t, Pass, run1(t, withHulls(s, boxPrim(-1, lo, hi)), "collision.convex").Outcome, "a clean box")
	})
}

func indicesTo(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func TestCollisionConvexLegitimate(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	require.Equal(t, Pass, run1(t, withHulls(crateSubject(t, sp), drumOf(-1, 24, 0.3, 0.8)), "collision.convex").Outcome)
	f := run1(t, withHulls(crateSubject(t, sp), crateHull(0), quadPrim(-1, 0, 0, 1, 1, 0, 0, 1, 1)), "collision.convex")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, "hull_1", f.Where[0].Node, "the sheet is named")
	any := specOf(t, spec.Hero, "checks: {collision.convex: {shape: any}}")
	require.Equal(t, NotApplicable, run1(t, withHulls(crateSubject(t, any), dentedBox([3]float32{-1, 0, -1}, [3]float32{1, 2, 1}, 0, 0, 0.4, 0.8)), "collision.convex").Outcome)
	// Two boxes that touch in one node: the engine makes one hull of them, and the notch between them is filled.
	two := boxPrim(-1, [3]float32{0, 0, 0}, [3]float32{1, 1, 1})
	more := boxPrim(-1, [3]float32{1, 0, 0}, [3]float32{2, 0.3, 1})
	for _, v := range more.Tri {
		two.Tri = append(two.Tri, v+uint32(len(two.Pos)/3))
	}
	two.Pos, two.Nrm, two.UV[0] = append(two.Pos, more.Pos...), append(two.Nrm, more.Nrm...), append(two.UV[0], more.UV[0]...)
	require.Equal(t, Warn, run1(t, withHulls(crateSubject(t, sp), two), "collision.convex").Outcome)
}

// A box longer at both ends stands out by as much there, a quarter of its surface; shortened, the prop stands out of it.
// Closed form.
func TestCollisionFitPlanted(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	sp := specOf(t, spec.Hero, "")
	s := crateSubject(t, sp)
	for range 10 {
		inside, outward := r.IntN(2) == 0, r.IntN(2) == 0
		limit, metric := 0.040, "in_p95_mm"
		if outward {
			limit, metric = 0.020, "out_p95_mm"
		}
		by := limit * 1.02
		if inside {
			by = limit * 0.98
		}
		grow := float32(by)
		if !outward {
			grow = -grow
		}
		f := run1(t, withHulls(s, boxPrim(-1, [3]float32{-0.5 - grow, 0, -0.3}, [3]float32{0.5 + grow, 0.8, 0.3})), "collision.fit")
		require.InEpsilon(t, by*1000, f.Metrics[metric], 0.02, "seed %d: %v", seed, f.Metrics)
		require.Equal(t, inside, f.Outcome == Pass, "seed %d: %s", seed, f.Sentence)
		if !inside {
			require.NotEmpty(t, f.Where)
		}
	}
}

// What stands on the ground is not touched from below; hulls that run into each other do not stand out of each other;
// helpers, cards and decals are nothing to bump into; a gap that one hull spans is found.
func TestCollisionFitLegitimate(t *testing.T) {
	t.Parallel()
	sp := specOf(t, spec.Hero, "")
	below := boxPrim(-1, [3]float32{-0.5, -0.3, -0.3}, [3]float32{0.5, 0.8, 0.3})
	f := run1(t, withHulls(crateSubject(t, sp), below), "collision.fit")
	require.NotEqual(t, 300.0, f.Metrics["out_max_mm"], "its underside does not count")
	left := boxPrim(-1, [3]float32{-0.5, 0, -0.3}, [3]float32{0.2, 0.8, 0.3})
	right := boxPrim(-1, [3]float32{-0.2, 0, -0.3}, [3]float32{0.5, 0.8, 0.3})
	f = run1(t, withHulls(crateSubject(t, sp), left, right), "collision.fit")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.InDelta(t, 0, f.Metrics["out_max_mm"], 0.01)
	require.InDelta(t, 0, f.Metrics["in_max_mm"], 0.01)

	// Two posts: one hull over both spans the gap between them, a hull for each does not.
	b := newProp("crate_a.glb")
	wood := b.material("wood", 512)
	b.node("post_l", identity16, boxPrim(wood, [3]float32{-0.5, 0, -0.1}, [3]float32{-0.3, 1, 0.1}))
	b.node("post_r", identity16, boxPrim(wood, [3]float32{0.3, 0, -0.1}, [3]float32{0.5, 1, 0.1}))
	posts := b.subject(t, sp)
	f = run1(t, withHulls(posts, boxPrim(-1, [3]float32{-0.5, 0, -0.1}, [3]float32{0.5, 1, 0.1})), "collision.fit")
	require.Equal(t, Warn, f.Outcome)
	require.InDelta(t, 300, f.Metrics["out_max_mm"], 10, "the middle of the gap is 300 mm from either post")
	f = run1(t, withHulls(posts, b.scene.Prims[0], b.scene.Prims[1]), "collision.fit")
	require.Equal(t, Pass, f.Outcome, f.Sentence)

	// A card beside the prop needs no collision; a plain part there does.
	b.node("leaf", moved(2, 0.5, 0), quadPrim(wood, -0.5, 0, 0.5, 0.5, 0, 0, 1, 1))
	withLeaf := b.subject(t, sp)
	withLeaf.Parts = []*Part{b.part("posts", spec.Part{Kind: spec.Solid}, b.scene.Draws[:2]), b.part("leaf", spec.Part{Kind: spec.Card}, b.scene.Draws[2:])}
	hulls := []mesh.Primitive{b.scene.Prims[0], b.scene.Prims[1]}
	require.Equal(t, Pass, run1(t, withHulls(withLeaf, hulls...), "collision.fit").Outcome)
	withLeaf.Parts[1].Def.Kind = spec.Solid
	require.Equal(t, Warn, run1(t, withHulls(withLeaf, hulls...), "collision.fit").Outcome)
}

func TestCollisionDegenerate(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	for _, p := range []mesh.Primitive{
		{Mode: 4, Pos: make([]float32, 9), Tri: []uint32{0, 1, 2}},
		{Mode: 4, Pos: []float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2}},
		{Mode: 4, Pos: []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, Tri: []uint32{0, 1, 2, 0, 1, 2}},
	} {
		for _, check := range []string{"collision.present", "collision.count", "collision.convex", "collision.fit"} {
			run1(t, withHulls(crateSubject(t, specOf(t, spec.Hero, "")), p), check)
		}
	}
}

// Collision nodes in the game mesh's own file are no names, draws or UVs of what ships.
func TestCollisionIsNotShipped(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	r := inspectFolder(t, sp, bollardWithCollision(t))
	for _, f := range r.Evidence.Findings {
		for _, p := range f.Where {
			require.NotContains(t, p.Node, "collision", f.Check)
		}
	}
	require.Equal(t, Pass, findingOf(t, r.Evidence, "collision.present").Outcome)
	require.Equal(t, 1.0, findingOf(t, r.Evidence, "budget.drawcalls").Metrics["count"])
}

// bollardWithCollision is the bollard's good delivery with its collision as a node beside the body.
func bollardWithCollision(t testing.TB) string {
	dir := harbourBollard(t)
	m := &glbwrite.Material{Name: "bollard"}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "bollard_game.glb"), glbwrite.Scene{Roots: []*glbwrite.Node{
		glbBoxNode("bollard_body", [3]float32{-.21, 0, -.21}, [3]float32{.21, .7, .21}, m),
		glbBoxNode("bollard_collision", [3]float32{-.22, 0, -.22}, [3]float32{.22, .7, .22}, nil),
	}}))
	return dir
}

func BenchmarkCollisionFit(b *testing.B) {
	near := newProp("drum.glb")
	near.node("drum", identity16, drumOf(near.material("steel", 512), 500, 0.3, 0.9))
	s := withHulls(near.subject(b, specOf(b, spec.Hero, "")), drumOf(-1, 24, 0.3, 0.9))
	b.ReportAllocs()
	for b.Loop() {
		run1(b, s, "collision.fit")
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(2*fitSamples), "ns/sample")
}
