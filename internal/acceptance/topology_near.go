package acceptance

import (
	"context"
	"math"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

// nearPairs is what self-intersection and z-fighting share: pairs of triangles that cross, and those that lie on each
// other. Made once for the depth step that is in force; the list of pairs of boxes is let go of.
type nearPairs struct {
	once      sync.Once
	crossings []topo.Crossing
	layers    []layer
	err       error
}

// layer is two triangles that look the same way and lie nearly in one plane, with the piece in which one covers the other.
type layer struct {
	a, b   int32
	upper  int32 // the one in front
	gapM   float64
	areaM2 float64
	centre [3]float64 // of the common piece, on the upper one
	normal [3]float64
}

func (b *topoBody) pairs(ctx context.Context, s *Subject, depthStepMM float64) *nearPairs {
	n := &b.near
	n.once.Do(func() {
		step := depthStepMM / 1000
		pairs := b.tree().Overlap(b.tree(), float32(step), s.Threads)
		if n.crossings, n.err = b.Crossings(ctx, pairs); n.err != nil {
			return
		}
		for i, p := range pairs {
			if i&4095 == 0 && ctx.Err() != nil {
				n.err = ctx.Err()
				return
			}
			if l, ok := b.layerOf(p[0], p[1], step); ok {
				n.layers = append(n.layers, l)
			}
		}
	})
	return n
}

// parallel is the cosine of how far two faces may lean and still be layers: 2°. At a slant of that much their gap changes
// by a thirtieth of their common width.
const parallel = 0.99939

// layerOf tells whether two triangles are layers of each other within the step (metres).
func (b *topoBody) layerOf(t, u int32, step float64) (layer, bool) {
	if b.State[t] != topo.Live || b.State[u] != topo.Live || (b.look[t]|b.look[u])&(passes|unseen) != 0 {
		return layer{}, false
	}
	for _, v := range b.Tri[3*t : 3*t+3] {
		for _, w := range b.Tri[3*u : 3*u+3] {
			if b.Place[v] == b.Place[w] {
				return layer{}, false // neighbours
			}
		}
	}
	p, q := b.triangle(int(t)), b.triangle(int(u))
	n, m := unit(cross(sub(p[1], p[0]), sub(p[2], p[0]))), unit(cross(sub(q[1], q[0]), sub(q[2], q[0])))
	if inner(n, m) < parallel {
		return layer{}, false
	}
	area, mid, height := commonPiece(p, q, n)
	// What touches along an edge shares a sliver of rounding.
	wide := math.Sqrt(max(lenSq(sub(p[1], p[0])), lenSq(sub(p[2], p[0]))))
	if !(area > 16*b.lift(p[0])*wide) || math.Abs(height) > step {
		return layer{}, false
	}
	l := layer{a: min(t, u), b: max(t, u), upper: t, gapM: math.Abs(height), areaM2: area, centre: mid, normal: n}
	if height > 0 {
		l.upper = u
		for k := range 3 {
			l.centre[k] += float64(height * n[k])
		}
	}
	return l, true
}

func (b *topoBody) triangle(t int) [3][3]float64 {
	p, q, r := b.Surface.Corners(t)
	return [3][3]float64{p, q, r}
}

func unit(v [3]float64) [3]float64 {
	l := math.Sqrt(lenSq(v))
	if !(l > 0) {
		return [3]float64{}
	}
	return [3]float64{v[0] / l, v[1] / l, v[2] / l}
}

// commonPiece is the piece of p that q covers, seen along p's unit normal n: its area, its middle on p, and how far above p q
// lies there. Clipping is that of Sutherland and Hodgman, Reentrant Polygon Clipping, CACM 17(1), 1974.
func commonPiece(p, q [3][3]float64, n [3]float64) (area float64, mid [3]float64, height float64) {
	x := unit(sub(p[1], p[0]))
	y := cross(n, x)
	flat := func(v [3]float64) [2]float64 { d := sub(v, p[0]); return [2]float64{inner(d, x), inner(d, y)} }
	var buf [2][9][2]float64
	piece := append(buf[0][:0], flat(q[0]), flat(q[1]), flat(q[2]))
	out := buf[1][:0]
	for k := range 3 {
		a, b := flat(p[k]), flat(p[(k+1)%3])
		side := func(c [2]float64) float64 {
			return float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0]))
		}
		out = out[:0]
		for i, c := range piece {
			d := piece[(i+1)%len(piece)]
			sc, sd := side(c), side(d)
			if sc >= 0 {
				out = append(out, c)
			}
			if (sc < 0) != (sd < 0) {
				f := sc / (sc - sd)
				out = append(out, [2]float64{c[0] + float64(f*(d[0]-c[0])), c[1] + float64(f*(d[1]-c[1]))})
			}
		}
		piece, out = out, piece
		if len(piece) < 3 {
			return 0, mid, 0
		}
	}
	var cx, cy float64
	o := piece[0]
	for i := 1; i+1 < len(piece); i++ {
		c, d := piece[i], piece[i+1]
		w := float64((float64((c[0]-o[0])*(d[1]-o[1])) - float64((c[1]-o[1])*(d[0]-o[0]))) / 2)
		area += w
		cx += float64(w * (o[0] + c[0] + d[0]) / 3)
		cy += float64(w * (o[1] + c[1] + d[1]) / 3)
	}
	if !(area > 0) {
		return 0, mid, 0
	}
	cx, cy = cx/area, cy/area
	for k := range 3 {
		mid[k] = p[0][k] + float64(cx*x[k]) + float64(cy*y[k])
	}
	m := cross(sub(q[1], q[0]), sub(q[2], q[0]))
	if down := inner(m, n); down != 0 {
		height = inner(sub(q[0], mid), m) / down
	}
	return area, mid, height
}

