// Package hull finds the convex hull of points in space: what a physics engine makes of a collision mesh.
//
// Points are first put on a grid of at most 2^20 steps along the longest side of their box (one to two micrometres on a
// metre); from there on every decision is made in whole numbers that fit 64 bits, so that it is exact and the same on every processor:
// faces that lie in one plane, points on edges and points on each other need no tolerance. The method is that of C. B.
// Barber, D. P. Dobkin & H. Huhdanpaa, "The Quickhull Algorithm for Convex Hulls", ACM TOMS 22(4), 1996.
//
// Units are those of the points. The package knows no file and no spec.
package hull

import (
	"cmp"
	"math"
	"slices"
)

// gridBits is how many bits a coordinate has on the grid. A plane's normal then has 41 bits and a point's height over it
// 63 with its sign: one bit more would not fit.
const gridBits = 20

// Hull is a convex hull with a volume.
type Hull struct {
	Pos    []float64 // 3 a corner
	Tri    []int32   // 3 a face, counter-clockwise from outside
	Volume float64
	Step   float64 // of the grid: corners are off by at most half of it along each axis

	planes [][4]float64 // by face: unit normal outward, and how far along it the face lies
}

// Of returns the hull of points, three floats each. ok is false where they have no volume: fewer than four, in one plane,
// thinner than two steps of the grid, or not finite.
func Of(points []float32) (h *Hull, ok bool) {
	q, ok := newQuick(points)
	if !ok || !q.first() {
		return nil, false
	}
	for len(q.todo) > 0 {
		f := q.todo[len(q.todo)-1]
		q.todo = q.todo[:len(q.todo)-1]
		if q.faces[f].gone || len(q.faces[f].above) == 0 {
			continue
		}
		if !q.grow(f) {
			return nil, false
		}
	}
	return q.hull(), true
}

// Depth is how far p lies inside: the distance to the nearest face's plane, below zero outside any of them.
func (h *Hull) Depth(p [3]float64) float64 {
	least := math.Inf(1)
	for i := range h.planes {
		n := &h.planes[i]
		d := n[3] - (float64(n[0]*p[0]) + float64(n[1]*p[1]) + float64(n[2]*p[2]))
		least = min(least, d)
	}
	return least
}

// flatSteps of the grid: what is thinner is a plane that rounding has roughened by up to one step on either side.
const flatSteps = 2

type cell [3]int64 // a place on the grid

func (a cell) minus(b cell) cell { return cell{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func cross(u, v cell) cell {
	return cell{u[1]*v[2] - u[2]*v[1], u[2]*v[0] - u[0]*v[2], u[0]*v[1] - u[1]*v[0]}
}

func dot(u, v cell) int64 { return u[0]*v[0] + u[1]*v[1] + u[2]*v[2] }

type face struct {
	v     [3]int32
	next  [3]int32 // face across the edge from v[k] to v[k+1]
	n     cell     // outward, not of unit length
	above []int32  // points that it sees, the farthest first
	gone  bool
}

type quick struct {
	lo    [3]float64
	step  float64
	at    []cell // distinct places
	faces []face
	todo  []int32
}

func newQuick(points []float32) (*quick, bool) {
	q := &quick{}
	lo, hi := [3]float64{math.Inf(1), math.Inf(1), math.Inf(1)}, [3]float64{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for i := 0; i+2 < len(points); i += 3 {
		for k := range 3 {
			x := float64(points[i+k])
			lo[k], hi[k] = min(lo[k], x), max(hi[k], x) // NaN stays NaN
		}
	}
	side := max(hi[0]-lo[0], hi[1]-lo[1], hi[2]-lo[2])
	if !(side > 0) || math.IsInf(side, 0) {
		return nil, false
	}
	_, power := math.Frexp(side) // side < 2^power: a step that is a power of two keeps what lies on a coarse grid on this one
	q.lo, q.step = lo, math.Ldexp(1, power-gridBits)
	for i := 0; i+2 < len(points); i += 3 {
		var c cell
		for k := range 3 {
			c[k] = int64(math.Round((float64(points[i+k]) - lo[k]) / q.step))
		}
		q.at = append(q.at, c)
	}
	slices.SortFunc(q.at, func(a, b cell) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]), cmp.Compare(a[2], b[2]))
	})
	q.at = slices.Compact(q.at)
	return q, true
}

// height of a point over a face, in units of the face's normal: above zero the face sees it.
func (q *quick) height(f *face, p int32) int64 { return dot(f.n, q.at[p].minus(q.at[f.v[0]])) }

func (q *quick) add(a, b, c int32) int32 {
	f := face{v: [3]int32{a, b, c}}
	f.n = cross(q.at[b].minus(q.at[a]), q.at[c].minus(q.at[a]))
	q.faces = append(q.faces, f)
	return int32(len(q.faces) - 1)
}

