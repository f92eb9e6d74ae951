package topo

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// solid is a small mesh in the making.
type solid struct {
	Input
}

func (s *solid) vertex(x, y, z float64) uint32 {
	s.Pos = append(s.Pos, float32(x), float32(y), float32(z))
	return uint32(len(s.Pos)/3 - 1)
}

func (s *solid) tri(node uint32, a, b, c uint32) {
	s.Tri = append(s.Tri, a, b, c)
	s.Node = append(s.Node, node)
	s.Draw = append(s.Draw, node)
}

// boxFaces are the corners of a unit cube's sides, counter-clockwise from outside.
var boxFaces = [6][4]int{{0, 4, 6, 2}, {1, 3, 7, 5}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 2, 3, 1}, {4, 5, 7, 6}}

// box adds a box of 8 shared or 24 split vertices, without the sides named.
func (s *solid) box(node uint32, lo, hi vec, split bool, without ...int) {
	corner := func(i int) uint32 {
		at := func(k int) float64 {
			if i>>k&1 == 1 {
				return hi[k]
			}
			return lo[k]
		}
		return s.vertex(at(0), at(1), at(2))
	}
	var shared [8]uint32
	if !split {
		for i := range 8 {
			shared[i] = corner(i)
		}
	}
	for f, q := range boxFaces {
		skip := false
		for _, w := range without {
			skip = skip || w == f
		}
		if skip {
			continue
		}
		v := [4]uint32{}
		for k := range 4 {
			if v[k] = shared[q[k]]; split {
				v[k] = corner(q[k])
			}
		}
		s.tri(node, v[0], v[1], v[2])
		s.tri(node, v[0], v[2], v[3])
	}
}

func made(t require.TestingT, in Input) *Surface {
	s, err := New(context.Background(), in)
	require.NoError(t, err)
	return s
}

