package chart

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// islands is the part of a Layout that islandsSlow finds.
type islands struct {
	Of []int32
	N  int
}

func findIslands(pos, uv []float32, tri []uint32) islands {
	l := Find(pos, uv, tri)
	return islands{l.Island, l.Islands}
}

// islandsSlow is the definition, in quadratic time: triangles are together where two of their edges agree in position
// and UV, as numbers.
func islandsSlow(pos, uv []float32, tri []uint32) islands {
	n := len(tri) / 3
	type end [5]float32
	type edge [2]end
	at := func(v uint32) end { return end{pos[3*v], pos[3*v+1], pos[3*v+2], uv[2*v], uv[2*v+1]} }
	less := func(a, b end) bool {
		for k := range a {
			if a[k] != b[k] {
				return a[k] < b[k]
			}
		}
		return false
	}
	edges := make([][]edge, n)
	for t := range n {
		for k := range 3 {
			a, b := at(tri[3*t+k]), at(tri[3*t+(k+1)%3])
			if a == b {
				continue
			}
			if less(b, a) {
				a, b = b, a
			}
			edges[t] = append(edges[t], edge{a, b})
		}
	}
	out := islands{Of: make([]int32, n)}
	for t := range out.Of {
		out.Of[t] = -1
	}
	for t := range n {
		if out.Of[t] >= 0 {
			continue
		}
		stack := []int{t}
		out.Of[t] = int32(out.N)
		for len(stack) > 0 {
			u := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for w := range n {
				if out.Of[w] >= 0 {
					continue
				}
				for _, e := range edges[u] {
					for _, f := range edges[w] {
						if e == f && out.Of[w] < 0 {
							out.Of[w] = int32(out.N)
							stack = append(stack, w)
						}
					}
				}
			}
		}
		out.N++
	}
	return out
}

func TestIslandsAgreeWithDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		vertices := rapid.IntRange(1, 40).Draw(t, "vertices")
		small := rapid.Float32Range(-1, 1)
		coordinate := rapid.OneOf(rapid.SampledFrom([]float32{0, float32(negativeZero), 1, 2}), small)
		pos := rapid.SliceOfN(coordinate, 3*vertices, 3*vertices).Draw(t, "pos")
		uv := rapid.SliceOfN(coordinate, 2*vertices, 2*vertices).Draw(t, "uv")
		tri := rapid.SliceOfN(rapid.Uint32Range(0, uint32(vertices-1)), 0, 90).Draw(t, "tri")
		tri = tri[:len(tri)/3*3]
		require.Equal(t, islandsSlow(pos, uv, tri), findIslands(pos, uv, tri))
	})
}

var negativeZero = func() float64 { z := 0.0; return -z }()

func TestIslandsOfKnownLayouts(t *testing.T) {
	t.Parallel()
	// Two triangles that share positions along their edge but not UVs: a seam.
	pos := []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0}
	tri := []uint32{0, 1, 2, 3, 4, 5}
	joined := []float32{0, 0, 1, 0, 0, 1, 1, 0, 1, 1, 0, 1}
	parted := []float32{0, 0, 1, 0, 0, 1, 3, 0, 3, 1, 2, 1}
	require.Equal(t, 1, findIslands(pos, joined, tri).N)
	require.Equal(t, 2, findIslands(pos, parted, tri).N)

	// A fan around one vertex: its bucket is larger than sortedBucket.
	fan := fanOf(100)
	require.Equal(t, 1, findIslands(fan.pos, fan.uv, fan.tri).N)

	require.Equal(t, 0, findIslands(nil, nil, nil).N)
}

type layout struct {
	pos, uv []float32
	tri     []uint32
}

func fanOf(n int) layout {
	l := layout{pos: []float32{0, 0, 0}, uv: []float32{0, 0}}
	for i := range n + 1 {
		l.pos = append(l.pos, float32(i), 1, 0)
		l.uv = append(l.uv, float32(i), 1)
	}
	for i := range n {
		l.tri = append(l.tri, 0, uint32(i+1), uint32(i+2))
	}
	return l
}

func TestIslandsDoNotDependOnNumbering(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := patches(rapid.IntRange(1, 5).Draw(t, "patches"), rapid.IntRange(1, 6).Draw(t, "edge"))
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		m := renumbered(l, rng)
		a, b := findIslands(l.pos, l.uv, l.tri), findIslands(m.pos, m.uv, m.tri)
		require.Equal(t, a.N, b.N)
		require.ElementsMatch(t, sizes(a), sizes(b))
	})
}

func sizes(i islands) []int {
	out := make([]int, i.N)
	for _, k := range i.Of {
		out[k]++
	}
	return out
}

// renumbered shuffles triangles and vertices and turns each triangle's corners round.
func renumbered(l layout, rng *rand.Rand) layout {
	vertices := len(l.uv) / 2
	to := rng.Perm(vertices)
	m := layout{pos: make([]float32, len(l.pos)), uv: make([]float32, len(l.uv))}
	for v, w := range to {
		copy(m.pos[3*w:3*w+3], l.pos[3*v:3*v+3])
		copy(m.uv[2*w:2*w+2], l.uv[2*v:2*v+2])
	}
	for _, t := range rng.Perm(len(l.tri) / 3) {
		k := rng.IntN(3)
		for c := range 3 {
			m.tri = append(m.tri, uint32(to[l.tri[3*t+(c+k)%3]]))
		}
	}
	return m
}

