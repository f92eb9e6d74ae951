package spatial

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Laws, for all surfaces and queries:
//
//  1. Answers are those of a search through all triangles, to the last bit.
//  2. They are the same on any number of threads and in any order of the queries.
//  3. Moving, turning and scaling surface and queries together changes distances by the scale alone, but for rounding;
//     scaling by a power of two changes nothing else at all.
//  4. Renumbering triangles renumbers answers, but for which of equally near ones is named.
//  5. Cutting a flat triangle changes no distance, but for rounding.
//  6. Distances differ by no more than the points do.

func everything(t *Tree, rays []Ray, points []float32, threads int) ([]Hit, []Near, []bool) {
	h, n, s := make([]Hit, len(rays)), make([]Near, len(points)/3), make([]bool, len(rays))
	t.Hits(rays, h, threads)
	t.Closest(points, inf32, n, threads)
	t.Any(rays, s, threads)
	return h, n, s
}

func scene(seed uint64, n int) (pos []float32, tri []uint32, rays []Ray, points []float32) {
	rng := rand.New(rand.NewPCG(seed, 77))
	pos, tri = soup(n, 0.1, rng)
	for range 6000 {
		r := Ray{Max: 3}
		for k := range 3 {
			r.Org[k] = float32(rng.Float32()*2) - 0.5
			r.Dir[k] = float32(rng.Float32()*2) - 1
			points = append(points, float32(rng.Float32()*3)-1)
		}
		rays = append(rays, r)
	}
	return pos, tri, rays, points
}

func TestSameOnAnyNumberOfThreads(t *testing.T) {
	t.Parallel()
	pos, tri, rays, points := scene(1, 40000)
	one := Build(pos, tri, 1)
	h1, n1, s1 := everything(one, rays, points, 1)
	for _, threads := range []int{2, 8} {
		many := Build(pos, tri, threads)
		require.Equal(t, one.nodes, many.nodes)
		require.Equal(t, one.leaves, many.leaves)
		h, n, s := everything(many, rays, points, threads)
		require.Equal(t, h1, h, "%d threads", threads)
		require.Equal(t, n1, n, "%d threads", threads)
		require.Equal(t, s1, s, "%d threads", threads)
		require.Equal(t, one.Overlap(one, 0, 1), many.Overlap(many, 0, threads))
	}
	// Back to front: other neighbours, other chunks.
	slices.Reverse(rays)
	h, _, _ := everything(one, rays, points, 2)
	slices.Reverse(h)
	require.Equal(t, h1, h)
}

func TestScalingByPowersOfTwo(t *testing.T) {
	t.Parallel()
	pos, tri, rays, points := scene(2, 2000)
	h1, n1, _ := everything(Build(pos, tri, 2), rays, points, 2)
	for _, e := range []int{-60, -20, 20, 60} {
		s := float32(math.Ldexp(1, e))
		grown, far := scaled(pos, s), scaled(points, s)
		longer := slices.Clone(rays)
		for i := range longer {
			r := &longer[i]
			for k := range 3 {
				r.Org[k] *= s
				r.Dir[k] *= s
			}
		}
		h, n, _ := everything(Build(grown, tri, 2), longer, far, 2)
		require.Equal(t, h1, h, "2^%d", e)
		for i := range n {
			n[i].Dist /= s
			for k := range 3 {
				n[i].Point[k] /= s
			}
		}
		require.Equal(t, n1, n, "2^%d", e)
	}
}

func scaled(p []float32, s float32) []float32 {
	out := make([]float32, len(p))
	for i := range p {
		out[i] = p[i] * s
	}
	return out
}

func TestRigidMotion(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		rng := rand.New(rand.NewPCG(seed, 1))
		pos, tri := soup(60, 0.3, rng)
		points := shell(40, 1.5, rng)
		angle, scale := rng.Float64()*6, math.Exp(rng.NormFloat64())
		s, c := math.Sincos(angle)
		shift := [3]float64{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
		move := func(p []float32) []float32 {
			var out []float32
			for i := 0; i < len(p); i += 3 {
				x, y, z := float64(p[i]), float64(p[i+1]), float64(p[i+2])
				x, z = c*x-s*z, s*x+c*z
				y, z = c*y-s*z, s*y+c*z
				out = append(out, float32(scale*x+shift[0]), float32(scale*y+shift[1]), float32(scale*z+shift[2]))
			}
			return out
		}
		a, b := make([]Near, 40), make([]Near, 40)
		Build(pos, tri, 1).Closest(points, inf32, a, 1)
		Build(move(pos), tri, 1).Closest(move(points), inf32, b, 1)
		for i := range a {
			require.InDelta(t, float64(a[i].Dist)*scale, float64(b[i].Dist), 4e-6*(1+scale), "point %d", i)
		}
	})
}

