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

func TestGround(t *testing.T) {
	t.Parallel()
	size := [3]float32{1, 1, 1}
	for _, c := range []struct {
		name string
		y    float32
		text string
		want Outcome
	}{
		{"stands", 0, "", Pass},
		{"one millimetre is allowed near the camera", 0.001, "", Pass},
		{"hovers", 0.00101, "", Warn},
		{"sinks", -0.0012, "", Warn},
		{"kept in the hand", 0.1, "view: {placed: hand}", NotApplicable},
		{"its origin is elsewhere", -0.5, "conventions: {origin_at: centre}", NotApplicable},
	} {
		f := run1(t, crateAt(size, [3]float32{0, c.y, 0}).subject(t, specOf(t, spec.Hero, c.text)), "scene.ground")
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		if c.want == Warn {
			require.NotEmpty(t, f.Where)
		}
	}
}

func TestFacing(t *testing.T) {
	t.Parallel()
	const text = "checks: {scene.facing: {front: [door]}}"
	cupboard := func(x, z float64) *Subject {
		b := newProp("crate_a.glb")
		wood := b.material("wood", 512)
		b.node("body", identity16, boxPrim(wood, [3]float32{-0.4, 0, -0.3}, [3]float32{0.4, 1.8, 0.3}))
		b.node("door", moved(x, 0.9, z), boxPrim(wood, [3]float32{-0.05, -0.05, -0.05}, [3]float32{0.05, 0.05, 0.05}))
		return b.subject(t, specOf(t, spec.Hero, text))
	}
	for _, c := range []struct{ x, z, turn float64 }{{0.1, 0.3, 0}, {0.4, 0.1, 90}, {-0.4, -0.1, 90}, {0.1, -0.3, 180}} {
		f := run1(t, cupboard(c.x, c.z), "scene.facing")
		require.Equal(t, c.turn, f.Metrics["turn_deg"], f.Sentence)
		require.Equal(t, c.turn == 0, f.Outcome == Pass)
	}
	s := cupboard(0, -0.3)
	s.Spec = specOf(t, spec.Hero, "")
	require.Equal(t, NotApplicable, run1(t, s, "scene.facing").Outcome, "nothing was said of a front")
	s.Spec = specOf(t, spec.Hero, "checks: {scene.facing: {front: [drawer]}}")
	require.Equal(t, NotEvaluated, run1(t, s, "scene.facing").Outcome)
}

func TestVertexColours(t *testing.T) {
	t.Parallel()
	const text = "checks: {scene.vertex_colours: {channels: [wetness, none, wind]}}"
	painted := func(change func(col []float32)) *Subject {
		b := newProp("crate_a.glb")
		p := boxPrim(b.material("wood", 512), [3]float32{-0.4, 0, -0.3}, [3]float32{0.4, 1.8, 0.3})
		for v := range len(p.Pos) / 3 {
			x := float32(v) / float32(len(p.Pos)/3-1)
			p.Col = append(p.Col, x, 0.5, 1-x, 1)
		}
		change(p.Col)
		b.node("crate", identity16, p)
		return b.subject(t, specOf(t, spec.Hero, text))
	}
	require.Equal(t, Pass, run1(t, painted(func([]float32) {}), "scene.vertex_colours").Outcome, "green means nothing and may be constant")
	for name, c := range map[string]struct {
		change func([]float32)
		metric string
	}{
		"constant": {func(col []float32) {
			for i := 2; i < len(col); i += 4 {
				col[i] = 0.2
			}
		}, "constant"},
		"one step of eight bits is no difference": {func(col []float32) {
			for i := 0; i < len(col); i += 4 {
				col[i] = 0.2
			}
			col[0] = 0.2 + 1.0/255
		}, "constant"},
		"too bright":  {func(col []float32) { col[4] = 1.5 }, "outside"},
		"not numbers": {func(col []float32) { col[4] = float32(math.NaN()) }, "outside"},
	} {
		f := run1(t, painted(c.change), "scene.vertex_colours")
		require.Equal(t, Warn, f.Outcome, "%s: %s", name, f.Sentence)
		require.Positive(t, f.Metrics[c.metric], name)
	}
	plain := crateAt([3]float32{1, 1, 1}, [3]float32{}).subject(t, specOf(t, spec.Hero, text))
	f := run1(t, plain, "scene.vertex_colours")
	require.Equal(t, 1.0, f.Metrics["missing"])
	require.Equal(t, Warn, f.Outcome)
	plain.Spec = specOf(t, spec.Hero, "")
	require.Equal(t, NotApplicable, run1(t, plain, "scene.vertex_colours").Outcome)
}

