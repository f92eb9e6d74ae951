package spatial

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

var nan32 = float32(math.NaN())

// TestOddSurfaces holds every answer against brute force on the shapes that importers let through.
func TestOddSurfaces(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(41, 42))
	square, squareTri := slab(12)
	many := func(n int, f func(i int) [9]float32) ([]float32, []uint32) {
		var p []float32
		var v []uint32
		for i := range n {
			x := f(i)
			p = append(p, x[:]...)
			v = append(v, uint32(3*i), uint32(3*i+1), uint32(3*i+2))
		}
		return p, v
	}
	type surface struct {
		name string
		pos  []float32
		tri  []uint32
	}
	add := func(list []surface, name string, pos []float32, tri []uint32) []surface {
		return append(list, surface{name, pos, tri})
	}
	var list []surface
	list = add(list, "nothing", nil, nil)
	list = add(list, "one point, without triangles", []float32{1, 2, 3}, nil)
	list = add(list, "one triangle", []float32{0, 0, 0, 1, 0, 0, 0, 1, 0}, []uint32{0, 1, 2})
	list = add(list, "a flat square", square, squareTri)
	p, v := many(200, func(int) [9]float32 { return [9]float32{0, 0, 0, 1, 0, 0, 0, 1, 0} })
	list = add(list, "200 times the same triangle", p, v)
	p, v = many(200, func(int) [9]float32 { return [9]float32{1, 1, 1, 1, 1, 1, 1, 1, 1} })
	list = add(list, "200 times the same point", p, v)
	p, v = many(300, func(i int) [9]float32 {
		x := float32(i) / 300
		return [9]float32{x, 0, 0, x + 0.1, 0, 0, x + 0.2, 0, 0}
	})
	list = add(list, "collinear", p, v)
	p, v = many(300, func(int) [9]float32 {
		var x [9]float32
		for k := range x {
			x[k] = [...]float32{0, 1, nan32, inf32, -inf32, 0.5, 0.25}[rng.IntN(7)]
		}
		return x
	})
	list = add(list, "not a number and infinities", p, v)
	for _, s := range []float32{1e-38, 1e-20, 1e18, 3e37} {
		p, v = many(300, func(int) [9]float32 {
			var x [9]float32
			for k := range x {
				x[k] = s * (rng.Float32() - 0.5)
			}
			return x
		})
		list = add(list, "of size "+string(rune('a'+len(list))), p, v)
	}
	p, v = many(300, func(i int) [9]float32 {
		s := float32(math.Pow(10, float64(i%60)-30))
		var x [9]float32
		for k := range x {
			x[k] = s * (rng.Float32() - 0.5)
		}
		return x
	})
	list = add(list, "all sizes at once", p, v)
	p, v = soup(400, 0.2, rng)
	p = append(p, 1e30, -1e30, 1e30) // used by no triangle
	list = add(list, "a vertex far off that nothing uses", p, v)
	for _, s := range list {
		t.Run(s.name, func(t *testing.T) {
			t.Parallel()
			agree(t, s.pos, s.tri, 300, rand.New(rand.NewPCG(1, 9)))
		})
	}
}

// agree asks rays and points on, near and far from the surface.
func agree(t testing.TB, pos []float32, tri []uint32, queries int, rng *rand.Rand) {
	tree := Build(pos, tri, 2)
	place := func() (p [3]float32) {
		if len(pos) >= 3 && rng.IntN(3) > 0 {
			i := rng.IntN(len(pos) / 3)
			copy(p[:], pos[3*i:])
		}
		s := tree.unscale * float32(math.Pow(10, 3-9*rng.Float64()))
		for k := range 3 {
			if rng.IntN(2) == 0 {
				p[k] += s * (rng.Float32() - 0.5)
			}
		}
		if rng.IntN(20) == 0 {
			p[rng.IntN(3)] = [...]float32{nan32, inf32, 3e38, -3e38, 0, float32(math.Copysign(0, -1))}[rng.IntN(6)]
		}
		return p
	}
	var rays []Ray
	var points []float32
	for range queries {
		a, b := place(), place()
		r := Ray{Org: a, Dir: [3]float32{b[0] - a[0], b[1] - a[1], b[2] - a[2]}, Max: 2}
		if rng.IntN(4) == 0 { // along an axis
			r.Dir = [3]float32{}
			r.Dir[rng.IntN(3)] = float32(rng.IntN(3) - 1)
			r.Max = inf32
		}
		rays = append(rays, r)
		points = append(points, a[:]...)
	}
	h, n, s := everything(tree, rays, points, 2)
	all := make([][]Hit, len(rays))
	tree.AllHits(rays, 1, func(i int, hits []Hit) { all[i] = append([]Hit(nil), hits...) })
	for i := range rays {
		want := bruteHit(pos, tri, rays[i], tree)
		same(t, want, h[i], rays[i])
		require.Equal(t, want.Tri != Miss, s[i], "any of ray %v", rays[i])
		if want.Tri == Miss {
			require.Empty(t, all[i])
		} else {
			same(t, want, all[i][0], rays[i])
		}
		p := [3]float32(points[3*i : 3*i+3])
		require.Equal(t, bruteNear(pos, tri, p, inf32, tree.scale), n[i], "point %v", p)
	}
}

// same compares hits, of which U and V may be not a number where their quotient is.
func same(t testing.TB, want, got Hit, r Ray) {
	if want != got && !(want.U != want.U && got.U != got.U || want.V != want.V && got.V != got.V) {
		require.Equal(t, want, got, "ray %v", r)
	}
}

// FuzzTree makes a surface of the bytes and holds the tree against brute force.
func FuzzTree(f *testing.F) {
	f.Add([]byte{}, uint64(1))
	f.Add(make([]byte, 36*20), uint64(2))
	rng := rand.New(rand.NewPCG(8, 8))
	for _, size := range []float32{1e-4, 1, 1e20} {
		pos, _ := soup(30, size, rng)
		var b []byte
		for _, x := range pos {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
		}
		f.Add(b, uint64(3))
	}
	f.Fuzz(func(t *testing.T, data []byte, seed uint64) {
		var pos []float32
		for ; len(data) >= 4 && len(pos) < 900; data = data[4:] {
			pos = append(pos, math.Float32frombits(binary.LittleEndian.Uint32(data)))
		}
		pos = pos[:len(pos)/3*3]
		var tri []uint32
		rng := rand.New(rand.NewPCG(seed, 5))
		if n := len(pos) / 3; n > 0 {
			for range n + rng.IntN(2*n) {
				tri = append(tri, uint32(rng.IntN(n)), uint32(rng.IntN(n)), uint32(rng.IntN(n)))
			}
		}
		agree(t, pos, tri, 30, rng)
	})
}