var selfIntersectionDef = spec.Check{
	Name: "topology.self_intersection", Scope: spec.PerPartAndLOD, Title: "faces that cross",
	What:   "Pairs of triangles that run through each other. Within one shell they warn; between shells they are only counted: pushing pieces into each other is cheaper than joining them, and right. Touching is no crossing.",
	Why:    "A shell that crosses itself folds over: rays find the wrong side there, and simplification tears it.",
	Source: "Guigue and Devillers 2003 (triangle-triangle test)",
	Limits: []spec.Limit{
		{Key: "max_within_shell", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Pairs of one shell that cross.", Origin: spec.CommonPractice},
		{Key: "max_between_shells", Kind: spec.AtMost, Unit: "count", Optional: true,
			What: "Pairs of different shells that cross; pieces that the part's may_cross names do not count.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Reports, spec.Warns, spec.Warns, spec.Warns}, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Card:  "Cards cross each other on purpose.",
		spec.Decal: "A decal lies on its host.",
	},
	Metrics: []string{"count", "within_shell", "between_shells"},
}

func topologySelfIntersection(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, selfIntersectionDef)
	if !ok {
		return f
	}
	near := x.pairs(ctx, s, s.depthStepMM())
	if near.err != nil {
		return unable("topology.stopped", words.Name(near.err.Error()))
	}
	within, between, unasked := 0, 0, 0
	first := map[int32]topo.Crossing{}
	var folded []int32
	for _, c := range near.crossings {
		if !x.has(int(c.A)) && !x.has(int(c.B)) {
			continue
		}
		if !c.Within {
			between++
			if !x.mayCross(c) {
				unasked++
			}
			continue
		}
		within++
		for _, t := range [2]int32{c.A, c.B} {
			if _, known := first[t]; !known {
				first[t] = c
				folded = append(folded, t)
			}
		}
	}
	slices.Sort(folded)
	var places []Place
	for _, patch := range x.patches(folded) {
		if len(places) < maxPlaces {
			c := first[patch[0]]
			p := x.at(int(c.A), c.At, float64(len(patch)), "count")
			p.Triangles = append(p.Triangles, trianglePlace(x.sf, nil, int(c.B)).Triangles...)
			p.note("topology.self_intersection.fold", words.Count(len(patch)))
			places = append(places, p)
		}
	}
	f = judge(r, map[string]float64{"count": float64(within + between), "within_shell": float64(within), "between_shells": float64(between), "not_allowed": float64(unasked)},
		atMost("within_shell", "max_within_shell"), atMost("not_allowed", "max_between_shells"))
	delete(f.Metrics, "not_allowed")
	f.Measured, f.Where = measured(f.Metrics, "count"), places
	if within == 0 {
		f.say("topology.self_intersection.none")
	} else {
		f.say("topology.self_intersection.within", words.Count(within))
	}
	if between > 0 {
		f.also("topology.self_intersection.between", words.Count(between))
	}
	if broke(f) {
		f.remedy("topology.self_intersection.unfold")
	}
	return x.close(f)
}

// mayCross says whether the parts of a pair say that they may run into each other.
func (x *topoTarget) mayCross(c topo.Crossing) bool {
	p, q := x.part[c.A], x.part[c.B]
	if p < 0 || q < 0 {
		return false
	}
	allows := func(a, b *Part) bool {
		return contains(a.Def.MayCross, "any") || contains(a.Def.MayCross, b.Name)
	}
	a, b := x.s.Parts[p], x.s.Parts[q]
	return allows(a, b) || allows(b, a)
}

var zFightingDef = spec.Check{
	Name: "topology.z_fighting", Scope: spec.PerPart, Title: "flickering layers",
	What: "Visible faces that look the same way and lie closer over each other than a step of the depth buffer, in pixels at the tier's distance; for floaters, how far they hover over what is below.",
	Why:  "The depth buffer cannot tell such faces apart: they flicker in stripes as the camera moves, and everyone sees it.",
	Source: "the step of a 24-bit depth buffer, z² / (near · 2²⁴), follows from the perspective division; limits are " +
		spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_pixels", Kind: spec.AtMost, Unit: "px", Default: same(0), What: "Pixels of flickering surface in the worst view.", Origin: spec.CommonPractice},
		{Key: "depth_step_mm", Kind: spec.Target, Unit: "mm", Default: spec.ByTier{2.1, 0.24, 0.05, 0.02},
			What: "Gap below which layers flicker: the step of a 24-bit depth buffer with its near plane at 0.1 m, seen from four times the tier's distance, where LOD 0 still stands; not below what 16-bit positions round to.", Origin: "derived: z² / (near · 2²⁴); four times and 0.1 m are " + spec.CommonPractice},
		{Key: "min_gap_mm", Kind: spec.AtLeast, Unit: "mm", Default: spec.ByTier{3, 2, 1, 0.5}, What: "How far a floater must hover at least; less warns.", Origin: spec.CommonPractice},
		{Key: "max_gap_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{30, 20, 10, 5}, What: "How far it may hover before it shifts against its host as the camera moves; more warns.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Decal: "A decal is drawn with a depth offset.",
		spec.Card:  "Cards are masked; their layers are told by alpha checks.",
		spec.Glass: "Glass is blended, not written to depth.",
	},
	Metrics: []string{"pixels"},
}

// depthStepMM is the step for the whole prop: pairs are looked for once, so a part's own larger one is not looked beyond it.
func (s *Subject) depthStepMM() float64 {
	step := s.Spec.Rule("topology.z_fighting", nil, nil).Numbers["depth_step_mm"]
	for _, p := range s.Parts {
		step = max(step, s.Spec.Rule("topology.z_fighting", &p.Def, nil).Numbers["depth_step_mm"])
	}
	return step
}

func topologyZFighting(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, zFightingDef)
	if !ok {
		return f
	}
	near := x.pairs(ctx, s, s.depthStepMM())
	if near.err != nil {
		return unable("topology.stopped", words.Name(near.err.Error()))
	}
	pixels, layers, seen := x.flicker(near.layers, r.Numbers["depth_step_mm"]/1000)
	m := map[string]float64{"pixels": pixels}
	bounds := []bound{atMost("pixels", "max_pixels")}
	var adrift []Place
	if t.Part != nil && t.Part.Def.Kind == spec.Floater {
		if gaps, lo, hi, ok := x.hover(); ok {
			m["gap_min_mm"], m["gap_max_mm"] = 1000*lo, 1000*hi
			adrift = x.adrift(gaps, r)
			bounds = append(bounds, atLeast("gap_min_mm", "min_gap_mm").warns(), atMost("gap_max_mm", "max_gap_mm").warns())
		}
	}
	f = judge(r, m, bounds...)
	switch {
	case pixels > 0:
		f.say("topology.z_fighting.found", words.Px(pixels), words.Count(len(layers)))
	default:
		f.say("topology.z_fighting.none")
	}
	if hi, have := m["gap_max_mm"]; have {
		f.also("topology.z_fighting.gap", words.MM(m["gap_min_mm"]), words.MM(hi))
	}
	if broke(f) {
		if pixels > 0 {
			f.remedy("topology.z_fighting.cut")
		} else {
			f.remedy("topology.z_fighting.hover")
		}
	}
	w := worst{}
	for i := range layers {
		w.add(seen[i], i)
	}
	for _, e := range w.top() {
		l := layers[e.at]
		p := x.at(int(l.upper), l.centre, e.value, "px")
		p.note("topology.z_fighting.layer", words.MM(1000*l.gapM))
		f.Where = append(f.Where, p)
	}
	f.Where = append(f.Where, adrift...)
	f.Where = f.Where[:min(len(f.Where), maxPlaces)]
	return x.close(f)
}

