package surface

import (
	"cmp"
	"context"
	"slices"
)

// Crossing is a pair of triangles that cross or touch other than along what they share.
type Crossing struct{ A, B int }

// Crossings finds every unordered pair of triangles of m that cross. Triangles that share a vertex (welded exactly)
// cross only if they meet elsewhere too; those that share an edge only if they lie on each other. Decisions are exact.
// Triangles without an area are left out. The triangle test is that of Guigue and Devillers, Fast and Robust
// Triangle-Triangle Overlap Test Using Orientation Predicates, Journal of Graphics Tools 8(1), 2003.
func Crossings(ctx context.Context, m Mesh, threads int) ([]Crossing, error) {
	c := newCrosser(m)
	found := make([][]Crossing, pieces(len(c.order)))
	err := eachPiece(ctx, len(c.order), threadsOf(threads), func(_, piece, first, end int) {
		for i := first; i < end; i++ {
			found[piece] = c.sweep(i, found[piece])
		}
	})
	var all []Crossing
	for _, f := range found {
		all = append(all, f...)
	}
	slices.SortFunc(all, func(x, y Crossing) int { return cmp.Or(cmp.Compare(x.A, y.A), cmp.Compare(x.B, y.B)) })
	return all, err
}

type crosser struct {
	m     Mesh
	same  []uint32
	order []int32 // triangles by the lower end of their box in X
	boxes []box   // in that order
}

func newCrosser(m Mesh) *crosser {
	c := &crosser{m: m, same: weld(m.Pos)}
	var keyed []int32
	bounds := make([]box, m.Triangles())
	for t := range m.Triangles() {
		q := c.corners(t)
		if n := cross(sub(q[1], q[0]), sub(q[2], q[0])); !(dot(n, n) > 0) || !finite(q[0]) || !finite(q[1]) || !finite(q[2]) {
			continue
		}
		b := emptyBox()
		for _, p := range q {
			b.add(p)
		}
		bounds[t] = b
		keyed = append(keyed, int32(t))
	}
	slices.SortStableFunc(keyed, func(x, y int32) int { return cmp.Compare(bounds[x].lo[0], bounds[y].lo[0]) })
	c.order = keyed
	for _, t := range keyed {
		c.boxes = append(c.boxes, bounds[t])
	}
	return c
}

func (c *crosser) corners(t int) [3]vec {
	return [3]vec{at(c.m.Pos, c.m.Tri[3*t]), at(c.m.Pos, c.m.Tri[3*t+1]), at(c.m.Pos, c.m.Tri[3*t+2])}
}

// sweep tests triangle order[i] against those that begin within its extent in X.
func (c *crosser) sweep(i int, out []Crossing) []Crossing {
	b := &c.boxes[i]
	for j := i + 1; j < len(c.order) && c.boxes[j].lo[0] <= b.hi[0]; j++ {
		o := &c.boxes[j]
		if o.lo[1] > b.hi[1] || b.lo[1] > o.hi[1] || o.lo[2] > b.hi[2] || b.lo[2] > o.hi[2] {
			continue
		}
		x, y := int(min(c.order[i], c.order[j])), int(max(c.order[i], c.order[j]))
		if c.cross(x, y) {
			out = append(out, Crossing{x, y})
		}
	}
	return out
}

func (c *crosser) cross(x, y int) bool {
	p, q := c.corners(x), c.corners(y)
	var shared [][2]int
	for i := range 3 {
		for j := range 3 {
			if c.same[c.m.Tri[3*x+i]] == c.same[c.m.Tri[3*y+j]] {
				shared = append(shared, [2]int{i, j})
			}
		}
	}
	switch len(shared) {
	case 0:
		return overlap(p, q)
	case 1:
		i, j := shared[0][0], shared[0][1]
		return segmentMeets(p[(i+1)%3], p[(i+2)%3], q) || segmentMeets(q[(j+1)%3], q[(j+2)%3], p)
	case 2:
		i, j := 3-shared[0][0]-shared[1][0], 3-shared[0][1]-shared[1][1]
		if orient(p[0], p[1], p[2], q[j]) != 0 {
			return false
		}
		k := axisOf(p)
		a, b := flat(p[shared[0][0]], k), flat(p[shared[1][0]], k)
		return turn(a, b, flat(p[i], k))*turn(a, b, flat(q[j], k)) > 0
	}
	return true // the same triangle twice
}

