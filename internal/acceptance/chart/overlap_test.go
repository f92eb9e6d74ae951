package chart

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func measure(t require.TestingT, tri []Triangle) Overlaps {
	out, err := Overlap(context.Background(), tri)
	require.NoError(t, err)
	require.False(t, out.Cut)
	return out
}

// rectangle is two triangles of one chart.
func rectangle(chart int32, stacked bool, x0, y0, x1, y1 float64) []Triangle {
	a, b, c, d := Vec{x0, y0}, Vec{x1, y0}, Vec{x1, y1}, Vec{x0, y1}
	return []Triangle{
		{At: [3]Vec{a, b, c}, ID: 2 * chart, Chart: chart, Stacked: stacked},
		{At: [3]Vec{a, d, c}, ID: 2*chart + 1, Chart: chart, Stacked: stacked}, // wound the other way
	}
}

func joined(lists ...[]Triangle) []Triangle {
	var out []Triangle
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

func TestOverlapClosedForms(t *testing.T) {
	t.Parallel()
	rect := rectangle
	for _, c := range []struct {
		name                              string
		tri                               []Triangle
		covered, inTile, partial, stacked float64
		pairs                             int
	}{
		{"nothing", nil, 0, 0, 0, 0, 0},
		{"one square", rect(0, false, 0.25, 0.25, 0.75, 0.75), 0.25, 0.25, 0, 0, 0},
		{"two side by side that touch", joined(rect(0, false, 0, 0, 0.5, 1), rect(1, false, 0.5, 0, 1, 1)), 1, 1, 0, 0, 0},
		{"two corner to corner", joined(rect(0, false, 0, 0, 0.5, 0.5), rect(1, false, 0.5, 0.5, 1, 1)), 0.5, 0.5, 0, 0, 0},
		{"a quarter on each other", joined(rect(0, false, 0, 0, 0.5, 0.5), rect(1, false, 0.25, 0.25, 0.75, 0.75)), 0.4375, 0.4375, 0.0625, 0, 1},
		{"one inside the other", joined(rect(0, false, 0, 0, 1, 1), rect(1, false, 0.25, 0.25, 0.5, 0.5)), 1, 1, 0.0625, 0, 1},
		{"three deep counts once", joined(rect(0, false, 0, 0, 1, 1), rect(1, false, 0, 0, 0.5, 0.5), rect(2, false, 0, 0, 0.5, 0.5)), 1, 1, 0.25, 0, 1},
		{"a cross", joined(rect(0, false, 0, 0.4, 1, 0.6), rect(1, false, 0.4, 0, 0.6, 1)), 0.36, 0.36, 0.04, 0, 1},
		{"over the border", rect(0, false, -0.5, 0.25, 0.5, 0.75), 0.5, 0.25, 0, 0, 0},
		{"a stack alone", rect(0, true, 0, 0, 0.5, 0.5), 0.25, 0.25, 0, 0.25, 0},
		{"a stack under a stray island", joined(rect(0, true, 0, 0, 0.5, 0.5), rect(1, false, 0.25, 0, 0.75, 0.5)), 0.375, 0.375, 0.125, 0.125, 1},
		{"two stacks on each other", joined(rect(0, true, 0, 0, 0.5, 0.5), rect(1, true, 0.25, 0, 0.75, 0.5)), 0.375, 0.375, 0.125, 0.25, 1},
		{"without area", []Triangle{{At: [3]Vec{{0, 0}, {1, 1}, {2, 2}}}, {At: [3]Vec{{math.NaN(), 0}, {1, 0}, {0, 1}}}, {At: [3]Vec{{math.Inf(1), 0}, {1, 0}, {0, 1}}}}, 0, 0, 0, 0, 0},
	} {
		got := measure(t, c.tri)
		require.InDelta(t, c.covered, got.Covered, 1e-14, c.name)
		require.InDelta(t, c.inTile, got.InTile, 1e-14, c.name)
		require.InDelta(t, c.partial, got.Partial, 1e-14, c.name)
		require.InDelta(t, c.stacked, got.Stacked, 1e-14, c.name)
		require.Len(t, got.Pairs, c.pairs, c.name)
	}
	p := measure(t, joined(rect(4, false, 0, 0, 0.5, 0.5), rect(2, false, 0.25, 0.25, 0.75, 0.75))).Pairs[0]
	require.Equal(t, [2]int32{2, 4}, p.Charts)
	require.InDelta(t, 0.0625, p.Area, 1e-14)
}

// depthBySweep is the areas under at least one and at least two triangles by another method: between two neighbouring
// abscissae of corners and crossings all edges are straight and do not cross, so a trapezoid for each.
func depthBySweep(tri []Triangle) (one, two float64) {
	var xs []float64
	var edges [][2]Vec
	for _, t := range tri {
		for k := range 3 {
			xs = append(xs, t.At[k][0])
			edges = append(edges, [2]Vec{t.At[k], t.At[(k+1)%3]})
		}
	}
	for i, e := range edges {
		for _, f := range edges[:i] {
			d := cross2(minus(e[1], e[0]), minus(f[1], f[0]))
			if d != 0 {
				s := cross2(minus(f[0], e[0]), minus(f[1], f[0])) / d
				if s > 0 && s < 1 {
					xs = append(xs, e[0][0]+s*(e[1][0]-e[0][0]))
				}
			}
		}
	}
	sortFloats(xs)
	type span struct{ lo, hi, mid0, mid1 float64 }
	for i := 1; i < len(xs); i++ {
		a, b := xs[i-1], xs[i]
		if b-a < 1e-13 {
			continue
		}
		m := (a + b) / 2
		var ends []float64
		var signs []int
		for _, t := range tri {
			lo, hi := math.Inf(1), math.Inf(-1)
			for k := range 3 {
				p, q := t.At[k], t.At[(k+1)%3]
				if p[0] > q[0] {
					p, q = q, p
				}
				if p[0] <= m && m < q[0] {
					y := p[1] + (m-p[0])/(q[0]-p[0])*(q[1]-p[1])
					lo, hi = math.Min(lo, y), math.Max(hi, y)
				}
			}
			if lo < hi {
				ends, signs = append(ends, lo, hi), append(signs, 1, -1)
			}
		}
		order := make([]int, len(ends))
		for k := range order {
			order[k] = k
		}
		sortBy(order, ends)
		depth := 0
		for k, at := range order {
			if k > 0 {
				h := ends[at] - ends[order[k-1]]
				if depth >= 1 {
					one += h * (b - a)
				}
				if depth >= 2 {
					two += h * (b - a)
				}
			}
			depth += signs[at]
		}
	}
	return one, two
}

func sortFloats(v []float64) {
	for i := 1; i < len(v); i++ {
		for j := i; j > 0 && v[j] < v[j-1]; j-- {
			v[j], v[j-1] = v[j-1], v[j]
		}
	}
}

func sortBy(order []int, key []float64) {
	for i := 1; i < len(order); i++ {
		for j := i; j > 0 && key[order[j]] < key[order[j-1]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
}

func TestOverlapAgreesWithSweep(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "n")
		coarse := rapid.Bool().Draw(t, "coarse") // on a grid of eighths: shared corners, edges along each other
		coord := rapid.Float32Range(0, 1)
		if coarse {
			coord = rapid.Map(rapid.IntRange(0, 8), func(i int) float32 { return float32(i) / 8 })
		}
		var tri []Triangle
		for i := range n {
			var at [3]Vec
			for k := range 3 {
				at[k] = Vec{float64(coord.Draw(t, "x")), float64(coord.Draw(t, "y"))}
			}
			tri = append(tri, Triangle{At: at, ID: int32(i), Chart: int32(i)})
		}
		one, two := depthBySweep(tri)
		got := measure(t, tri)
		require.InDelta(t, one, got.Covered, 1e-11)
		require.InDelta(t, two, got.Partial, 1e-11)
		require.InDelta(t, one, got.InTile, 1e-11)
		sum := 0.0
		for _, p := range got.Pairs {
			sum += p.Area
		}
		require.InDelta(t, got.Partial, sum, 1e-12)
		for i := range tri { // order, winding and first corner do not matter
			tri[i].At[0], tri[i].At[2] = tri[i].At[2], tri[i].At[0]
		}
		for i, j := 0, len(tri)-1; i < j; i, j = i+1, j-1 {
			tri[i], tri[j] = tri[j], tri[i]
		}
		again := measure(t, tri)
		require.InDelta(t, got.Partial, again.Partial, 1e-12)
		require.InDelta(t, got.Covered, again.Covered, 1e-12)
	})
}