// adrift are the shells that hover too near or too far, with the distance of each.
func (x *topoTarget) adrift(gaps []float64, r spec.Rule) (out []Place) {
	least, most := r.Numbers["min_gap_mm"], math.Inf(1)
	if v, on := r.Num("max_gap_mm"); on {
		most = v
	}
	for i, g := range gaps {
		if finite(g) && (1000*g < least || 1000*g > most) && len(out) < maxPlaces {
			out = append(out, x.at(x.Shells[i].First, centre(&x.Shells[i]), 1000*g, "mm"))
		}
	}
	return out
}

// flicker measures the target's layers within the step (metres): whole pixels in the worst permitted view, the layers
// that are seen in any, and each one's largest view.
func (x *topoTarget) flicker(all []layer, step float64) (pixels float64, shown []layer, seen []float64) {
	px := x.s.Spec.View.PixelMM() / 1000
	if !(px > 0) {
		return 0, nil, nil
	}
	views := permitted(x.s.Spec.View.Placed)
	sum := make([]float64, len(views))
	occluders := x.occluders()
	reach := float32(4 * x.sizeM())
	for _, l := range all {
		if l.gapM > step || !x.has(int(l.a)) && !x.has(int(l.b)) {
			continue
		}
		from := l.centre
		for k := range 3 {
			from[k] += float64(step * l.normal[k])
		}
		var rays []spatial.Ray
		var at []int
		for i, d := range views {
			if inner(d, l.normal) > grazing {
				rays = append(rays, x.rayFrom(from, d, reach))
				at = append(at, i)
			}
		}
		hit := make([]bool, len(rays))
		occluders.Any(rays, hit, 1)
		best := 0.0
		for i, blocked := range hit {
			if !blocked {
				area := float64(l.areaM2*inner(views[at[i]], l.normal)) / float64(px*px)
				sum[at[i]] += area
				best = max(best, area)
			}
		}
		if best > 0 {
			shown, seen = append(shown, l), append(seen, best)
		}
	}
	for _, v := range sum {
		pixels = max(pixels, math.Floor(v+1e-9)) // less than one pixel is never seen
	}
	return pixels, shown, seen
}

