package spatial

import (
	"cmp"
	"math/bits"
	"slices"
)

// AllHits calls f once for each ray with everything it hits within its reach, nearest first and by triangle index where
// equally near. A ray through a shared edge or vertex hits every triangle there. Calls come from several threads at
// once, in no order; hits is valid during the call only.
func (t *Tree) AllHits(rays []Ray, threads int, f func(ray int, hits []Hit)) {
	t.inOrder(len(rays), threads, origins(rays), func() func(i int) {
		w := t.newRayWalk()
		w.mode = allHits
		var hits []Hit
		return func(i int) {
			hits = w.all(&rays[i], hits[:0])
			f(i, hits)
		}
	})
}

func (w *rayWalk) all(r *Ray, hits []Hit) []Hit {
	s, ok := newShear(r, w.t)
	if !ok || w.t.count == 0 {
		return hits
	}
	w.aim(&s)
	for walkRay(w) {
		l := &w.t.leaves[w.leaf]
		if w.mask == 0 {
			for lane := range lanes {
				if m, ok := s.meet(l, lane); ok && !l.repeats(lane) {
					hits = append(hits, m.hit(l.id[lane], 1))
				}
			}
			continue
		}
		for m := w.mask; m != 0; m &= m - 1 {
			lane := bits.TrailingZeros32(m) & (lanes - 1)
			if !l.repeats(lane) {
				at := meeting{w.lanesT[0][lane], w.lanesT[1][lane], w.lanesT[2][lane], w.lanesT[3][lane]}
				hits = append(hits, at.hit(l.id[lane], 1))
			}
		}
	}
	slices.SortFunc(hits, func(a, b Hit) int {
		return cmp.Or(cmp.Compare(a.T, b.T), cmp.Compare(a.Tri, b.Tri))
	})
	for i := range hits { // only now: a scale may make small differences vanish
		hits[i].T = float32(float64(hits[i].T) * s.unit)
	}
	return hits
}

// repeats tells a lane left over, which holds the last triangle again.
func (l *leaf) repeats(lane int) bool { return lane > 0 && l.id[lane] == l.id[lane-1] }

func (m meeting) hit(tri int32, unit float64) Hit {
	return Hit{Tri: tri, T: float32(float64(m.t) * unit), U: m.ev / m.det, V: m.ew / m.det, Back: m.det < 0}
}