// first makes the first tetrahedron out of points that are far apart. It is not ok where all lie in one plane.
func (q *quick) first() bool {
	a, b := int32(0), int32(0)
	c, d := int32(-1), int32(-1)
	far := int64(0)
	for i := range q.at {
		w := q.at[i].minus(q.at[a])
		if l := dot(w, w); l > far {
			far, b = l, int32(i)
		}
	}
	ab, most := q.at[b].minus(q.at[a]), 0.0
	for i := range q.at {
		n := cross(ab, q.at[i].minus(q.at[a]))
		size := float64(float64(n[0])*float64(n[0])) + float64(float64(n[1])*float64(n[1])) + float64(float64(n[2])*float64(n[2]))
		if size > most {
			most, c = size, int32(i)
		}
	}
	if c < 0 {
		return false
	}
	n, high := cross(ab, q.at[c].minus(q.at[a])), int64(0)
	for i := range q.at {
		if h := dot(n, q.at[i].minus(q.at[a])); max(h, -h) > max(high, -high) {
			high, d = h, int32(i)
		}
	}
	length := math.Sqrt(float64(float64(n[0])*float64(n[0])) + float64(float64(n[1])*float64(n[1])) + float64(float64(n[2])*float64(n[2])))
	if d < 0 || math.Abs(float64(high)) <= flatSteps*length {
		return false
	}
	if high > 0 { // d must lie below the face a, b, c
		b, c = c, b
	}
	q.add(a, b, c)
	q.add(a, d, b)
	q.add(b, d, c)
	q.add(c, d, a)
	q.faces[0].next = [3]int32{1, 2, 3}
	q.faces[1].next = [3]int32{3, 2, 0}
	q.faces[2].next = [3]int32{1, 3, 0}
	q.faces[3].next = [3]int32{2, 1, 0}
	all := make([]int32, len(q.at))
	for i := range all {
		all[i] = int32(i)
	}
	q.share(all, []int32{0, 1, 2, 3})
	return true
}

// share gives each point to the first of the faces that sees it; what none sees lies inside.
func (q *quick) share(points, faces []int32) {
	highest := make([]int64, len(faces))
	for _, p := range points {
		for i, f := range faces {
			g := &q.faces[f]
			h := q.height(g, p)
			if h <= 0 {
				continue
			}
			g.above = append(g.above, p)
			if h > highest[i] {
				highest[i] = h
				last := len(g.above) - 1
				g.above[0], g.above[last] = g.above[last], g.above[0]
			}
			break
		}
	}
	for _, f := range faces {
		if len(q.faces[f].above) > 0 {
			q.todo = append(q.todo, f)
		}
	}
}

// rim is one edge of the border between what a point sees and what it does not.
type rim struct {
	from, to int32
	across   int32 // the face beyond, that does not see the point
}

// grow takes the farthest point that a face sees into the hull.
func (q *quick) grow(from int32) bool {
	p := q.faces[from].above[0]
	seen := []int32{from}
	q.faces[from].gone = true
	var border []rim
	var loose []int32
	for i := 0; i < len(seen); i++ {
		f := &q.faces[seen[i]]
		loose = append(loose, f.above...)
		f.above = nil
		for k := range 3 {
			g := f.next[k]
			switch {
			case q.faces[g].gone:
				continue
			case q.height(&q.faces[g], p) > 0:
				q.faces[g].gone = true
				seen = append(seen, g)
			default:
				border = append(border, rim{f.v[k], f.v[(k+1)%3], g})
			}
		}
	}
	return q.close(p, border, loose)
}

// close puts faces from every edge of a border to p. The border is one loop; it is not ok where it is not.
func (q *quick) close(p int32, border []rim, loose []int32) bool {
	slices.SortFunc(border, func(a, b rim) int { return cmp.Compare(a.from, b.from) })
	first := int32(len(q.faces))
	var fresh []int32
	for i, e := range border {
		if i > 0 && border[i-1].from == e.from {
			return false
		}
		fresh = append(fresh, q.add(e.from, e.to, p))
	}
	for i, e := range border {
		j, found := slices.BinarySearchFunc(border, e.to, func(r rim, v int32) int { return cmp.Compare(r.from, v) })
		if !found {
			return false
		}
		f := &q.faces[first+int32(i)]
		f.next[0], f.next[1] = e.across, first+int32(j)
		q.faces[first+int32(j)].next[2] = first + int32(i)
		g := &q.faces[e.across]
		for k := range 3 {
			if g.v[k] == e.to && g.v[(k+1)%3] == e.from {
				g.next[k] = first + int32(i)
			}
		}
	}
	q.share(slices.DeleteFunc(loose, func(v int32) bool { return v == p }), fresh)
	return true
}

func (q *quick) hull() *Hull {
	h := &Hull{Step: q.step}
	number := make([]int32, len(q.at))
	for i := range number {
		number[i] = -1
	}
	place := func(c cell) (p [3]float64) {
		for k := range 3 {
			p[k] = q.lo[k] + float64(float64(c[k])*q.step)
		}
		return p
	}
	var origin cell
	six := 0.0
	for i := range q.faces {
		f := &q.faces[i]
		if f.gone {
			continue
		}
		if len(h.Tri) == 0 {
			origin = q.at[f.v[0]]
		}
		for _, v := range f.v {
			if number[v] < 0 {
				number[v] = int32(len(h.Pos) / 3)
				p := place(q.at[v])
				h.Pos = append(h.Pos, p[:]...)
			}
			h.Tri = append(h.Tri, number[v])
		}
		six += float64(dot(f.n, q.at[f.v[0]].minus(origin)))
		n := [3]float64{float64(f.n[0]), float64(f.n[1]), float64(f.n[2])}
		l := math.Sqrt(float64(n[0]*n[0]) + float64(n[1]*n[1]) + float64(n[2]*n[2]))
		p := place(q.at[f.v[0]])
		u := [3]float64{n[0] / l, n[1] / l, n[2] / l}
		h.planes = append(h.planes, [4]float64{u[0], u[1], u[2], float64(u[0]*p[0]) + float64(u[1]*p[1]) + float64(u[2]*p[2])})
	}
	h.Volume = six / 6 * q.step * q.step * q.step
	return h
}