func TestBoxes(t *testing.T) {
	t.Parallel()
	type want struct{ shells, open, tangled, touching, bowties, disagree, loops int }
	for _, c := range []struct {
		name string
		make func(s *solid)
		want want
	}{
		{"a box of shared vertices", func(s *solid) { s.box(0, vec{}, vec{1, 2, 3}, false) }, want{shells: 1}},
		{"a box of hard edges", func(s *solid) { s.box(0, vec{}, vec{1, 2, 3}, true) }, want{shells: 1}},
		{"open below", func(s *solid) { s.box(0, vec{}, vec{1, 2, 3}, true, 2) }, want{shells: 1, open: 4, loops: 1}},
		{"open at two ends", func(s *solid) { s.box(0, vec{}, vec{1, 2, 3}, true, 4, 5) }, want{shells: 1, open: 8, loops: 2}},
		{"two boxes apart", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			s.box(0, vec{2, 0, 0}, vec{3, 1, 1}, true)
		}, want{shells: 2}},
		{"touching along an edge, hard", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			s.box(0, vec{1, 1, 0}, vec{2, 2, 1}, true)
		}, want{shells: 2, touching: 1}},
		{"touching along an edge, soft", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, false)
			s.box(0, vec{1, 1, 0}, vec{2, 2, 1}, false)
		}, want{shells: 2, touching: 1}},
		{"touching along an edge, two nodes", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			s.box(1, vec{1, 1, 0}, vec{2, 2, 1}, false)
		}, want{shells: 2, touching: 1}},
		{"touching face on face", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			s.box(0, vec{1, 0, 0}, vec{2, 1, 1}, true)
		}, want{shells: 2, touching: 4 + 1}}, // the diagonal too: it is the same in both here or not
		{"touching at a corner", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			s.box(0, vec{1, 1, 1}, vec{2, 2, 2}, true)
		}, want{shells: 2}},
		{"three faces on an edge", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, false)
			s.tri(0, 6, 7, s.vertex(0.5, 2, 2))
		}, want{shells: 1, tangled: 1, open: 2, loops: 1}},
		{"a fin of a node of its own", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, false)
			a, b := s.vertex(0, 1, 1), s.vertex(1, 1, 1)
			s.tri(1, a, b, s.vertex(0.5, 2, 2))
		}, want{shells: 2, touching: 1, open: 3, loops: 1}},
		{"a fin of its own vertices on a soft box", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, false)
			a, b := s.vertex(0, 1, 1), s.vertex(1, 1, 1)
			s.tri(0, a, b, s.vertex(0.5, 2, 2))
		}, want{shells: 2, touching: 1, open: 3, loops: 1}},
		{"a fin on a box of hard edges", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, true)
			a, b := s.vertex(0, 1, 1), s.vertex(1, 1, 1)
			s.tri(0, a, b, s.vertex(0.5, 2, 2))
		}, want{shells: 1, tangled: 1, open: 2, loops: 1}},
		{"two tetrahedra that share a vertex of the file", func(s *solid) {
			tetrahedron(s, s.vertex(0, 0, 0), 1)
			tetrahedron(s, 0, -1)
		}, want{shells: 2, bowties: 1}},
		{"two tetrahedra tip to tip", func(s *solid) {
			tetrahedron(s, s.vertex(0, 0, 0), 1)
			tetrahedron(s, s.vertex(0, 0, 0), -1)
		}, want{shells: 2}},
		{"one face turned", func(s *solid) {
			s.box(0, vec{}, vec{1, 1, 1}, false)
			s.Tri[0], s.Tri[1] = s.Tri[1], s.Tri[0]
		}, want{shells: 1, disagree: 3}},
		{"a sheet doubled with its faces the other way, joined", func(s *solid) {
			a, b, c, d := s.vertex(0, 0, 0), s.vertex(1, 0, 0), s.vertex(1, 1, 0), s.vertex(0, 1, 0)
			s.tri(0, a, b, c)
			s.tri(0, a, c, d)
			s.tri(0, a, c, b)
			s.tri(0, a, d, c)
		}, want{shells: 1, touching: 1}},
		{"sheets that cross along an edge", func(s *solid) {
			for _, k := range []int{0, 2} {
				a, b := s.vertex(0, 0, 0), s.vertex(0, 1, 0)
				p, q, r, u := vec{}, vec{}, vec{0, 1, 0}, vec{0, 1, 0}
				p[k], q[k], r[k], u[k] = 1, -1, 1, -1
				s.tri(0, b, a, s.vertex(p[0], p[1], p[2]))
				s.tri(0, a, b, s.vertex(q[0], q[1], q[2]))
				_, _ = r, u
			}
		}, want{shells: 2, touching: 1, open: 8, loops: 2}},
		{"nothing", func(*solid) {}, want{}},
	} {
		var m solid
		c.make(&m)
		for _, twist := range []bool{false, true} {
			if twist {
				m.Input = twisted(m.Input)
			}
			s := made(t, m.Input)
			if c.name == "touching face on face" { // diagonals of the two sides may differ
				require.Contains(t, []int{4, 5}, len(s.Edges.Touching), c.name)
				c.want.touching = len(s.Edges.Touching)
			}
			open := 0
			for h, mate := range s.Mate {
				if s.State[h/3] == Live && mate == Border {
					open++
				}
			}
			got := want{len(s.Shells), open, len(s.Edges.Tangles), len(s.Edges.Touching), len(s.Bowties), len(s.Edges.Disagree), len(s.Loops())}
			require.Equal(t, c.want, got, "%s (twisted %v)", c.name, twist)
		}
	}
}

func tetrahedron(s *solid, tip uint32, up float64) {
	a, b, c := s.vertex(1, up, 0), s.vertex(-1, up, 1), s.vertex(-1, up, -1)
	if up < 0 {
		b, c = c, b
	}
	s.tri(0, tip, a, b)
	s.tri(0, tip, b, c)
	s.tri(0, tip, c, a)
	s.tri(0, a, c, b)
}

// twisted reverses triangles and vertices and turns corners: the same surface written another way.
func twisted(in Input) Input {
	out := Input{}
	n := uint32(len(in.Pos) / 3)
	for v := range n {
		out.Pos = append(out.Pos, in.Pos[3*(n-1-v):3*(n-v)]...)
	}
	for t := len(in.Tri)/3 - 1; t >= 0; t-- {
		for k := range 3 {
			out.Tri = append(out.Tri, n-1-in.Tri[3*t+(k+1)%3])
		}
		out.Node, out.Draw = append(out.Node, in.Node[t]), append(out.Draw, in.Draw[t])
	}
	return out
}

