package chart

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// outlined builds outlines from polygons.
func outlined(polygons ...[]Vec) *Outlines {
	o := &Outlines{First: []int32{0}}
	for _, p := range polygons {
		for k := range p {
			o.Edges = append(o.Edges, [2]Vec{p[k], p[(k+1)%len(p)]})
		}
		o.First = append(o.First, int32(len(o.Edges)))
		o.Area = append(o.Area, math.Abs(Area(p)))
		o.Tile = append(o.Tile, 0)
	}
	return o
}

func square(x, y, w, h float64) []Vec { return []Vec{{x, y}, {x + w, y}, {x + w, y + h}, {x, y + h}} }

func TestStacksKnownShapes(t *testing.T) {
	t.Parallel()
	big := square(10, 10, 100, 60)
	l := []Vec{{10, 10}, {110, 10}, {110, 40}, {60, 40}, {60, 70}, {10, 70}}
	for _, c := range []struct {
		name     string
		polygons [][]Vec
		want     []int32
	}{
		{"the same", [][]Vec{big, big}, []int32{0, 0}},
		{"wound the other way", [][]Vec{big, {big[3], big[2], big[1], big[0]}}, []int32{0, 0}},
		{"another first corner", [][]Vec{big, {big[2], big[3], big[0], big[1]}}, []int32{0, 0}},
		{"more corners on the edges", [][]Vec{big, {big[0], {50, 10}, {70, 10}, big[1], big[2], big[3]}}, []int32{0, 0}},
		{"just within half a texel", [][]Vec{big, square(10.35, 10.35, 100, 60)}, []int32{0, 0}},
		{"just outside", [][]Vec{big, square(10.51, 10, 100, 60)}, []int32{0, 1}},
		{"inside it", [][]Vec{big, square(20, 20, 50, 30)}, []int32{0, 1}},
		{"the same box, a corner missing", [][]Vec{big, l}, []int32{0, 1}},
		{"a corner missing, first", [][]Vec{l, big, l}, []int32{0, 1, 0}},
		{"a notch of a pixel", [][]Vec{big, {{10, 10}, {50, 10}, {50.5, 12}, {51, 10}, {110, 10}, {110, 70}, {10, 70}}}, []int32{0, 1}},
		{"forty", repeated(big, 40), make([]int32, 40)},
		{"a row of small steps is no stack", [][]Vec{big, square(10.4, 10, 100, 60), square(10.8, 10, 100, 60)}, []int32{0, 0, 2}},
		{"slim strips side by side", [][]Vec{square(0, 0, 500, 0.4), square(0, 0.4, 500, 0.4)}, []int32{0, 1}},
		{"a slim strip on another", [][]Vec{square(0, 0, 500, 0.4), square(0, 0.01, 500, 0.4)}, []int32{0, 0}},
		{"without area", [][]Vec{{{0, 0}, {1, 1}, {2, 2}}, {{0, 0}, {1, 1}, {2, 2}}}, []int32{0, 1}},
	} {
		require.Equal(t, c.want, Stacks(outlined(c.polygons...), 0.5), c.name)
	}
	apart := outlined(big, big)
	apart.Tile[1] = 1
	require.Equal(t, []int32{0, 1}, Stacks(apart, 0.5), "in another tile")
}

func repeated(p []Vec, n int) [][]Vec {
	out := make([][]Vec, n)
	for i := range out {
		out[i] = p
	}
	return out
}

// star is a polygon of n corners about a place.
func star(rng *rand.Rand, n int, at Vec, r float64) []Vec {
	out := make([]Vec, n)
	for k := range out {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		far := r * (0.4 + 0.6*rng.Float64())
		out[k] = Vec{at[0] + far*cos, at[1] + far*sin}
	}
	return out
}

// Copies at random places, each moved by less than half a texel and cut differently, are found, and a change of one
// corner by more is not taken for a copy.
func TestStacksPlanted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		p := star(rng, rapid.IntRange(3, 30).Draw(t, "corners"), Vec{rng.Float64() * 4000, rng.Float64() * 4000}, 20+rng.Float64()*500)
		move := rapid.Float64Range(0, 0.49).Draw(t, "move")
		sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
		var q []Vec
		for k, a := range p {
			b := p[(k+1)%len(p)]
			q = append(q, Vec{a[0] + move*cos, a[1] + move*sin})
			if rng.IntN(2) == 0 { // a further corner on the edge
				s := rng.Float64()
				q = append(q, Vec{a[0] + s*(b[0]-a[0]) + move*cos, a[1] + s*(b[1]-a[1]) + move*sin})
			}
		}
		bad := append([]Vec(nil), p...)
		far := rng.IntN(len(bad)) // pulled outward along the longest way, by 2 texels
		bad[far][0] += 2
		bad[far][1] += 2
		if rapid.Bool().Draw(t, "mirrored") {
			for i, j := 0, len(q)-1; i < j; i, j = i+1, j-1 {
				q[i], q[j] = q[j], q[i]
			}
		}
		// A slim star has a tolerance of its own: only a quarter of its width.
		perimeter := 0.0
		for k := range p {
			perimeter += lengthOf(minus(p[k], p[(k+1)%len(p)]))
		}
		if 2*math.Abs(Area(p))/perimeter*widthShare < 0.5 {
			return
		}
		got := Stacks(outlined(p, q, bad), 0.5)
		require.Equal(t, int32(0), got[1])
		if hausdorff(p, bad) > 0.51 {
			require.Equal(t, int32(2), got[2])
		}
	})
}

// hausdorff is a lower bound on the distance of two outlines, at the corners.
func hausdorff(p, q []Vec) float64 {
	far := 0.0
	for _, pair := range [][2][]Vec{{p, q}, {q, p}} {
		for _, a := range pair[0] {
			near := math.Inf(1)
			for k := range pair[1] {
				d := lengthOf(minus(a, nearestOn(a, pair[1][k], pair[1][(k+1)%len(pair[1])])))
				near = math.Min(near, d)
			}
			far = math.Max(far, near)
		}
	}
	return far
}

func BenchmarkStacks(b *testing.B) {
	rng := rand.New(rand.NewPCG(4, 4))
	for _, n := range []int{100, 5000} {
		var polygons [][]Vec
		for i := range n {
			p := star(rng, 12, Vec{float64(i % 64 * 60), float64(i / 64 * 60)}, 25)
			polygons = append(polygons, p, p)
		}
		o := outlined(polygons...)
		b.Run(fmt.Sprint(len(o.Edges)), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if got := Stacks(o, 0.5); got[1] != 0 {
					b.Fatal(got[1])
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(o.Edges)), "ns/edge")
		})
	}
}
