package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var swingDef = spec.Check{
	Name: "scene.swing", Scope: spec.PerPart, Title: "moving part moves",
	What: "For a moving part whose hinge or rail the spec names: how far an axis of its pivot is from it, whether its rest pose is clean, and, moved in steps as far as it goes, " +
		"how deep it runs into other parts that it did not run into at rest. Parts that it may cross are left out.",
	Why:    "A door whose axis is off, or that was exported ajar, goes through its frame the first time the game opens it.",
	Source: "crossing triangles: Guigue & Devillers 2003; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "line_mm", Kind: spec.Target, Unit: "mm", List: true, Optional: true,
			What: "The hinge or rail: x, y, z of one end and of the other, in the file's coordinates. Seen from the second end the part turns counter-clockwise; it slides from the first to the second.", Origin: spec.CommonPractice},
		{Key: "swing_deg", Kind: spec.Target, Unit: "deg", Optional: true, What: "How far the part turns from its rest pose.", Origin: spec.CommonPractice},
		{Key: "travel_mm", Kind: spec.Target, Unit: "mm", Optional: true, What: "How far the part slides from its rest pose.", Origin: spec.CommonPractice},
		{Key: "steps", Kind: spec.Target, Unit: "count", Default: same(12), What: "In how many steps it is moved.", Origin: spec.CommonPractice},
		{Key: "max_axis_deg", Kind: spec.AtMost, Unit: "deg", Default: same(1), What: "Angle between the hinge or rail and the nearest axis of the pivot.", Origin: spec.CommonPractice},
		{Key: "max_rest_deg", Kind: spec.AtMost, Unit: "deg", Default: same(0.5),
			What: "Turn of the pivot at rest, beyond quarter turns; only warns, and is nothing where the hinge or rail itself stands at an angle.", Origin: spec.CommonPractice},
		{Key: "max_depth_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{10, 5, 2, 1}, What: "How much deeper than at rest it may run into another part.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"axis_deg", "rest_deg", "depth_mm", "at_step"},
}

// axisLine is a hinge or rail in metres: a point and a unit direction.
type axisLine struct{ at, dir [3]float64 }

func lineOf(mm []float64) (l axisLine, ok bool) {
	if len(mm) != 6 {
		return l, false
	}
	var to [3]float64
	for k := range 3 {
		l.at[k], to[k] = mm[k]/1000, mm[3+k]/1000
	}
	d := sub(to, l.at)
	size := math.Sqrt(lenSq(d))
	if !(size > 0) || !finite(size) {
		return l, false
	}
	l.dir = [3]float64{d[0] / size, d[1] / size, d[2] / size}
	return l, true
}

func sceneSwing(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if t.Part.Def.Kind != spec.Moving {
		return Finding{} // it does not move
	}
	l, ok := lineOf(numbers(r.Lists["line_mm"]))
	if !ok {
		return exempt("scene.swing.no_line")
	}
	nodes := pivots(t.Part.Game.Of)
	if len(nodes) == 0 {
		return unable("scene.no_geometry")
	}
	m := map[string]float64{"axis_deg": math.Inf(1), "rest_deg": 0, "depth_mm": 0, "at_step": 0}
	var pivot *mesh.Node
	for _, n := range nodes {
		if d := axisDeg(s, n, l); d < m["axis_deg"] {
			m["axis_deg"], pivot = d, n
		}
	}
	if pivot == nil {
		return unable("scene.pivot.no_position")
	}
	if onWorldAxis(l.dir) {
		m["rest_deg"] = restDeg(pivot)
	}
	turns, on := r.Num("swing_deg")
	if t.Part.Def.Pivot == "slide" {
		turns, on = r.Num("travel_mm")
	}
	var deepest swingDepth
	if on && turns > 0 {
		var err error
		if deepest, err = swing(ctx, s, t.Part, l, turns, int(max(1, r.Numbers["steps"]))); err != nil {
			return unable("scene.swing.stopped")
		}
		m["depth_mm"], m["at_step"] = deepest.mm, float64(deepest.step)
	}
	f := judge(r, m, atMost("depth_mm", "max_depth_mm"), atMost("axis_deg", "max_axis_deg"), atMost("rest_deg", "max_rest_deg").warns())
	f.say("scene.swing.moves", words.Deg(m["axis_deg"]), words.MM(m["depth_mm"]))
	over := func(metric, limit string) bool { v, on := r.Num(limit); return on && m[metric] > v }
	switch {
	case over("depth_mm", "max_depth_mm"):
		f.say("scene.swing.crosses", words.MM(deepest.mm), words.Name(deepest.node), deepest.moved(t.Part.Def.Pivot == "slide", turns))
		f.remedy("scene.swing.clear")
		f.Where = deepest.places
	case over("axis_deg", "max_axis_deg"):
		f.say("scene.swing.axis", words.Name(pivot.Name), words.Deg(m["axis_deg"]))
		f.remedy("scene.swing.turn_pivot")
		f.Where = []Place{{Node: pivot.Name, Pointer: pivot.Pointer}}
	case over("rest_deg", "max_rest_deg"):
		f.say("scene.swing.ajar", words.Name(pivot.Name), words.Deg(m["rest_deg"]))
		f.remedy("scene.swing.close")
		f.Where = []Place{{Node: pivot.Name, Pointer: pivot.Pointer}}
	}
	return f
}

