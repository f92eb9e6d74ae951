package spatial

type vec = [3]float64

func vsub(a, b vec) vec { return vec{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

// dot rounds each product, so that the compiler may not fuse one into the sum.
func dot(a, b vec) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func cross(a, b vec) vec {
	return vec{
		float64(a[1]*b[2]) - float64(a[2]*b[1]),
		float64(a[2]*b[0]) - float64(a[0]*b[2]),
		float64(a[0]*b[1]) - float64(a[1]*b[0]),
	}
}

// along is a + t*d.
func along(a vec, t float64, d vec) vec {
	return vec{a[0] + float64(t*d[0]), a[1] + float64(t*d[1]), a[2] + float64(t*d[2])}
}

// nearTriangle gives the point of triangle abc closest to p, its squared distance and the feature it lies on, as Near
// numbers them.
//
// If p's foot on the plane is inside all three edges it is the answer, else the nearest of the three edges' points is;
// a triangle without area has edges only. Edges are walked from their lesser end, so that two triangles give an edge
// or a vertex they share the same distance to the last bit, and the tie goes to the lower index.
func nearTriangle(p, a, b, c vec) (distSq float64, q vec, feature uint8) {
	ab, ac, w := vsub(b, a), vsub(c, a), vsub(p, a)
	n := cross(ab, ac)
	if nn := dot(n, n); nn > 0 {
		gb, gc := dot(cross(w, ac), n), dot(cross(ab, w), n)
		if gb > 0 && gc > 0 && nn-gb-gc > 0 {
			h := dot(w, n)
			return float64(h*h) / nn, along(p, -h/nn, n), 0
		}
	}
	distSq, q, feature = nearSegment(p, b, c, 1, 5, 6)
	if d, r, f := nearSegment(p, c, a, 2, 6, 4); d < distSq {
		distSq, q, feature = d, r, f
	}
	if d, r, f := nearSegment(p, a, b, 3, 4, 5); d < distSq {
		distSq, q, feature = d, r, f
	}
	return distSq, q, feature
}

func nearSegment(p, a, b vec, edge, atA, atB uint8) (float64, vec, uint8) {
	if before(b, a) {
		a, b, atA, atB = b, a, atB, atA
	}
	e, w := vsub(b, a), vsub(p, a)
	s, ee := dot(w, e), dot(e, e)
	if s <= 0 {
		return dot(w, w), a, atA
	}
	if s >= ee {
		w = vsub(p, b)
		return dot(w, w), b, atB
	}
	t := s / ee
	d := along(w, -t, e)
	return dot(d, d), along(a, t, e), edge
}

func before(a, b vec) bool {
	if a[0] != b[0] {
		return a[0] < b[0]
	}
	if a[1] != b[1] {
		return a[1] < b[1]
	}
	return a[2] < b[2]
}
