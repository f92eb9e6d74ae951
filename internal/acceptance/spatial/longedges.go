package spatial

import (
	"slices"
	"sync"
)

// Bounds is the box about the triangles that answers can come from, metres; lo above hi where there are none.
// It is exact but for coordinates so near to nought (below 2^-126 times the box's size) that the tree's own scale rounds them.
func (t *Tree) Bounds() (lo, hi [3]float32) {
	if t.count == 0 {
		b := emptyBox()
		return b.lo, b.hi
	}
	for k := range 3 {
		lo[k], hi[k] = float32(t.lo[k]*t.unscale), float32(t.hi[k]*t.unscale)
	}
	return lo, hi
}

// LongEdges lists the triangles with an edge longer than limit (metres), ascending. No edge is longer than the diagonal
// of a box that holds it, so that whole subtrees are passed over.
func (t *Tree) LongEdges(limit float64, threads int) []uint32 {
	if t.count == 0 || !(limit >= 0) {
		return nil
	}
	var mu sync.Mutex
	var all []uint32
	roots := t.subtrees(256)
	batch(len(roots), 1, threads, func(begin, _ int) {
		s := edgeSearch{t: t, limitSq: limit * limit}
		s.visit(roots[begin])
		mu.Lock()
		defer mu.Unlock()
		all = append(all, s.found...)
	})
	slices.Sort(all)
	return all
}

type edgeSearch struct {
	t       *Tree
	limitSq float64
	found   []uint32
}

func (s *edgeSearch) visit(sub subtree) {
	// The box's corners are exact in float64, the squared diagonal to a few 2^-53 of it: less than this margin.
	const margin = 1 + 0x1p-40
	if d := sub.box.hi.sub(sub.box.lo); d.dot(d)*margin <= s.limitSq {
		return
	}
	if sub.ref&leafBit == 0 {
		n := &s.t.nodes[sub.ref]
		for lane, r := range n.child {
			if r != noChild {
				s.visit(subtree{r, n.box64(lane, float64(s.t.unscale))})
			}
		}
		return
	}
	l := &s.t.leaves[sub.ref&^leafBit]
	for lane := 0; lane < lanes && !l.repeats(lane); lane++ {
		a, b, c := s.t.triangle(int(l.id[lane]))
		p, q, r := vecOf(*a), vecOf(*b), vecOf(*c)
		x, y, z := q.sub(p), r.sub(q), p.sub(r)
		if x.dot(x) > s.limitSq || y.dot(y) > s.limitSq || z.dot(z) > s.limitSq {
			s.found = append(s.found, uint32(l.id[lane]))
		}
	}
}
