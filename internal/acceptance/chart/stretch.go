package chart

import "math"

// Stretch of the map from a layout to the surface: P. V. Sander, J. Snyder, S. J. Gortler, H. Hoppe, "Texture Mapping
// Progressive Meshes", SIGGRAPH 2001, section 3.

// Singular holds the squares of the two singular values of one triangle's map from layout to surface: the largest and
// the smallest length, squared, that a unit of layout has on the surface, in square metres per square unit of layout.
// Collapsed says that the triangle has no area in the layout: its stretch is infinite.
type Singular struct {
	MaxSq, MinSq float64
	Collapsed    bool
}

// flat is how thin a triangle's image may be before its shape is rounding: a float32 coordinate of size m is known to
// m·2⁻²⁴ and an edge carries two such errors, so heights under m·2⁻²² are noise (as for areas on the surface).
const flat = 1.0 / (1 << 22)

// SingularValues returns the stretch of a triangle. uv is its place in the layout as stored, size the size of a tile in
// whatever unit the layout is to be measured in; pos is in metres.
//
// With S_s and S_t the derivatives of the surface by the layout's axes, a = S_s·S_s, b = S_s·S_t, c = S_t·S_t, the squares are
// ((a+c) ± √((a−c)² + 4b²))/2; the smaller is computed from their product ac − b², which is the square of the ratio of
// areas and does not cancel.
func SingularValues(uv [3]Vec, size Vec, pos [3][3]float64) Singular {
	var p [3]Vec
	far, longest := 0.0, 0.0
	for k := range 3 {
		p[k] = Vec{float64(uv[k][0] * size[0]), float64(uv[k][1] * size[1])}
		far = math.Max(far, math.Max(math.Abs(p[k][0]), math.Abs(p[k][1])))
	}
	for k := range 3 {
		longest = math.Max(longest, lengthOf(minus(p[k], p[(k+1)%3])))
	}
	area2 := Cross(p[0], p[1], p[2])
	if !(math.Abs(area2) > float64(far*flat)*longest) {
		return Singular{Collapsed: true}
	}
	var a, b, c, crossSq float64
	var ss, st [3]float64
	for k := range 3 {
		u, v := pos[1][k]-pos[0][k], pos[2][k]-pos[0][k]
		ss[k] = (float64(u*(p[2][1]-p[0][1])) - float64(v*(p[1][1]-p[0][1]))) / area2
		st[k] = (float64(v*(p[1][0]-p[0][0])) - float64(u*(p[2][0]-p[0][0]))) / area2
	}
	for k := range 3 {
		a += float64(ss[k] * ss[k])
		b += float64(ss[k] * st[k])
		c += float64(st[k] * st[k])
		x := float64(ss[k]*st[(k+1)%3]) - float64(ss[(k+1)%3]*st[k])
		crossSq += float64(x * x)
	}
	root := math.Sqrt(float64((a-c)*(a-c)) + float64(4*float64(b*b)))
	out := Singular{MaxSq: (a + c + root) / 2}
	if out.MaxSq > 0 {
		out.MinSq = crossSq / out.MaxSq
	}
	return out
}

// L2Sq is the square of the paper's L²: the mean of the two squares.
func (s Singular) L2Sq() float64 { return (s.MaxSq + s.MinSq) / 2 }

// Anisotropic says whether the larger singular value is more than ratio times the smaller.
func (s Singular) Anisotropic(ratio float64) bool {
	return s.Collapsed || s.MaxSq > float64(ratio*ratio)*s.MinSq
}
