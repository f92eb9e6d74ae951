package spatial

import (
	"math"
	"math/bits"
	"unsafe"
)

// Closest answers one point each (three floats a point): the nearest point of the surface; of equally near triangles
// the lowest index. Points farther than bound (metres; +Inf for none) are Miss, as are points with a coordinate that is
// not finite. out must hold len(points)/3.
//
// Points are taken along a Morton curve, and each starts with the distance to the triangle that its predecessor found.
// That changes how much of the tree is walked, never the answer.
func (t *Tree) Closest(points []float32, bound float32, out []Near, threads int) {
	count := len(points) / 3
	out = out[:count]
	limit := float64(bound) * float64(t.scale)
	limitSq := float64(limit * limit)
	if !(bound >= 0) {
		limitSq = -1
	}
	at := func(i int) (x, y, z float32) { return points[3*i], points[3*i+1], points[3*i+2] }
	t.inOrder(count, threads, at, func() func(i int) {
		w := t.newNearWalk()
		return func(i int) { w.find([3]float32(points[3*i:3*i+3:3*i+3]), limitSq, &out[i]) }
	})
}

// nearWalk is the state of one thread's walks to the closest triangle. The assembly reads and writes it by field names.
//
// A walk gathers leaves with triangles that may be closest and tightens its bound, all in float32 with room for its
// rounding; the few triangles left within the bound at the end are measured in float64.
type nearWalk struct {
	nodes, leaves unsafe.Pointer
	p             [3]float32
	bound         float32 // squared distance beyond which nothing is visited, rounded up
	waiting       int64   // entries on the stack
	found         int64   // entries in the list
	seen          uint32  // reference of a leaf to be passed over
	boxSq         [lanes]float32
	spread        [lanes]float32
	spare         [3][lanes]float32
	list          [listSize]candidate
	stack         [stackSize]waiting

	t      *Tree
	prev   uint32 // leaf in which the last query ended
	best   foot
	id     int32
	at     *leaf
	atLane int
	q      vec
}

// candidate is a leaf with triangles within the bound, when it was met: their lanes, and for all lanes the squared
// distance from below.
type candidate struct {
	leaf, mask uint32
	sq         [lanes]float32
}

// listSize is how many candidates a walk gathers before it stops for them to be measured.
const listSize = 16

// waiting is a child still to be visited and the least distance (of a ray: t; of a point: squared) it can have.
type waiting struct {
	ref  uint32
	from float32
}

func (t *Tree) newNearWalk() *nearWalk {
	w := &nearWalk{t: t, prev: noChild}
	if len(t.nodes) > 0 {
		w.nodes = unsafe.Pointer(&t.nodes[0])
	}
	if len(t.leaves) > 0 {
		w.leaves = unsafe.Pointer(&t.leaves[0])
	}
	return w
}

// farOff is the distance in sizes of the surface from which on float32 squares are not to be trusted.
const farOff = 1 << 30

func (w *nearWalk) find(point [3]float32, limitSq float64, out *Near) {
	*out = Near{Tri: Miss, Dist: inf32}
	t := w.t
	if !finite(point[0]) || !finite(point[1]) || !finite(point[2]) || t.count == 0 {
		return
	}
	w.search(point, limitSq)
	if w.id == noTriangle {
		return
	}
	a, b, c := w.at.corners(w.atLane)
	up := float64(t.unscale)
	out.Tri, out.Feature = w.id, w.best.feature
	out.Dist = float32(math.Sqrt(w.best.distSq) * up)
	out.Point = w.best.point(w.q, a, b, c).narrow(up)
}