func TestRenumbering(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 2))
		pos, tri := soup(80, 0.4, rng)
		n := len(tri) / 3
		perm := rng.Perm(n)
		mixed := make([]uint32, len(tri))
		for i, j := range perm { // triangle i becomes j, its corners turned
			k := rng.IntN(3)
			for c := range 3 {
				mixed[3*j+c] = tri[3*i+(c+k)%3]
			}
		}
		points := shell(60, 1, rng)
		a, b := make([]Near, 60), make([]Near, 60)
		Build(pos, tri, 1).Closest(points, inf32, a, 1)
		Build(pos, mixed, 1).Closest(points, inf32, b, 1)
		for i := range a {
			require.InDelta(t, float64(a[i].Dist), float64(b[i].Dist), 2e-7, "point %d", i) // a corner turned rounds otherwise
		}
	})
}

func TestRefiningFlatTriangles(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 3))
		coarse, fine := buildOf(slab(1)), buildOf(slab(1+rng.IntN(40)))
		points := shell(100, 0.2+2*rng.Float64(), rng)
		a, b := make([]Near, 100), make([]Near, 100)
		coarse.Closest(points, inf32, a, 1)
		fine.Closest(points, inf32, b, 1)
		for i := range a {
			require.InDelta(t, float64(a[i].Dist), float64(b[i].Dist), 3e-7, "point %d", i)
		}
	})
}

func TestTriangleInequality(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 4))
		pos, tri := soup(100, 0.3, rng)
		points := append(shell(50, 1, rng), shell(50, 0.3, rng)...)
		out := make([]Near, 100)
		Build(pos, tri, 1).Closest(points, inf32, out, 1)
		for i := range out {
			for j := range i {
				d := vecOf([3]float32(points[3*i : 3*i+3])).sub(vecOf([3]float32(points[3*j : 3*j+3])))
				require.LessOrEqual(t, math.Abs(float64(out[i].Dist)-float64(out[j].Dist)), math.Sqrt(d.dot(d))+1e-6)
			}
		}
	})
}

// TestWatertight aims rays exactly at the vertices and edge middles of a closed surface.
func TestWatertight(t *testing.T) {
	t.Parallel()
	pos, tri := ball(1, 20, 40)
	tree := Build(pos, tri, 2)
	var rays []Ray
	for i := range len(tri) / 3 {
		for k := range 3 {
			a, b := pos[3*tri[3*i+k]:], pos[3*tri[3*i+(k+1)%3]:]
			for _, org := range [][3]float32{{}, {0.1, 0.2, -0.05}} {
				for _, w := range []float32{0, 0.5, 0.25} {
					var r Ray
					for x := range 3 {
						r.Dir[x] = a[x] + (b[x]-a[x])*w - org[x]
					}
					r.Org, r.Max = org, 2
					rays = append(rays, r)
				}
			}
		}
	}
	hits := make([]Hit, len(rays))
	tree.Hits(rays, hits, 2)
	for i, h := range hits {
		require.NotEqual(t, int32(Miss), h.Tri, "ray %d slips through: %v", i, rays[i])
		require.InDelta(t, 1, float64(h.T), 0.02, fmt.Sprint(rays[i]))
	}
}

// TestSameBits holds a tree and its answers to one digest on every processor: run on arm64 and at every GOAMD64.
func TestSameBits(t *testing.T) {
	t.Parallel()
	pos, tri, rays, points := scene(4, 5000)
	tree := Build(pos, tri, 2)
	h, n, _ := everything(tree, rays, points, 2)
	sides := NewNormals(tree)
	sum := sha256.New()
	put := func(v any) { require.NoError(t, binary.Write(sum, binary.LittleEndian, v)) }
	put(h)
	put(n)
	for i := range n {
		side, known := sides.Side([3]float32(points[3*i:3*i+3]), n[i])
		put(int8(side))
		put(known)
	}
	for _, v := range sides.vertex {
		put([3]float64{v.x, v.y, v.z})
	}
	put(tree.Farther(buildOf(slab(20)), 0.1, nil, 2))
	require.Equal(t, sameBits, hex.EncodeToString(sum.Sum(nil)))
}

const sameBits = "dafc19f47cf5fb7cca669819dc65e16087f6d5363df135b8c85dde305d40c992"
