package spatial

import "math"

// The watertight ray-triangle test of Woop, Benthin & Wald, "Watertight Ray/Triangle Intersection", JCGT 2(1), 2013.
// A ray that crosses an edge or a vertex shared by two triangles meets at least one of them.

// shear is a ray turned so that it runs along its longest axis, kz, and scaled by powers of two: positions as the tree's
// are, the direction to a longest component in [0.5, 1). Both are exact.
type shear struct {
	kx, ky, kz int
	sx, sy, sz float32
	org, dir   [3]float32
	plus       [3]float32 // the origin moved up by the pad, to be taken from lower bounds of boxes
	minus      [3]float32 // and down, to be taken from upper ones
	perUnit    [3]float32 // reciprocals of dir
	max        float32    // in multiples of the scaled direction
	unit       float64    // multiples of the given direction in one of the scaled
}

// startsTooFar is the distance of a ray's start, in sizes of the surface, beyond which float32 cannot aim at it.
const startsTooFar = 1 << 40

// padShare is what boxes are widened by, in parts of the largest distance between the ray's origin and the surface's
// bounds. The triangle test moves a corner by at most four roundings of that distance, 2^-24 each, t by eight, and the
// box test by four: the sum is below 2^-19 of it. So a box is visited whenever a triangle in it is met.
const padShare = 0x1p-19

// leastDir keeps reciprocals finite. Along an axis with less the ray moves less than 2^-60 of what it moves along its
// longest, which within the reach of a ray is below the pad.
const leastDir = 0x1p-60

// newShear reports false for a ray that can meet nothing: without length, not finite, or from too far.
func newShear(r *Ray, t *Tree) (s shear, ok bool) {
	scale := t.scale
	for k := range 3 {
		s.org[k] = r.Org[k] * scale
		if !(abs32(s.org[k]) <= startsTooFar) || !finite(r.Dir[k]) {
			return s, false
		}
	}
	if !(r.Max >= 0) {
		return s, false
	}
	ax, ay, az := abs32(r.Dir[0]), abs32(r.Dir[1]), abs32(r.Dir[2])
	switch {
	case ax > ay && ax > az:
		s.kz = 0
	case ay > az:
		s.kz = 1
	default:
		s.kz = 2
	}
	s.kx = next(s.kz)
	s.ky = next(s.kx)
	longest := r.Dir[s.kz]
	if longest == 0 {
		return s, false
	}
	if longest < 0 { // keeps the winding
		s.kx, s.ky = s.ky, s.kx
	}
	// 2^e is the power of two just above the longest component.
	e := int(math.Float32bits(longest)>>23&0xff) - 126
	if e == -126 { // subnormal
		_, e = math.Frexp(float64(longest))
	}
	down := powerOfTwo(-e)
	for k := range 3 {
		s.dir[k] = float32(float64(r.Dir[k]) * down)
	}
	s.unit = down * float64(t.unscale)
	s.max = float32(float64(r.Max) * powerOfTwo(e) * float64(scale))
	s.setSlabs(t)
	d := s.dir[s.kz]
	s.sx, s.sy, s.sz = s.dir[s.kx]/d, s.dir[s.ky]/d, 1/d
	return s, true
}

// setSlabs prepares the test of boxes.
func (s *shear) setSlabs(t *Tree) {
	var reach float32
	for k := range 3 {
		reach = more(reach, more(abs32(t.lo[k]-s.org[k]), abs32(t.hi[k]-s.org[k])))
	}
	pad := float32(reach * padShare)
	for k := range 3 {
		s.plus[k], s.minus[k] = s.org[k]+pad, s.org[k]-pad
		d := s.dir[k]
		if abs32(d) < leastDir { // no division by zero; in the pad's width it makes no difference
			d = float32(math.Copysign(leastDir, float64(d)))
		}
		s.perUnit[k] = 1 / d
	}
}

// slab is the part of the ray between two bounds along an axis.
func (s *shear) slab(k int, lo, hi float32) (from, to float32) {
	a, b := (lo-s.plus[k])*s.perUnit[k], (hi-s.minus[k])*s.perUnit[k]
	return less(b, a), more(b, a)
}

func next(axis int) int {
	if axis == 2 {
		return 0
	}
	return axis + 1
}

// powerOfTwo is 2^e for e within float64's normal range.
func powerOfTwo(e int) float64 { return math.Float64frombits(uint64(e+1023) << 52) }

// meeting is where a ray meets a triangle: t, and edge functions whose quotients by det are the corners' weights.
type meeting struct{ t, ev, ew, det float32 }

// meet tests lane i of a leaf. A meeting counts if the ray crosses the triangle's own box, and not before it enters that.
// For a triangle seen edge-on, whose weights are all rounding, this keeps t where the triangle is; for others it changes
// nothing. It also makes which triangles are met independent of the boxes above, since those are entered no later.
//
// Products are rounded one by one, so that an edge seen from its two triangles gives the
// same numbers with opposite signs.
func (s *shear) meet(l *leaf, i int) (m meeting, ok bool) {
	i &= lanes - 1
	x, y, z := s.org[s.kx], s.org[s.ky], s.org[s.kz]
	az, bz, cz := l.v[s.kz][i]-z, l.v[3+s.kz][i]-z, l.v[6+s.kz][i]-z
	ax := l.v[s.kx][i] - x - float32(s.sx*az)
	ay := l.v[s.ky][i] - y - float32(s.sy*az)
	bx := l.v[3+s.kx][i] - x - float32(s.sx*bz)
	by := l.v[3+s.ky][i] - y - float32(s.sy*bz)
	cx := l.v[6+s.kx][i] - x - float32(s.sx*cz)
	cy := l.v[6+s.ky][i] - y - float32(s.sy*cz)

	eu := float32(cx*by) - float32(cy*bx)
	ev := float32(ax*cy) - float32(ay*cx)
	ew := float32(bx*ay) - float32(by*ax)
	if oppose(eu, ev, ew) {
		return m, false
	}
	if eu == 0 || ev == 0 || ew == 0 {
		// Products of two float32 are exact in float64.
		eu = float32(float64(float64(cx)*float64(by)) - float64(float64(cy)*float64(bx)))
		ev = float32(float64(float64(ax)*float64(cy)) - float64(float64(ay)*float64(cx)))
		ew = float32(float64(float64(bx)*float64(ay)) - float64(float64(by)*float64(ax)))
	}
	if oppose(eu, ev, ew) {
		return m, false
	}
	det := eu + ev + ew
	if det == 0 {
		return m, false
	}
	sum := float32(eu*float32(s.sz*az)) + float32(ev*float32(s.sz*bz)) + float32(ew*float32(s.sz*cz))
	from, to := s.through(l, i)
	m = meeting{more(sum/det, from), ev, ew, det}
	return m, sum/det >= 0 && m.t <= s.max && from <= to
}

func oppose(a, b, c float32) bool { return (a < 0 || b < 0 || c < 0) && (a > 0 || b > 0 || c > 0) }

// through is the part of the ray within the box of a leaf's triangle.
func (s *shear) through(l *leaf, i int) (from, to float32) {
	from, to = 0, s.max
	for k := range 3 {
		a, b, c := l.v[k][i], l.v[3+k][i], l.v[6+k][i]
		f, t := s.slab(k, less(less(b, a), c), more(more(b, a), c))
		from, to = more(f, from), less(t, to)
	}
	return from, to
}