func TestWeights(t *testing.T) {
	t.Parallel()
	b := crateAt([3]float32{1, 1, 1}, [3]float32{})
	require.Empty(t, runCheck(t, b.subject(t, specOf(t, spec.Hero, "")), "scene.weights"), "nothing is skinned")
	p := &b.scene.Prims[0]
	p.HasWeights, p.Influences = true, 4
	require.Equal(t, Pass, run1(t, b.subject(t, specOf(t, spec.Hero, "")), "scene.weights").Outcome)
	p.Influences = 8
	require.Equal(t, Warn, run1(t, b.subject(t, specOf(t, spec.Hero, "")), "scene.weights").Outcome)
}

// A gate: a leaf of 800 × 1000 × 40 mm that turns about an upright line at its left edge, beside a post. Opened outward it
// is free; a post that stands in its way, its size, its place and the turn are drawn.
func gate(t tester, swing float64, post [2][3]float32, pivotTurn float64, text string) *Subject {
	b := newProp("crate_a.glb")
	wood := b.material("wood", 512)
	leafAt := moved(-0.4, 0, 0)
	sin, cos := math.Sincos(pivotTurn * math.Pi / 180)
	leafAt[0], leafAt[2], leafAt[8], leafAt[10] = cos, -sin, sin, cos // about Y
	b.node("leaf", leafAt, boxPrim(wood, [3]float32{0, 0, -0.02}, [3]float32{0.8, 1, 0.02}))
	b.node("post", identity16, boxPrim(wood, post[0], post[1]))
	s := b.subject(t, specOf(t, spec.Hero, fmt.Sprintf(`
parts:
  - {name: leaf, match: [leaf], kind: moving, pivot: hinge%s}
checks:
  scene.swing: {line_mm: [-400, 0, 0, -400, 1000, 0], swing_deg: %g}
`, text, swing)))
	leaf := b.part("leaf", s.Spec.Parts[0], b.scene.Draws[:1])
	leaf.DiagonalMM = diagonalMM(&leaf.Game)
	rest := b.part("rest", spec.Part{Kind: spec.Solid}, b.scene.Draws[1:])
	s.Parts = []*Part{leaf, rest}
	return s
}

func swingFinding(t tester, s *Subject) Finding {
	found := runCheck(t, s, "scene.swing")
	require.Len(t, found, 1, "of the moving part alone")
	return found[0]
}

func TestSwing(t *testing.T) {
	t.Parallel()
	away := [2][3]float32{{-0.6, 0, -0.1}, {-0.5, 1, 0.1}}
	f := swingFinding(t, gate(t, 90, away, 0, ""))
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Zero(t, f.Metrics["axis_deg"])

	// A post in front of the gate, right in its way: a quarter turn takes the leaf from +X to -Z.
	inWay := [2][3]float32{{-0.43, 0, -0.7}, {-0.37, 1.1, -0.5}}
	f = swingFinding(t, gate(t, 90, inWay, 0, ""))
	require.Equal(t, Warn, f.Outcome, f.Sentence)
	require.Greater(t, f.Metrics["depth_mm"], 20.0)
	require.Equal(t, "post", f.Where[0].Node)
	require.Equal(t, Pass, swingFinding(t, gate(t, 60, inWay, 0, "")).Outcome, "it does not turn that far")
	require.Equal(t, Pass, swingFinding(t, gate(t, 90, inWay, 0, ", may_cross: [any]")).Outcome, "it may")

	// A pin on the hinge's line is in the leaf at rest and stays as deep while it turns.
	atHinge := [2][3]float32{{-0.403, 0.9, -0.003}, {-0.397, 1.1, 0.003}}
	require.Equal(t, Pass, swingFinding(t, gate(t, 90, atHinge, 0, "")).Outcome)

	// Exported ajar: 20 degrees at rest, which warns; the hinge's own axis stands upright all the same.
	f = swingFinding(t, gate(t, 10, away, 20, ""))
	require.InDelta(t, 20, f.Metrics["rest_deg"], 0.01)
	require.Zero(t, f.Metrics["axis_deg"])
	require.Equal(t, Warn, f.Outcome)
	require.Zero(t, swingFinding(t, gate(t, 10, away, 90, "")).Metrics["rest_deg"], "a quarter turn is a choice of axes")

	s := gate(t, 90, away, 0, "")
	s.Spec = specOf(t, spec.Hero, "")
	require.Equal(t, NotApplicable, swingFinding(t, s).Outcome, "no hinge is named")
	s.Parts[0].Def.Kind = spec.Solid
	require.Empty(t, runCheck(t, s, "scene.swing"))
}

