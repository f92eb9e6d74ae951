package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var groundDef = spec.Check{
	Name: "scene.ground", Scope: spec.PerDelivery, Title: "ground contact",
	What:   "For a prop that stands on the ground and has its origin at its base: how far its lowest point is above or below the ground plane.",
	Why:    "A prop that hovers shows a line of light under it; one that sinks loses its foot.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_gap_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{5, 3, 1, 1},
		What: "How far the lowest point may be above or below the ground.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: []spec.Milestone{spec.BlockOut, spec.GameMesh, spec.Maps, spec.Final}, Metrics: []string{"gap_mm"},
}

func sceneGround(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if s.Spec.View.Placed != "ground" {
		return exempt("scene.ground.not_placed", words.Name(s.Spec.View.Placed))
	}
	if at := s.Spec.Conventions.OriginAt; at == "centre" || at == "point" {
		return exempt("scene.ground.origin")
	}
	lo, _, _, ok := boxOf(s)
	if !ok {
		return unable("scene.no_geometry")
	}
	gap := roundMM(lo[1])
	f := judge(r, map[string]float64{"gap_mm": math.Abs(gap)}, atMost("gap_mm", "max_gap_mm"))
	switch {
	case !broke(f):
		f.say("scene.ground.stands", words.MMExact(math.Abs(gap)))
	case gap > 0:
		f.say("scene.ground.hovers", words.MMExact(gap))
		f.remedy("scene.ground.set_down")
	default:
		f.say("scene.ground.sinks", words.MMExact(-gap))
		f.remedy("scene.ground.set_down")
	}
	if broke(f) {
		f.Where = lowest(s, lo[1])
	}
	return f
}

// lowest names the places at the lowest height, one for each node.
func lowest(s *Subject, mm float64) []Place {
	sf, ranges, _ := measuredBody(s)
	var out []Place
	for _, g := range ranges {
		for t := g.First; t < g.End && len(out) < maxPlaces; t++ {
			if at, low := lowCorner(sf.Pos, sf.Tri[3*t:3*t+3]); roundMM(low*1000) <= mm {
				p := [3]float64{roundMM(at[0] * 1000), roundMM(at[1] * 1000), roundMM(at[2] * 1000)}
				out = append(out, Place{Node: g.NodeName(), Triangles: []int{t - g.First}, PointMM: &p, Side: "below"})
				break
			}
		}
	}
	return out
}

func lowCorner(pos []float32, tri []uint32) (at [3]float64, low float64) {
	low = math.Inf(1)
	for _, v := range tri {
		if p := point(pos, v); p[1] < low {
			at, low = p, p[1]
		}
	}
	return at, low
}

var facingDef = spec.Check{
	Name: "scene.facing", Scope: spec.PerDelivery, Title: "facing",
	What:   "Where the spec names nodes that are on the prop's front, whether they are: by the middle of their area against the middle of the prop's box. A file cannot show its front by itself.",
	Why:    "A cupboard that looks at the wall is turned round by hand in every place where it stands.",
	Source: "front along +Z: glTF 2.0, 3.4; the rest is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "front", Kind: spec.Option, List: true, Pattern: true, Optional: true, What: "Patterns of names of nodes that are on the front.", Origin: spec.CommonPractice},
		{Key: "max_turn_deg", Kind: spec.AtMost, Unit: "deg", Default: same(0), What: "Quarter turns about the upright that the prop is off.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromBlockOut, Metrics: []string{"turn_deg"},
}

func sceneFacing(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	tokens := s.Spec.Tokens()
	tokens.Fold = true
	front, err := spec.CompilePatterns(r.Lists["front"], tokens)
	if err != nil || len(front) == 0 {
		return exempt("scene.facing.not_said")
	}
	sf, ranges, _ := measuredBody(s)
	if sf == nil {
		return unable("scene.no_geometry")
	}
	lo, hi, ok := boundsOf(sf, ranges)
	var mid [3]float64
	total := 0.0
	node := ""
	for _, g := range ranges {
		if !front.Fits(g.NodeName()) {
			continue
		}
		node = g.NodeName()
		for t := g.First; t < g.End; t++ {
			a, b, c := corners(sf, t)
			area := float64(worldArea(a, b, c))
			total += area
			for k := range 3 {
				mid[k] += float64(area * (a[k] + b[k] + c[k]) / 3)
			}
		}
	}
	if !ok || !(total > 0) {
		return unable("scene.facing.none_there")
	}
	x := (mid[0]/total - float64((lo[0]+hi[0])/2)) / max(hi[0]-lo[0], 1e-9)
	z := (mid[2]/total - float64((lo[2]+hi[2])/2)) / max(hi[2]-lo[2], 1e-9)
	turn, side := 0.0, "front"
	switch {
	case math.Abs(x) > math.Abs(z) && x > 0:
		turn, side = 90, "left"
	case math.Abs(x) > math.Abs(z):
		turn, side = 90, "right"
	case z < 0:
		turn, side = 180, "back"
	}
	f := judge(r, map[string]float64{"turn_deg": turn}, atMost("turn_deg", "max_turn_deg"))
	f.say("scene.facing.front", words.Name(node))
	if broke(f) {
		f.say("scene.facing.turned", words.Name(node), words.Term(side))
		f.remedy("scene.facing.turn")
		f.Where = []Place{{Node: node, Side: side, PointMM: &[3]float64{roundMM(mid[0] / total * 1000), roundMM(mid[1] / total * 1000), roundMM(mid[2] / total * 1000)}}}
	}
	return f
}
