package hull

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// sound holds the laws of a convex hull: closed, consistently wound (each edge once each way), Euler's formula for a
// sphere, and no point outside any face's plane.
func sound(t require.TestingT, h *Hull, points []float32) {
	type edge [2]int32
	uses := map[edge]int{}
	for i := 0; i < len(h.Tri); i += 3 {
		for k := range 3 {
			uses[edge{h.Tri[i+k], h.Tri[i+(k+1)%3]}]++
		}
	}
	for e, n := range uses {
		require.Equal(t, 1, n)
		require.Equal(t, 1, uses[edge{e[1], e[0]}])
	}
	require.Equal(t, 2, len(h.Pos)/3-len(uses)/2+len(h.Tri)/3)
	for i := 0; i < len(points); i += 3 {
		d := h.Depth([3]float64{float64(points[i]), float64(points[i+1]), float64(points[i+2])})
		require.GreaterOrEqual(t, d, -2*h.Step)
	}
	require.Positive(t, h.Volume)
}

func TestKnownSolids(t *testing.T) {
	t.Parallel()
	var box []float32
	for i := range 5 { // with points on faces and edges, and inside
		for j := range 5 {
			for k := range 5 {
				box = append(box, float32(i)/2, float32(j)/4, float32(k)/8)
			}
		}
	}
	h, ok := Of(box)
	require.True(t, ok)
	sound(t, h, box)
	require.InEpsilon(t, 2*1*0.5, h.Volume, 1e-5)
	require.InDelta(t, 0.25, h.Depth([3]float64{1, 0.5, 0.25}), 1e-5, "half the thinnest side")
	require.InDelta(t, -1, h.Depth([3]float64{3, 0.5, 0.25}), 1e-5)

	octahedron := []float32{1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1}
	h, ok = Of(octahedron)
	require.True(t, ok)
	sound(t, h, octahedron)
	require.InEpsilon(t, 4.0/3, h.Volume, 1e-5, "two pyramids over a square of area 2")
	require.Len(t, h.Tri, 24)
	require.InDelta(t, 1/math.Sqrt(3), h.Depth([3]float64{}), 1e-5)

	var ball []float32
	r := rand.New(rand.NewPCG(1, 2))
	for range 4000 {
		x, y, z := r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
		l := math.Sqrt(x*x + y*y + z*z)
		ball = append(ball, float32(x/l), float32(y/l), float32(z/l))
	}
	h, ok = Of(ball)
	require.True(t, ok)
	sound(t, h, ball)
	require.InEpsilon(t, 4*math.Pi/3, h.Volume, 0.01)
}

func TestWithoutVolume(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	for name, p := range map[string][]float32{
		"nothing": nil, "one point": {1, 2, 3}, "a point four times": {1, 2, 3, 1, 2, 3, 1, 2, 3, 1, 2, 3},
		"a line": {0, 0, 0, 1, 1, 1, 2, 2, 2, 3, 3, 3}, "a square": {0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 0.5, 0.5, 0},
		"a slanted plane": {0, 0, 0, 1, 0, 1, 0, 1, 1, 1, 1, 2, 2, 0, 2},
		"not a number":    {nan, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1}, "infinite": {float32(math.Inf(1)), 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1},
	} {
		_, ok := Of(p)
		require.False(t, ok, name)
	}
}

// Points on a coarse grid are the hard case: most lie in planes and lines with others. The order of points, and points
// inside, change nothing.
func TestLaws(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SampledFrom([]int{2, 3, 7, 1000}).Draw(t, "steps")
		n := rapid.IntRange(4, 60).Draw(t, "points")
		var p []float32
		for range 3 * n {
			p = append(p, float32(rapid.IntRange(-steps, steps).Draw(t, "x"))/16)
		}
		h, ok := Of(p)
		if !ok {
			return
		}
		sound(t, h, p)
		shuffled := make([]float32, 0, len(p))
		for _, i := range rapid.Permutation(indices(n)).Draw(t, "order") {
			shuffled = append(shuffled, p[3*i:3*i+3]...)
		}
		mid := [3]float32{}
		for i := range p {
			mid[i%3] += p[i] / float32(n)
		}
		again, ok := Of(append(shuffled, mid[:]...))
		require.True(t, ok)
		sound(t, again, p)
		require.InEpsilon(t, h.Volume, again.Volume, 1e-4)
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func BenchmarkHull(b *testing.B) {
	r := rand.New(rand.NewPCG(3, 4))
	var p []float32
	for range 10_000 {
		p = append(p, float32(r.NormFloat64()), float32(r.NormFloat64()), float32(r.NormFloat64()))
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, ok := Of(p); !ok {
			b.Fatal("no hull")
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/10_000, "ns/point")
}