// grazing is the cosine of the slant from which a surface is taken as not seen: 6° over its plane.
const grazing = 0.1

// hover is the distance of each of the target's shells from the rest of the prop, metres, infinite for other shells, and the
// smallest and the largest.
func (x *topoTarget) hover() (gap []float64, lo, hi float64, ok bool) {
	tri := make([]uint32, 0, len(x.Tri))
	for t := range x.part {
		if x.part[t] != notDrawn && !x.has(t) {
			tri = append(tri, x.Tri[3*t:3*t+3]...)
		}
	}
	if len(tri) == 0 {
		return nil, 0, 0, false
	}
	host := spatial.Build(x.Pos, tri, x.s.Threads)
	gap = make([]float64, len(x.Shells))
	for i := range gap {
		gap[i] = math.Inf(1)
	}
	var points []float32
	var shell []int32
	for t := range x.part {
		if !x.live(t) {
			continue
		}
		for _, v := range x.Tri[3*t : 3*t+3] {
			points = append(points, x.Pos[3*v:3*v+3]...)
			shell = append(shell, x.Shell[t])
		}
	}
	near := make([]spatial.Near, len(shell))
	host.Closest(points, float32(math.Inf(1)), near, x.s.Threads)
	for i, n := range near {
		if n.Tri != spatial.Miss {
			gap[shell[i]] = min(gap[shell[i]], float64(n.Dist))
		}
	}
	lo = math.Inf(1)
	for _, g := range gap {
		if finite(g) {
			lo, hi, ok = min(lo, g), max(hi, g), true
		}
	}
	return gap, lo, hi, ok
}
