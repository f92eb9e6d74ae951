package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

var quadsDef = spec.Check{
	Name: "topology.quads", Scope: spec.PerPart, Title: "quads and poles",
	What:   "Share of faces with four sides, and poles: inner vertices of quads at which other than four edges meet. From the polygons where the format keeps them (.obj), else by pairing triangles over their best diagonals.",
	Why:    "A mesh that is subdivided or bent later flows along its quads and pinches at its poles. Elsewhere this is for information.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "min_quad_share", Kind: spec.AtLeast, Unit: "share", Optional: true, What: "Share of faces that must have four sides.", Origin: spec.CommonPractice},
		{Key: "max_poles", Kind: spec.AtMost, Unit: "count", Optional: true, What: "Poles allowed.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh,
	NotForPart: map[spec.PartKind]string{spec.Card: "A card's shape is in its mask."},
	Metrics:    []string{"quad_share", "poles", "poles_3", "poles_5", "poles_6_up"},
}

func topologyQuads(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, quadsDef)
	if !ok {
		return f
	}
	q := x.polygons()
	if q.faces == 0 {
		return unable("topology.quads.nothing")
	}
	three, five, more, list := x.poles(&q)
	m := map[string]float64{"quad_share": float64(q.quads) / float64(q.faces), "poles": float64(three + five + more),
		"poles_3": float64(three), "poles_5": float64(five), "poles_6_up": float64(more)}
	f = judge(r, m, atLeast("quad_share", "min_quad_share"), atMost("poles", "max_poles"))
	code := "topology.quads.paired"
	if q.kept {
		code = "topology.quads.kept"
	}
	f.say(code, words.Share(m["quad_share"]), words.Count(three+five+more))
	if broke(f) {
		f.remedy("topology.quads.rebuild")
		for _, c := range list {
			p := x.at(int(c.corner/3), point(x.Pos, x.Tri[c.corner]), float64(c.valence), "count")
			f.Where = append(f.Where, p)
		}
	}
	return x.close(f)
}

// polygonMesh is the target's triangles joined to polygons: half-edges that are diagonals within one.
type polygonMesh struct {
	inner        []bool  // by half-edge
	sides        []uint8 // by triangle: sides of its polygon
	faces, quads int
	kept         bool // from the file, not paired
}

func (x *topoTarget) polygons() polygonMesh {
	q := polygonMesh{inner: make([]bool, len(x.Tri)), sides: make([]uint8, x.Triangles())}
	var free []int32
	for _, r := range x.sf.Of {
		if r.End <= r.First || !x.has(r.First) {
			continue
		}
		if polys := r.Scene.Prims[r.Draw.Prim].Polys; sumFans(polys) == r.End-r.First {
			q.kept = true
			x.keepPolygons(&q, r.First, polys)
			continue
		}
		for t := r.First; t < r.End; t++ {
			if x.State[t] == topo.Live {
				free = append(free, int32(t))
			}
		}
	}
	x.pair(&q, free)
	return q
}

func sumFans(polys []uint8) (n int) {
	for _, p := range polys {
		n += max(int(p)-2, 0)
	}
	return n
}

// keepPolygons marks the diagonals of fans.
func (x *topoTarget) keepPolygons(q *polygonMesh, first int, polys []uint8) {
	t := first
	for _, n := range polys {
		if n < 3 {
			continue
		}
		q.faces++
		if n == 4 {
			q.quads++
		}
		for i := range int(n) - 2 {
			q.sides[t+i] = n
			for k := 3 * (t + i); k < 3*(t+i)+3; k++ {
				if m := x.Mate[k]; m >= 0 && int(m)/3 >= t && int(m)/3 < t+int(n)-2 {
					q.inner[k] = true
				}
			}
		}
		t += int(n) - 2
	}
}

// worstQuad is the largest cosine of a corner up to which two triangles pass for a quad: corners between 25° and 155°.
const worstQuad = 0.9063

// flatQuad is the cosine of how far its two halves may lean: 30°.
const flatQuad = 0.8660

// pair joins triangles of one draw over the diagonals that leave the squarest corners, best first.
func (x *topoTarget) pair(q *polygonMesh, free []int32) {
	type diagonal struct {
		cost float64
		h    uint32
	}
	var all []diagonal
	for _, t := range free {
		q.faces++
		q.sides[t] = 3
		for h := uint32(3 * t); h < uint32(3*t+3); h++ {
			m := x.Mate[h]
			if m <= int32(h) || x.Draw[h/3] != x.Draw[m/3] || x.Disagrees(h) || !x.has(int(m/3)) {
				continue
			}
			if cost, ok := x.squareness(h, uint32(m)); ok {
				all = append(all, diagonal{cost, h})
			}
		}
	}
	slices.SortFunc(all, func(a, b diagonal) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return int(a.h) - int(b.h)
	})
	for _, d := range all {
		a, b := d.h/3, uint32(x.Mate[d.h])/3
		if q.sides[a] == 3 && q.sides[b] == 3 {
			q.sides[a], q.sides[b] = 4, 4
			q.inner[d.h], q.inner[x.Mate[d.h]] = true, true
			q.faces--
			q.quads++
		}
	}
}

// squareness is the largest cosine of a corner of the quad over a diagonal, and whether it passes for a quad. Cosines of
// equal quads agree only to rounding, which must not decide: they are taken to six digits.
func (x *topoTarget) squareness(h, m uint32) (float64, bool) {
	a, c := x.Ends(h)
	b := point(x.Pos, x.Tri[topo.Next(topo.Next(m))])
	d := point(x.Pos, x.Tri[topo.Next(topo.Next(h))])
	n1, n2 := unit(cross(sub(c, a), sub(d, a))), unit(cross(sub(b, a), sub(c, a)))
	if inner(n1, n2) < flatQuad {
		return 0, false
	}
	corners := [4][3]float64{a, b, c, d}
	most := 0.0
	for k := range 4 {
		u, v := unit(sub(corners[(k+1)%4], corners[k])), unit(sub(corners[(k+3)%4], corners[k]))
		if inner(cross(u, v), n1) <= 0 {
			return 0, false // not convex
		}
		most = max(most, math.Abs(inner(u, v)))
	}
	return math.Round(most*1e6) / 1e6, most <= worstQuad
}

type pole struct {
	corner  uint32
	valence int
}

// poles counts inner places around which all faces are quads and other than four edges meet, by their number.
func (x *topoTarget) poles(q *polygonMesh) (three, five, more int, list []pole) {
	for p := range uint32(x.Places) {
		at := x.CornersAt(p)
		if len(at) == 0 {
			continue
		}
		valence, fine := 0, true
		for _, c := range at {
			back := topo.Next(topo.Next(c))
			if x.Mate[c] < 0 || x.Mate[back] < 0 || q.sides[c/3] != 4 || !x.has(int(c/3)) {
				fine = false
				break
			}
			if !q.inner[c] {
				valence++ // each edge leaves the place once
			}
		}
		if !fine || valence == 4 {
			continue
		}
		switch {
		case valence <= 3:
			three++
		case valence == 5:
			five++
		default:
			more++
		}
		if len(list) < maxPlaces {
			list = append(list, pole{at[0], valence})
		}
	}
	return three, five, more, list
}