// axesOf are the unit axes of a node's world matrix.
func axesOf(m [16]float64) (out [3][3]float64, ok bool) {
	for k := range 3 {
		v := [3]float64{m[4*k], m[4*k+1], m[4*k+2]}
		size := math.Sqrt(lenSq(v))
		if !(size > 1e-9) || !finite(size) {
			return out, false
		}
		out[k] = [3]float64{v[0] / size, v[1] / size, v[2] / size}
	}
	return out, true
}

// axisDeg is the angle between a line and the nearest axis of a node.
func axisDeg(s *Subject, n *mesh.Node, l axisLine) float64 {
	axes, ok := axesOf(n.World)
	if !ok {
		return math.Inf(1)
	}
	best := math.Inf(1)
	for _, a := range axes {
		if s.mended.factor != 0 {
			a = s.mended.turn.apply(a)
		}
		c := cross(a, l.dir)
		best = min(best, degrees(detmath.Atan2(math.Sqrt(lenSq(c)), math.Abs(dot(a, l.dir)))))
	}
	return roundDeg(best)
}

func degrees(radians float64) float64 { return radians * (180 / math.Pi) }

// roundDeg rounds to a thousandth of a degree: float32 rotations hold no more.
func roundDeg(deg float64) float64 { return math.Round(deg*1000) / 1000 }

func onWorldAxis(d [3]float64) bool {
	return max(math.Abs(d[0]), math.Abs(d[1]), math.Abs(d[2])) > 1-1e-6
}

// restDeg is how far a node is turned against its parent, beyond quarter turns: the largest angle of its axes to the
// nearest of the parent's.
func restDeg(n *mesh.Node) float64 {
	axes, ok := axesOf(n.Local)
	if !ok {
		return 0
	}
	worst := 0.0
	for _, a := range axes {
		k := 0
		for i := range 3 {
			if math.Abs(a[i]) > math.Abs(a[k]) {
				k = i
			}
		}
		rest := a
		rest[k] = 0
		worst = max(worst, degrees(detmath.Atan2(math.Sqrt(lenSq(rest)), math.Abs(a[k]))))
	}
	return roundDeg(worst)
}

// swingDepth is the deepest that a part runs into another while it moves, beyond what it does at rest.
type swingDepth struct {
	mm     float64
	step   int
	steps  int
	node   string
	places []Place
}

// moved is how far the part had gone there.
func (d swingDepth) moved(slide bool, all float64) words.Arg {
	by := all * float64(d.step) / float64(max(d.steps, 1))
	if slide {
		return words.MM(by)
	}
	return words.Deg(by)
}