// overlap is the test of Guigue and Devillers for triangles p and q, touching included.
func overlap(p, q [3]vec) bool {
	var s, t [3]int
	for k := range 3 {
		s[k] = orient(q[0], q[1], q[2], p[k])
	}
	if s[0] != 0 && s[0] == s[1] && s[1] == s[2] {
		return false
	}
	for k := range 3 {
		t[k] = orient(p[0], p[1], p[2], q[k])
	}
	if t[0] != 0 && t[0] == t[1] && t[1] == t[2] {
		return false
	}
	if s == [3]int{} {
		return flatOverlap(p, q)
	}
	p, turned := alone(p, s)
	if turned { // keep the first corner of p above q's plane
		q[1], q[2] = q[2], q[1]
		t[1], t[2] = t[2], t[1]
	}
	q, turned = alone(q, t)
	if turned {
		p[1], p[2] = p[2], p[1]
	}
	// The line where the planes meet cuts p in [i, j] and q in [k, l]: they overlap if k is not beyond j and i not beyond l.
	return orient(p[0], p[1], q[0], q[1]) <= 0 && orient(p[0], p[2], q[2], q[0]) <= 0
}

// alone turns a triangle's corners so that the first is alone on its side of the other's plane, and says whether that side is the lower one.
func alone(p [3]vec, s [3]int) ([3]vec, bool) {
	first, low := 0, false
	switch {
	case s[0] != 0 && s[1] != s[0] && s[2] != s[0]:
		first, low = 0, s[0] < 0
	case s[1] != 0 && s[0] != s[1] && s[2] != s[1]:
		first, low = 1, s[1] < 0
	case s[2] != 0 && s[0] != s[2] && s[1] != s[2]:
		first, low = 2, s[2] < 0
	default: // two on one side, the third on the plane: it counts as the other side
		for k := range 3 {
			if s[k] == 0 {
				first, low = k, s[(k+1)%3] > 0
			}
		}
	}
	return [3]vec{p[first], p[(first+1)%3], p[(first+2)%3]}, low
}

// segmentMeets says whether the closed segment a-b meets the closed triangle t.
func segmentMeets(a, b vec, t [3]vec) bool {
	sa, sb := orient(t[0], t[1], t[2], a), orient(t[0], t[1], t[2], b)
	if sa != 0 && sa == sb {
		return false
	}
	if sa == 0 && sb == 0 {
		k := axisOf(t)
		return flatMeets(flat(a, k), flat(b, k), [3]point2{flat(t[0], k), flat(t[1], k), flat(t[2], k)})
	}
	x, y, z := orient(a, b, t[0], t[1]), orient(a, b, t[1], t[2]), orient(a, b, t[2], t[0])
	return x >= 0 && y >= 0 && z >= 0 || x <= 0 && y <= 0 && z <= 0
}

type point2 = [2]float64

// axisOf is the axis along which a triangle's normal is longest: leaving it out keeps the triangle's area.
func axisOf(t [3]vec) int {
	n := cross(sub(t[1], t[0]), sub(t[2], t[0]))
	k := 0
	for i := 1; i < 3; i++ {
		if n[i]*n[i] > n[k]*n[k] {
			k = i
		}
	}
	return k
}

func flat(p vec, k int) point2 { return point2{p[(k+1)%3], p[(k+2)%3]} }

func flatOverlap(p, q [3]vec) bool {
	k := axisOf(p)
	a := [3]point2{flat(p[0], k), flat(p[1], k), flat(p[2], k)}
	b := [3]point2{flat(q[0], k), flat(q[1], k), flat(q[2], k)}
	for i := range 3 {
		if flatMeets(a[i], a[(i+1)%3], b) {
			return true
		}
	}
	return within(b[0], a)
}

// flatMeets says whether the closed segment a-b meets the closed triangle t in the plane.
func flatMeets(a, b point2, t [3]point2) bool {
	for i := range 3 {
		if segmentsMeet(a, b, t[i], t[(i+1)%3]) {
			return true
		}
	}
	return within(a, t)
}

func within(p point2, t [3]point2) bool {
	x, y, z := turn(t[0], t[1], p), turn(t[1], t[2], p), turn(t[2], t[0], p)
	return x >= 0 && y >= 0 && z >= 0 || x <= 0 && y <= 0 && z <= 0
}

func segmentsMeet(a, b, c, d point2) bool {
	s1, s2, s3, s4 := turn(a, b, c), turn(a, b, d), turn(c, d, a), turn(c, d, b)
	if s1*s2 < 0 && s3*s4 < 0 {
		return true
	}
	on := func(s int, a, b, p point2) bool {
		return s == 0 && min(a[0], b[0]) <= p[0] && p[0] <= max(a[0], b[0]) && min(a[1], b[1]) <= p[1] && p[1] <= max(a[1], b[1])
	}
	return on(s1, a, b, c) || on(s2, a, b, d) || on(s3, c, d, a) || on(s4, c, d, b)
}