// patches lays n square grids of edge × edge quads side by side, each one island of its own.
func patches(n, edge int) layout {
	var l layout
	for p := range n {
		base := uint32(len(l.uv) / 2)
		for y := range edge + 1 {
			for x := range edge + 1 {
				u, v := float32(x)/float32(edge), float32(y)/float32(edge)
				l.pos = append(l.pos, u+2*float32(p), v, u*v)
				l.uv = append(l.uv, u+2*float32(p), v)
			}
		}
		row := uint32(edge + 1)
		for y := range uint32(edge) {
			for x := range uint32(edge) {
				a := base + y*row + x
				l.tri = append(l.tri, a, a+1, a+row, a+1, a+row+1, a+row)
			}
		}
	}
	return l
}

func BenchmarkFind(b *testing.B) {
	for _, size := range []struct {
		name    string
		patches int
		edge    int
	}{{"12k", 24, 16}, {"1M", 500, 32}} {
		l := patches(size.patches, size.edge)
		l = renumbered(l, rand.New(rand.NewPCG(7, 7)))
		n := len(l.tri) / 3
		b.Run(fmt.Sprintf("%s_shuffled", size.name), func(b *testing.B) { benchFind(b, l, n) })
		b.Run(size.name, func(b *testing.B) { benchFind(b, patches(size.patches, size.edge), n) })
	}
}

func benchFind(b *testing.B, l layout, n int) {
	b.ReportAllocs()
	for b.Loop() {
		Find(l.pos, l.uv, l.tri)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/triangle")
}

// A mirrored half that lies folded on the other is one island of two charts, one of them backwards.
func TestChartsOfFoldsAndDoubles(t *testing.T) {
	t.Parallel()
	// Two triangles left and right of the plane x = 0 that share the edge there, with equal UVs on both sides.
	folded := layout{
		pos: []float32{0, 0, 0, 0, 1, 0, 1, 0, 0, -1, 0, 0},
		uv:  []float32{0.5, 0, 0.5, 1, 1, 0, 1, 0},
		tri: []uint32{0, 2, 1, 0, 1, 3},
	}
	l := Find(folded.pos, folded.uv, folded.tri)
	require.Equal(t, 1, l.Islands)
	require.Equal(t, 2, l.Charts)
	require.Equal(t, []bool{false, true}, l.Backwards)
	require.Equal(t, []int32{0, 3, 6}, l.OutlineOf)

	// A sheet of two triangles, doubled with its back, in every order of the four: two charts of two triangles.
	pos := []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0}
	uv := []float32{0, 0, 1, 0, 1, 1, 0, 1}
	sides := [4][3]uint32{{0, 1, 2}, {0, 2, 3}, {0, 2, 1}, {0, 3, 2}}
	for _, order := range permutations(4) {
		var tri []uint32
		for _, k := range order {
			tri = append(tri, sides[k][:]...)
		}
		l := Find(pos, uv, tri)
		require.Equal(t, 1, l.Islands)
		require.Equal(t, 2, l.Charts, order)
		require.Equal(t, []int32{0, 4, 8}, l.OutlineOf, order)
	}

	// The same sheet twice, wound alike: still two charts, by pairs.
	l = Find(pos, uv, []uint32{0, 1, 2, 0, 2, 3, 0, 1, 2, 0, 2, 3})
	require.Equal(t, 2, l.Charts)

	// A triangle without area in UV, or with a UV that is not finite, is in no chart and parts none but its own neighbours.
	l = Find(pos, []float32{0, 0, 1, 0, 1, 1, 1, 1}, []uint32{0, 1, 2, 0, 2, 3})
	require.Equal(t, []int32{0, -1}, l.Chart)
	require.Equal(t, 1, l.Charts)
}

func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var out [][]int
	for _, p := range permutations(n - 1) {
		for at := range n {
			q := append([]int(nil), p[:at]...)
			out = append(out, append(append(q, n-1), p[at:]...))
		}
	}
	return out
}

// The outlines of a layout's charts, wound with their inside on the left, enclose the area of their triangles.
func TestOutlinesEncloseTheirCharts(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l := renumbered(patches(rapid.IntRange(1, 4).Draw(t, "patches"), rapid.IntRange(1, 6).Draw(t, "edge")),
			rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)))
		out := Find(l.pos, l.uv, l.tri)
		area := make([]float64, out.Charts)
		for i, c := range out.Chart {
			area[c] += Cross(Corners(l.uv, l.tri, i))
		}
		for c := range out.Charts {
			sum := 0.0
			for _, e := range out.Outline[out.OutlineOf[c]:out.OutlineOf[c+1]] {
				a, b := e[0], e[1]
				sum += cross2(Vec{float64(l.uv[2*a]), float64(l.uv[2*a+1])}, Vec{float64(l.uv[2*b]), float64(l.uv[2*b+1])})
			}
			require.InDelta(t, area[c], sum, 1e-6)
		}
	})
}
