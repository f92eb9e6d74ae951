package spatial

// foot is where the point of a triangle closest to a query lies: on the feature that Near numbers, at the query plus at
// times the normal for the face, at the edge's start plus at times the edge for an edge.
type foot struct {
	distSq  float64
	at      float64
	feature uint8
}

// sliverSq is the squared sine of the angle at a below which a triangle's plane is not used to rule it out. Above, with
// corners that are float32 numbers below one, the plane's place is good to some 1e-12, which planeSlack covers.
const (
	sliverSq   = 1e-8
	planeSlack = 1e-16
)

// nearTriangle finds the point of triangle abc closest to p. It may answer any distance beyond limitSq where the triangle
// is farther than that.
//
// If p's foot on the plane is inside all three edges it is the answer; else the answer lies on one of the edges it is
// outside of (the others' outward normal cones cannot contain p). A triangle without area has edges only. Edges are
// walked from their lesser end, so that two triangles give an edge or a vertex they share the same distance to the last
// bit, and the tie goes to the lower index.
func nearTriangle(p, a, b, c vec, limitSq float64) foot {
	ab, ac, w := b.sub(a), c.sub(a), p.sub(a)
	n := ab.cross(ac)
	nn := n.dot(n)
	if !(nn > 0) {
		f := nearSegment(p, b, c, 1, 5, 6)
		if g := nearSegment(p, c, a, 2, 6, 4); g.distSq < f.distSq {
			f = g
		}
		if g := nearSegment(p, a, b, 3, 4, 5); g.distSq < f.distSq {
			f = g
		}
		return f
	}
	h := w.dot(n)
	planeSq := float64(h*h) / nn
	if planeSq > float64(limitSq*(1+1e-6))+planeSlack && nn > float64(sliverSq*float64(ab.dot(ab)*ac.dot(ac))) {
		return foot{distSq: planeSq}
	}
	gb, gc := w.cross(ac).dot(n), ab.cross(w).dot(n)
	ga := nn - gb - gc
	if ga > 0 && gb > 0 && gc > 0 {
		return foot{planeSq, -h / nn, 0}
	}
	f := foot{distSq: huge}
	if ga <= 0 {
		f = nearSegment(p, b, c, 1, 5, 6)
	}
	if gb <= 0 {
		if g := nearSegment(p, c, a, 2, 6, 4); g.distSq < f.distSq {
			f = g
		}
	}
	if gc <= 0 {
		if g := nearSegment(p, a, b, 3, 4, 5); g.distSq < f.distSq {
			f = g
		}
	}
	return f
}

const huge = 1e300

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