// swing moves a part in steps and measures how deep it runs into every other node. What is at a hinge's own line, pins and
// knuckles that run into each other at rest, does so in every pose and is left out: as far from the line as such places
// reach at rest, a tenth of the part at most.
func swing(ctx context.Context, s *Subject, p *Part, l axisLine, all float64, steps int) (out swingDepth, err error) {
	w := &swinger{s: s, part: p, line: l, others: otherDraws(s, p)}
	out.steps = steps
	if p.Def.Pivot != "slide" {
		w.reach = p.DiagonalMM / 10000
		if _, _, err = w.depths(ctx, p.Game.Pos); err != nil {
			return out, err
		}
		if w.clear = w.atHinge; w.clear > 0 {
			w.clear += hingeSlack
		}
	}
	atRest, _, err := w.depths(ctx, p.Game.Pos)
	if err != nil {
		return out, err
	}
	for step := 1; step <= steps; step++ {
		now, places, err := w.depths(ctx, movedPart(p, l, all*float64(step)/float64(steps)))
		if err != nil {
			return out, err
		}
		for i := range now {
			if by := roundMM(now[i] - atRest[i]); by > out.mm {
				out.mm, out.step = by, step
				out.node = s.LODs[0].Of[w.others[i]].NodeName()
				out.places = []Place{places[i]}
			}
		}
	}
	return out, nil
}

// hingeSlack is how much further from its line a hinge's own places may be in another pose: half a millimetre, what the
// corners of a pin of a few millimetres stand out. Free choice; twice as much hides a corner that grazes within a
// millimetre of the pin.
const hingeSlack = 0.0005

// swinger is a part on its hinge or rail.
type swinger struct {
	s       *Subject
	part    *Part
	line    axisLine
	others  []int
	reach   float64 // metres: places nearer to the line than this may be the hinge's own
	atHinge float64 // metres: how far from the line they reach
	clear   float64 // metres: what lies nearer to the line is left out
}

// fromLine is how far from the line the farthest place is where two triangles meet; 0 where none is found.
func (w *swinger) fromLine(a, b [3][3]float64) float64 {
	most := 0.0
	for _, pair := range [2][2][3][3]float64{{a, b}, {b, a}} {
		for k := range 3 {
			if q, ok := pierces(pair[0][k], pair[0][(k+1)%3], pair[1]); ok {
				most = max(most, math.Sqrt(lenSq(cross(sub(q, w.line.at), w.line.dir))))
			}
		}
	}
	return most
}

// pierces is where a segment goes through a triangle.
func pierces(p, q [3]float64, t [3][3]float64) (at [3]float64, ok bool) {
	n := cross(sub(t[1], t[0]), sub(t[2], t[0]))
	dp, dq := dot(sub(p, t[0]), n), dot(sub(q, t[0]), n)
	if (dp > 0) == (dq > 0) || dp == dq {
		return at, false
	}
	f := dp / (dp - dq)
	for k := range 3 {
		at[k] = p[k] + float64(f*(q[k]-p[k]))
	}
	for k := range 3 {
		if dot(cross(sub(t[(k+1)%3], t[k]), sub(at, t[k])), n) < 0 {
			return at, false
		}
	}
	return at, true
}

// otherDraws are the draws of LOD 0 that a part may not run into, as indices into its ranges.
func otherDraws(s *Subject, p *Part) (out []int) {
	byDraw := partsByDraw(s)
	for i, g := range s.LODs[0].Of {
		q := byDraw[keyOf(g)]
		if q == nil || q == p || notShipped(q.Def.Kind) || q.Def.Kind == spec.Decal || q.Def.Kind == spec.Card {
			continue
		}
		free := func(list []string, name string) bool {
			return slices.Contains(list, "any") || slices.Contains(list, name)
		}
		if free(p.Def.MayCross, q.Name) || free(q.Def.MayCross, p.Name) {
			continue
		}
		out = append(out, i)
	}
	return out
}

