package surface

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spatial"
)

// shells are the connected pieces of a sculpt.
type shells struct {
	of    []uint32 // by vertex: its shell's lowest vertex
	count int
	boxes []shellBox
}

type shellBox struct {
	root  uint32
	near  bool // overlaps another shell's box
	bound box
}

// sculptShells joins the sculpt's triangles over shared vertices and, where that leaves several pieces, over vertices
// at the same place: exports repeat vertices along UV seams.
func (p *Pair) sculptShells() *shells {
	p.shellOnce.Do(func() {
		s := &shells{}
		u := newUnion(len(p.sculpt.Pos) / 3)
		for t := 0; t+2 < len(p.sculpt.Tri); t += 3 {
			u.join(p.sculpt.Tri[t], p.sculpt.Tri[t+1])
			u.join(p.sculpt.Tri[t], p.sculpt.Tri[t+2])
		}
		if s.settle(u, p.sculpt.Pos, p.sculpt.Tri); s.count > 1 {
			w := newWelder(p.sculpt.Pos, len(u))
			for v := range u {
				u.join(uint32(v), w.first(uint32(v)))
			}
			s.settle(u, p.sculpt.Pos, p.sculpt.Tri)
		}
		if s.count > 1 {
			s.measure(p.sculpt.Pos)
		}
		p.shells = s
	})
	return p.shells
}

// settle points every vertex at its root and counts the roots that have triangles.
func (s *shells) settle(u union, pos []float32, tri []uint32) {
	for v := range u {
		u[v] = u.find(uint32(v))
	}
	used := make([]uint64, (len(u)+63)/64)
	s.of, s.count = u, 0
	for t := 0; t < len(tri); t += 3 {
		if r := u[tri[t]]; used[r>>6]>>(r&63)&1 == 0 {
			used[r>>6] |= 1 << (r & 63)
			s.count++
		}
	}
}

// measure finds the boxes and which of them overlap, by a sweep along X.
func (s *shells) measure(pos []float32) {
	number := map[uint32]int{}
	last, index := uint32(math.MaxUint32), 0
	for v, root := range s.of {
		if root != last {
			i, ok := number[root]
			if !ok {
				i = len(s.boxes)
				number[root] = i
				s.boxes = append(s.boxes, shellBox{root: root, bound: emptyBox()})
			}
			last, index = root, i
		}
		if q := at(pos, uint32(v)); finite(q) {
			s.boxes[index].bound.add(q)
		}
	}
	order := make([]int, len(s.boxes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch a, b := s.boxes[i].bound.lo[0], s.boxes[j].bound.lo[0]; {
		case a < b:
			return -1
		case a > b:
			return 1
		}
		return 0
	})
	var open []int
	for _, i := range order {
		b := &s.boxes[i]
		kept := open[:0]
		for _, j := range open {
			o := &s.boxes[j]
			if o.bound.hi[0] < b.bound.lo[0] {
				continue
			}
			kept = append(kept, j)
			if b.bound.overlaps(o.bound) {
				b.near, o.near = true, true
			}
		}
		open = append(kept, i)
	}
}

// lookouts are directions in which a sample behind other sculpt may still be seen: the corners of a cube, turned so
// that none runs along the axes or the diagonals that props are built on.
var lookouts = [8][3]float32{
	{0.737, 0.331, 0.589}, {-0.331, 0.737, 0.589}, {-0.737, -0.331, 0.589}, {0.331, -0.737, 0.589},
	{0.683, 0.437, -0.585}, {-0.437, 0.683, -0.585}, {-0.683, -0.437, -0.585}, {0.437, -0.683, -0.585},
}

// hide marks the samples that no outside eye sees because other sculpt covers them: where shells overlap, their inner
// walls are no surface of the prop. A sample is seen if the way out to the game surface and as far again is free, or
// one of the lookouts is. A single shell has no inner walls; its own folds count as seen.
func (p *Pair) hide(ctx context.Context, h *Heights) error {
	s := p.sculptShells()
	if s.count < 2 {
		return nil
	}
	overlapping := map[uint32]bool{}
	for _, b := range s.boxes {
		if b.near {
			overlapping[b.root] = true
		}
	}
	if len(overlapping) == 0 {
		return nil
	}
	tree := p.sculptTree()
	own := len(h.on.pos) / 3
	type scratch struct {
		rays []spatial.Ray
		hits []spatial.Hit
		who  []int
		near []spatial.Near
	}
	work := make([]scratch, p.threads)
	return eachPiece(ctx, h.on.vertices(), p.threads, func(worker, _, first, end int) {
		w := &work[worker]
		w.rays, w.who = w.rays[:0], w.who[:0]
		for v := first; v < end; v++ {
			if h.state[v]&noPlace == 0 && (v >= own || overlapping[s.of[v]]) { // pieces of cut triangles are few: all asked
				w.who = append(w.who, v)
			}
		}
		if len(w.who) == 0 {
			return
		}
		points := make([]float32, 0, 3*len(w.who))
		for _, v := range w.who {
			q := narrow(h.on.point(uint32(v)))
			points = append(points, q[0], q[1], q[2])
		}
		w.near = slices.Grow(w.near[:0], len(w.who))[:len(w.who)]
		p.onGame.Closest(points, float32(math.Inf(1)), w.near, 1)
		for i, v := range w.who {
			w.rays = append(w.rays, p.wayOut(h.on.point(uint32(v)), &w.near[i], h.h[v] < 0))
		}
		w.who = blocked(tree, w.rays, &w.hits, w.who)
		for _, l := range lookouts {
			if len(w.who) == 0 {
				return
			}
			w.rays = w.rays[:0]
			for _, v := range w.who {
				q := h.on.point(uint32(v))
				d := wide(l)
				w.rays = append(w.rays, spatial.Ray{Org: narrow(along(q, p.lift(), d)), Dir: l, Max: float32(4 * p.diagonal)})
			}
			w.who = blocked(tree, w.rays, &w.hits, w.who)
		}
		for _, v := range w.who {
			h.state[v] |= hidden
		}
	})
}

// lift is how far off the surface a ray that leaves it starts: more than rounding, less than any detail.
func (p *Pair) lift() float64 { return float64(2*p.noise) + float64(1e-6*p.diagonal) }

// wayOut is the ray from a sculpt sample out over the nearest game surface and as far again.
func (p *Pair) wayOut(point vec, near *spatial.Near, below bool) spatial.Ray {
	n, _ := p.skin.normal(near)
	d := unit(n)
	reach := float64(near.Dist) + float64(openShare*p.diagonal)
	if float64(near.Dist) > 8*p.noise {
		d = unit(sub(point, wide(near.Point)))
		if below {
			d = scale(d, -1)
			reach += float64(near.Dist)
		}
	}
	lift := p.lift()
	return spatial.Ray{Org: narrow(along(point, lift, d)), Dir: narrow(d), Max: float32(reach)}
}

// blocked casts rays and returns those of who whose ray met something.
func blocked(tree *spatial.Tree, rays []spatial.Ray, hits *[]spatial.Hit, who []int) []int {
	*hits = slices.Grow((*hits)[:0], len(rays))[:len(rays)]
	tree.Hits(rays, *hits, 1)
	kept := who[:0]
	for i, v := range who {
		if (*hits)[i].Tri != spatial.Miss {
			kept = append(kept, v)
		}
	}
	return kept
}
