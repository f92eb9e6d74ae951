package spatial

import (
	"math"
	"unsafe"
)

// Hits answers one ray each: the nearest hit, watertight; of equally near ones that of the lowest triangle index.
// out must be as long as rays. A ray misses if a coordinate is not finite, its direction has no length, Max is below
// zero or NaN, or it starts farther off than 2^40 sizes of the surface.
//
// Rays are taken along a Morton curve by their origins.
func (t *Tree) Hits(rays []Ray, out []Hit, threads int) {
	out = out[:len(rays)]
	t.inOrder(len(rays), threads, origins(rays), func() func(i int) {
		w := t.newRayWalk()
		return func(i int) { w.hit(&rays[i], &out[i]) }
	})
}

func origins(rays []Ray) placer {
	return func(i int) (x, y, z float32) {
		o := &rays[i].Org
		return o[0], o[1], o[2]
	}
}

// Any tells of each ray whether it hits anything. out must be as long as rays.
func (t *Tree) Any(rays []Ray, out []bool, threads int) {
	out = out[:len(rays)]
	t.inOrder(len(rays), threads, origins(rays), func() func(i int) {
		w := t.newRayWalk()
		w.mode = anyHit
		return func(i int) { out[i] = w.cast(&rays[i]) }
	})
}

const (
	nearest = iota
	anyHit  // stop at the first hit found
	allHits // stop at every leaf that is hit
)

// rayWalk is the state of one thread's rays. The assembly reads and writes it by field names.
type rayWalk struct {
	nodes, leaves unsafe.Pointer
	side          [3]uint64  // byte offset in a node of the bounds that the ray crosses first, by axis
	axis          [3]uint64  // byte offset in a leaf of the first corner's coordinate along kx, ky, kz
	near, far     [3]float32 // the origin moved by the pad, for the bounds crossed first and last
	perUnit       [3]float32 // reciprocal of the direction
	org           [3]float32 // along kx, ky, kz
	shear         [3]float32 // sx, sy, sz
	max           float32    // t of the best hit
	id            int32      // its triangle
	ev, ew, det   float32
	mode          uint32 // nearest, anyHit or allHits
	mask          uint32 // in mode allHits the lanes of leaf that were hit; 0 where the leaf needs care
	waiting       int64  // entries on the stack
	leaf          uint32 // the leaf at which a walk stopped: to be tested with care, since an edge function came out zero, or in mode allHits hit
	lanesT        [4][lanes]float32
	stack         [stackSize]waiting

	t *Tree
	s shear
}

func (t *Tree) newRayWalk() *rayWalk {
	w := &rayWalk{t: t}
	if len(t.nodes) > 0 {
		w.nodes = unsafe.Pointer(&t.nodes[0])
	}
	if len(t.leaves) > 0 {
		w.leaves = unsafe.Pointer(&t.leaves[0])
	}
	return w
}

func (w *rayWalk) hit(r *Ray, out *Hit) {
	if !w.cast(r) {
		*out = Hit{Tri: Miss}
		return
	}
	*out = meeting{w.max, w.ev, w.ew, w.det}.hit(w.id, w.s.unit)
}

func (w *rayWalk) cast(r *Ray) bool {
	s, ok := newShear(r, w.t)
	if !ok || w.t.count == 0 {
		return false
	}
	w.aim(&s)
	for walkRay(w) {
		w.withCare()
		if w.mode == anyHit && w.id != noTriangle {
			break
		}
	}
	return w.id != noTriangle
}

func (w *rayWalk) aim(s *shear) {
	w.s = *s
	for k := range 3 {
		w.side[k] = uint64(64 * k)
		w.near[k], w.far[k] = s.plus[k], s.minus[k]
		if math.Signbit(float64(s.dir[k])) {
			w.side[k] += 32
			w.near[k], w.far[k] = s.minus[k], s.plus[k]
		}
	}
	w.perUnit = s.perUnit
	w.axis = [3]uint64{uint64(32 * s.kx), uint64(32 * s.ky), uint64(32 * s.kz)}
	w.org = [3]float32{s.org[s.kx], s.org[s.ky], s.org[s.kz]}
	w.shear = [3]float32{s.sx, s.sy, s.sz}
	w.max, w.id = s.max, noTriangle
	w.stack[0] = waiting{ref: w.t.root}
	w.waiting = 1
}

// withCare tests a leaf with the float64 fallback of the triangle test.
func (w *rayWalk) withCare() {
	l := &w.t.leaves[w.leaf]
	w.s.max = w.max
	for lane := range lanes {
		if m, ok := w.s.meet(l, lane); ok && (m.t < w.max || m.t == w.max && l.id[lane] < w.id) {
			w.max, w.id, w.ev, w.ew, w.det = m.t, l.id[lane], m.ev, m.ew, m.det
			w.s.max = m.t
		}
	}
}
