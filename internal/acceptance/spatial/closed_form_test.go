package spatial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestConcentricSpheres: every vertex of the outer ball is nearest to the inner sphere by the difference of radii; the
// inner surface is a polyhedron with its vertices on the sphere, so the distance is larger by at most its sagitta.
func TestConcentricSpheres(t *testing.T) {
	t.Parallel()
	inner := buildOf(ball(1, 120, 240))
	outer := buildOf(ball(1.25, 60, 120))
	out := make([]Near, len(outer.pos)/3)
	inner.Closest(outer.pos, inf32, out, 2)
	sagitta := 1 - math.Cos(math.Pi/120) // in both directions about half of pi/120 apart from a vertex, taken twice
	for i, n := range out {
		require.GreaterOrEqual(t, float64(n.Dist), 0.25-1e-6, "vertex %d", i)
		require.LessOrEqual(t, float64(n.Dist), 0.25+sagitta, "vertex %d", i)
	}
}

// TestPrismInCylinder: an n-sided prism inscribed in a cylinder of radius R lies inside it by R(1 - cos(pi/n)) at the
// middle of its sides. The cylinder is a prism of so many sides that its own offset is below the tolerance.
func TestPrismInCylinder(t *testing.T) {
	t.Parallel()
	const radius, half = 0.3, 0.1
	fine := buildOf(prism(radius, half, 4000))
	own := radius * (1 - math.Cos(math.Pi/4000))
	for _, n := range []int{6, 24} {
		coarse := buildOf(prism(radius, half, n))
		want := radius * (1 - math.Cos(math.Pi/float64(n)))
		out := make([]Near, len(fine.pos)/3)
		coarse.Closest(fine.pos, inf32, out, 2)
		top := 0.0
		for _, near := range out {
			top = max(top, float64(near.Dist))
		}
		require.InDelta(t, want, top, own+1e-7, "%d sides, cylinder to prism", n)

		var middles []float32
		for k := range n {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / float64(n))
			r := radius * math.Cos(math.Pi/float64(n))
			middles = append(middles, float32(r*cos), 0, float32(r*sin))
		}
		fine.Closest(middles, inf32, out[:n], 2)
		for k, near := range out[:n] {
			require.InDelta(t, want, float64(near.Dist), own+1e-7, "%d sides, middle of side %d to cylinder", n, k)
		}
	}
}

func TestRaysIntoSphere(t *testing.T) {
	t.Parallel()
	tree := buildOf(ball(1, 200, 400))
	var rays []Ray
	for range 1000 {
		p := shell(1, 2, rand.New(rand.NewPCG(uint64(len(rays)), 3)))
		rays = append(rays, Ray{Org: [3]float32(p), Dir: [3]float32{-p[0], -p[1], -p[2]}, Max: 1})
	}
	hits := make([]Hit, len(rays))
	tree.Hits(rays, hits, 2)
	some := make([]bool, len(rays))
	tree.Any(rays, some, 2)
	all := make([]int, len(rays))
	tree.AllHits(rays, 2, func(i int, h []Hit) { all[i] = len(h) })
	for i, h := range hits {
		require.NotEqual(t, int32(Miss), h.Tri, "ray %d", i)
		require.InDelta(t, 0.5, float64(h.T), 2e-4, "half of the way to the middle")
		require.False(t, h.Back, "from outside")
		require.True(t, some[i])
		require.GreaterOrEqual(t, all[i], 1)
	}
	for i := range rays { // from the middle outward: back faces
		rays[i] = Ray{Dir: rays[i].Org, Max: inf32}
	}
	tree.Hits(rays, hits, 2)
	for i, h := range hits {
		require.NotEqual(t, int32(Miss), h.Tri, "ray %d", i)
		require.True(t, h.Back)
	}
}

// TestSides holds signs against the sphere's: all queries' closest features occur, faces, edges and vertices.
func TestSides(t *testing.T) {
	t.Parallel()
	tree := buildOf(ball(1, 12, 24))
	sides := NewNormals(tree)
	rng := rand.New(rand.NewPCG(9, 9))
	seen := [7]int{}
	for i := range 20000 {
		r := []float64{0.6, 0.9, 1.001, 1.2, 2}[i%5]
		p := [3]float32(shell(1, r, rng))
		out := []Near{{}}
		tree.Closest(p[:], inf32, out, 1)
		side, known := sides.Side(p, out[0])
		require.True(t, known)
		want := Outside
		if r < 0.96 {
			want = Inside
		}
		require.Equal(t, want, side, "%v at %v", p, out[0])
		seen[out[0].Feature]++
	}
	require.Greater(t, seen[0], 100)
	require.Greater(t, seen[1]+seen[2]+seen[3], 100)
	require.Greater(t, seen[4]+seen[5]+seen[6], 100)
}

func TestSidesUnknownAtBorders(t *testing.T) {
	t.Parallel()
	tree := buildOf(slab(4))
	sides := NewNormals(tree)
	ask := func(x, y, z float32) (Side, bool) {
		out := []Near{{}}
		tree.Closest([]float32{x, y, z}, inf32, out, 1)
		return sides.Side([3]float32{x, y, z}, out[0])
	}
	side, known := ask(0.1, 0.2, 0.2)
	require.True(t, known)
	require.Equal(t, Outside, side)
	side, known = ask(0.1, -0.2, 0.2)
	require.True(t, known)
	require.Equal(t, Inside, side)
	_, known = ask(2, 0.2, 0.2)
	require.False(t, known, "beyond the border")
	_, known = ask(2, 0.2, 2)
	require.False(t, known, "beyond a corner")
	side, known = ask(0.1, 0, 0.2)
	require.True(t, known)
	require.Equal(t, On, side)

}

// TestSidesUnknownWhereShellsTouch: two octahedra with one corner in the same place, each closed for itself.
func TestSidesUnknownWhereShellsTouch(t *testing.T) {
	t.Parallel()
	pos := []float32{1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1}
	tri := []uint32{0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5}
	one := Build(pos, tri, 1)
	require.False(t, NewNormals(one).unknown[0], "alone it is a corner like any other")
	for v := range 6 {
		pos = append(pos, pos[3*v]+2, pos[3*v+1], pos[3*v+2])
	}
	for _, v := range tri[:len(tri):len(tri)] {
		tri = append(tri, v+6)
	}
	both := Build(pos, tri, 1)
	_, known := NewNormals(both).Side([3]float32{1, 0.5, 0}, Near{Tri: 0, Feature: 4})
	require.False(t, known)
	_, known = NewNormals(both).Side([3]float32{0, 2, 0}, Near{Tri: 0, Feature: 5})
	require.True(t, known)
}
