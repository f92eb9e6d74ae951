package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

var sliversDef = spec.Check{
	Name: "topology.slivers", Scope: spec.PerPart, Title: "slivers",
	What:   "Triangles thinner than a pixel at the tier's distance, as a share of all. Smallest angle and largest aspect ratio are told for information: a thin bevel or a long plank has small angles and nothing is wrong with it.",
	Why:    "The graphics processor shades blocks of 2 × 2 pixels: a triangle thinner than one pays for pixels that it does not show, and flickers.",
	Source: "aspect ratio: Pébay and Baker 2003; smallest angle: Shewchuk 2002; the limit is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_thin_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.1, 0.1, 0.05, 0.05},
			What: "Share of the triangles that may be thinner than thin_px.", Origin: spec.CommonPractice},
		{Key: "thin_px", Kind: spec.Target, Unit: "px", Default: same(1), What: "Thickness, in pixels at the tier's distance, under which a triangle is a sliver.", Origin: spec.CommonPractice},
		{Key: "min_angle_deg", Kind: spec.AtLeast, Unit: "deg", Optional: true,
			What: "Smallest angle, for what deforms or is subdivided.", Origin: "Shewchuk, What Is a Good Linear Finite Element?, 2002, for the measure; the number is the spec's"},
	},
	Mode: warnsAll, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{spec.Card: "A card's shape is in its mask."},
	Metrics:    []string{"thin_share", "count", "min_angle_deg", "max_aspect"},
}

func topologySlivers(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, sliversDef)
	if !ok {
		return f
	}
	thinMM := s.Spec.View.PixelMM() * r.Numbers["thin_px"]
	all, thin := 0, 0
	lowest, aspect := 60.0, 1.0
	w := worst{}
	for i := range x.part {
		if !x.live(i) {
			continue
		}
		a, b, c := x.Surface.Corners(i)
		if !(worldArea(a, b, c) > 0) {
			continue // told by topology.degenerate
		}
		sh := topo.ShapeOf(a, b, c)
		all++
		lowest, aspect = min(lowest, sh.MinAngleDeg), max(aspect, sh.Aspect)
		if 1000*sh.HeightM < thinMM {
			thin++
			w.add(sh.LongestM/sh.HeightM, i)
		}
	}
	if all == 0 {
		return unable("topology.slivers.nothing")
	}
	m := map[string]float64{"thin_share": float64(thin) / float64(all), "count": float64(thin), "min_angle_deg": lowest, "max_aspect": aspect}
	f = judge(r, m, atMost("thin_share", "max_thin_share"), atLeast("min_angle_deg", "min_angle_deg"))
	if thin == 0 {
		f.say("topology.slivers.none", words.MM(thinMM))
	} else {
		f.say("topology.slivers.found", words.Count(thin), words.Share(m["thin_share"]), words.MM(thinMM))
	}
	f.also("topology.slivers.angle", words.Deg(lowest), words.Num(math.Round(aspect*10)/10))
	if broke(f) {
		f.remedy("topology.slivers.merge")
	}
	for _, e := range w.top() {
		a, b, c := x.Surface.Corners(e.at)
		f.Where = append(f.Where, x.place(e.at, 1000*topo.ShapeOf(a, b, c).HeightM, "mm"))
	}
	return x.close(f)
}

var evennessDef = spec.Check{
	Name: "topology.evenness", Scope: spec.PerPart, Title: "evenness of faces",
	What:   "For information: how much larger a face is than its neighbour (19 pairs in 20 stay under this), and on curved surface how far the normals turn across one face and how high the arc stands over it there. Flat walls of two triangles are no fault.",
	Why:    "Where normals turn far across a large face, the cage's directions follow the sculpt badly and rays land beside the detail below.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_p95_rise_mm", Kind: spec.AtMost, Unit: "mm", Optional: true,
			What: "Height of the arc over a curved face, longest edge × turn / 8, that 95 % of the curved surface must keep.", Origin: spec.CommonPractice},
		{Key: "max_p95_area_ratio", Kind: spec.AtMost, Unit: "", Optional: true, What: "Larger face over smaller, of 95 % of neighbours.", Origin: spec.CommonPractice},
		{Key: "curved_deg", Kind: spec.Target, Unit: "deg", Default: same(2), What: "Turn of the delivered normals across a face from which it is curved.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Reports, spec.Reports, spec.Reports, spec.Reports}, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{
		spec.Card:  "A card's shape is in its mask.",
		spec.Decal: "A decal has no sculpt of its own.",
	},
	Metrics: []string{"p95_area_ratio", "p95_turn_deg", "p95_rise_mm", "curved_share"},
}

