package surface

import "math"

// vec is a point or direction in metres. Products are converted before they are added: see the package comment.
type vec = [3]float64

func add(a, b vec) vec { return vec{a[0] + b[0], a[1] + b[1], a[2] + b[2]} }

func sub(a, b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// scale rounds its products, so that a caller may add to them.
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

// unit returns a at length 1, and a itself where it has no length.
func unit(a vec) vec {
	l := length(a)
	if !(l > 0) {
		return a
	}
	return scale(a, 1/l)
}

func at(pos []float32, v uint32) vec {
	p := pos[3*int(v) : 3*int(v)+3]
	return vec{float64(p[0]), float64(p[1]), float64(p[2])}
}

func narrow(a vec) [3]float32 { return [3]float32{float32(a[0]), float32(a[1]), float32(a[2])} }

func wide(a [3]float32) vec { return vec{float64(a[0]), float64(a[1]), float64(a[2])} }

func finite(p vec) bool {
	// A sum of squares is finite only if every part is; float32 values cannot overflow it.
	s := dot(p, p)
	return s-s == 0
}

func toMM(a vec) vec { return scale(a, 1000) }

// box is an axis-aligned bounding box; empty when lo is above hi.
type box struct{ lo, hi vec }

func emptyBox() box {
	inf := math.Inf(1)
	return box{vec{inf, inf, inf}, vec{-inf, -inf, -inf}}
}

func (b *box) add(p vec) {
	for k := range 3 {
		b.lo[k], b.hi[k] = min(b.lo[k], p[k]), max(b.hi[k], p[k])
	}
}

func (b *box) join(o box) {
	for k := range 3 {
		b.lo[k], b.hi[k] = min(b.lo[k], o.lo[k]), max(b.hi[k], o.hi[k])
	}
}

func (b box) empty() bool { return !(b.lo[0] <= b.hi[0]) }

func (b box) overlaps(o box) bool {
	for k := range 3 {
		if b.lo[k] > o.hi[k] || o.lo[k] > b.hi[k] {
			return false
		}
	}
	return true
}

func (b box) holds(p vec) bool {
	for k := range 3 {
		if p[k] < b.lo[k] || p[k] > b.hi[k] {
			return false
		}
	}
	return true
}

func (b box) diagonal() float64 {
	if b.empty() {
		return 0
	}
	return length(sub(b.hi, b.lo))
}

func (b box) middle() vec { return scale(add(b.lo, b.hi), 0.5) }
