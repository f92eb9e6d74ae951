package tangent

import "math"

// vec is a vector in float32. Every product is rounded before it is added to anything.
type vec [3]float32

func (a vec) sub(b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (a vec) add(b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func (a vec) scale(s float32) vec {
	return vec{float32(s * a[0]), float32(s * a[1]), float32(s * a[2])}
}

func (a vec) dot(b vec) float32 {
	return float32(float32(a[0]*b[0])+float32(a[1]*b[1])) + float32(a[2]*b[2])
}

func (a vec) length() float32 { return float32(math.Sqrt(float64(a.dot(a)))) }

// unit is a at length 1, or a itself where it has no length.
func (a vec) unit() vec {
	if !notZero(a[0]) && !notZero(a[1]) && !notZero(a[2]) {
		return a
	}
	return a.scale(1 / a.length())
}

// along is the part of a that lies in the plane of the unit normal n, at length 1.
func (a vec) along(n vec) vec { return a.sub(n.scale(n.dot(a))).unit() }

// leastNormal is the smallest normal float32: what is not above it counts as zero.
const leastNormal = 0x1p-126

func notZero(x float32) bool { return x > leastNormal || x < -leastNormal }
