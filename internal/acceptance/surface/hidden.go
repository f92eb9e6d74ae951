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
		if s.settle(u, p.sculpt.Tri); s.count > 1 {
			s.weldPieces(u, p.sculpt.Pos)
			s.settle(u, p.sculpt.Tri)
		}
		if s.count > 1 {
			s.measure(p.sculpt.Pos)
		}
		p.shells = s
		p.collect()
	})
	return p.shells
}

// settle points every vertex at its root and counts the roots that have triangles.
func (s *shells) settle(u union, tri []uint32) {
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

// weldPieces joins pieces that share a place. Only what lies outside the largest piece is hashed; the largest, which
// is most of a sculpt, is looked up: within it nothing is left to join.
func (s *shells) weldPieces(u union, pos []float32) {
	sizes := make([]uint32, len(u))
	largest := uint32(0)
	for _, r := range u { // u is settled: every vertex points at its root
		if sizes[r]++; sizes[r] > sizes[largest] {
			largest = r
		}
	}
	root := slices.Clone(u)
	w := newWelder(pos, len(u)-int(sizes[largest]))
	for v, r := range root {
		if r != largest {
			u.join(uint32(v), w.first(uint32(v)))
		}
	}
	for v, r := range root {
		if r == largest {
			if o, ok := w.find(uint32(v)); ok {
				u.join(uint32(v), o)
			}
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
//
// Neighbours are nearly always seen or hidden together: of a run of vertices that lie close, a few are asked, and the others
// only if those do not agree.
func (p *Pair) hide(ctx context.Context, h *Heights) error {
	s := p.sculptShells()
	overlapping := map[uint32]bool{}
	for _, b := range s.boxes {
		if b.near {
			overlapping[b.root] = true
		}
	}
	if len(overlapping) == 0 {
		return nil
	}
	own := len(h.on.pos) / 3
	work := make([]hider, p.threads)
	tree := p.sculptTree()
	return eachPiece(ctx, h.on.vertices(), p.threads, func(worker, _, first, end int) {
		w := &work[worker]
		w.p, w.h, w.tree = p, h, tree
		w.counts = func(v int) bool { // pieces of cut triangles have no shell of their own: all count
			return h.state[v]&noPlace == 0 && (v >= own || overlapping[s.of[v]])
		}
		w.asks, w.runs = w.asks[:0], w.runs[:0]
		for v := first; v < end; v += runLength {
			w.begin(v, min(v+runLength, end))
		}
		w.settle()
	})
}

// runLength vertices that follow each other in the file, and lie within runShare of the diagonal, are asked together.
const (
	runLength = 32
	runShare  = 0.05
)

// hider asks for the samples of one piece of work.
type hider struct {
	p    *Pair
	h    *Heights
	tree *spatial.Tree

	counts func(v int) bool // whether a sample may be hidden

	asks []int // samples to ask
	runs []run
	rays []spatial.Ray
	hit  []bool
	near []spatial.Near
	pos  []float32
}

// run is samples [first, end) of which asked are asked, from the number at on.
type run struct{ first, end, at, asked int }

// begin readies a run: every sixth sample of a small one, or every sample of a wide one.
func (w *hider) begin(first, end int) {
	b := emptyBox()
	all := make([]int, 0, runLength)
	for v := first; v < end; v++ {
		if w.counts(v) {
			b.add(w.h.on.point(uint32(v)))
			all = append(all, v)
		}
	}
	if len(all) == 0 {
		return
	}
	step := 1
	if b.diagonal() <= runShare*w.p.diagonal {
		step = 6
	}
	r := run{first: first, end: end, at: len(w.asks)}
	for i := 0; i < len(all); i += step {
		w.asks = append(w.asks, all[i])
	}
	r.asked = len(w.asks) - r.at
	w.runs = append(w.runs, r)
}

// settle asks, passes on to whole runs what their samples agree on, and asks the rest of the others.
func (w *hider) settle() {
	w.mark(slices.Clone(w.asks))
	var rest []int
	for _, r := range w.runs {
		hiddenOnes := 0
		for _, v := range w.asks[r.at : r.at+r.asked] {
			if w.h.state[v]&hidden != 0 {
				hiddenOnes++
			}
		}
		for v := r.first; v < r.end; v++ {
			switch {
			case !w.counts(v) || hiddenOnes == 0:
			case hiddenOnes == r.asked:
				w.h.state[v] |= hidden
			default:
				rest = append(rest, v)
			}
		}
	}
	w.mark(rest)
}

// mark marks those of who that are hidden.
func (w *hider) mark(who []int) {
	if len(who) == 0 {
		return
	}
	w.pos = w.pos[:0]
	for _, v := range who {
		q := narrow(w.h.on.point(uint32(v)))
		w.pos = append(w.pos, q[0], q[1], q[2])
	}
	w.near = slices.Grow(w.near[:0], len(who))[:len(who)]
	w.p.onGame.Closest(w.pos, float32(math.Inf(1)), w.near, 1)
	w.rays = w.rays[:0]
	for i, v := range who {
		w.rays = append(w.rays, w.p.wayOut(w.h.on.point(uint32(v)), &w.near[i], w.h.h[v] < 0))
	}
	who = w.blocked(who)
	for _, l := range lookouts {
		w.rays = w.rays[:0]
		for _, v := range who {
			q := along(w.h.on.point(uint32(v)), w.p.lift(), wide(l))
			w.rays = append(w.rays, spatial.Ray{Org: narrow(q), Dir: l, Max: float32(4 * w.p.diagonal)})
		}
		who = w.blocked(who)
	}
	for _, v := range who {
		w.h.state[v] |= hidden
	}
}

// blocked casts the rays and returns those of who whose ray met something.
func (w *hider) blocked(who []int) []int {
	w.hit = slices.Grow(w.hit[:0], len(w.rays))[:len(w.rays)]
	w.tree.Any(w.rays, w.hit, 1)
	kept := who[:0]
	for i, v := range who {
		if w.hit[i] {
			kept = append(kept, v)
		}
	}
	return kept
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
