package chart

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// An affine map's singular values are known: a turn, then scales a and b, then another turn, on any triangle.
func TestStretchOfAffineMaps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		a, b := rapid.Float64Range(0.05, 20).Draw(t, "a"), rapid.Float64Range(0.05, 20).Draw(t, "b")
		size := Vec{rapid.Float64Range(1, 4096).Draw(t, "width"), rapid.Float64Range(1, 4096).Draw(t, "height")}
		s1, c1 := math.Sincos(rng.Float64() * 7)
		u, v := axes(rng)
		var uv [3]Vec
		var pos [3][3]float64
		for k, at := range [3]Vec{{0, 0}, {1, 0.2}, {0.3, 0.9}} {
			uv[k] = Vec{(at[0] + rng.Float64()/3) / size[0], (at[1] + rng.Float64()/3) / size[1]}
			x, y := uv[k][0]*size[0], uv[k][1]*size[1]
			x, y = a*(c1*x-s1*y), b*(s1*x+c1*y)
			for i := range 3 {
				pos[k][i] = x*u[i] + y*v[i]
			}
		}
		got := SingularValues(uv, size, pos)
		require.False(t, got.Collapsed)
		large, small := math.Max(a, b), math.Min(a, b)
		require.InEpsilon(t, large*large, got.MaxSq, 1e-9)
		require.InEpsilon(t, small*small, got.MinSq, 1e-7)
		require.InEpsilon(t, (a*a+b*b)/2, got.L2Sq(), 1e-9)
		if ratio := large / small; math.Abs(ratio-1.5) > 1e-6 {
			require.Equal(t, ratio > 1.5, got.Anisotropic(1.5))
		}
	})
}

// axes are two unit vectors at right angles in space.
func axes(rng *rand.Rand) (u, v [3]float64) {
	n := func(a [3]float64) [3]float64 {
		l := math.Sqrt(dot3(a, a))
		return [3]float64{a[0] / l, a[1] / l, a[2] / l}
	}
	u = n([3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()})
	w := [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
	d := dot3(u, w)
	for i := range 3 {
		w[i] -= d * u[i]
	}
	return u, n(w)
}

// The table of known maps in the paper's own terms: L² is the root of the mean of the squares, L∞ the larger value.
func TestStretchKnownValues(t *testing.T) {
	t.Parallel()
	square := [3]Vec{{0, 0}, {1, 0}, {0, 1}}
	for _, c := range []struct {
		name    string
		pos     [3][3]float64
		l2, inf float64
	}{
		{"an isometry", [3][3]float64{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, 1, 1},
		{"twice as long one way", [3][3]float64{{0, 0, 0}, {2, 0, 0}, {0, 1, 0}}, math.Sqrt(2.5), 2},
		{"scaled", [3][3]float64{{5, 5, 5}, {8, 5, 5}, {5, 5, 8}}, 3, 3},
		{"sheared by 1: golden ratio", [3][3]float64{{0, 0, 0}, {1, 0, 0}, {1, 1, 0}}, math.Sqrt(1.5), (1 + math.Sqrt(5)) / 2},
		{"collapsed on the surface", [3][3]float64{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}}, math.Sqrt(2.5), math.Sqrt(5)},
	} {
		got := SingularValues(square, Vec{1, 1}, c.pos)
		require.InDelta(t, c.l2*c.l2, got.L2Sq(), 1e-12, c.name)
		require.InDelta(t, c.inf*c.inf, got.MaxSq, 1e-12, c.name)
	}
	require.True(t, SingularValues([3]Vec{{0, 0}, {1, 1}, {2, 2}}, Vec{1, 1}, [3][3]float64{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}).Collapsed)
	require.True(t, SingularValues([3]Vec{{math.NaN(), 0}, {1, 1}, {2, 2}}, Vec{1, 1}, [3][3]float64{}).Collapsed)
}

func BenchmarkStretch(b *testing.B) {
	uv := [3]Vec{{0.1, 0.2}, {0.3, 0.25}, {0.2, 0.4}}
	pos := [3][3]float64{{0, 0, 0}, {1, 0.1, 0}, {0, 1, 0.3}}
	sum := 0.0
	for b.Loop() {
		sum += SingularValues(uv, Vec{4096, 4096}, pos).MaxSq
	}
	require.Positive(b, sum)
}
