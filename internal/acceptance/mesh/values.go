package mesh

import (
	"fmt"
	"math"
)

// How far a stored unit vector may be from length 1: a little more than rounding each component to a normalized byte
// can move it, √3/2 ÷ 127 = 0.0068 for three components and √4/2 ÷ 127 = 0.0079 for four. Twice as much would let
// normals through that lighten a surface visibly; half as much would refuse KHR_mesh_quantization's byte normals.
const (
	unitTolerance3 = 0.00674
	unitTolerance4 = 0.00769
)

// checkUnit checks that normals, and tangents' first three components, are of unit length, and tangents' signs are
// 1 or -1 (glTF 2.0, section 3.7.2.1, NORMAL and TANGENT).
func (d *document) checkUnit(v []float32, width, acc int, ptr string) {
	if d.once(acc) || !d.filled(&d.accs[acc]) {
		return // zeros that an extension is to fill in
	}
	type found struct {
		first, count         int64
		firstSign, countSign int64
	}
	parts := make([]found, maxThreads)
	n := chunks(int64(len(v)), int64(width), func(p int, from, to int64) {
		f := found{first: -1, firstSign: -1}
		const lo, hi = float32((1 - unitTolerance3) * (1 - unitTolerance3)), float32((1 + unitTolerance3) * (1 + unitTolerance3))
		for i := from; i+int64(width) <= to; i += int64(width) {
			x, y, z := v[i], v[i+1], v[i+2]
			if sq := float32(x*x) + float32(y*y) + float32(z*z); sq < lo || sq > hi {
				if f.count++; f.first < 0 {
					f.first = i
				}
			}
			if width == 4 && v[i+3] != 1 && v[i+3] != -1 {
				if f.countSign++; f.firstSign < 0 {
					f.firstSign = i
				}
			}
		}
		parts[p] = f
	})
	all := found{first: -1, firstSign: -1}
	for _, f := range parts[:n] {
		if all.first < 0 {
			all.first = f.first
		}
		if all.firstSign < 0 {
			all.firstSign = f.firstSign
		}
		all.count += f.count
		all.countSign += f.countSign
	}
	a := &d.accs[acc]
	if i := all.first; i >= 0 {
		length := math.Sqrt(sq(v[i]) + sq(v[i+1]) + sq(v[i+2]))
		d.is.error("data.not_unit", ptr, d.dataOffset(a, i), fmt.Sprintf(
			"%d of %d vectors are not of unit length, the first is number %d with %.4g; recompute or normalize them and export again.", all.count, len(v)/width, i/int64(width), length))
	}
	if i := all.firstSign; i >= 0 {
		d.is.error("data.tangent_sign", ptr, d.dataOffset(a, i+3), fmt.Sprintf(
			"%d tangents have a fourth component other than 1 or -1, the first is number %d; export again.", all.countSign, i/int64(width)))
	}
}

func sq(x float32) float64 { return float64(float64(x) * float64(x)) }

// once tells whether an accessor's values were checked before: primitives may share it by the thousand.
func (d *document) once(acc int) bool {
	was := d.accs[acc].checked
	d.accs[acc].checked = true
	return was
}

// checkClamped checks that colours lie in 0–1 (section 3.7.2.1, COLOR_n).
func (d *document) checkClamped(acc int, ptr string) {
	a := &d.accs[acc]
	s := d.statsOf(acc)
	if a.comp != compFloat || s == nil {
		return
	}
	for c := range a.width {
		if s.min[c] < 0 || s.max[c] > 1 {
			d.is.error("data.colour_range", ptr, -1, fmt.Sprintf("Vertex colours go from %g to %g and must lie in 0 to 1; clamp them.", s.min[c], s.max[c]))
			return
		}
	}
}
