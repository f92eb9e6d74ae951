package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/hull"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func collisionChecks() []Check {
	return []Check{
		{Def: collisionPresentDef, Run: collisionPresent},
		{Def: collisionCountDef, Run: collisionCount},
		{Def: collisionConvexDef, Run: collisionConvex},
		{Def: collisionFitDef, Run: collisionFit},
	}
}

// off is a limit that a tier leaves to the order.
var off = math.NaN()

var collisionPresentDef = spec.Check{
	Name: "collision.present", Scope: spec.PerDelivery, Title: "collision there",
	What:   "Whether the delivery holds a collision mesh with a volume where the spec asks for one: a file, or nodes inside the game mesh's file.",
	Why:    "A prop without collision is walked through, or falls through the floor.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "min_count", Kind: spec.AtLeast, Unit: "count", Default: same(1), What: "Pieces with a volume.", Origin: spec.CommonPractice}},
	Mode:   blocksAll, From: fromBlockOut, Metrics: []string{"count", "flat"},
}

// hullPiece is one node of the collision mesh: an engine makes one convex body of it.
type hullPiece struct {
	node   string
	ranges []mesh.Range
	hull   *hull.Hull // nil where it has no volume
}

// hullPieces are the pieces in the order of the file.
func hullPieces(s *Subject) []hullPiece {
	if !bodyThere(s.Hulls) {
		return nil
	}
	var out []hullPiece
	at := map[*mesh.Node]int{}
	for _, g := range s.Hulls.Of {
		n := &g.Scene.Nodes[g.Draw.Node]
		i, known := at[n]
		if !known {
			i = len(out)
			at[n] = i
			out = append(out, hullPiece{node: g.NodeName()})
		}
		out[i].ranges = append(out[i].ranges, g)
	}
	for i := range out {
		var points []float32
		for _, g := range out[i].ranges {
			for _, v := range s.Hulls.Tri[3*g.First : 3*g.End] {
				points = append(points, s.Hulls.Pos[3*v:3*v+3]...)
			}
		}
		if h, ok := hull.Of(points); ok {
			out[i].hull = h
		}
	}
	return out
}

func collisionPresent(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	pieces := hullPieces(s)
	if len(pieces) == 0 && !asksFor(s.Spec, "collision") {
		return exempt("collision.present.not_asked")
	}
	solid, flat := 0, 0
	var places []Place
	for _, p := range pieces {
		if p.hull != nil {
			solid++
			continue
		}
		flat++
		places = append(places, Place{Node: p.node})
	}
	f := judge(r, map[string]float64{"count": float64(solid), "flat": float64(flat)}, atLeast("count", "min_count"))
	f.say("collision.present.pieces", words.Count(solid))
	if flat > 0 {
		f.also("collision.present.flat", words.Count(flat))
		f.Where = places[:min(len(places), maxPlaces)]
	}
	if broke(f) {
		f.remedy("collision.present.add")
	}
	return f
}

// noCollision says why there is nothing to measure; ok means that there is.
func noCollision(s *Subject) (f Finding, ok bool) {
	switch {
	case bodyThere(s.Hulls):
		return Finding{}, true
	case asksFor(s.Spec, "collision"):
		return unable("collision.present.missing"), false
	}
	return exempt("collision.present.not_asked"), false
}

