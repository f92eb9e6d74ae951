package spatial

import (
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// Farthest is the largest distance from one surface to another (the one-sided Hausdorff distance: N. Aspert,
// D. Santa-Cruz & T. Ebrahimi, "MESH: Measuring Errors between Surfaces using the Hausdorff Distance", ICME 2002).
type Farthest struct {
	Vertex     int32   // of the query surface, the farthest one; Miss where there is none
	VertexDist float32 // metres: exact
	Tri        int32   // triangle of the query surface that Point lies on
	Point      [3]float32
	Dist       float32 // metres, at Point: the largest found over faces, at least VertexDist
	AtMost     float32 // metres: no point of the query surface is farther
}

// Farthest finds the point of query's surface farthest from t's. Over vertices it is exact. Faces are halved at their
// longest edge until no piece can hold a point farther than the farthest found on its triangle or at any vertex by more
// than tolerance (metres, above zero), at most 24 times or into 16384 pieces; AtMost says what is left open.
//
// Subtrees and pieces are left aside by the bounds that Farther uses. Of equally far vertices the lowest is named, of
// equally far triangles the lowest.
func (t *Tree) Farthest(query *Tree, tolerance float32, threads int) Farthest {
	out := Farthest{Vertex: Miss, Tri: Miss}
	if query.count == 0 || t.count == 0 {
		return out
	}
	out.Vertex, out.VertexDist = t.farthestVertex(query, threads)
	v := int(out.Vertex)
	base := float64(out.VertexDist)
	tol := float64(more(tolerance, out.VertexDist*0x1p-20))
	tol = max(tol, 1e-30)
	out.Dist, out.AtMost, out.Point = out.VertexDist, out.VertexDist, [3]float32(query.pos[3*v:3*v+3])
	var mu sync.Mutex
	roots := query.subtrees(256)
	var found []piece
	atMost := base
	batch(len(roots), 1, threads, func(begin, _ int) {
		r := refiner{bounder: bounder{t: t, walk: t.newNearWalk()}, query: query, base: base, tol: tol}
		r.atMost = base
		r.visit(roots[begin])
		mu.Lock()
		defer mu.Unlock()
		found = append(found, r.found...)
		atMost = max(atMost, r.atMost)
	})
	slices.SortFunc(found, func(a, b piece) int { return int(a.tri) - int(b.tri) })
	best := base
	for _, f := range found {
		if f.dist > best {
			best, out.Tri, out.Point = f.dist, f.tri, [3]float32{float32(f.at.x), float32(f.at.y), float32(f.at.z)}
		}
	}
	if out.Tri == Miss {
		out.Tri = query.firstTriangleOf(uint32(v))
	}
	out.Dist = float32(best)
	out.AtMost = upward(max(atMost, best))
	return out
}

// upward is x as a float32 not below it.
func upward(x float64) float32 {
	f := float32(x)
	if float64(f) < x {
		f = math.Nextafter32(f, inf32)
	}
	return f
}

func (t *Tree) firstTriangleOf(v uint32) int32 {
	return int32(slices.Index(t.tri, v) / 3)
}

// farthestVertex is exact: a subtree is left aside only if its bound is below the farthest vertex found so far, and
// that may come from any thread, since it changes what is asked, not the answer.
func (t *Tree) farthestVertex(query *Tree, threads int) (int32, float32) {
	var far atomic.Uint64 // bits of the largest distance so far, which is not negative
	raise := func(d float64) {
		for {
			old := far.Load()
			if d <= math.Float64frombits(old) || far.CompareAndSwap(old, math.Float64bits(d)) {
				return
			}
		}
	}
	var mu sync.Mutex
	best, bestDist := int32(Miss), float32(-1)
	roots := query.subtrees(64)
	batch(len(roots), 1, threads, func(begin, _ int) {
		b := bounder{t: t, walk: t.newNearWalk()}
		vertex, dist := int32(Miss), float32(-1)
		var visit func(s subtree)
		visit = func(s subtree) {
			if s.ref&leafBit != 0 {
				l := &query.leaves[s.ref&^leafBit]
				for lane := 0; lane < lanes && !l.repeats(lane); lane++ {
					for _, v := range query.tri[3*int(l.id[lane]) : 3*int(l.id[lane])+3] {
						var n Near
						b.walk.find([3]float32(query.pos[3*int(v):3*int(v)+3]), math.Inf(1), &n)
						raise(float64(n.Dist))
						if n.Dist > dist || n.Dist == dist && int32(v) < vertex {
							vertex, dist = int32(v), n.Dist
						}
					}
				}
				return
			}
			children := query.children(s.ref)
			bounds := make([]float64, len(children))
			order := make([]int, len(children))
			for i := range children {
				bounds[i], order[i] = b.of(&children[i].box), i
			}
			slices.SortFunc(order, func(i, j int) int {
				if bounds[i] != bounds[j] {
					if bounds[i] > bounds[j] {
						return -1
					}
					return 1
				}
				return i - j
			})
			for _, i := range order {
				// Distances are reported in float32, which may round up.
				if float64(bounds[i]*(1+0x1p-22)) >= math.Float64frombits(far.Load()) {
					visit(children[i])
				}
			}
		}
		visit(roots[begin])
		mu.Lock()
		defer mu.Unlock()
		if dist > bestDist || dist == bestDist && vertex < best {
			best, bestDist = vertex, dist
		}
	})
	return best, bestDist
}

// piece is the farthest point found on a triangle.
type piece struct {
	tri  int32
	dist float64
	at   vec
}

// refiner searches faces. Its thresholds come from vertices and from the triangle at hand alone, so that the result does
// not depend on the order of the search.
type refiner struct {
	bounder
	query     *Tree
	base, tol float64
	found     []piece
	atMost    float64
	left      int // pieces that the face at hand may still be cut into
}

// deepestCut is how often a face is halved at most, mostPieces into how many pieces. A face that bends round a finely
// cut surface would need more where the tolerance is far below the distance.
const (
	deepestCut = 24
	mostPieces = 1 << 14
)

func (r *refiner) visit(s subtree) {
	if bound := r.of(&s.box); bound <= r.base+r.tol {
		r.atMost = max(r.atMost, bound)
		return
	}
	if s.ref&leafBit == 0 {
		for _, c := range r.query.children(s.ref) {
			r.visit(c)
		}
		return
	}
	l := &r.query.leaves[s.ref&^leafBit]
	for lane := 0; lane < lanes && !l.repeats(lane); lane++ {
		p, q, s := r.query.triangle(int(l.id[lane]))
		best := piece{tri: l.id[lane], dist: r.base}
		r.left = mostPieces
		r.cut([3]vec{vecOf(*p), vecOf(*q), vecOf(*s)}, 0, &best)
		if best.dist > r.base {
			r.found = append(r.found, best)
		}
	}
}

func (r *refiner) cut(c [3]vec, depth int, best *piece) {
	mid := vec{(c[0].x + c[1].x + c[2].x) / 3, (c[0].y + c[1].y + c[2].y) / 3, (c[0].z + c[1].z + c[2].z) / 3}
	d, back := r.at(mid)
	if d > best.dist {
		best.dist, best.at = d, mid
	}
	radius := 0.0
	for _, p := range c {
		e := p.sub(mid)
		radius = max(radius, math.Sqrt(e.dot(e)))
	}
	slack := float64(room * (d + radius + math.Abs(mid.x) + math.Abs(mid.y) + math.Abs(mid.z)))
	bound := min(d+radius+back, r.ofCorners(c[:]...)) + slack
	if bound <= best.dist+r.tol || depth == deepestCut || r.left <= 0 {
		r.atMost = max(r.atMost, bound)
		return
	}
	r.left--
	k := longestEdge(&c)
	a, b, o := c[k], c[(k+1)%3], c[(k+2)%3]
	m := halfway(a, b)
	r.cut([3]vec{a, m, o}, depth+1, best)
	r.cut([3]vec{m, b, o}, depth+1, best)
}

// longestEdge is the corner at which the longest edge begins.
func longestEdge(c *[3]vec) int {
	at, top := 0, -1.0
	for k := range 3 {
		e := c[(k+1)%3].sub(c[k])
		if l := e.dot(e); l > top {
			at, top = k, l
		}
	}
	return at
}

// halfway cannot overflow.
func halfway(a, b vec) vec {
	return vec{float64(a.x/2) + float64(b.x/2), float64(a.y/2) + float64(b.y/2), float64(a.z/2) + float64(b.z/2)}
}
