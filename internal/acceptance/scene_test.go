package acceptance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// crateAt is a box of the given size in metres standing with the centre of its base at a place.
func crateAt(size [3]float32, at [3]float32) *propBuild {
	b := newProp("crate_a.glb")
	lo := [3]float32{at[0] - size[0]/2, at[1], at[2] - size[2]/2}
	hi := [3]float32{at[0] + size[0]/2, at[1] + size[1], at[2] + size[2]/2}
	b.node("crate", identity16, boxPrim(b.material("wood", 512), lo, hi))
	return b
}

func TestSizeLimits(t *testing.T) {
	t.Parallel()
	const contract = "size_mm: [1200, 800, 600]"
	for _, c := range []struct {
		name string
		size [3]float32
		tier spec.Tier
		want Outcome
	}{
		{"as contracted", [3]float32{1.2, 0.8, 0.6}, spec.Hero, Pass},
		{"hero: one per cent of 1200 is 12 mm", [3]float32{1.212, 0.8, 0.6}, spec.Hero, Pass},
		{"hero: 13 mm", [3]float32{1.213, 0.8, 0.6}, spec.Hero, Fail},
		{"mid: 2 %", [3]float32{1.2, 0.816, 0.6}, spec.MidGround, Pass},
		{"mid: over 2 %", [3]float32{1.2, 0.8161, 0.6}, spec.MidGround, Fail},
		{"too small", [3]float32{1.2, 0.8, 0.58}, spec.Background, Fail},
		{"background: 3 %", [3]float32{1.2, 0.8, 0.582}, spec.Background, Pass},
	} {
		f := run1(t, crateAt(c.size, [3]float32{}).subject(t, specOf(t, c.tier, contract)), "scene.size")
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		require.InDelta(t, float64(c.size[0])*1000, f.Metrics["x_mm"], 0.001)
	}
	f := run1(t, crateAt([3]float32{0.104, 0.1, 0.1}, [3]float32{}).subject(t, specOf(t, spec.Hero, "size_mm: [100, 100, 100]")), "scene.size")
	require.Equal(t, Pass, f.Outcome, "5 mm are always allowed")
	f = run1(t, crateAt([3]float32{0.104, 0.1, 0.1}, [3]float32{}).subject(t,
		specOf(t, spec.Hero, "size_mm: [100, 100, 100]\nchecks: {scene.size: {floor_mm: 0.5}}")), "scene.size")
	require.Equal(t, Fail, f.Outcome, "unless it is a piece of a kit")
	require.Equal(t, 104.0, f.Measured.Value)
	require.Contains(t, f.Sentence, "x is 4 mm too large")

	f = run1(t, crateAt([3]float32{9, 9, 9}, [3]float32{}).subject(t, specOf(t, spec.Hero, "")), "scene.size")
	require.Equal(t, Pass, f.Outcome)
	require.Equal(t, "none", f.Labels["contract"])
}

// A random size and a random error just inside or outside, on a random axis.
func TestSizePlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(600, 4000)
		want := [3]float64{math.Round(mm.Draw(t, "x")), math.Round(mm.Draw(t, "y")), math.Round(mm.Draw(t, "z"))}
		axis := rapid.IntRange(0, 2).Draw(t, "axis")
		inside := rapid.Bool().Draw(t, "inside")
		off := want[axis] * 0.01 * rapid.SampledFrom([]float64{-1, 1}).Draw(t, "sign")
		if inside {
			off *= 0.999
		} else {
			off *= 1.001
		}
		have := want
		have[axis] += off
		b := crateAt([3]float32{float32(have[0] / 1000), float32(have[1] / 1000), float32(have[2] / 1000)}, [3]float32{})
		sp := specOf(t, spec.Hero, "")
		sp.SizeMM = &want
		f := run1(t, b.subject(t, sp), "scene.size")
		require.Equal(t, inside, f.Outcome == Pass, f.Sentence)
	})
}

