// Package chart is the geometry of UV layouts: islands and charts, exact overlap by clipping, gaps by segment distance,
// which charts lie on each other, and stretch.
//
// It takes flat arrays and gives flat arrays; it knows no spec, no finding and no file, keeps nothing between calls, and
// its results do not depend on the number of threads or the processor.
//
// Words. An island is what hangs together in the layout over edges that agree in position and UV. A chart is the part
// of an island whose triangles wind the same way in the layout, each on its own side of the edges that it shares: a
// mirrored half folded onto the other along the prop's middle is one island of two charts. A chart has an outline: the
// edges that it shares with no triangle of its own.
//
// Conventions. UV is as stored, V down (glTF 2.0, 3.8.2). Coordinates are float64 made from float32 by subtracting
// whole tiles and multiplying by sizes in pixels; where only whole tiles were subtracted, the sign of Cross is exact for
// coordinates that differ by less than 2²⁸ in size (24-bit numbers, differences in 53 bits, products rounded once).
// Lengths are in the caller's units, usually texels.
package chart

import "math"

// Vec is a place in a layout.
type Vec = [2]float64

// Cross is twice the signed area of the triangle a, b, c.
func Cross(a, b, c Vec) float64 {
	return float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0]))
}

func minus(a, b Vec) Vec { return Vec{a[0] - b[0], a[1] - b[1]} }

func dot(a, b Vec) float64 { return float64(a[0]*b[0]) + float64(a[1]*b[1]) }

// cross2 is the z component of the cross product of two vectors.
func cross2(a, b Vec) float64 { return float64(a[0]*b[1]) - float64(a[1]*b[0]) }

func lengthOf(a Vec) float64 { return math.Sqrt(dot(a, a)) }

func finite(v float64) bool { return v-v == 0 }

// Box is an axis-aligned box: least x, least y, most x, most y.
type Box [4]float64

// Nothing is the box that holds nothing.
var Nothing = Box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}

// With returns the box grown to hold a place.
func (b Box) With(p Vec) Box {
	return Box{min(b[0], p[0]), min(b[1], p[1]), max(b[2], p[0]), max(b[3], p[1])}
}

// Join returns the box that holds both.
func (b Box) Join(o Box) Box {
	return Box{min(b[0], o[0]), min(b[1], o[1]), max(b[2], o[2]), max(b[3], o[3])}
}

// grown returns the box with a margin on all sides.
func (b Box) grown(by float64) Box { return Box{b[0] - by, b[1] - by, b[2] + by, b[3] + by} }

// shares says whether two boxes have more than a border in common.
func (b Box) shares(o Box) bool { return b[0] < o[2] && o[0] < b[2] && b[1] < o[3] && o[1] < b[3] }

// meets says whether two boxes have a place in common, a border included.
func (b Box) meets(o Box) bool {
	return b[0] <= o[2] && o[0] <= b[2] && b[1] <= o[3] && o[1] <= b[3]
}