// Sampling is a second opinion on layouts of many triangles.
func TestOverlapAgreesWithSampling(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	tri := heap(rng, 400, 0.15)
	got := measure(t, tri)
	const n = 20_000
	one, two := 0, 0
	for range n {
		p := Vec{rng.Float64(), rng.Float64()}
		depth := 0
		for i := range tri {
			a := tri[i].At
			s := Cross(a[0], a[1], a[2])
			if s*Cross(a[0], a[1], p) > 0 && s*Cross(a[1], a[2], p) > 0 && s*Cross(a[2], a[0], p) > 0 {
				depth++
			}
		}
		if depth >= 1 {
			one++
		}
		if depth >= 2 {
			two++
		}
	}
	// Four standard deviations of a share of n samples are at most 4·0.5/√n.
	require.InDelta(t, float64(one)/n, got.InTile, 2/math.Sqrt(n))
	require.InDelta(t, float64(two)/n, got.Partial, 2/math.Sqrt(n)+0.03, "partial counts what lies outside the tile as well")
}

// heap is n triangles of a size at random places.
func heap(rng *rand.Rand, n int, size float64) []Triangle {
	out := make([]Triangle, n)
	for i := range out {
		c := Vec{rng.Float64(), rng.Float64()}
		for k := range 3 {
			out[i].At[k] = Vec{float64(float32(c[0] + size*(rng.Float64()-0.5))), float64(float32(c[1] + size*(rng.Float64()-0.5)))}
		}
		out[i].ID, out[i].Chart = int32(i), int32(i)
	}
	return out
}

