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
	max        float32 // in multiples of the scaled direction
	unit       float64 // multiples of the given direction in one of the scaled
}

// startsTooFar is the distance of a ray's start, in sizes of the surface, beyond which float32 cannot aim at it.
const startsTooFar = 1 << 40

// newShear reports false for a ray that can meet nothing: without length, not finite, or from too far.
func newShear(r *Ray, scale float32) (s shear, ok bool) {
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
	s.unit = down / float64(scale)
	s.max = float32(float64(r.Max) / s.unit)
	d := s.dir[s.kz]
	s.sx, s.sy, s.sz = s.dir[s.kx]/d, s.dir[s.ky]/d, 1/d
	return s, true
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

// meet tests lane i of a leaf. Products are rounded one by one, so that an edge seen from its two triangles gives the
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
	if eu == 0 || ev == 0 || ew == 0 {
		// Products of two float32 are exact in float64.
		eu = float32(float64(float64(cx)*float64(by)) - float64(float64(cy)*float64(bx)))
		ev = float32(float64(float64(ax)*float64(cy)) - float64(float64(ay)*float64(cx)))
		ew = float32(float64(float64(bx)*float64(ay)) - float64(float64(by)*float64(ax)))
	}
	if (eu < 0 || ev < 0 || ew < 0) && (eu > 0 || ev > 0 || ew > 0) {
		return m, false
	}
	det := eu + ev + ew
	if det == 0 {
		return m, false
	}
	sum := float32(eu*float32(s.sz*az)) + float32(ev*float32(s.sz*bz)) + float32(ew*float32(s.sz*cz))
	m = meeting{sum / det, ev, ew, det}
	return m, m.t >= 0 && m.t <= s.max
}