func TestOriginAndGround(t *testing.T) {
	t.Parallel()
	size := [3]float32{1, 1, 1}
	for _, c := range []struct {
		name   string
		at     [3]float32
		text   string
		want   Outcome
		offset float64
	}{
		{"at the base", [3]float32{}, "", Pass, 0},
		{"2 mm aside", [3]float32{0.002, 0, 0}, "", Pass, 2},
		{"3 mm aside", [3]float32{0.003, 0, 0}, "", Fail, 3},
		{"hovers by 2.5 mm", [3]float32{0, 0.0025, 0}, "", Fail, 2.5},
		{"hovers by 1 mm", [3]float32{0, 0.001, 0}, "", Pass, 1},
		{"sinks by 2.5 mm", [3]float32{0, -0.0025, 0}, "", Fail, 2.5},
		{"in the hand nothing has to touch the ground", [3]float32{0, 0.0015, 0}, "view: {placed: hand}", Pass, 1.5},
		{"at the centre, asked for at the base", [3]float32{0, -0.5, 0}, "", Fail, 500},
		{"at the centre as asked", [3]float32{0, -0.5, 0}, "conventions: {origin_at: centre}", Pass, 0},
		{"at the back wall as asked", [3]float32{0, -0.5, 0.5}, "view: {placed: wall}\nconventions: {origin_at: point, origin_mm: [0, 500, -500]}", Pass, 0},
		{"at the front instead", [3]float32{0, -0.5, -0.5}, "view: {placed: wall}\nconventions: {origin_at: point, origin_mm: [0, 500, -500]}", Fail, 1000},
	} {
		f := run1(t, crateAt(size, c.at).subject(t, specOf(t, spec.Hero, c.text)), "scene.origin")
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		require.InDelta(t, c.offset, f.Metrics["offset_mm"], 0.002, c.name)
	}
}

func TestUpright(t *testing.T) {
	t.Parallel()
	sp := func() *spec.Spec { return specOf(t, spec.MidGround, "size_mm: [600, 1800, 400]") }
	f := run1(t, crateAt([3]float32{0.6, 1.8, 0.4}, [3]float32{}).subject(t, sp()), "scene.upright")
	require.Equal(t, Pass, f.Outcome)
	require.Zero(t, f.Metrics["turn_deg"])

	lying := newProp("crate_a.glb") // Z up: 0.6 wide, 0.4 deep along -Y… and 1.8 high along +Z, standing on z = 0
	lying.node("crate", identity16, boxPrim(lying.material("wood", 1), [3]float32{-0.3, -0.2, 0}, [3]float32{0.3, 0.2, 1.8}))
	f = run1(t, lying.subject(t, sp()), "scene.upright")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 90.0, f.Metrics["turn_deg"])
	require.Equal(t, "+Z", f.Labels["up"])

	wrong := run1(t, crateAt([3]float32{0.6, 1.2, 0.4}, [3]float32{}).subject(t, sp()), "scene.upright")
	require.Equal(t, Pass, wrong.Outcome, "a wrong size is no wrong axis")
	require.Equal(t, "none", run1(t, crateAt([3]float32{1, 2, 3}, [3]float32{}).subject(t, specOf(t, spec.Hero, "")), "scene.upright").Labels["contract"])
}

// columns makes a matrix of three axes and a place.
func columns(x, y, z, at [3]float64) [16]float64 {
	return [16]float64{x[0], x[1], x[2], 0, y[0], y[1], y[2], 0, z[0], z[1], z[2], 0, at[0], at[1], at[2], 1}
}

