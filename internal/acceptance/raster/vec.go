package raster

import "math"

// Vec is a point or a direction in metres.
type Vec = [3]float64

func add(a, b Vec) Vec { return Vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func sub(a, b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func scale(a Vec, s float64) Vec { return Vec{a[0] * s, a[1] * s, a[2] * s} }

// addScaled is a + s·b.
func addScaled(a, b Vec, s float64) Vec {
	return Vec{a[0] + float64(b[0]*s), a[1] + float64(b[1]*s), a[2] + float64(b[2]*s)}
}

func dot(a, b Vec) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func cross(a, b Vec) Vec {
	return Vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

func length(a Vec) float64 { return math.Sqrt(dot(a, a)) }

// unit is a at length 1, or the zero vector where a has no direction.
func unit(a Vec) Vec {
	l := length(a)
	if !(l > 0) || math.IsInf(l, 0) {
		return Vec{}
	}
	return scale(a, 1/l)
}

func clamp01(x float64) float64 { return min(max(x, 0), 1) }

// smoothstep is 0 below lo, 1 above hi and the cubic 3t²-2t³ between.
func smoothstep(lo, hi, x float64) float64 {
	t := clamp01((x - lo) / (hi - lo))
	return float64(t*t) * (3 - float64(2*t))
}

func mix(a, b, t float64) float64 { return a + float64((b-a)*t) }

func vecAt(a []float32, i uint32) Vec {
	p := a[3*i : 3*i+3 : 3*i+3]
	return Vec{float64(p[0]), float64(p[1]), float64(p[2])}
}
