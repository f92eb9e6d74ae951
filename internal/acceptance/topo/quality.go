package topo

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
)

// Shape is the shape of one triangle.
type Shape struct {
	AreaM2      float64
	LongestM    float64
	HeightM     float64 // over the longest edge: how thick it is
	MinAngleDeg float64
	MaxAngleDeg float64
	Aspect      float64 // longest edge over the inscribed circle's diameter by √3: 1 for the equilateral, growing as it thins
	RadiusRatio float64 // circumscribed over twice the inscribed circle's radius: 1 for the equilateral
}

// ShapeOf measures a triangle. Aspect and radius ratio are those of Pébay and Baker, Analysis of triangle quality
// measures, Mathematics of Computation 72(244), 2003; the smallest angle is what Shewchuk, What Is a Good Linear Finite
// Element?, 2002, bounds the error of interpolation by. A triangle without an area has infinite ratios.
func ShapeOf(a, b, c [3]float64) Shape {
	u, v, w := sub(b, a), sub(c, b), sub(a, c)
	l := [3]float64{length(u), length(v), length(w)}
	twice := length(cross(u, w))
	s := Shape{AreaM2: twice / 2, LongestM: max(l[0], l[1], l[2])}
	if s.LongestM > 0 {
		s.HeightM = twice / s.LongestM
	}
	// The angle between edges u and -w, by its tangent: exact near 0 and 180 degrees, where a cosine is not.
	angles := [3]float64{
		degrees(twice, -dot(u, w)), degrees(twice, -dot(v, u)), degrees(twice, -dot(w, v)),
	}
	s.MinAngleDeg, s.MaxAngleDeg = min(angles[0], angles[1], angles[2]), max(angles[0], angles[1], angles[2])
	around := l[0] + l[1] + l[2]
	inscribed := twice / around
	s.Aspect = s.LongestM / (2 * math.Sqrt(3) * inscribed)
	s.RadiusRatio = float64(float64(l[0]*l[1])*l[2]) / (2 * twice) / (2 * inscribed)
	if !(twice > 0) {
		s.Aspect, s.RadiusRatio, s.MinAngleDeg = inf, inf, 0
	}
	return s
}

func degrees(y, x float64) float64 {
	const perRadian = 180 / 3.14159265358979323846
	return detmath.Atan2(y, x) * perRadian
}