func TestTransforms(t *testing.T) {
	t.Parallel()
	v := func(x, y, z float64) [3]float64 { return [3]float64{x, y, z} }
	turned := columns(v(0.6, 0.8, 0), v(-0.8, 0.6, 0), v(0, 0, 1), v(1, 2, 3))
	scaled := columns(v(2, 0, 0), v(0, 2, 0), v(0, 0, 2), v(0, 0, 0))
	uneven := columns(v(1, 0, 0), v(0, 1.5, 0), v(0, 0, 1), v(0, 0, 0))
	sheared := columns(v(1, 0, 0), v(0.5, 1, 0), v(0, 0, 1), v(0, 0, 0))
	mirror := columns(v(-1, 0, 0), v(0, 1, 0), v(0, 0, 1), v(0, 0, 0))
	zero := columns(v(1, 0, 0), v(0, 0, 0), v(0, 0, 1), v(0, 0, 0))
	for _, c := range []struct {
		name     string
		m        [16]float64
		uniform  Outcome
		rigid    Outcome
		identity Outcome
	}{
		{"identity", identity16, Pass, Pass, Pass},
		{"moved and turned", turned, Pass, Pass, Fail},
		{"scaled", scaled, Pass, Fail, Fail},
		{"uneven", uneven, Fail, Fail, Fail},
		{"sheared", sheared, Fail, Fail, Fail},
		{"mirrored", mirror, Warn, Warn, Warn},
		{"nothing", zero, Fail, Fail, Fail},
		{"rounding of a chain of nodes", columns(v(1.00003, 0.00002, 0), v(0, 1, 0), v(0, 0, 0.99997), v(0, 0, 0)), Pass, Pass, Pass},
	} {
		for allow, want := range map[string]Outcome{"uniform": c.uniform, "rigid": c.rigid, "identity": c.identity} {
			b := newProp("crate_a.glb")
			b.node("lid", c.m, quadPrim(b.material("wood", 1), 0, 0, 1, 1, 0, 0, 1, 1))
			f := run1(t, b.subject(t, specOf(t, spec.MidGround, "checks: {scene.transforms: {allow: "+allow+"}}")), "scene.transforms")
			require.Equal(t, want, f.Outcome, "%s, %s: %s", c.name, allow, f.Sentence)
			if want != Pass {
				require.Equal(t, "lid", f.Where[0].Node)
				require.NotEmpty(t, f.Labels["kinds"])
			}
		}
	}
	// Legitimate: moving parts and copies of one mesh have to move.
	b := newProp("crate_a.glb")
	m := b.material("wood", 1)
	b.node("bolt", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	b.instance("bolt_2", turned, 0)
	b.node("door", turned, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
	s := b.subject(t, specOf(t, spec.MidGround, "checks: {scene.transforms: {allow: identity}}"))
	require.Equal(t, 1.0, run1(t, s, "scene.transforms").Metrics["count"], "the door is not known to move")
	s.Parts = []*Part{b.part("bolts", spec.Part{Kind: spec.Solid, Density: 1}, b.scene.Draws[:2]),
		b.part("door", spec.Part{Kind: spec.Moving, Pivot: "hinge", Density: 1}, b.scene.Draws[2:])}
	require.Equal(t, Pass, run1(t, s, "scene.transforms").Outcome)
}

func TestPivot(t *testing.T) {
	t.Parallel()
	door := func(at [16]float64, x0, x1 float32) *propBuild {
		b := newProp("locker_a.glb")
		b.node("door", at, quadPrim(b.material("steel", 1), x0, 0, x1, 1, 0, 0, 1, 1))
		return b
	}
	moving := spec.Part{Kind: spec.Moving, Pivot: "hinge", Density: 1}
	run := func(b *propBuild, def spec.Part, text string) []Finding {
		s := b.subject(t, specOf(t, spec.Hero, text))
		s.Parts = []*Part{b.part("door", def, b.scene.Draws)}
		return runCheck(t, s, "scene.pivot")
	}
	const hinge = "checks: {scene.pivot: {at_mm: [-300, 0, 12]}}"
	f := run(door(moved(-0.3, 0, 0.012), 0, 0.6), moving, hinge)[0]
	require.Equal(t, Pass, f.Outcome)
	require.InDelta(t, 0, f.Metrics["offset_mm"], 1e-3)

	f = run(door(moved(-0.297, 0, 0.012), -0.003, 0.597), moving, hinge)[0]
	require.Equal(t, Fail, f.Outcome, "3 mm off the hinge")
	require.InDelta(t, 3, f.Metrics["offset_mm"], 1e-3)

	// Without a hinge in the spec the pivot has to be on the part at least; left at the origin it is not.
	require.Equal(t, Pass, run(door(moved(-0.3, 0, 0), 0, 0.6), moving, "")[0].Outcome)
	f = run(door(identity16, 2, 2.6), moving, "")[0]
	require.Equal(t, Fail, f.Outcome)
	require.InDelta(t, 2000, f.Metrics["offset_mm"], 1e-3)

	require.Empty(t, run(door(identity16, 2, 2.6), spec.Part{Kind: spec.Solid, Density: 1}, ""), "a part that stands still has no pivot")
	require.Empty(t, run(door(identity16, 2, 2.6), spec.Part{Kind: spec.Moving, Pivot: "slide", Density: 1}, ""), "nor has a drawer")

	// The pivot may be a node above that carries the part alone.
	b := door(moved(1, 0, 0), -1, 0)
	b.scene.Nodes = append(b.scene.Nodes, mesh.Node{Name: "door_hinge", Parent: -1, Children: []int{0}, Mesh: -1, World: moved(-0.3, 0, 0.012)})
	b.scene.Nodes[0].Parent = 1
	require.Equal(t, Pass, run(b, moving, hinge)[0].Outcome)
}
