package raster

import "math"

// texels is what a material's maps say at a point.
type texels struct {
	base         [3]float32 // linear
	alpha        float32
	metal, rough float64
	ao           float64
	fine         Vec // normal with the normal map's detail
	glow         [3]float32
}

// mapped tells whether a material has maps that this prop can show.
func (s *shot) mapped(m *Material) bool {
	return s.prop.UV != nil && (m.Base.Texture != nil || m.Normal.Texture != nil || m.Emissive.Texture != nil ||
		m.Rough.Texture != nil || m.Metal.Texture != nil || m.Ambient.Texture != nil)
}

// step is how the UV changes by a pixel to the right and down.
func (s *shot) step(idx [3]uint32, a, b, c, w Vec, px, py float64) (d [2][2]float64) {
	uv := s.prop.uvAt(idx, w)
	for k, q := range [2][2]float64{{px + 1, py}, {px, py + 1}} {
		if wq, ok := s.view.Weights(a, b, c, q[0], q[1]); ok {
			o := s.prop.uvAt(idx, wq)
			d[k] = [2]float64{o[0] - uv[0], o[1] - uv[1]}
		}
	}
	return d
}

// read samples the material's maps at a point of a triangle. d is the UV's step.
func (s *shot) read(m *Material, idx [3]uint32, a, b, c Vec, w Vec, d [2][2]float64, flat Vec) texels {
	t := texels{base: m.Colour, alpha: m.Opacity, metal: float64(m.Metallic), rough: float64(m.Roughness), ao: 1, fine: flat}
	if !s.mapped(m) {
		t.rough = min(max(t.rough, 0.05), 1)
		return t
	}
	uv := s.prop.uvAt(idx, w)
	if m.Base.Texture != nil {
		v := m.Base.read(uv, d)
		for i := range 3 {
			t.base[i] *= v[i]
		}
		t.alpha *= v[3]
	}
	// Usually the three lie in one picture, which is then read once.
	var last *Map
	var v [4]float32
	for i, ch := range [3]*Channel{&m.Rough, &m.Metal, &m.Ambient} {
		if ch.Texture == nil {
			continue
		}
		if last == nil || last.Texture != ch.Texture || last.M != ch.M {
			v, last = ch.read(uv, d), &ch.Map
		}
		x := float64(v[ch.C&3])
		switch i {
		case 0:
			t.rough *= x
		case 1:
			t.metal *= x
		case 2:
			t.ao = x
		}
	}
	if m.Emissive.Texture != nil {
		v := m.Emissive.read(uv, d)
		t.glow = [3]float32{v[0], v[1], v[2]}
	}
	if m.Normal.Texture != nil {
		t.fine = s.bend(m, idx, a, b, c, flat, m.Normal.read(uv, d))
	}
	t.rough = min(max(t.rough, 0.05), 1)
	return t
}

// bend turns the normal by a normal map's value. The tangent is the direction in which u grows over the triangle and the
// third axis the one in which v falls (glTF 2.0, 3.9: green up), both made square to the normal.
func (s *shot) bend(m *Material, idx [3]uint32, a, b, c Vec, flat Vec, v [4]float32) Vec {
	uv := func(k int) (float64, float64) {
		return float64(s.prop.UV[2*idx[k]]), float64(s.prop.UV[2*idx[k]+1])
	}
	u0, v0 := uv(0)
	u1, v1 := uv(1)
	u2, v2 := uv(2)
	du1, dv1, du2, dv2 := u1-u0, v1-v0, u2-u0, v2-v0
	det := float64(du1*dv2) - float64(du2*dv1)
	if det == 0 || math.IsNaN(det) {
		return flat
	}
	e1, e2 := sub(b, a), sub(c, a)
	tan := scale(sub(scale(e1, dv2), scale(e2, dv1)), 1/det)
	bit := scale(sub(scale(e1, du2), scale(e2, du1)), 1/det) // minus the direction of v
	tan = unit(addScaled(tan, flat, -dot(tan, flat)))
	side := unit(cross(flat, tan))
	if dot(side, bit) < 0 {
		side = scale(side, -1)
	}
	k := float64(m.NormalScale)
	x, y, z := float64(k*(float64(2*float64(v[0]))-1)), float64(k*(float64(2*float64(v[1]))-1)), float64(2*float64(v[2]))-1
	if m.GreenDown {
		y = -y
	}
	n := unit(addScaled(addScaled(scale(flat, max(z, 0.05)), tan, x), side, y))
	if n == (Vec{}) || n[0] != n[0] {
		return flat
	}
	return n
}