// movedPart are a part's vertices turned about a line by degrees, or slid along it by millimetres.
func movedPart(p *Part, l axisLine, by float64) []float32 {
	out := make([]float32, len(p.Game.Pos))
	slide := p.Def.Pivot == "slide"
	sin, cos := detmath.Sincos(by * (math.Pi / 180))
	for v := 0; v+2 < len(out); v += 3 {
		q := [3]float64{float64(p.Game.Pos[v]), float64(p.Game.Pos[v+1]), float64(p.Game.Pos[v+2])}
		if slide {
			for k := range 3 {
				q[k] += float64(l.dir[k] * by / 1000)
			}
		} else { // Rodrigues' rotation formula
			w := sub(q, l.at)
			c, along := cross(l.dir, w), dot(l.dir, w)
			for k := range 3 {
				q[k] = l.at[k] + float64(w[k]*cos) + float64(c[k]*sin) + float64(l.dir[k]*along*(1-cos))
			}
		}
		out[v], out[v+1], out[v+2] = float32(q[0]), float32(q[1]), float32(q[2])
	}
	return out
}

// depths measures, for each of the other draws, how deep the part's triangles run into its triangles, in millimetres.
func (w *swinger) depths(ctx context.Context, pos []float32) ([]float64, []Place, error) {
	s, p, others := w.s, w.part, w.others
	body := &s.LODs[0].Surface
	m := surface.Mesh{Pos: slices.Clone(pos), Tri: slices.Clone(p.Game.Tri)}
	own := m.Triangles()
	part := mesh.Surface{Pos: pos, Tri: p.Game.Tri}
	lo, hi, ok := boundsOf(&part, []mesh.Range{{First: 0, End: own}})
	out, places := make([]float64, len(others)), make([]Place, len(others))
	if !ok {
		return out, places, nil
	}
	var of, tri []int
	first := uint32(len(m.Pos) / 3)
	m.Pos = append(m.Pos, body.Pos...)
	for i, o := range others {
		g := body.Of[o]
		for t := g.First; t < g.End; t++ {
			if nearBox(body, t, lo, hi) {
				for _, v := range body.Tri[3*t : 3*t+3] {
					m.Tri = append(m.Tri, first+v)
				}
				of, tri = append(of, i), append(tri, t)
			}
		}
	}
	pairs, err := surface.Crossings(ctx, m, s.Threads)
	if err != nil {
		return nil, nil, err
	}
	for _, c := range pairs {
		if c.A >= own || c.B < own {
			continue
		}
		a, b := corners3(m, c.A), corners3(m, c.B)
		i, t := of[c.B-own], tri[c.B-own]
		if w.reach > 0 {
			far := w.fromLine(a, b)
			if far < w.reach {
				w.atHinge = max(w.atHinge, far)
			}
			if far < w.clear {
				continue
			}
		}
		if mm := 1000 * min(through(a, b), through(b, a)); mm > out[i] {
			g := body.Of[others[i]]
			out[i] = mm
			places[i] = Place{Node: g.NodeName(), Triangles: []int{t - g.First}, PointMM: middleMM(b[0], b[1], b[2]), Value: &Value{Value: roundMM(mm), Unit: "mm"}}
		}
	}
	return out, places, nil
}

func nearBox(sf *mesh.Surface, t int, lo, hi [3]float64) bool {
	a, b, c := corners(sf, t)
	for k := range 3 {
		if min(a[k], b[k], c[k]) > hi[k] || max(a[k], b[k], c[k]) < lo[k] {
			return false
		}
	}
	return true
}

func corners3(m surface.Mesh, t int) [3][3]float64 {
	return [3][3]float64{point(m.Pos, m.Tri[3*t]), point(m.Pos, m.Tri[3*t+1]), point(m.Pos, m.Tri[3*t+2])}
}

// through is how far a triangle reaches to the other side of another's plane, on the side where it reaches less far:
// how far it would have to move back to be clear of it.
func through(a, b [3][3]float64) float64 {
	n := cross(sub(b[1], b[0]), sub(b[2], b[0]))
	size := math.Sqrt(lenSq(n))
	if !(size > 0) {
		return 0
	}
	up, down := 0.0, 0.0
	for _, q := range a {
		d := dot(sub(q, b[0]), n) / size
		up, down = max(up, d), max(down, -d)
	}
	return min(up, down)
}
