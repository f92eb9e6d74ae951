package spatial

// The watertight ray-triangle test of Woop, Benthin & Wald, "Watertight Ray/Triangle Intersection", JCGT 2(1), 2013.
// A ray that crosses an edge or a vertex shared by two triangles meets at least one of them.

// shear is a ray turned so that it runs along the third axis.
type shear struct {
	kx, ky, kz int
	sx, sy, sz float32
	org        [3]float32
	max        float32
}

// newShear reports false for a ray that can meet nothing: zero or not finite.
func newShear(r *Ray) (shear, bool) {
	s := shear{org: r.Org, max: r.Max}
	for k := range 3 {
		if !finite(r.Org[k]) || !finite(r.Dir[k]) {
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
	s.kx = (s.kz + 1) % 3
	s.ky = (s.kx + 1) % 3
	d := r.Dir[s.kz]
	if d == 0 {
		return s, false
	}
	if d < 0 { // keeps the winding
		s.kx, s.ky = s.ky, s.kx
	}
	s.sx, s.sy, s.sz = r.Dir[s.kx]/d, r.Dir[s.ky]/d, 1/d
	return s, true
}

// meet tests one triangle. Products are rounded one by one, so that an edge seen from its two triangles gives the
// same numbers with opposite signs.
func (s *shear) meet(a, b, c *[3]float32) (t, u, v float32, back, ok bool) {
	az, bz, cz := a[s.kz]-s.org[s.kz], b[s.kz]-s.org[s.kz], c[s.kz]-s.org[s.kz]
	ax := a[s.kx] - s.org[s.kx] - float32(s.sx*az)
	ay := a[s.ky] - s.org[s.ky] - float32(s.sy*az)
	bx := b[s.kx] - s.org[s.kx] - float32(s.sx*bz)
	by := b[s.ky] - s.org[s.ky] - float32(s.sy*bz)
	cx := c[s.kx] - s.org[s.kx] - float32(s.sx*cz)
	cy := c[s.ky] - s.org[s.ky] - float32(s.sy*cz)

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
		return
	}
	det := eu + ev + ew
	if det == 0 {
		return
	}
	z := float32(eu*float32(s.sz*az)) + float32(ev*float32(s.sz*bz))
	z += float32(ew * float32(s.sz*cz))
	t = z / det
	if !(t >= 0 && t <= s.max) {
		return
	}
	return t, ev / det, ew / det, det < 0, true
}

func abs32(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

// finite holds for anything but NaN and the infinities.
func finite(x float32) bool { return x-x == 0 }