func TestShells(t *testing.T) {
	t.Parallel()
	var m solid
	m.box(0, vec{10, 10, 10}, vec{11, 12, 13}, true)
	m.box(0, vec{10.25, 10.25, 10.25}, vec{10.5, 10.5, 10.5}, false)
	s := made(t, m.Input)
	require.Len(t, s.Shells, 2)
	require.InDelta(t, 6, s.Shells[0].VolumeM3, 1e-12)
	require.InDelta(t, 22, s.Shells[0].AreaM2, 1e-12)
	require.True(t, s.Shells[0].Closed())
	var outer, inner []uint32
	for tri := range uint32(s.Triangles()) {
		if s.Shell[tri] == 0 {
			outer = append(outer, tri)
		} else {
			inner = append(inner, tri)
		}
	}
	require.True(t, s.Encloses(outer, vec{10.25, 10.25, 10.25}))
	require.False(t, s.Encloses(inner, vec{10, 10, 10}))
	for i := range m.Tri[:36] {
		if i%3 == 0 {
			m.Tri[i], m.Tri[i+1] = m.Tri[i+1], m.Tri[i]
		}
	}
	s = made(t, m.Input)
	require.InDelta(t, -6, s.Shells[0].VolumeM3, 1e-12)
	require.True(t, s.Encloses(outer, vec{10.25, 10.25, 10.25}), "whichever way it faces")
}

func TestTwins(t *testing.T) {
	t.Parallel()
	for _, fan := range []int{3, 40} { // small and large buckets
		var m solid
		hub := m.vertex(0, 0, 0)
		for i := range fan {
			a := 2 * math.Pi * float64(i) / float64(fan)
			m.vertex(math.Cos(a), 0.1, math.Sin(a))
		}
		for i := range fan {
			m.tri(0, hub, uint32(i+1), uint32((i+1)%fan+1))
		}
		m.tri(0, 2, 3, hub) // again, turned
		m.tri(0, 3, 2, hub) // the other way
		m.tri(0, 2, hub, 3) // and once more
		m.tri(0, hub, hub, 3)
		s := made(t, m.Input)
		require.Equal(t, []State{Again, Live, Again, Repeated}, s.State[fan:])
		require.Equal(t, []int32{1, 1, 1, -1}, s.Twin[fan:])
		require.Equal(t, int32(-1), s.Twin[1])
	}
}

// Orders, turns and places do not change what is found; nor do odd shapes stop it.
func TestAnySoup(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		var m solid
		n := rapid.IntRange(1, 9).Draw(rt, "vertices")
		for range n {
			c := rapid.SampledFrom([]float64{0, 1, 2, math.NaN(), math.Inf(1), -1})
			m.vertex(c.Draw(rt, "x"), c.Draw(rt, "y"), c.Draw(rt, "z"))
		}
		v := rapid.Uint32Range(0, uint32(n-1))
		for range rapid.IntRange(0, 30).Draw(rt, "triangles") {
			m.tri(rapid.Uint32Range(0, 1).Draw(rt, "node"), v.Draw(rt, "a"), v.Draw(rt, "b"), v.Draw(rt, "c"))
		}
		s := made(rt, m.Input)
		live := 0
		for tri := range s.Triangles() {
			if s.Live(tri) {
				live++
				require.GreaterOrEqual(rt, s.Shell[tri], int32(0))
			} else {
				require.Equal(rt, int32(-1), s.Shell[tri])
			}
		}
		e := s.Edges
		require.Equal(rt, e.All, e.Open+e.Pairs+e.Crowded)
		require.LessOrEqual(rt, len(e.Tangles), e.Crowded)
		border, inLoops := 0, 0
		for h, mate := range s.Mate {
			switch {
			case s.State[h/3] == Live && mate == Border:
				border++
			case mate >= 0:
				require.Equal(rt, int32(h), s.Mate[mate], "mates know each other")
			}
		}
		for _, l := range s.Loops() {
			inLoops += len(l.Edges)
		}
		require.Equal(rt, border, inLoops, "each border edge is in one loop")
		w := made(rt, twisted(m.Input))
		require.Equal(rt, [4]int{e.All, e.Open, e.Pairs, e.Crowded}, [4]int{w.Edges.All, w.Edges.Open, w.Edges.Pairs, w.Edges.Crowded})
		require.Len(rt, w.Shells, len(s.Shells))
	})
}
