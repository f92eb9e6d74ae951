package spatial

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// LongEdges is what looking at every triangle gives, on any number of threads; Bounds hold every finite triangle and no more.
func TestLongEdgesByHand(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 400).Draw(rt, "triangles")
		size := math.Ldexp(1, rapid.IntRange(-20, 20).Draw(rt, "size"))
		pos := make([]float32, 9*n)
		tri := make([]uint32, 3*n)
		for i := range pos {
			pos[i] = float32(size * rapid.Float64Range(-1, 1).Draw(rt, "c"))
			if i%9 >= 3 && i%2 == 0 { // many short edges
				pos[i] = pos[i-3] + float32(1e-3*size)
			}
		}
		if rapid.Bool().Draw(rt, "bad") {
			pos[0] = float32(math.NaN())
		}
		for i := range tri {
			tri[i] = uint32(i)
		}
		limit := size * rapid.Float64Range(0, 3).Draw(rt, "limit")
		var want []uint32
		lo, hi := emptyBox().lo, emptyBox().hi
		tree := Build(pos, tri, 1)
		for i := range n {
			a, b, c := tree.triangle(i)
			sum := a[0] + a[1] + a[2] + b[0] + b[1] + b[2] + c[0] + c[1] + c[2]
			if sum != sum {
				continue
			}
			long := false
			for _, e := range [3][2]*[3]float32{{a, b}, {b, c}, {c, a}} {
				var sq float64
				for k := range 3 {
					d := float64(e[0][k]) - float64(e[1][k])
					sq += float64(d * d)
					lo[k], hi[k] = min(lo[k], e[0][k]), max(hi[k], e[0][k])
				}
				long = long || sq > limit*limit
			}
			if long {
				want = append(want, uint32(i))
			}
		}
		for _, threads := range []int{1, 2, 8} {
			require.Equal(rt, want, tree.LongEdges(limit, threads))
		}
		gotLo, gotHi := tree.Bounds()
		for k := range 3 {
			for _, pair := range [2][2]float32{{lo[k], gotLo[k]}, {hi[k], gotHi[k]}} {
				tiny := size * math.Ldexp(1, -124) // smaller ones have fewer digits than the scale may need
				if want := float64(pair[0]); math.Abs(want) < tiny {
					require.InDelta(rt, want, pair[1], tiny)
				} else {
					require.Equal(rt, pair[0], pair[1])
				}
			}
		}
	})
}

func BenchmarkLongEdges(b *testing.B) {
	pos, tri := wave(1_000_000)
	tree := Build(pos, tri, 0)
	b.ReportAllocs()
	for b.Loop() {
		tree.LongEdges(5e-2, 1)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tri)/3), "ns/triangle")
}
