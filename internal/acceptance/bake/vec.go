package bake

import "math"

// vec is a point or direction. Products are converted before they are added, so that no compiler fuses them.
type vec = [3]float64

func add(a, b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func sub(a, b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func scale(a vec, s float64) vec {
	return vec{float64(a[0] * s), float64(a[1] * s), float64(a[2] * s)}
}

// along is a + s·d.
func along(a vec, s float64, d vec) vec {
	return vec{a[0] + float64(s*d[0]), a[1] + float64(s*d[1]), a[2] + float64(s*d[2])}
}

func dot(a, b vec) float64 { return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) }

func cross(a, b vec) vec {
	return vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

func length(a vec) float64 { return math.Sqrt(dot(a, a)) }

// unit returns a at length 1; false where it has none.
func unit(a vec) (vec, bool) {
	l := length(a)
	if !(l > 0) || math.IsInf(l, 0) {
		return a, false
	}
	return scale(a, 1/l), true
}

func at(v []float32, i int) vec {
	p := v[3*i : 3*i+3 : 3*i+3]
	return vec{float64(p[0]), float64(p[1]), float64(p[2])}
}

func narrow(a vec) [3]float32 { return [3]float32{float32(a[0]), float32(a[1]), float32(a[2])} }

// blend is the point of a triangle with weights u and v on its second and third corner.
func blend(a, b, c vec, u, v float64) vec {
	w := 1 - u - v
	return vec{
		float64(w*a[0]) + float64(u*b[0]) + float64(v*c[0]),
		float64(w*a[1]) + float64(u*b[1]) + float64(v*c[1]),
		float64(w*a[2]) + float64(u*b[2]) + float64(v*c[2]),
	}
}
