package acceptance

import (
	"cmp"
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var collisionFitDef = spec.Check{
	Name: "collision.fit", Scope: spec.PerDelivery, Title: "collision fits",
	What: "How far the collision stands outside what is seen, and how far what is seen stands outside the collision, each at the 95th percentile of its surface's area. " +
		"The side that the prop stands or hangs on, cards, decals, floaters and interiors are left out.",
	Why:    "Collision that stands out stops the player and shots in the air; collision that lies deep lets them into the prop.",
	Source: "nearest points; side by angle-weighted pseudo-normals: Bærentzen & Aanæs 2005; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_out_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{60, 40, 20, off},
			What: "How far the collision may stand out, at the 95th percentile; tighter than inward, since snagging hurts more than gaps.", Origin: spec.CommonPractice},
		{Key: "max_in_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{60, 60, 40, off},
			What: "How far the prop may stand out of the collision, at the 95th percentile.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromFinal,
	Metrics: []string{"out_p95_mm", "in_p95_mm", "out_max_mm", "in_max_mm"},
}

// fitSamples is how many points are taken of each surface. The 95th percentile of so many lies, by the binomial
// distribution, within the 94.5th and the 95.5th of the surface's own.
const fitSamples = 20_000

func collisionFit(ctx context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if f, ok := noCollision(s); !ok {
		return f
	}
	seen := solidSurface(s)
	if seen.Triangles() == 0 {
		return unable("collision.fit.nothing_seen")
	}
	pieces := hullPieces(s)
	convex := s.Spec.Rule(collisionConvexDef.Name, nil, nil).Words["shape"] != "any"
	pos, tri, of := hullSurface(s, pieces, convex)
	game := spatial.Build(seen.Pos, seen.Tri, s.Threads)
	hulls := spatial.Build(pos, tri, s.Threads)

	outer := sampled(pos, tri, fitSamples, func(p, n [3]float64, t int) bool {
		return !restsOn(s.Spec.View.Placed, n) && !insideOther(pieces, of[t], p)
	})
	measure(outer, game, s.Threads, true)
	if ctx.Err() != nil {
		return unable("collision.fit.stopped")
	}
	inner := sampled(seen.Pos, seen.Tri, fitSamples, func([3]float64, [3]float64, int) bool { return true })
	measure(inner, hulls, s.Threads, !convex)
	if convex {
		for i := range inner {
			if insideOther(pieces, -1, inner[i].at) {
				inner[i].mm = 0
			}
		}
	}
	m := map[string]float64{}
	m["out_p95_mm"], m["out_max_mm"] = spread(outer)
	m["in_p95_mm"], m["in_max_mm"] = spread(inner)
	f := judge(r, m, atMost("out_p95_mm", "max_out_mm"), atMost("in_p95_mm", "max_in_mm"))
	f.say("collision.fit.fits", words.MM(m["out_p95_mm"]), words.MM(m["in_p95_mm"]))
	if !broke(f) {
		return f
	}
	if limit, on := r.Num("max_out_mm"); on && m["out_p95_mm"] > limit {
		f.say("collision.fit.out", words.MM(m["out_p95_mm"]), words.MM(m["out_max_mm"]))
		f.remedy("collision.fit.tighten")
		f.Where = fitPlaces(outer, func(e fitSample) Place { return Place{Node: pieces[of[e.triangle]].node} })
		return f
	}
	f.say("collision.fit.in", words.MM(m["in_p95_mm"]), words.MM(m["in_max_mm"]))
	f.remedy("collision.fit.widen")
	f.Where = fitPlaces(inner, func(e fitSample) Place {
		for _, g := range seen.Of {
			if e.triangle >= g.First && e.triangle < g.End {
				return Place{Node: g.NodeName(), Triangles: []int{e.triangle - g.First}}
			}
		}
		return Place{}
	})
	return f
}

// solidSurface is what a player can bump into: LOD 0 without cards, decals, floaters, interiors and what does not ship.
func solidSurface(s *Subject) mesh.Surface {
	keep := map[drawKey]bool{}
	for _, p := range s.Parts {
		switch p.Def.Kind {
		case spec.Card, spec.Decal, spec.Floater, spec.Interior, spec.Helper, spec.Collision, spec.CagePart:
			continue
		}
		for _, g := range p.Game.Of {
			keep[keyOf(g)] = true
		}
	}
	if len(s.LODs) == 0 {
		return mesh.Surface{}
	}
	return subset(&s.LODs[0].Surface, func(g mesh.Range) bool { return keep[keyOf(g)] })
}

// restsOn says whether a face with the normal n lies against what the prop stands or hangs on: nobody touches it there.
func restsOn(placed string, n [3]float64) bool {
	const steep = 0.7 // 45 degrees
	switch placed {
	case "ground":
		return n[1] < -steep
	case "ceiling":
		return n[1] > steep
	case "wall":
		return n[2] < -steep
	}
	return false
}

// insideOther says whether a point lies inside a hull other than its own.
func insideOther(pieces []hullPiece, own int, p [3]float64) bool {
	for i := range pieces {
		if h := pieces[i].hull; i != own && h != nil && h.Depth(p) >= -h.Step {
			return true
		}
	}
	return false
}

// fitSample is a point of a surface, the area that it stands for and how far it is off.
type fitSample struct {
	at       [3]float64 // metres
	area, mm float64
	triangle int
}

// sampled spreads points over a surface by area, the same each time: in each triangle those of the additive recurrence of
// the plastic number (Roberts, "The Unreasonable Effectiveness of Quasirandom Sequences", 2018).
func sampled(pos []float32, tri []uint32, want int, keep func(p, n [3]float64, t int) bool) []fitSample {
	sf := mesh.Surface{Pos: pos, Tri: tri}
	total := areaM2(&sf)
	if !(total > 0) || !finite(total) {
		return nil
	}
	var out []fitSample
	for t := range sf.Triangles() {
		a, b, c := corners(&sf, t)
		u, v := sub(b, a), sub(c, a)
		n := cross(u, v)
		size := math.Sqrt(lenSq(n))
		if !(size > 0) {
			continue
		}
		n = [3]float64{n[0] / size, n[1] / size, n[2] / size}
		many := int(math.Ceil(float64(want) * size / 2 / total))
		for i := range many {
			x, y := fraction(i, 0.7548776662466927), fraction(i, 0.5698402909980532)
			if x+y > 1 {
				x, y = 1-x, 1-y
			}
			var p [3]float64
			for k := range 3 {
				p[k] = a[k] + float64(x*u[k]) + float64(y*v[k])
			}
			if keep(p, n, t) {
				out = append(out, fitSample{at: p, area: size / 2 / float64(many), triangle: t})
			}
		}
	}
	return out
}

// fraction is the i-th point of the additive recurrence of a, which begins in the middle.
func fraction(i int, a float64) float64 {
	x := 0.5 + float64(float64(i+1)*a)
	return x - math.Floor(x)
}

// measure fills how far each sample is from a surface. With outside, what lies on its inner side counts as none.
func measure(samples []fitSample, on *spatial.Tree, threads int, outside bool) {
	points := make([]float32, 0, 3*len(samples))
	for _, e := range samples {
		points = append(points, float32(e.at[0]), float32(e.at[1]), float32(e.at[2]))
	}
	near := make([]spatial.Near, len(samples))
	on.Closest(points, float32(math.Inf(1)), near, threads)
	var sides *spatial.Normals
	if outside {
		sides = spatial.NewNormals(on)
	}
	for i := range samples {
		if near[i].Tri == spatial.Miss {
			continue
		}
		samples[i].mm = 1000 * float64(near[i].Dist)
		if outside {
			if side, known := sides.Side([3]float32(points[3*i:3*i+3]), near[i]); known && side != spatial.Outside {
				samples[i].mm = 0
			}
		}
	}
}

// spread is the 95th percentile by area and the largest.
func spread(samples []fitSample) (p95, most float64) {
	order := make([]int, len(samples))
	total := 0.0
	for i := range samples {
		order[i] = i
		total += samples[i].area
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(samples[i].mm, samples[j].mm) })
	sum := 0.0
	for _, i := range order {
		if sum += samples[i].area; sum <= 0.95*total {
			p95 = samples[i].mm
		}
		most = samples[i].mm
	}
	return roundMM(p95), roundMM(most)
}

// fitPlaces are the worst places, one for each triangle.
func fitPlaces(samples []fitSample, place func(fitSample) Place) []Place {
	best := map[int]int{}
	var order []int // triangles as they come
	for i, e := range samples {
		j, known := best[e.triangle]
		if !known {
			order = append(order, e.triangle)
		}
		if !known || e.mm > samples[j].mm {
			best[e.triangle] = i
		}
	}
	w := worst{}
	for _, t := range order {
		w.add(samples[best[t]].mm, best[t])
	}
	var out []Place
	for _, e := range w.top() {
		if e.value <= 0 {
			break
		}
		pl := place(samples[e.at])
		at := samples[e.at].at
		pl.PointMM = &[3]float64{roundMM(at[0] * 1000), roundMM(at[1] * 1000), roundMM(at[2] * 1000)}
		pl.Value = &Value{Value: roundMM(e.value), Unit: "mm"}
		out = append(out, pl)
	}
	return out
}
