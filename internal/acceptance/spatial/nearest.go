package spatial

import "math"

// foot is where the point of a triangle closest to a query lies: on the feature that Near numbers, at the query plus at
// times the normal for the face, at the edge's start plus at times the edge for an edge.
type foot struct {
	distSq  float64
	at      float64
	feature uint8
}

// Corners are float32 numbers, so that edges are exact in float64, or nearly, and a triangle's normal is wrong by no more
// than some 2^-52 of the product of its edges.
const (
	// flatSq is the squared sine of the angle at a below which a triangle counts as its edges alone. Above, its normal's
	// direction is good to 1e-8; below, its height is 1e-8 of its length.
	flatSq = 1e-16
	// thinSq is that below which its plane is not used to rule it out. Above, with corners below one, the plane's place is
	// good to some 1e-12, which planeSlack covers.
	thinSq     = 1e-8
	planeSlack = 1e-16
	// closeSq is the squared share of a triangle's reach from p below which a distance is not known to seven digits.
	closeSq = 1e-9
)

// nearTriangle finds the point of triangle abc closest to p. It may answer any distance beyond limitSq where the triangle
// is farther than that.
//
// If p's foot on the plane is inside all three edges it is the answer; else the answer lies on one of the edges it is
// outside of (the others' outward normal cones cannot contain p). Edges are walked from their lesser end, so that two
// triangles give an edge or a vertex they share the same distance to the last bit, and the tie goes to the lower index.
//
// A distance that rounding may have made too small is raised to that of the triangle's box, so that no box around a
// triangle is ever farther than the triangle.
func nearTriangle(p, a, b, c vec, limitSq float64) foot {
	ab, ac, w := b.sub(a), c.sub(a), p.sub(a)
	n := ab.cross(ac)
	nn, abSq, acSq := n.dot(n), ab.dot(ab), ac.dot(ac)
	edgesSq := float64(abSq * acSq)
	thin := !(nn > float64(thinSq*edgesSq))
	h := w.dot(n)
	var f foot
	if planeSq := float64(h*h) / nn; !thin && planeSq > float64(limitSq*(1+1e-6))+planeSlack {
		return foot{distSq: planeSq}
	} else if nn > float64(flatSq*edgesSq) {
		gb, gc := w.cross(ac).dot(n), ab.cross(w).dot(n)
		ga := nn - gb - gc
		if ga > 0 && gb > 0 && gc > 0 {
			f = foot{planeSq, -h / nn, 0}
		} else {
			f = nearEdges(p, a, b, c, ga <= 0, gb <= 0, gc <= 0)
		}
	} else {
		f = nearEdges(p, a, b, c, true, true, true)
	}
	if thin || !(f.distSq > float64(closeSq*(w.dot(w)+abSq+acSq))) {
		f.distSq = max(f.distSq, cornersSq(p, a, b, c))
	}
	return f
}

// nearEdges is the closest point of the edges opposite to a, b and c that are asked for.
func nearEdges(p, a, b, c vec, ofA, ofB, ofC bool) foot {
	f := foot{distSq: math.Inf(1)}
	if ofA {
		f = nearSegment(p, b, c, 1, 5, 6)
	}
	if ofB {
		if g := nearSegment(p, c, a, 2, 6, 4); g.distSq < f.distSq {
			f = g
		}
	}
	if ofC {
		if g := nearSegment(p, a, b, 3, 4, 5); g.distSq < f.distSq {
			f = g
		}
	}
	return f
}

// cornersSq is the squared distance from p to the triangle's box.
func cornersSq(p, a, b, c vec) float64 {
	x := max(min(a.x, b.x, c.x)-p.x, p.x-max(a.x, b.x, c.x), 0)
	y := max(min(a.y, b.y, c.y)-p.y, p.y-max(a.y, b.y, c.y), 0)
	z := max(min(a.z, b.z, c.z)-p.z, p.z-max(a.z, b.z, c.z), 0)
	return vec{x, y, z}.dot(vec{x, y, z})
}

func nearSegment(p, a, b vec, edge, atA, atB uint8) foot {
	if b.before(a) {
		a, b, atA, atB = b, a, atB, atA
	}
	e, w := b.sub(a), p.sub(a)
	s, ee := w.dot(e), e.dot(e)
	if s <= 0 {
		return foot{w.dot(w), 0, atA}
	}
	if s >= ee {
		w = p.sub(b)
		return foot{w.dot(w), 0, atB}
	}
	t := s / ee
	d := w.along(-t, e)
	return foot{d.dot(d), t, edge}
}

func (a vec) before(b vec) bool {
	if a.x != b.x {
		return a.x < b.x
	}
	if a.y != b.y {
		return a.y < b.y
	}
	return a.z < b.z
}

// point is the place that f describes on triangle abc, seen from p.
func (f foot) point(p, a, b, c vec) vec {
	switch f.feature {
	case 0:
		return p.along(f.at, b.sub(a).cross(c.sub(a)))
	case 1:
		a = c
	case 2:
		b = c
	case 4:
		return a
	case 5:
		return b
	case 6:
		return c
	}
	if b.before(a) {
		a, b = b, a
	}
	return a.along(f.at, b.sub(a))
}
