package surface

// plane is a value that is linear over a triangle, by its corners.
type plane [3]float64

// shareAbove is the share of a triangle's area where f is above level: exact for f linear between the corners.
func shareAbove(f plane, level float64) float64 {
	a, b, c := f[0]-level, f[1]-level, f[2]-level
	// Sort descending.
	if a < b {
		a, b = b, a
	}
	if b < c {
		b, c = c, b
	}
	if a < b {
		a, b = b, a
	}
	switch {
	case c > 0:
		return 1
	case a <= 0:
		return 0
	case b <= 0: // one corner above: a similar triangle
		return float64(a*a) / float64((a-b)*(a-c))
	default: // one corner below
		return 1 - float64(c*c)/float64((c-a)*(c-b))
	}
}

// polygon is a convex piece of a triangle in the triangle's own coordinates: weights of the second and third corner.
type polygon struct {
	p [8][2]float64
	n int
}

func wholeTriangle() polygon { return polygon{p: [8][2]float64{{0, 0}, {1, 0}, {0, 1}}, n: 3} }

func (f plane) at(p [2]float64) float64 {
	return f[0] + float64(p[0]*(f[1]-f[0])) + float64(p[1]*(f[2]-f[0]))
}

// above keeps the part of a polygon where f is above level (Sutherland and Hodgman 1974, one plane).
func (g polygon) above(f plane, level float64) polygon {
	var out polygon
	for i := range g.n {
		a, b := g.p[i], g.p[(i+1)%g.n]
		fa, fb := f.at(a)-level, f.at(b)-level
		if fa > 0 {
			out.p[out.n] = a
			out.n++
		}
		if fa > 0 != (fb > 0) {
			t := fa / (fa - fb)
			out.p[out.n] = [2]float64{a[0] + float64(t*(b[0]-a[0])), a[1] + float64(t*(b[1]-a[1]))}
			out.n++
		}
	}
	return out
}

// share is the polygon's part of the triangle's area, and middle its centroid.
func (g polygon) share() (share float64, middle [2]float64) {
	for i := 1; i+1 < g.n; i++ {
		a, b, c := g.p[0], g.p[i], g.p[i+1]
		s := float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0]))
		share += s
		for k := range 2 {
			middle[k] += float64(s * (a[k] + b[k] + c[k]) / 3)
		}
	}
	if share > 0 {
		middle[0], middle[1] = middle[0]/share, middle[1]/share
	}
	return share, middle
}

func inTriangle(a, b, c vec, p [2]float64) vec {
	return along(along(a, p[0], sub(b, a)), p[1], sub(c, a))
}

func area(a, b, c vec) float64 { return 0.5 * length(cross(sub(b, a), sub(c, a))) }