// search leaves the closest triangle within limitSq in best, id, at and atLane; id is noTriangle for none. It begins
// with the leaf where the last search ended.
func (w *nearWalk) search(point [3]float32, limitSq float64) {
	t := w.t
	s := float64(t.scale)
	w.q = vec{float64(point[0]) * s, float64(point[1]) * s, float64(point[2]) * s}
	w.best, w.id, w.at = foot{distSq: limitSq}, noTriangle, nil
	w.bound = roundedUp(limitSq)
	w.p = [3]float32{point[0] * t.scale, point[1] * t.scale, point[2] * t.scale}
	w.stack[0] = waiting{ref: t.root}
	w.waiting, w.found, w.seen = 1, 0, noChild
	if abs32(w.p[0]) > farOff || abs32(w.p[1]) > farOff || abs32(w.p[2]) > farOff {
		w.walkWide()
		return
	}
	if w.prev != noChild {
		w.stack[0] = waiting{ref: w.prev}
		walkNear(w)
		w.stack[0] = waiting{ref: t.root}
		w.waiting, w.seen = 1, w.prev
	}
	for walkNear(w) {
		w.measure()
	}
	w.measure()
	if w.at != nil {
		w.prev = w.t.refOf(w.at)
	}
}

// refOf is a leaf's reference.
func (t *Tree) refOf(l *leaf) uint32 {
	return leafBit | uint32((uintptr(unsafe.Pointer(l))-uintptr(unsafe.Pointer(&t.leaves[0])))/unsafe.Sizeof(*l))
}

// roundedUp is a float32 bound for a squared distance. Those to boxes are rounded six times, each by at most 2^-24; the
// factor covers that and its own rounding, the summand what underflows.
func roundedUp(distSq float64) float32 {
	b := float64(distSq*(1+0x1p-20)) + underflow
	if !(b < math.MaxFloat32) {
		return math.MaxFloat32
	}
	return float32(b)
}

// measure tries the triangles that are still within the bound, latest candidates first, since those were met with the
// tightest bound.
func (w *nearWalk) measure() {
	for i := int(w.found) - 1; i >= 0; i-- {
		c := &w.list[i&(listSize-1)]
		for m := c.mask; m != 0; m &= m - 1 {
			if lane := bits.TrailingZeros32(m) & (lanes - 1); c.sq[lane] <= w.bound {
				w.try(&w.t.leaves[c.leaf], lane)
			}
		}
	}
	w.found = 0
}

func (w *nearWalk) try(l *leaf, lane int) {
	lane &= lanes - 1
	a, b, c := l.corners(lane)
	f := nearTriangle(w.q, a, b, c, w.best.distSq)
	if f.distSq < w.best.distSq || f.distSq == w.best.distSq && l.id[lane] < w.id {
		w.best, w.id, w.at, w.atLane = f, l.id[lane], l, lane
		w.bound = less(w.bound, roundedUp(f.distSq))
	}
}

func (l *leaf) corners(lane int) (a, b, c vec) {
	lane &= lanes - 1
	a = vec{float64(l.v[0][lane]), float64(l.v[1][lane]), float64(l.v[2][lane])}
	b = vec{float64(l.v[3][lane]), float64(l.v[4][lane]), float64(l.v[5][lane])}
	c = vec{float64(l.v[6][lane]), float64(l.v[7][lane]), float64(l.v[8][lane])}
	return a, b, c
}

// walkWide is the walk in float64 all through, for points so far off that float32 squares overflow.
func (w *nearWalk) walkWide() {
	t := w.t
	within := func(d float64) bool { return d <= w.best.distSq*(1+0x1p-40) }
	for w.waiting > 0 {
		w.waiting--
		ref := w.stack[w.waiting].ref
		if ref&leafBit != 0 {
			l := &t.leaves[ref&^leafBit]
			for lane := range lanes {
				w.try(l, lane)
			}
			continue
		}
		n := &t.nodes[ref]
		for lane := range lanes {
			if n.child[lane] != noChild && within(n.distSq(w.q, lane)) {
				w.stack[w.waiting] = waiting{ref: n.child[lane]}
				w.waiting++
			}
		}
	}
}

func (n *wide) distSq(p vec, lane int) float64 {
	x := max(float64(n.box[0][0][lane])-p.x, p.x-float64(n.box[0][1][lane]), 0)
	y := max(float64(n.box[1][0][lane])-p.y, p.y-float64(n.box[1][1][lane]), 0)
	z := max(float64(n.box[2][0][lane])-p.z, p.z-float64(n.box[2][1][lane]), 0)
	return vec{x, y, z}.dot(vec{x, y, z})
}
