package topo

import (
	"context"

	"proofhouse/internal/acceptance/spatial"
)

// Input is a surface and what is known of it beside its shape. Slices that are nil say nothing.
type Input struct {
	Pos []float32 // 3 a vertex, metres
	Tri []uint32  // 3 a triangle

	// Place numbers the vertices' places from 0 to Places-1. Nil: vertices with equal coordinates share one.
	Place  []uint32
	Places int

	// Index is, by vertex, the number under which the file knows its point: what the file joins is joined. Nil: the
	// vertex itself.
	Index []uint32

	Node []uint32 // by triangle: the node that draws it; what belongs to different nodes may only touch
	Draw []uint32 // by triangle: node and material
	Skip []bool   // by triangle: left out of everything
}

// State says whether a triangle takes part.
type State uint8

// The states of a triangle. Only live ones have mates and shells.
const (
	Live      State = iota
	Skipped         // by Input.Skip
	NotFinite       // a coordinate is not finite
	Repeated        // two corners in one place
	Again           // the same three places, the same way round, as a triangle before it: of a lower node, or earlier in the same
)

// Mates of a half-edge that have no number.
const (
	Border  = -1 // nothing on the other side
	Tangled = -2 // more than two faces meet and cannot be told apart
)

// Surface is a surface with everything that is known of how it hangs together. It is immutable once made.
// It takes about 85 bytes a triangle and 16 a vertex.
type Surface struct {
	Input
	State []State // by triangle
	Mate  []int32 // by half-edge: the half-edge on the other side, Border or Tangled
	Shell []int32 // by triangle; -1 where it is not live
	Twin  []int32 // by triangle: an earlier live triangle of the same three places, -1 for none

	Shells []Shell
	Edges  Edges

	Bowties  []Bowtie
	TouchAt  []uint32 // places at which shells only touch
	corner   []uint32
	cornerAt []uint32 // by place: where its corners begin in corner
	one      Union    // while twins are looked for: indices that count as one
}

// Edges counts the edges between live triangles by the number of faces on them.
type Edges struct {
	All     int // different edges
	Open    int // with one face
	Pairs   int // with two
	Crowded int // with more

	Touching []uint32 // one half-edge of each crowded edge that comes apart cleanly into sheets, and of pairs of two nodes that only touch
	Tangles  []uint32 // one half-edge of each crowded edge that does not
	Disagree []uint32 // the first half-edge of each pair whose faces wind against each other
}

// Shell is a connected piece.
type Shell struct {
	First, Triangles int // the lowest triangle, and how many there are
	Lo, Hi           [3]float64
	AreaM2           float64
	VolumeM3         float64 // signed; of an open shell without meaning
	Open             int     // border half-edges
	Tangled          int     // tangled half-edges
	Disagreeing      int     // half-edges whose mate winds against them
}

// Closed says whether the shell bounds a volume: no border, nothing tangled, all neighbours of one mind.
func (s *Shell) Closed() bool { return s.Open == 0 && s.Tangled == 0 && s.Disagreeing == 0 }

// Diagonal is that of the shell's box, metres.
func (s *Shell) Diagonal() float64 { return length(sub(s.Hi, s.Lo)) }

// Next is the half-edge that follows h in its triangle.
func Next(h uint32) uint32 {
	if h%3 == 2 {
		return h - 2
	}
	return h + 1
}

// From is the place at which a half-edge starts.
func (s *Surface) From(h uint32) uint32 { return s.Place[s.Tri[h]] }

// To is the place at which a half-edge ends.
func (s *Surface) To(h uint32) uint32 { return s.Place[s.Tri[Next(h)]] }

// Ends are the two ends of a half-edge in metres.
func (s *Surface) Ends(h uint32) (a, b [3]float64) {
	return at(s.Pos, s.Tri[h]), at(s.Pos, s.Tri[Next(h)])
}

// Corners are a triangle's corners in metres.
func (s *Surface) Corners(t int) (a, b, c [3]float64) {
	return at(s.Pos, s.Tri[3*t]), at(s.Pos, s.Tri[3*t+1]), at(s.Pos, s.Tri[3*t+2])
}

// Triangles is the number of triangles, live or not.
func (s *Surface) Triangles() int { return len(s.Tri) / 3 }

// Live says whether a triangle takes part.
func (s *Surface) Live(t int) bool { return s.State[t] == Live }

// Disagrees says whether h and its mate run the same way: one of the two faces is the wrong way round.
func (s *Surface) Disagrees(h uint32) bool {
	return s.Mate[h] >= 0 && s.From(h) == s.From(uint32(s.Mate[h]))
}

// New finds out how a surface hangs together. Indices must be in range. It is cut short where ctx ends, and says so.
func New(ctx context.Context, in Input) (*Surface, error) {
	s := &Surface{Input: in}
	if s.Place == nil {
		s.Place, s.Places = spatial.Weld(s.Pos, 0)
	}
	s.sort()
	for _, step := range []func(){s.findTwins, s.findMates, s.findShells, s.findFans} {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		step()
	}
	return s, nil
}

// sort finds the triangles that take part.
func (s *Surface) sort() {
	n := s.Triangles()
	s.State = make([]State, n)
	for t := range n {
		a, b, c := s.Tri[3*t], s.Tri[3*t+1], s.Tri[3*t+2]
		switch {
		case s.Skip != nil && s.Skip[t]:
			s.State[t] = Skipped
		case !finite(at(s.Pos, a)) || !finite(at(s.Pos, b)) || !finite(at(s.Pos, c)):
			s.State[t] = NotFinite
		case s.Place[a] == s.Place[b] || s.Place[b] == s.Place[c] || s.Place[c] == s.Place[a]:
			s.State[t] = Repeated
		}
	}
}

func (s *Surface) index(v uint32) uint32 {
	if s.Index == nil {
		return v
	}
	return s.Index[v]
}

func label(of []uint32, t uint32) uint32 {
	if of == nil {
		return 0
	}
	return of[t]
}

// Union is a disjoint-set forest; the root of a set is its lowest member.
type Union []uint32

// NewUnion has n sets of one.
func NewUnion(n int) Union {
	u := make(Union, n)
	for i := range u {
		u[i] = uint32(i)
	}
	return u
}

// Find is the root of v's set.
func (u Union) Find(v uint32) uint32 {
	for u[v] != v {
		u[v] = u[u[v]]
		v = u[v]
	}
	return v
}

// Join makes one set of those of a and b.
func (u Union) Join(a, b uint32) {
	a, b = u.Find(a), u.Find(b)
	switch {
	case a < b:
		u[b] = a
	case b < a:
		u[a] = b
	}
}