func topologyEvenness(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, evennessDef)
	if !ok {
		return f
	}
	ratio := x.areaRatio()
	turn, rise, share, w := x.curvature(r.Numbers["curved_deg"])
	m := map[string]float64{"p95_area_ratio": ratio, "p95_turn_deg": turn, "p95_rise_mm": rise, "curved_share": share}
	f = judge(r, m, atMost("p95_rise_mm", "max_p95_rise_mm"), atMost("p95_area_ratio", "max_p95_area_ratio"))
	f.Measured = measured(m, "p95_area_ratio")
	f.say("topology.evenness.ratio", words.Num(math.Round(ratio*100)/100))
	if share > 0 {
		f.also("topology.evenness.curved", words.Share(share), words.Deg(turn), words.MM(rise))
	}
	if broke(f) {
		f.remedy("topology.evenness.divide")
	}
	for _, e := range w.top() {
		f.Where = append(f.Where, x.place(e.at, e.value, "mm"))
	}
	return x.close(f)
}

// areaRatio is the 95th percentile of the larger face's area over the smaller's, over neighbours.
func (x *topoTarget) areaRatio() float64 {
	var all []float64
	for h, m := range x.Mate {
		if m <= int32(h) || !x.has(h/3) && !x.has(int(m/3)) {
			continue
		}
		a, b := worldArea(corners(x.sf, h/3)), worldArea(corners(x.sf, int(m/3)))
		if a > 0 && b > 0 {
			all = append(all, max(a, b)/min(a, b))
		}
	}
	if len(all) == 0 {
		return 1
	}
	slices.Sort(all)
	return all[(len(all)-1)*95/100]
}

// curvature is measured where the delivered normals turn across a face: the 95th percentiles by area of that turn and of
// the arc's rise over the face, the share of the surface, and the worst faces by rise in millimetres.
func (x *topoTarget) curvature(curvedDeg float64) (turnDeg, riseMM, share float64, w worst) {
	type curved struct{ turn, rise, area float64 }
	var list []curved
	whole, bent := 0.0, 0.0
	for i := range x.part {
		if !x.live(i) {
			continue
		}
		a, b, c := x.Surface.Corners(i)
		area := worldArea(a, b, c)
		whole += area
		turn := x.turnDeg(i)
		if !(turn > curvedDeg) || !(area > 0) {
			continue
		}
		longest := math.Sqrt(max(lenSq(sub(b, a)), lenSq(sub(c, b)), lenSq(sub(a, c))))
		const radians = 3.14159265358979323846 / 180
		rise := 1000 * longest * (turn * radians) / 8 // of a flat arc of this chord and turn
		list = append(list, curved{turn, rise, area})
		bent += area
		w.add(rise, i)
	}
	if bent == 0 {
		return 0, 0, 0, w
	}
	at95 := func(value func(curved) float64) float64 {
		slices.SortStableFunc(list, func(p, q curved) int {
			switch {
			case value(p) < value(q):
				return -1
			case value(p) > value(q):
				return 1
			}
			return 0
		})
		sum := 0.0
		for _, c := range list {
			if sum += c.area; sum >= 0.95*bent {
				return value(c)
			}
		}
		return value(list[len(list)-1])
	}
	return at95(func(c curved) float64 { return c.turn }), at95(func(c curved) float64 { return c.rise }), min(1, bent/whole), w
}

// turnDeg is the largest angle between two of a triangle's delivered normals; 0 where there are none.
func (x *topoTarget) turnDeg(t int) float64 {
	if len(x.sf.Nrm) < len(x.sf.Pos) {
		return 0
	}
	most := 0.0
	for k := range 3 {
		n, m := point(x.sf.Nrm, x.Tri[3*t+k]), point(x.sf.Nrm, x.Tri[3*t+(k+1)%3])
		if lenSq(n) > 0 && lenSq(m) > 0 {
			const degrees = 180 / 3.14159265358979323846
			most = max(most, detmath.Atan2(math.Sqrt(lenSq(cross(n, m))), inner(n, m))*degrees)
		}
	}
	return most
}
