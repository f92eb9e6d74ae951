package spatial

import (
	"math"
	"slices"
	"sync"
)

// Farther lists the vertices of query's triangles that lie farther than limit (metres) from t's surface, ascending.
// With sides, prepared from t, only those outside count, and those whose side is unknown.
//
// Whole subtrees of query are proved to be near instead of asking each vertex: distance changes by no more than one
// moves, so that a box is near if its middle is nearer than the limit by half its diagonal; and the distance to one
// triangle is convex, so that a box is near if its eight corners are within the limit of the triangle closest to its
// middle. With sides, a box whose middle is inside and farther from the surface than its corners are from the middle has
// no part outside.
func (t *Tree) Farther(query *Tree, limit float32, sides *Normals, threads int) []uint32 {
	if query.count == 0 || !(limit >= 0) {
		return nil
	}
	var mu sync.Mutex
	var all []uint32
	roots := query.subtrees(256)
	batch(len(roots), 1, threads, func(begin, _ int) {
		p := prover{bounder: bounder{t: t, walk: t.newNearWalk()}, query: query, limit: limit, sides: sides}
		p.visit(roots[begin])
		mu.Lock()
		defer mu.Unlock()
		all = append(all, p.beyond...)
	})
	slices.Sort(all)
	return slices.Compact(all)
}

// subtree is a child reference with its box in metres.
type subtree struct {
	ref uint32
	box box64
}

// subtrees cuts the tree into at least atLeast subtrees where it has that many, breadth first.
func (t *Tree) subtrees(atLeast int) []subtree {
	b := box{t.lo, t.hi}
	up := float64(t.unscale)
	all := box64{vecOf(b.lo), vecOf(b.hi)}
	list := []subtree{{t.root, box64{all.lo.times(up), all.hi.times(up)}}}
	for len(list) < atLeast {
		var next []subtree
		cut := false
		for _, s := range list {
			if s.ref&leafBit != 0 {
				next = append(next, s)
				continue
			}
			cut = true
			next = append(next, t.children(s.ref)...)
		}
		if list = next; !cut {
			break
		}
	}
	return list
}

func (t *Tree) children(ref uint32) []subtree {
	n := &t.nodes[ref]
	var c []subtree
	for lane, r := range n.child {
		if r != noChild {
			c = append(c, subtree{r, n.box64(lane, float64(t.unscale))})
		}
	}
	return c
}

type prover struct {
	bounder
	query  *Tree
	limit  float32
	sides  *Normals
	beyond []uint32
}

func (p *prover) visit(s subtree) {
	if p.proved(&s.box) {
		return
	}
	if s.ref&leafBit == 0 {
		n := &p.query.nodes[s.ref]
		for lane, r := range n.child {
			if r != noChild {
				p.visit(subtree{r, n.box64(lane, float64(p.query.unscale))})
			}
		}
		return
	}
	l := &p.query.leaves[s.ref&^leafBit]
	for lane := range lanes {
		if l.repeats(lane) {
			break
		}
		for _, v := range p.query.tri[3*int(l.id[lane]) : 3*int(l.id[lane])+3] {
			p.ask(v)
		}
	}
}

func (p *prover) ask(v uint32) {
	at := [3]float32(p.query.pos[3*int(v) : 3*int(v)+3])
	var n Near
	p.walk.find(at, math.Inf(1), &n)
	if n.Tri != Miss && n.Dist <= p.limit {
		return
	}
	if p.sides != nil {
		if side, known := p.sides.Side(at, n); known && side != Outside {
			return
		}
	}
	p.beyond = append(p.beyond, v)
}

// proved tells that no point of the box counts as beyond the limit.
func (p *prover) proved(b *box64) bool {
	if p.t.count == 0 {
		return false
	}
	mid, half := b.middle()
	d, back := p.at(mid)
	half += back
	slack := float64(room * (d + half + math.Abs(mid.x) + math.Abs(mid.y) + math.Abs(mid.z)))
	limit := float64(p.limit)
	if d+half+slack <= limit {
		return true
	}
	if p.sides != nil && d > half+slack {
		at, n := p.last()
		if side, known := p.sides.Side(at, n); known && side == Inside {
			return true
		}
	}
	if d-slack > limit {
		return false
	}
	var c [8]vec
	for k := range c {
		c[k] = b.corner(k)
	}
	return p.ofCorners(c[:])+slack <= limit
}

// middle gives also half the diagonal.
func (b *box64) middle() (mid vec, half float64) {
	mid = halfway(b.lo, b.hi)
	d := b.hi.sub(b.lo)
	return mid, math.Sqrt(d.dot(d)) / 2
}

func (b *box64) corner(k int) vec {
	c := b.lo
	if k&1 != 0 {
		c.x = b.hi.x
	}
	if k&2 != 0 {
		c.y = b.hi.y
	}
	if k&4 != 0 {
		c.z = b.hi.z
	}
	return c
}
