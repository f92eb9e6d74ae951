package surface

import "proofhouse/internal/acceptance/spatial"

// samples is a triangle surface on which distances are asked at every vertex and taken as linear in between. Triangles
// with a long edge are cut into smaller ones for that; the surface's own arrays stay as they are and the pieces lie behind them.
type samples struct {
	pos []float32 // the surface's own
	tri []uint32

	more    []float32 // vertices behind pos: edge middles
	moreTri []uint32
	moreOf  []uint32 // the triangle each is a piece of
	cut     []uint64 // bit set: triangles replaced by pieces; nil for none
}

// maxPieces bounds how many triangles cutting may add: beyond it longer edges are let stand.
const maxPieces = 1 << 21

// newSamples cuts triangles until no edge is longer than edgeMax (metres). A middle depends on nothing but the ends of
// its edge, so neighbours are cut alike and no cracks open. tree is over pos and tri.
func newSamples(tree *spatial.Tree, pos []float32, tri []uint32, edgeMax float64, threads int) (*samples, float64) {
	for {
		s := &samples{pos: pos, tri: tri}
		if edgeMax <= 0 || s.refine(tree.LongEdges(edgeMax, threads), edgeMax) {
			return s, edgeMax
		}
		edgeMax *= 2
	}
}

func (s *samples) vertices() int { return (len(s.pos) + len(s.more)) / 3 }

// triangles counts the numbers that corners takes; it skips those that are cut.
func (s *samples) triangles() int { return (len(s.tri) + len(s.moreTri)) / 3 }

func (s *samples) point(v uint32) vec {
	if n := uint32(len(s.pos) / 3); v >= n {
		return at(s.more, v-n)
	}
	return at(s.pos, v)
}

// corners gives the vertices of triangle t, and false where it was cut into others.
func (s *samples) corners(t int) ([3]uint32, bool) {
	if n := len(s.tri) / 3; t >= n {
		return [3]uint32(s.moreTri[3*(t-n) : 3*(t-n)+3]), true
	}
	if s.cut != nil && s.cut[t>>6]>>(t&63)&1 != 0 {
		return [3]uint32{}, false
	}
	return [3]uint32(s.tri[3*t : 3*t+3]), true
}

// source is the surface's own triangle that t is or is a piece of.
func (s *samples) source(t int) int {
	if n := len(s.tri) / 3; t >= n {
		return int(s.moreOf[t-n])
	}
	return t
}

func (s *samples) refine(long []uint32, edgeMax float64) bool {
	r := refiner{samples: s, limitSq: edgeMax * edgeMax, middles: map[[2]uint32]uint32{}}
	if len(long) > 0 {
		s.cut = make([]uint64, (len(s.tri)/3+63)/64)
	}
	for _, t := range long {
		s.cut[t>>6] |= 1 << (t & 63)
		r.source = t
		if !r.split([3]uint32(s.tri[3*t:3*t+3]), 0) {
			return false
		}
	}
	return true
}

type refiner struct {
	*samples
	limitSq float64
	source  uint32
	middles map[[2]uint32]uint32
}

func (r *refiner) long(a, b vec) bool {
	d := sub(a, b)
	return dot(d, d) > r.limitSq
}

// split cuts v at the middle of each long edge, into two, three or four, and goes on with those.
func (r *refiner) split(v [3]uint32, depth int) bool {
	if len(r.moreTri) > 3*maxPieces {
		return false
	}
	var m [3]uint32 // middle of the edge from corner k to the next
	var is [3]bool
	count := 0
	for k := range 3 {
		if r.long(r.point(v[k]), r.point(v[(k+1)%3])) && depth < 24 {
			m[k], is[k] = r.middle(v[k], v[(k+1)%3]), true
			count++
		}
	}
	if count == 0 {
		r.moreTri = append(r.moreTri, v[0], v[1], v[2])
		r.moreOf = append(r.moreOf, r.source)
		return true
	}
	if count == 3 {
		return r.split([3]uint32{v[0], m[0], m[2]}, depth+1) && r.split([3]uint32{m[0], v[1], m[1]}, depth+1) &&
			r.split([3]uint32{m[2], m[1], v[2]}, depth+1) && r.split([3]uint32{m[0], m[1], m[2]}, depth+1)
	}
	for k := range 3 { // turn so that edge k is cut and the one before it is not
		j, l := (k+1)%3, (k+2)%3
		if !is[k] || is[l] {
			continue
		}
		if count == 1 {
			return r.split([3]uint32{v[k], m[k], v[l]}, depth+1) && r.split([3]uint32{m[k], v[j], v[l]}, depth+1)
		}
		return r.split([3]uint32{m[k], v[j], m[j]}, depth+1) && r.split([3]uint32{v[k], m[k], m[j]}, depth+1) &&
			r.split([3]uint32{v[k], m[j], v[l]}, depth+1)
	}
	return true
}

func (r *refiner) middle(a, b uint32) uint32 {
	key := [2]uint32{min(a, b), max(a, b)}
	if v, ok := r.middles[key]; ok {
		return v
	}
	m := narrow(scale(add(r.point(a), r.point(b)), 0.5))
	v := uint32(r.vertices())
	r.more = append(r.more, m[0], m[1], m[2])
	r.middles[key] = v
	return v
}
