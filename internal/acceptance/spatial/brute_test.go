package spatial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// bruteHit and bruteNear ask every triangle: what any tree has to equal. The tree gives scale and bounds.
func bruteHit(pos []float32, tri []uint32, r Ray, tree *Tree) Hit {
	best := Hit{Tri: Miss}
	s, ok := newShear(&r, tree)
	if !ok {
		return best
	}
	for i := range len(tri) / 3 {
		l, fine := bruteLeaf(pos, tri, i, tree.scale)
		if !fine {
			continue
		}
		if m, ok := s.meet(&l, 0); ok && (best.Tri == Miss || m.t < s.max) {
			best = Hit{Tri: int32(i), T: float32(float64(m.t) * s.unit), U: m.ev / m.det, V: m.ew / m.det, Back: m.det < 0}
			s.max = m.t
		}
	}
	return best
}

func bruteNear(pos []float32, tri []uint32, p [3]float32, bound, scale float32) Near {
	out := Near{Tri: Miss, Dist: inf32}
	if !finite(p[0]) || !finite(p[1]) || !finite(p[2]) {
		return out
	}
	limit := float64(bound) * float64(scale)
	best, up := limit*limit, 1/float64(scale)
	q := vecOf(p)
	q.x, q.y, q.z = q.x*float64(scale), q.y*float64(scale), q.z*float64(scale)
	for i := range len(tri) / 3 {
		l, fine := bruteLeaf(pos, tri, i, scale)
		if !fine {
			continue
		}
		a, b, c := l.corners(0)
		f := nearTriangle(q, a, b, c, math.Inf(1))
		if f.distSq < best || f.distSq == best && out.Tri == Miss {
			best = f.distSq
			out = Near{Tri: int32(i), Feature: f.feature, Dist: float32(math.Sqrt(f.distSq) * up), Point: f.point(q, a, b, c).narrow(up)}
		}
	}
	return out
}

func bruteLeaf(pos []float32, tri []uint32, i int, scale float32) (l leaf, fine bool) {
	fine = true
	for c := range 3 {
		for k := range 3 {
			x := pos[3*int(tri[3*i+c])+k]
			fine = fine && finite(x)
			l.v[3*c+k][0] = x * scale
		}
	}
	return l, fine
}

// soup is n random triangles of about the given size in the unit cube, some without area, some twice.
func soup(n int, size float32, rng *rand.Rand) (pos []float32, tri []uint32) {
	for i := range n {
		var c [3]float32
		for k := range c {
			c[k] = rng.Float32()
		}
		for j := range 3 {
			for k := range 3 {
				x := c[k] + float32(size*(rng.Float32()-0.5))
				if i%7 == 3 && j > 0 {
					x = pos[len(pos)-3] // collapsed
				}
				pos = append(pos, x)
			}
		}
		tri = append(tri, uint32(3*i), uint32(3*i+1), uint32(3*i+2))
		if i%11 == 5 {
			tri = append(tri, uint32(3*i), uint32(3*i+1), uint32(3*i+2))
		}
	}
	return pos, tri
}

func TestAgreesWithBruteForce(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(1, 2))
	met := 0
	for _, size := range []float32{0.01, 0.2, 2} {
		pos, tri := soup(300, size, rng)
		tree := Build(pos, tri, 2)
		var rays []Ray
		var points []float32
		for range 500 {
			r := Ray{Max: 3}
			for k := range 3 {
				r.Org[k] = rng.Float32()*2 - 0.5
				r.Dir[k] = rng.Float32()*2 - 1
				points = append(points, rng.Float32()*3-1)
			}
			rays = append(rays, r)
		}
		hits, nears := make([]Hit, len(rays)), make([]Near, len(points)/3)
		tree.Hits(rays, hits, 2)
		tree.Closest(points, float32(math.Inf(1)), nears, 2)
		for i := range rays {
			require.Equal(t, bruteHit(pos, tri, rays[i], tree), hits[i], "ray %d of size %g", i, size)
			require.Equal(t, bruteNear(pos, tri, [3]float32(points[3*i:3*i+3]), inf32, tree.scale), nears[i], "point %d of size %g", i, size)
			if hits[i].Tri != Miss {
				met++
			}
		}
	}
	require.Greater(t, met, 300)
}
