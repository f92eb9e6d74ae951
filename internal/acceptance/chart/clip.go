package chart

// A convex polygon cut by lines. I. E. Sutherland and G. W. Hodgman, "Reentrant Polygon Clipping", Communications of the ACM 17(1),
// 1974, for one edge at a time; here both sides of the cut are kept.

// cut splits a convex polygon by the line from a to b: what lies to the left of it is appended to left, what lies to
// the right to right. A place on the line goes to both; a side without area may come out as fewer than three corners.
func cut(polygon []Vec, a, b Vec, left, right []Vec) (l, r []Vec) {
	if len(polygon) == 0 {
		return left, right
	}
	prev := polygon[len(polygon)-1]
	was := Cross(a, b, prev)
	for _, p := range polygon {
		is := Cross(a, b, p)
		if was > 0 && is < 0 || was < 0 && is > 0 {
			x := between(prev, p, was, is)
			left, right = append(left, x), append(right, x)
		}
		if is >= 0 {
			left = append(left, p)
		}
		if is <= 0 {
			right = append(right, p)
		}
		prev, was = p, is
	}
	return left, right
}

// between is where the line crosses the edge from p, at height hp over it, to q, at hq on its other side. It is the same
// to the bit from either end, so that the two sides of a cut meet.
func between(p, q Vec, hp, hq float64) Vec {
	if p[0] > q[0] || p[0] == q[0] && p[1] > q[1] {
		p, q, hp, hq = q, p, hq, hp
	}
	t := hp / (hp - hq)
	return Vec{p[0] + float64(t*(q[0]-p[0])), p[1] + float64(t*(q[1]-p[1]))}
}

// Area is a polygon's signed area, taken about its first corner: differences stay small where the polygon is.
func Area(polygon []Vec) float64 {
	sum := 0.0
	for i := 2; i < len(polygon); i++ {
		sum += Cross(polygon[0], polygon[i-1], polygon[i])
	}
	return float64(sum / 2) // rounded: a half of it must not be fused into a caller's sum
}

// clipper holds the scratch of clipping to a box.
type clipper struct{ x, y, off []Vec }

// areaIn is the area of a convex polygon, positive winding, within a box.
func (c *clipper) areaIn(polygon []Vec, b Box) float64 {
	corners := [5]Vec{{b[0], b[1]}, {b[2], b[1]}, {b[2], b[3]}, {b[0], b[3]}, {b[0], b[1]}}
	c.x = append(c.x[:0], polygon...)
	for k := range 4 {
		c.y, c.off = cut(c.x, corners[k], corners[k+1], c.y[:0], c.off[:0])
		c.x, c.y = c.y, c.x
	}
	return Area(c.x)
}

// overlap says whether two triangles, both winding positively, share an area: no edge of either has the other wholly on
// its right or on itself. Touching at an edge or corner is no overlap.
func overlap(p, q *[3]Vec) bool { return !parts(p, q) && !parts(q, p) }

// parts says whether an edge of p parts it from q.
func parts(p, q *[3]Vec) bool {
	for k := range 3 {
		a, b := p[k], p[(k+1)%3]
		if Cross(a, b, q[0]) <= 0 && Cross(a, b, q[1]) <= 0 && Cross(a, b, q[2]) <= 0 {
			return true
		}
	}
	return false
}

// partsFrom says whether an edge of triangle p parts it from a polygon. The polygon's own edges are not asked: those
// that cuts left may be as short as rounding, and then point anywhere.
func partsFrom(p []Vec, polygon []Vec) bool {
next:
	for k := range 3 {
		for _, c := range polygon {
			if Cross(p[k], p[(k+1)%3], c) > 0 {
				continue next
			}
		}
		return true
	}
	return false
}
