package spatial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// bruteHit and bruteNear ask every triangle: what any tree has to equal.
func bruteHit(pos []float32, tri []uint32, r Ray) Hit {
	best := Hit{Tri: Miss}
	s, ok := newShear(&r)
	if !ok {
		return best
	}
	for i := range len(tri) / 3 {
		a, b, c, fine := bruteCorners(pos, tri, i)
		if !fine {
			continue
		}
		if d, u, v, back, ok := s.meet(&a, &b, &c); ok && (best.Tri == Miss || d < best.T) {
			best = Hit{Tri: int32(i), T: d, U: u, V: v, Back: back}
		}
	}
	return best
}

func bruteNear(pos []float32, tri []uint32, p [3]float32, bound float32) Near {
	out := Near{Tri: Miss, Dist: float32(math.Inf(1))}
	if !finite(p[0]) || !finite(p[1]) || !finite(p[2]) {
		return out
	}
	best := float64(bound) * float64(bound)
	for i := range len(tri) / 3 {
		a, b, c, fine := bruteCorners(pos, tri, i)
		if !fine {
			continue
		}
		d, q, f := nearTriangle(wide(p), wide(a), wide(b), wide(c))
		if d < best || d == best && out.Tri == Miss {
			best = d
			out = Near{Tri: int32(i), Feature: f, Dist: float32(math.Sqrt(d)), Point: [3]float32{float32(q[0]), float32(q[1]), float32(q[2])}}
		}
	}
	return out
}

func bruteCorners(pos []float32, tri []uint32, i int) (a, b, c [3]float32, fine bool) {
	p := [3][3]float32{}
	fine = true
	for k := range 3 {
		v := int(tri[3*i+k])
		p[k] = [3]float32(pos[3*v : 3*v+3])
		fine = fine && finite(p[k][0]) && finite(p[k][1]) && finite(p[k][2])
	}
	return p[0], p[1], p[2], fine
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
				x := c[k] + size*(rng.Float32()-0.5)
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
			require.Equal(t, bruteHit(pos, tri, rays[i]), hits[i], "ray %d of size %g", i, size)
			require.Equal(t, bruteNear(pos, tri, [3]float32(points[3*i:3*i+3]), float32(math.Inf(1))), nears[i], "point %d of size %g", i, size)
			if hits[i].Tri != Miss {
				met++
			}
		}
	}
	require.Greater(t, met, 300)
}
