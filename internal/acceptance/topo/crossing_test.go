package topo

import (
	"context"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/spatial"
)

// slowCross is the slow twin: the line in which the planes meet cuts each triangle in an interval, in rational numbers;
// they cross if both reach to both sides of the other's plane and the intervals share more than a point.
func slowCross(p, q [3][3]int64) bool {
	np, nq := crossInt(p), crossInt(q)
	d := [3]int64{np[1]*nq[2] - np[2]*nq[1], np[2]*nq[0] - np[0]*nq[2], np[0]*nq[1] - np[1]*nq[0]}
	axis := -1
	for k := range 3 {
		if d[k] != 0 {
			axis = k
		}
	}
	if axis < 0 {
		return false
	}
	lo1, hi1, ok1 := cutInt(p, q[0], nq, axis)
	lo2, hi2, ok2 := cutInt(q, p[0], np, axis)
	if !ok1 || !ok2 {
		return false
	}
	if lo2.Cmp(lo1) > 0 {
		lo1 = lo2
	}
	if hi2.Cmp(hi1) < 0 {
		hi1 = hi2
	}
	return lo1.Cmp(hi1) < 0
}

func crossInt(p [3][3]int64) [3]int64 {
	var u, v [3]int64
	for k := range 3 {
		u[k], v[k] = p[1][k]-p[0][k], p[2][k]-p[0][k]
	}
	return [3]int64{u[1]*v[2] - u[2]*v[1], u[2]*v[0] - u[0]*v[2], u[0]*v[1] - u[1]*v[0]}
}

func cutInt(p [3][3]int64, on, n [3]int64, axis int) (lo, hi *big.Rat, straddles bool) {
	var s [3]int64
	for i := range 3 {
		for k := range 3 {
			s[i] += n[k] * (p[i][k] - on[k])
		}
	}
	if min(s[0], s[1], s[2]) >= 0 || max(s[0], s[1], s[2]) <= 0 {
		return nil, nil, false
	}
	take := func(x *big.Rat) {
		if lo == nil || x.Cmp(lo) < 0 {
			lo = x
		}
		if hi == nil || x.Cmp(hi) > 0 {
			hi = x
		}
	}
	for i := range 3 {
		j := (i + 1) % 3
		if s[i] == 0 {
			take(big.NewRat(p[i][axis], 1))
		}
		if s[i] < 0 && s[j] > 0 || s[i] > 0 && s[j] < 0 {
			at := big.NewRat(s[i], s[i]-s[j])
			at.Mul(at, big.NewRat(p[j][axis]-p[i][axis], 1))
			take(at.Add(at, big.NewRat(p[i][axis], 1)))
		}
	}
	return lo, hi, true
}

func TestCrossAgreesWithIntervals(t *testing.T) {
	t.Parallel()
	crossed, touched := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		// A small grid makes touching, coplanar and shared corners common.
		var in Input
		var p [2][3][3]int64
		joined := rapid.Bool().Draw(rt, "a corner in common")
		reach := int64(rapid.SampledFrom([]int{1, 2, 5}).Draw(rt, "reach"))
		for i := range p {
			for {
				for j := range 3 {
					for k := range 3 {
						p[i][j][k] = rapid.Int64Range(-reach, reach).Draw(rt, "c")
					}
				}
				if i == 1 && joined {
					p[1][rapid.IntRange(0, 2).Draw(rt, "at")] = p[0][rapid.IntRange(0, 2).Draw(rt, "of")]
				}
				if crossInt(p[i]) != [3]int64{} {
					break
				}
			}
			for j := range 3 {
				in.Tri = append(in.Tri, uint32(3*i+j))
				for k := range 3 {
					in.Pos = append(in.Pos, float32(p[i][j][k]))
				}
			}
		}
		s := made(rt, in)
		want := slowCross(p[0], p[1])
		_, got := s.cross(0, 1)
		require.Equal(rt, want, got, "%v", p)
		_, turned := s.cross(1, 0)
		require.Equal(rt, want, turned, "swapped %v", p)
		if want {
			crossed++
		} else {
			touched++
		}
	})
	require.Positive(t, crossed)
	require.Positive(t, touched)
}

func crossingsOf(t require.TestingT, in Input) []Crossing {
	s := made(t, in)
	tree := spatial.Build(s.Pos, s.Tri, 1)
	out, err := s.Crossings(context.Background(), tree.Overlap(tree, 0, 1))
	require.NoError(t, err)
	return out
}

