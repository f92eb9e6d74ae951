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
//
// What cannot be proved is asked vertex by vertex.
func (t *Tree) Farther(query *Tree, limit float32, sides *Normals, threads int) []uint32 {
	if query.count == 0 || !(limit >= 0) {
		return nil
	}
	var mu sync.Mutex
	var open []uint32
	roots := query.subtrees(256)
	batch(len(roots), 1, threads, func(begin, _ int) {
		p := prover{bounder: bounder{t: t, walk: t.newNearWalk()}, query: query, limit: limit, sides: sides}
		p.visit(roots[begin], false)
		mu.Lock()
		defer mu.Unlock()
		open = append(open, p.open...)
	})
	slices.Sort(open)
	open = slices.Compact(open)
	points := make([]float32, 0, 3*len(open))
	for _, v := range open {
		points = append(points, query.pos[3*v:3*v+3]...)
	}
	near := make([]Near, len(open))
	t.Closest(points, inf32, near, threads)
	beyond := open[:0]
	for i, n := range near {
		if n.Tri != Miss && n.Dist <= limit {
			continue
		}
		if sides != nil {
			if side, known := sides.Side([3]float32(points[3*i:3*i+3]), n); known && side != Outside {
				continue
			}
		}
		beyond = append(beyond, open[i])
	}
	return beyond
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

// leafTrial is how many leaves are tried before proofs at leaves may be given up.
const leafTrial = 32

type prover struct {
	bounder
	query *Tree
	limit float32
	sides *Normals
	open  []uint32 // vertices not proved, some several times
	size  float64  // of the triangle that the last middle was closest to

	tries, wins int // at leaves
}

// visit gathers the vertices of a subtree that cannot be proved near. hopeless says that none can.
func (p *prover) visit(s subtree, hopeless bool) {
	atLeaf := s.ref&leafBit != 0
	if atLeaf && p.tries >= leafTrial && 4*p.wins < p.tries {
		hopeless = true // asking its few vertices is cheaper than proofs that mostly fail
	}
	if !hopeless {
		var proved bool
		proved, hopeless = p.proved(&s.box)
		if atLeaf {
			p.tries++
		}
		if proved {
			if atLeaf {
				p.wins++
			}
			return
		}
	}
	if !atLeaf {
		n := &p.query.nodes[s.ref]
		for lane, r := range n.child {
			if r != noChild {
				p.visit(subtree{r, n.box64(lane, float64(p.query.unscale))}, hopeless)
			}
		}
		return
	}
	l := &p.query.leaves[s.ref&^leafBit]
	for lane := 0; lane < lanes && !l.repeats(lane); lane++ {
		p.open = append(p.open, p.query.tri[3*int(l.id[lane]):3*int(l.id[lane])+3]...)
	}
}

// proved tells that no point of the box counts as beyond the limit; hopeless that all points are beyond it, on whichever
// side.
func (p *prover) proved(b *box64) (proved, hopeless bool) {
	if p.t.count == 0 {
		return false, true
	}
	mid, half := b.middle()
	limit := float64(p.limit)
	if p.sides == nil && half > 2*limit+p.size {
		return false, false // not worth asking: neither proof can hold, unless triangles grow here
	}
	d, back := p.at(mid)
	half += back
	p.size = p.lastSize()
	slack := float64(room * (d + half + math.Abs(mid.x) + math.Abs(mid.y) + math.Abs(mid.z)))
	if d+half+slack <= limit {
		return true, false
	}
	if p.sides != nil && d > half+slack {
		at, n := p.last()
		if side, known := p.sides.Side(at, n); known && side == Inside {
			return true, false
		}
	}
	if d-slack > limit || half > 2*limit+p.size {
		return false, d-half-slack > limit
	}
	for k := range 8 {
		if p.ofCorners(b.corner(k))+slack > limit {
			return false, false
		}
	}
	return true, false
}

// middle gives also half the diagonal.
func (b *box64) middle() (mid vec, half float64) {
	mid = halfway(b.lo, b.hi)
	d := b.hi.sub(b.lo)
	return mid, math.Sqrt(d.dot(d)) / 2
}

// halfway cannot overflow.
func halfway(a, b vec) vec {
	return vec{float64(a.x/2) + float64(b.x/2), float64(a.y/2) + float64(b.y/2), float64(a.z/2) + float64(b.z/2)}
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
