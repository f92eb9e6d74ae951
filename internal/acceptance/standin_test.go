package acceptance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
)

// grid is a unit square of 2·n² triangles in the plane y = 0, with a bump.
func standInGround(n int) *mesh.Surface {
	sf := &mesh.Surface{}
	for j := range n + 1 {
		for i := range n + 1 {
			x, z := float32(i)/float32(n), float32(j)/float32(n)
			sf.Pos = append(sf.Pos, x, 0.05*x*z, z)
		}
	}
	at := func(i, j int) uint32 { return uint32(j*(n+1) + i) }
	for j := range n {
		for i := range n {
			sf.Tri = append(sf.Tri, at(i, j), at(i, j+1), at(i+1, j), at(i+1, j), at(i, j+1), at(i+1, j+1))
		}
	}
	return sf
}

// A sculpt that is small stays as it is; a large one becomes about as large as the viewer takes, within a cell of where it was.
func TestStandIn(t *testing.T) {
	t.Parallel()
	small := standInGround(100)
	require.Equal(t, small.Tri, standIn(small).Tri)

	large := standInGround(700) // 980,000 triangles
	_, cell, ok := standInGrid(large)
	require.True(t, ok)
	got := standIn(large)
	require.InDelta(t, standInTriangles, len(got.Tri)/3, standInTriangles/2)
	for v := 0; v < len(got.Pos); v += 3 {
		x, y, z := float64(got.Pos[v]), float64(got.Pos[v+1]), float64(got.Pos[v+2])
		require.InDelta(t, 0.05*x*z, y, cell/10, "vertex %d", v/3)
	}
	area := 0.0
	for i := 0; i < len(got.Tri); i += 3 {
		a, b, c := point(got.Pos, got.Tri[i]), point(got.Pos, got.Tri[i+1]), point(got.Pos, got.Tri[i+2])
		area += math.Sqrt(lenSq(cross(sub(b, a), sub(c, a)))) / 2
	}
	require.InDelta(t, 1, area, 0.02, "the square is still covered, once")
}

// Nothing that is delivered stops it: no extent, no number.
func TestStandInOfOddSculpts(t *testing.T) {
	t.Parallel()
	flat := standInGround(300)
	for i := range flat.Pos {
		flat.Pos[i] = 1
	}
	require.Empty(t, standIn(flat).Tri)
	odd := standInGround(300)
	odd.Pos[0], odd.Pos[4] = float32(math.NaN()), float32(math.Inf(1))
	require.NotEmpty(t, standIn(odd).Tri)
}

func BenchmarkStandIn(b *testing.B) {
	sf := standInGround(1000)
	b.ReportAllocs()
	for b.Loop() {
		standIn(sf)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(sf.Triangles()), "ns/triangle")
}
