package surface

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spatial"
)

// tightener finds the largest distance over triangles, between their samples too, to within slack: branch and bound
// as in Tang, Lee and Kim, Interactive Hausdorff Distance Computation for General Polygonal Models, ACM TOG 28(3), 2009.
//
// Over a triangle the distance to a surface is at most, for each triangle T of that surface, the largest of the
// corners' distances to T, since the distance to a convex set is convex; and at most the largest corner value plus the
// radius at which balls about the corners cover the triangle. Triangles that may hold more than the best so far are cut in four and asked again.
type tightener struct {
	tree    *spatial.Tree
	pos     []float32 // of the tree's surface
	tri     []uint32
	value   func(q vec, near *spatial.Near) float64 // -Inf: does not count
	threads int
	best    float64
	slack   float64
	left    float64 // slack that could not be worked off
	todo    []candidate
	offers  int
}

type candidate struct {
	c     [3]vec
	f     plane
	near  [3]int32 // triangle of the tree's surface nearest to each corner
	bound float64
}

// coverShare of the longest edge is the radius at which balls about a triangle's corners cover it: 1/sqrt(3), reached by the even-sided one (Jung's theorem in the plane).
const coverShare = 0.5773502691896258

// maxOffers and maxTight bound the work where half of a surface lies at nearly the largest distance, as with a sculpt
// that is an offset copy: what could not be looked at is told as slack.
const (
	maxOffers = 150_000
	maxTight  = 12_000
)

// piece says what the samples of one piece of work allow at most.
type pieceBound struct {
	piece int
	bound float64
}

// offerPieces goes through the pieces that may hold more than the best, the most promising first.
func (m *tightener) offerPieces(n int, bound func(piece int) float64, offer func(piece, first, end int)) {
	var order []pieceBound
	for i := range pieces(n) {
		if b := bound(i); b > m.best+m.slack {
			order = append(order, pieceBound{i, b})
		}
	}
	slices.SortStableFunc(order, func(a, b pieceBound) int {
		switch {
		case a.bound > b.bound:
			return -1
		case a.bound < b.bound:
			return 1
		}
		return 0
	})
	for _, o := range order {
		if m.offers > maxOffers {
			m.left = max(m.left, o.bound-m.best)
			return
		}
		offer(o.piece, o.piece*pieceSize, min((o.piece+1)*pieceSize, n))
	}
}

// below says that a triangle with corner values f cannot hold more than the best, no edge being longer than edge.
func (m *tightener) below(f plane, edge float64) bool {
	return max(f[0], f[1], f[2])+float64(edge*coverShare) <= m.best+m.slack
}

func (m *tightener) offer(c candidate) {
	if max(c.f[0], c.f[1], c.f[2])+float64(longest(c.c[0], c.c[1], c.c[2])*coverShare) <= m.best+m.slack {
		return
	}
	m.offers++
	if c.bound = m.bound(&c); c.bound > m.best+m.slack {
		m.todo = append(m.todo, c)
	}
}

// run returns the largest value found and how much more there may be.
func (m *tightener) run(ctx context.Context) (best, slack float64, err error) {
	const rounds = 16 // edges are then 65,536 times shorter
	for round := 0; len(m.todo) > 0; round++ {
		if len(m.todo) > maxTight || round == rounds {
			for i := range m.todo {
				m.left = max(m.left, m.todo[i].bound-m.best)
			}
			break
		}
		if err := m.cut(ctx); err != nil {
			return m.best, m.slack, err
		}
	}
	return m.best, max(m.slack, m.left), nil
}

func (m *tightener) bound(c *candidate) float64 {
	b := max(c.f[0], c.f[1], c.f[2]) + float64(longest(c.c[0], c.c[1], c.c[2])*coverShare)
	for k, t := range c.near {
		if t == spatial.Miss || k > 0 && t == c.near[0] || k > 1 && t == c.near[1] {
			continue
		}
		v := m.tri[3*t : 3*t+3]
		x, y, z := at(m.pos, v[0]), at(m.pos, v[1]), at(m.pos, v[2])
		b = min(b, max(distance(c.c[0], x, y, z), distance(c.c[1], x, y, z), distance(c.c[2], x, y, z)))
	}
	return b
}

// cut replaces the candidates by four each, asks for the values at the edges' middles, and keeps those that may hold
// more than the best.
func (m *tightener) cut(ctx context.Context) error {
	points := make([]float32, 0, 9*len(m.todo))
	for i := range m.todo {
		for k := range 3 {
			n := narrow(scale(add(m.todo[i].c[k], m.todo[i].c[(k+1)%3]), 0.5))
			points = append(points, n[0], n[1], n[2])
		}
	}
	near := make([]spatial.Near, len(points)/3)
	m.tree.Closest(points, float32(math.Inf(1)), near, m.threads)
	if ctx.Err() != nil {
		return ctx.Err()
	}
	parts := make([]candidate, 0, 4*len(m.todo))
	for i := range m.todo {
		var q [3]vec
		var f plane
		var t [3]int32
		for k := range 3 {
			q[k], t[k] = at(points, uint32(3*i+k)), near[3*i+k].Tri
			f[k] = m.value(q[k], &near[3*i+k])
			m.best = max(m.best, f[k])
		}
		c, g, s := m.todo[i].c, m.todo[i].f, m.todo[i].near
		parts = append(parts,
			candidate{c: [3]vec{c[0], q[0], q[2]}, f: plane{g[0], f[0], f[2]}, near: [3]int32{s[0], t[0], t[2]}},
			candidate{c: [3]vec{q[0], c[1], q[1]}, f: plane{f[0], g[1], f[1]}, near: [3]int32{t[0], s[1], t[1]}},
			candidate{c: [3]vec{q[2], q[1], c[2]}, f: plane{f[2], f[1], g[2]}, near: [3]int32{t[2], t[1], s[2]}},
			candidate{c: q, f: f, near: t})
	}
	m.todo = m.todo[:0]
	for i := range parts {
		m.offer(parts[i])
	}
	return nil
}

// distance is that of point p to triangle abc (Ericson, Real-Time Collision Detection, 2005, section 5.1.5, by projection and edges).
func distance(p, a, b, c vec) float64 {
	ab, ac, ap := sub(b, a), sub(c, a), sub(p, a)
	n := cross(ab, ac)
	if nn := dot(n, n); nn > 0 {
		u, v := dot(cross(ap, ac), n), dot(cross(ab, ap), n)
		if u >= 0 && v >= 0 && u+v <= nn {
			return math.Abs(dot(ap, n)) / math.Sqrt(nn)
		}
	}
	return math.Sqrt(min(toEdgeSq(p, a, b), toEdgeSq(p, b, c), toEdgeSq(p, c, a)))
}

func toEdgeSq(p, a, b vec) float64 {
	ab, ap := sub(b, a), sub(p, a)
	t := 0.0
	if l := dot(ab, ab); l > 0 {
		t = min(max(dot(ap, ab)/l, 0), 1)
	}
	d := along(ap, -t, ab)
	return dot(d, d)
}
