package topo

import "math"

var inf = math.Inf(1)

type vec = [3]float64

func sub(a, b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func add(a, b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

// scale rounds its products, so that a caller may add to them.
func scale(a vec, s float64) vec { return vec{float64(a[0] * s), float64(a[1] * s), float64(a[2] * s)} }

func dot(a, b vec) float64 { return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2]) }

func cross(a, b vec) vec {
	return vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

func length(a vec) float64 { return math.Sqrt(dot(a, a)) }

// unit returns a at length 1, and zero where it has no length.
func unit(a vec) vec {
	l := length(a)
	if !(l > 0) || math.IsInf(l, 0) {
		return vec{}
	}
	return scale(a, 1/l)
}

func at(pos []float32, v uint32) vec {
	p := pos[3*int(v) : 3*int(v)+3 : 3*int(v)+3]
	return vec{float64(p[0]), float64(p[1]), float64(p[2])}
}

func finite(p vec) bool {
	s := p[0] + p[1] + p[2]
	return s-s == 0
}
