package acceptance

import (
	"cmp"
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var spendDef = spec.Check{
	Name: "budget.spend", Scope: spec.PerDelivery, Title: "triangles well spent",
	What: "Triangles of LOD 0 that could go without moving the surface by half a pixel at the tier's distance, shifting the texture by a texel, turning the shading by three degrees or, where a sculpt is projected along averaged normals, that direction by five; " +
		"and how far the flats of softly shaded curves lie inside the curve, in pixels.",
	Why:    "A loop on a flat side costs as much as one that rounds the outline; a curve that shows its corners looks unfinished whatever its normal map says.",
	Source: "edge collapse by plane quadrics: Garland & Heckbert 1997; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_removable_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.3, 0.3, 0.25, 0.2},
			What: "Share of the triangles that could go.", Origin: spec.CommonPractice},
		{Key: "max_facet_px", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{3, 2, 1.5, 1},
			What: "How far the middle of a flat may lie inside its curve, along a run that an eye would notice.", Origin: spec.CommonPractice},
		{Key: "outline_px", Kind: spec.Target, Unit: "px", Default: same(0.5), What: "How far the surface may move when edges go.", Origin: spec.CommonPractice},
		{Key: "run_length_px", Kind: spec.Target, Unit: "px", Default: same(8), What: "How long edges between flats must be together to count.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"removable", "removable_share", "facet_px", "facet_mm"},
}

func budgetSpend(ctx context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	ranges := shipped(s, 0)
	if trianglesOf(ranges) == 0 {
		return unable("budget.spend.no_mesh")
	}
	pixel := s.Spec.View.PixelMM()
	if !(pixel > 0) {
		return unable("budget.spend.no_pixel")
	}
	c := newCollapser(&s.LODs[0].Surface, ranges, texelOf(s), bakedByAverage(s), r.Numbers["outline_px"]*pixel/1000)
	facet := c.facets(r.Numbers["run_length_px"] * pixel / 1000)
	if err := c.run(ctx); err != nil {
		return unable("budget.spend.stopped")
	}
	total := float64(c.solid)
	m := map[string]float64{"removable": float64(c.gone), "removable_share": 0, "facet_mm": roundMM(facet.mm), "facet_px": facet.mm / pixel}
	if total > 0 {
		m["removable_share"] = float64(c.gone) / total
	}
	f := judge(r, m, atMost("removable_share", "max_removable_share"), atMost("facet_px", "max_facet_px"))
	f.say("budget.spend.spent", words.Count(c.gone), words.Share(m["removable_share"]), words.Px(m["facet_px"]))
	over := func(metric, limit string) bool { v, on := r.Num(limit); return on && m[metric] > v }
	if over("removable_share", "max_removable_share") {
		f.say("budget.spend.waste", words.Count(c.gone), words.Share(m["removable_share"]))
		f.remedy("budget.spend.take_out")
		f.Where = c.places()
	}
	if over("facet_px", "max_facet_px") {
		say, do := f.say, f.remedy
		if f.Says[0].Code == "budget.spend.waste" {
			say, do = f.also, f.alsoRemedy
		}
		say("budget.spend.faceted", words.MM(facet.mm), words.Px(m["facet_px"]))
		do("budget.spend.round", words.Count(int(math.Ceil(math.Sqrt(m["facet_px"]/r.Numbers["max_facet_px"])))))
		f.Where = append(f.Where, facet.places...)
		f.Where = f.Where[:min(len(f.Where), maxPlaces)]
	}
	return f
}

// texelOf is the size of a texel in UV of every draw, by its set's map; a thousandth where no map says.
func texelOf(s *Subject) map[drawKey]float64 {
	out := map[drawKey]float64{}
	for _, set := range s.Sets {
		if n := max(set.WidthPx, set.HeightPx); n > 0 {
			for _, g := range set.Game.Of {
				out[keyOf(g)] = 1 / float64(n)
			}
		}
	}
	return out
}

// bakedByAverage are the draws that a sculpt is projected onto along averaged normals.
func bakedByAverage(s *Subject) map[drawKey]bool {
	out := map[drawKey]bool{}
	if c := s.Spec.Conventions.Cage; c != "averaged" && c != "" || !bodyThere(s.Sculpt) {
		return out
	}
	for _, p := range s.Parts {
		if wantsSculpt(s, p) {
			for _, g := range p.Game.Of {
				out[keyOf(g)] = true
			}
		}
	}
	return out
}

// facetRun is how far the flats of curves lie inside them.
type facetRun struct {
	mm     float64
	places []Place
}

// facets measures every soft edge between two flats that turn by 5 to 60 degrees: on a curve through their corners the
// middle of a flat of width w lies w/2·tan(angle/4) inside. It returns the largest that is kept up along edges of the
// given length together, in metres; less turns no eye, more is a corner and no curve.
func (c *collapser) facets(runM float64) facetRun {
	type facet struct {
		m, length float64
		edge      int
	}
	var all []facet
	for e, other := range c.across {
		t := e / 3
		if int(other) <= t || c.hard[e] || c.dead[t] || c.dead[other] {
			continue
		}
		n, m := c.normal[t], c.normal[other]
		angle := detmath.Atan2(math.Sqrt(lenSq(cross(n, m))), dot(n, m))
		if angle < 5*math.Pi/180 || angle > 60*math.Pi/180 {
			continue
		}
		a, b := edgeEnds(c.sf, e)
		length := math.Sqrt(lenSq(sub(b, a)))
		if !(length > 0) {
			continue
		}
		width := min(2*c.area[t], 2*c.area[other]) / length
		all = append(all, facet{width / 2 * detmath.Tan(angle/4), length, e})
	}
	slices.SortStableFunc(all, func(a, b facet) int { return cmp.Compare(b.m, a.m) })
	var out facetRun
	sum := 0.0
	for i, f := range all {
		if i < maxPlaces {
			a, b := edgeEnds(c.sf, f.edge)
			pl := c.place(f.edge / 3)
			pl.PointMM = middleMM(a, b, between(a, b))
			pl.Value = &Value{Value: roundMM(f.m * 1000), Unit: "mm"}
			out.places = append(out.places, pl)
		}
		if sum += f.length; sum >= runM {
			out.mm = f.m * 1000
			break
		}
	}
	return out
}

// place names the node and triangle.
func (c *collapser) place(t int) Place {
	for _, g := range c.ranges {
		if t >= g.First && t < g.End {
			a, b, d := corners(c.sf, t)
			return Place{Node: g.NodeName(), Triangles: []int{t - g.First}, Side: facing(a, b, d)}
		}
	}
	return Place{}
}

// places are the nodes that could lose most, with one triangle that could go.
func (c *collapser) places() []Place {
	w := worst{}
	for i, g := range c.ranges {
		n := 0
		for t := g.First; t < g.End; t++ {
			if c.went[t] {
				n++
			}
		}
		if n > 0 {
			w.add(float64(n), i)
		}
	}
	var out []Place
	for _, e := range w.top() {
		g := c.ranges[e.at]
		t := g.First
		for !c.went[t] {
			t++
		}
		a, b, d := corners(c.sf, t)
		out = append(out, Place{Node: g.NodeName(), Triangles: []int{t - g.First}, PointMM: middleMM(a, b, d), Side: facing(a, b, d), Value: &Value{Value: e.value, Unit: "count"}})
	}
	return out
}

// drawOf numbers the draw of every triangle; -1 where it does not ship.
func drawOf(sf *mesh.Surface, ranges []mesh.Range) []int32 {
	out := make([]int32, sf.Triangles())
	for t := range out {
		out[t] = -1
	}
	for i, g := range ranges {
		for t := g.First; t < g.End; t++ {
			out[t] = int32(i)
		}
	}
	return out
}