// A heap of everything on everything ends: what two cover is done with, and the steps are counted.
func TestOverlapOfAHeapEnds(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 1))
	got, err := Overlap(context.Background(), heap(rng, 3000, 2))
	require.NoError(t, err)
	require.Greater(t, got.Partial, 1.0)
	require.True(t, got.Cut)
	require.GreaterOrEqual(t, got.Covered, got.Partial)
	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = Overlap(ctx, heap(rng, 10, 1))
	require.ErrorIs(t, err, context.Canceled)
}

// gridLayout is a sheet of n by n quads over the tile, jittered: a layout without overlap.
func gridLayout(n int) []Triangle {
	rng := rand.New(rand.NewPCG(9, 9))
	at := make([]Vec, (n+1)*(n+1))
	for i := range at {
		x, y := float64(i%(n+1)), float64(i/(n+1))
		at[i] = Vec{float64(float32((x + 0.3*rng.Float64()) / float64(n+1))), float64(float32((y + 0.3*rng.Float64()) / float64(n+1)))}
	}
	var out []Triangle
	for y := range n {
		for x := range n {
			a := y*(n+1) + x
			out = append(out, Triangle{At: [3]Vec{at[a], at[a+1], at[a+n+2]}}, Triangle{At: [3]Vec{at[a], at[a+n+2], at[a+n+1]}})
		}
	}
	return out
}

func TestLayoutWithoutOverlapHasNone(t *testing.T) {
	t.Parallel()
	tri := gridLayout(60)
	sum := 0.0
	for _, q := range tri {
		sum += math.Abs(Cross(q.At[0], q.At[1], q.At[2])) / 2
	}
	got := measure(t, tri)
	require.Zero(t, got.Partial)
	require.Empty(t, got.Pairs)
	require.InDelta(t, sum, got.Covered, 1e-13)
}

func BenchmarkOverlap(b *testing.B) {
	for _, c := range []struct {
		name string
		tri  []Triangle
	}{
		{"clean_12k", gridLayout(78)}, {"clean_500k", gridLayout(500)},
		{"twice_12k", append(gridLayout(55), shifted(gridLayout(55))...)},
		{"heap_12k", heap(rand.New(rand.NewPCG(3, 3)), 12_000, 0.2)},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if out, _ := Overlap(context.Background(), c.tri); out.Covered == 0 {
					b.Fatal("nothing measured")
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(c.tri)), "ns/triangle")
		})
	}
}

func shifted(tri []Triangle) []Triangle {
	for i := range tri {
		for k := range 3 {
			tri[i].At[k][0] += 0.0031
		}
		tri[i].Chart = 1
	}
	return tri
}

func FuzzOverlap(f *testing.F) {
	f.Add(uint64(1), 5, 0.5)
	f.Fuzz(func(t *testing.T, seed uint64, n int, size float64) {
		if n < 0 || n > 200 || !(math.Abs(size) < 1e6) {
			return
		}
		out, err := Overlap(context.Background(), heap(rand.New(rand.NewPCG(seed, 1)), n, size))
		require.NoError(t, err)
		if out.Cut {
			return
		}
		slack := 1e-9 * (1 + size*size) * float64(n+1)
		require.True(t, out.Partial >= -slack && out.Partial <= out.Covered+slack, fmt.Sprint(out))
		require.True(t, out.InTile >= -slack && out.InTile <= 1+1e-9)
	})
}