// A drawer slides by a known length towards a stop that leaves less or more room than that: just inside and just outside
// the limit, at any scale.
func TestSlidePlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		scale := rapid.Float64Range(0.5, 3).Draw(t, "scale")
		travel := rapid.Float64Range(100, 400).Draw(t, "travel")
		inside := rapid.Bool().Draw(t, "inside")
		deep := 1.05 // mm; the limit of a hero prop is 2
		if !inside {
			deep = 2.1
		}
		stop := float32(0.2*scale + (travel-deep)/1000)
		b := newProp("crate_a.glb")
		wood := b.material("wood", 512)
		w := float32(scale)
		b.node("drawer", identity16, boxPrim(wood, [3]float32{-0.3 * w, 0.1, -0.2 * w}, [3]float32{0.3 * w, 0.3, 0.2 * w}))
		b.node("stop", identity16, boxPrim(wood, [3]float32{-0.4 * w, 0, stop}, [3]float32{0.4 * w, 0.5, stop + 0.1}))
		s := b.subject(t, specOf(t, spec.Hero, fmt.Sprintf(`
parts:
  - {name: drawer, match: [drawer], kind: moving, pivot: slide}
checks:
  scene.swing: {line_mm: [0, 0, 0, 0, 0, 100], travel_mm: %g}
`, travel)))
		s.Parts = []*Part{b.part("drawer", s.Spec.Parts[0], b.scene.Draws[:1]), b.part("rest", spec.Part{Kind: spec.Solid}, b.scene.Draws[1:])}
		f := swingFinding(t, s)
		require.InDelta(t, deep, f.Metrics["depth_mm"], 0.01)
		require.Equal(t, inside, f.Outcome == Pass, f.Sentence)
	})
}

// An axis of the pivot a known angle off the hinge.
func TestSwingAxisPlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		deg := rapid.SampledFrom([]float64{0.97, 1.03}).Draw(t, "deg")
		rad := deg * math.Pi / 180
		// A turn about Z tips the pivot's upright; one about Y does not.
		turn := rapid.Float64Range(0, 360).Draw(t, "turn") * math.Pi / 180
		sz, cz := math.Sincos(rad)
		sy, cy := math.Sincos(turn)
		m := moved(-0.4, 0, 0)
		m[0], m[1], m[2] = cz*cy, sz*cy, -sy
		m[4], m[5], m[6] = -sz, cz, 0
		m[8], m[9], m[10] = cz*sy, sz*sy, cy
		s := gate(t, 0, [2][3]float32{{-0.6, 0, -0.1}, {-0.5, 1, 0.1}}, 0, "")
		n := &s.LODs[0].Of[0].Scene.Nodes[0]
		n.World, n.Local = m, identity16
		f := swingFinding(t, s)
		require.InDelta(t, deg, f.Metrics["axis_deg"], 0.002)
		require.Equal(t, deg < 1, f.Outcome == Pass, f.Sentence)
	})
}

func TestSwingDegenerate(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	for _, world := range [][16]float64{{}, {0: nan, 5: nan, 10: nan, 15: 1}} {
		s := gate(t, 90, [2][3]float32{{-0.6, 0, -0.1}, {-0.5, 1, 0.1}}, 0, "")
		s.LODs[0].Of[0].Scene.Nodes[0].World = world
		require.Equal(t, NotEvaluated, swingFinding(t, s).Outcome)
	}
	s := gate(t, 90, [2][3]float32{{-0.6, 0, -0.1}, {-0.5, 1, 0.1}}, 0, "")
	s.Parts[0].Game = mesh.Surface{Pos: make([]float32, 9), Nrm: make([]float32, 9), UV: make([]float32, 6), Tri: []uint32{0, 1, 2}, Of: s.Parts[0].Game.Of}
	s.Parts[0].Game.Of[0].First, s.Parts[0].Game.Of[0].End = 0, 1
	swingFinding(t, s)
}