func TestCrossingsOfBoxes(t *testing.T) {
	t.Parallel()
	turnedBy := func(in Input, angle float64) Input {
		sin, cos := math.Sin(angle), math.Cos(angle)
		for v := 0; v < len(in.Pos); v += 3 {
			x, y := float64(in.Pos[v]), float64(in.Pos[v+1])
			in.Pos[v], in.Pos[v+1] = float32(cos*x-sin*y), float32(sin*x+cos*y)
		}
		return in
	}
	for _, c := range []struct {
		name           string
		lo             vec // of a second box of size 1 beside the one from 0 to 1
		within, across bool
	}{
		{"apart", vec{1.5, 0, 0}, false, false},
		{"face on face", vec{1, 0, 0}, false, false},
		{"face on face, shifted", vec{1, 0.3, 0.2}, false, false},
		{"edge on edge", vec{1, 1, 0}, false, false},
		{"edge on edge, shifted", vec{1, 1, 0.3}, false, false},
		{"corner on corner", vec{1, 1, 1}, false, false},
		{"pushed in", vec{0.9, 0.3, 0.2}, false, true},
		{"pushed in by a hundredth of a millimetre", vec{0.99999, 0.3, 0.2}, false, true},
	} {
		for _, angle := range []float64{0, 0.3, 1.1} {
			var m solid
			m.box(0, vec{}, vec{1, 1, 1}, true)
			m.box(0, c.lo, add(c.lo, vec{1, 1, 1}), true)
			got := crossingsOf(t, turnedBy(m.Input, angle))
			require.Equal(t, c.across, len(got) > 0, "%s turned by %v: %v", c.name, angle, got)
			for _, x := range got {
				require.False(t, x.Within)
			}
		}
	}
	// A box one of whose corners is pushed through the opposite side crosses itself.
	var m solid
	m.box(0, vec{}, vec{1, 1, 1}, false)
	m.Pos[0], m.Pos[1], m.Pos[2] = 1.4, 0.6, 0.7
	got := crossingsOf(t, m.Input)
	require.NotEmpty(t, got)
	require.True(t, got[0].Within)
	require.Less(t, got[0].A, got[0].B)
}

// Values of Pébay and Baker 2003, tables of the measures at known triangles: the equilateral is 1; for a right triangle with
// legs 1, R/2r is (1 + √2)/2 and the edge ratio over the inradius (1 + √2)/√3·... computed here from R, r and the longest
// edge in closed form. Shewchuk 2002: the smallest angle of a triangle with sides a ≤ b ≤ c is asin(a / 2R).
func TestShapes(t *testing.T) {
	t.Parallel()
	root := math.Sqrt
	for _, c := range []struct {
		name                   string
		b, c                   vec // the first corner is the origin
		aspect, radius, lowest float64
		height                 float64
	}{
		{"equilateral", vec{1, 0, 0}, vec{0.5, root(3) / 2, 0}, 1, 1, 60, root(3) / 2},
		{"half a square", vec{1, 0, 0}, vec{0, 1, 0}, (1 + root(2)) / root(3), (1 + root(2)) / 2, 45, root(2) / 2},
		{"3-4-5", vec{3, 0, 0}, vec{0, 4, 0}, 5 / (2 * root(3)), 1.25, 36.86989764584402, 2.4},
		{"30-60-90", vec{1, 0, 0}, vec{0, root(3), 0}, 2 / (2 * root(3) * (root(3) - 1) / 2), 1 / (root(3) - 1), 30, root(3) / 2},
		{"120 degrees", vec{1, 0, 0}, vec{-0.5, root(3) / 2, 0}, root(3) / (2 * root(3) * (root(3) - 1.5)), 1 / (2*root(3) - 3), 30, 0.5},
		{"flat", vec{1, 0, 0}, vec{0.5, 0, 0}, math.Inf(1), math.Inf(1), 0, 0},
		{"a point", vec{}, vec{}, math.Inf(1), math.Inf(1), 0, 0},
	} {
		for _, k := range []float64{1, 1e-3, 50} {
			s := ShapeOf(vec{1, 2, 3}, add(vec{1, 2, 3}, scale(c.b, k)), add(vec{1, 2, 3}, scale(c.c, k)))
			if math.IsInf(c.aspect, 1) {
				require.True(t, math.IsInf(s.Aspect, 1) && math.IsInf(s.RadiusRatio, 1), c.name)
			} else {
				require.InEpsilon(t, c.aspect, s.Aspect, 1e-9, c.name)
				require.InEpsilon(t, c.radius, s.RadiusRatio, 1e-9, c.name)
			}
			require.InDelta(t, c.lowest, s.MinAngleDeg, 1e-6, c.name)
			require.InDelta(t, c.height*k, s.HeightM, 1e-9*k, c.name)
		}
	}
}

func TestOrientIsExact(t *testing.T) {
	t.Parallel()
	a, b, c := vec{0, 0, 0}, vec{1, 0, 0}, vec{0, 1, 0}
	tiny := float64(math.Float32frombits(1))
	require.Zero(t, Orient(a, b, c, vec{0.3, 0.3, 0}))
	require.Equal(t, 1, Orient(a, b, c, vec{0.3, 0.3, -tiny}))
	require.Equal(t, -1, Orient(a, b, c, vec{0.3, 0.3, tiny}))
	rapid.Check(t, func(rt *rapid.T) {
		var p [4]vec
		for i := range p {
			for k := range 3 {
				p[i][k] = float64(math.Float32frombits(math.Float32bits(0.1) + uint32(rapid.IntRange(0, 3).Draw(rt, "ulp"))))
			}
		}
		require.Equal(rt, orientExact(p[0], p[1], p[2], p[3]), Orient(p[0], p[1], p[2], p[3]))
		require.Equal(rt, -Orient(p[1], p[0], p[2], p[3]), Orient(p[0], p[1], p[2], p[3]))
	})
}