var collisionCountDef = spec.Check{
	Name: "collision.count", Scope: spec.PerDelivery, Title: "collision pieces",
	What:   "Pieces of the collision mesh, one for each node, and the corners of the largest piece's convex hull.",
	Why:    "Every piece is tested against every body that comes near, many times a second; engines cut a hull of too many corners down in their own way.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: spec.ByTier{1, 4, 8, off}, What: "Pieces; for a close-up prop the order says how many.", Origin: spec.CommonPractice},
		{Key: "max_corners", Kind: spec.AtMost, Unit: "count", Default: same(255), What: "Corners of one piece's convex hull.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromFinal, Metrics: []string{"count", "corners", "triangles"},
}

func collisionCount(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if f, ok := noCollision(s); !ok {
		return f
	}
	pieces := hullPieces(s)
	w := worst{}
	for i, p := range pieces {
		if p.hull != nil {
			w.add(float64(len(p.hull.Pos)/3), i)
		}
	}
	corners := 0.0
	if top := w.top(); len(top) > 0 {
		corners = top[0].value
	}
	f := judge(r, map[string]float64{"count": float64(len(pieces)), "corners": corners, "triangles": float64(s.Hulls.Triangles())},
		atMost("count", "max_count"), atMost("corners", "max_corners"))
	f.say("collision.count.pieces", words.Count(len(pieces)), words.Count(int(corners)))
	if !broke(f) {
		return f
	}
	if limit, on := r.Num("max_count"); on && float64(len(pieces)) > limit {
		f.also("collision.count.too_many", words.Count(int(limit)))
		f.remedy("collision.count.join")
	} else {
		f.also("collision.count.too_fine", words.Count(int(r.Numbers["max_corners"])))
		f.remedy("collision.count.coarser")
	}
	for _, e := range w.top() {
		f.Where = append(f.Where, Place{Node: pieces[e.at].node, Value: &Value{Value: e.value, Unit: "count"}})
	}
	return f
}

var collisionConvexDef = spec.Check{
	Name: "collision.convex", Scope: spec.PerDelivery, Title: "collision convex",
	What: "For each piece of the collision mesh, how deep its surface dips under its own convex hull: at corners, the middles of edges and the middles of triangles; " +
		"and pieces without a volume.",
	Why:    "An engine takes the convex hull of each piece: a dent is filled, and the player runs into air.",
	Source: "convex hull: Barber, Dobkin & Huhdanpaa 1996; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_dent_share", Kind: spec.AtMost, Unit: "share", Default: same(0.01), What: "Depth of a dent as a share of the piece's own diagonal.", Origin: spec.CommonPractice},
		{Key: "max_flat", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Pieces without a volume.", Origin: spec.CommonPractice},
		{Key: "shape", Kind: spec.Option, Words: []string{"convex", "any"}, What: "Whether the engine takes hulls or the triangles as they are.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromFinal, Metrics: []string{"dent_share", "dent_mm", "dented", "flat"},
}

// dent is the deepest place of a piece.
type dent struct {
	piece    int
	triangle int // of the body
	mm       float64
	share    float64
	at       [3]float64 // metres
}

func collisionConvex(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if f, ok := noCollision(s); !ok {
		return f
	}
	if r.Words["shape"] == "any" {
		return exempt("collision.convex.any")
	}
	pieces := hullPieces(s)
	var dents []dent
	w := worst{}
	var flat []Place
	for i := range pieces {
		if pieces[i].hull == nil {
			flat = append(flat, Place{Node: pieces[i].node})
			continue
		}
		d := deepest(s, &pieces[i])
		d.piece = i
		w.add(d.share, len(dents))
		dents = append(dents, d)
	}
	m := map[string]float64{"dent_share": 0, "dent_mm": 0, "dented": 0, "flat": float64(len(flat))}
	limit, on := r.Num("max_dent_share")
	for _, d := range dents {
		m["dent_share"], m["dent_mm"] = max(m["dent_share"], d.share), max(m["dent_mm"], d.mm)
		if on && d.share > limit {
			m["dented"]++
		}
	}
	f := judge(r, m, atMost("dent_share", "max_dent_share"), atMost("flat", "max_flat"))
	f.say("collision.convex.fine", words.Count(len(pieces)))
	if !broke(f) {
		return f
	}
	f.remedy("collision.convex.split")
	if m["dented"] > 0 {
		d := dents[w.top()[0].at]
		f.say("collision.convex.dents", words.Count(int(m["dented"])), words.Name(pieces[d.piece].node), words.MM(d.mm))
		for _, e := range w.top() {
			if d := dents[e.at]; d.share > limit {
				f.Where = append(f.Where, hullPlace(s, d.triangle, d.at, d.mm))
			}
		}
	} else {
		f.say("collision.convex.flat", words.Count(len(flat)))
		f.remedy("collision.convex.thicken")
	}
	f.Where = append(f.Where, flat...)
	f.Where = f.Where[:min(len(f.Where), maxPlaces)]
	return f
}

// hullPlace is a place on the collision mesh.
func hullPlace(s *Subject, triangle int, at [3]float64, mm float64) Place {
	p := [3]float64{roundMM(at[0] * 1000), roundMM(at[1] * 1000), roundMM(at[2] * 1000)}
	pl := Place{PointMM: &p, Value: &Value{Value: roundMM(mm), Unit: "mm"}}
	for _, g := range s.Hulls.Of {
		if triangle >= g.First && triangle < g.End {
			pl.Node, pl.Triangles = g.NodeName(), []int{triangle - g.First}
		}
	}
	return pl
}

// deepest looks at corners, edges' middles and triangles' middles. What lies inside a hull is a concave function of the
// place, so the deepest point of a flat face with corners on the hull is inside it, not at a corner.
func deepest(s *Subject, p *hullPiece) dent {
	d := dent{}
	lo, hi, _ := boundsOf(&s.Hulls.Surface, p.ranges)
	diagonal := 1000 * math.Sqrt(lenSq(sub(hi, lo)))
	for _, g := range p.ranges {
		for t := g.First; t < g.End; t++ {
			a, b, c := corners(&s.Hulls.Surface, t)
			for _, q := range [7][3]float64{a, b, c, between(a, b), between(b, c), between(c, a), {(a[0] + b[0] + c[0]) / 3, (a[1] + b[1] + c[1]) / 3, (a[2] + b[2] + c[2]) / 3}} {
				if mm := 1000 * p.hull.Depth(q); mm > d.mm {
					d.mm, d.triangle, d.at = mm, t, q
				}
			}
		}
	}
	if d.mm <= 2000*p.hull.Step {
		d.mm = 0 // the grid that the hull was found on
	}
	if diagonal > 0 {
		d.share = d.mm / diagonal
	}
	d.mm = roundMM(d.mm)
	return d
}

func between(a, b [3]float64) [3]float64 {
	return [3]float64{(a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2}
}

// hullSurface is what the engine collides with, as triangles: the hull of each piece, or the piece itself.
func hullSurface(s *Subject, pieces []hullPiece, convex bool) (pos []float32, tri []uint32, of []int) {
	for i, p := range pieces {
		if convex && p.hull != nil {
			first := uint32(len(pos) / 3)
			for _, x := range p.hull.Pos {
				pos = append(pos, float32(x))
			}
			for k, v := range p.hull.Tri {
				tri = append(tri, first+uint32(v))
				if k%3 == 0 {
					of = append(of, i)
				}
			}
			continue
		}
		for _, g := range p.ranges {
			for t := g.First; t < g.End; t++ {
				for _, v := range s.Hulls.Tri[3*t : 3*t+3] {
					tri = append(tri, uint32(len(pos)/3))
					pos = append(pos, s.Hulls.Pos[3*v:3*v+3]...)
				}
				of = append(of, i)
			}
		}
	}
	return pos, tri, of
}
