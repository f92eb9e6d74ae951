package spatial

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestOverlapAgreesWithAllPairs(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(51, 52))
	pos, tri := soup(150, 0.2, rng)
	far, farTri := soup(100, 0.4, rng)
	for i := range far {
		far[i] *= 3 // another scale
	}
	a, b := Build(pos, tri, 2), Build(far, farTri, 2)
	boxOf := func(pos []float32, tri []uint32, i int) box64 {
		p, q, r, _ := corners(pos, tri, i)
		return box64{
			vec{min(p.x, q.x, r.x), min(p.y, q.y, r.y), min(p.z, q.z, r.z)},
			vec{max(p.x, q.x, r.x), max(p.y, q.y, r.y), max(p.z, q.z, r.z)},
		}
	}
	for _, within := range []float32{0, 0.05} {
		var want, wantSelf [][2]int32
		for i := range len(tri) / 3 {
			x := boxOf(pos, tri, i)
			for j := range len(farTri) / 3 {
				if y := boxOf(far, farTri, j); x.near(&y, float64(within)) {
					want = append(want, [2]int32{int32(i), int32(j)})
				}
			}
			for j := i + 1; j < len(tri)/3; j++ {
				if y := boxOf(pos, tri, j); x.near(&y, float64(within)) {
					wantSelf = append(wantSelf, [2]int32{int32(i), int32(j)})
				}
			}
		}
		require.NotEmpty(t, want)
		require.Equal(t, want, a.Overlap(b, within, 2))
		require.Equal(t, wantSelf, a.Overlap(a, within, 2))
	}
}

func corners(pos []float32, tri []uint32, i int) (a, b, c vec, fine bool) {
	l, fine := bruteLeaf(pos, tri, i, 1)
	a, b, c = l.corners(0)
	return a, b, c, fine
}

func TestFartherAsksEachVertexsQuestion(t *testing.T) {
	t.Parallel()
	game := buildOf(ball(1, 24, 48))
	pos, tri := wave(30000) // within about 22 mm of the unit sphere
	sculpt := Build(pos, tri, 2)
	sides := NewNormals(game)
	out := make([]Near, len(pos)/3)
	game.Closest(pos, inf32, out, 2)
	used := make([]bool, len(out))
	for _, v := range tri {
		used[v] = true
	}
	for _, limit := range []float32{0, 0.004, 0.01, 0.02, 0.03} {
		want, wantOut := []uint32{}, []uint32{}
		for v, n := range out {
			if !used[v] || n.Dist <= limit {
				continue
			}
			want = append(want, uint32(v))
			if side, known := sides.Side([3]float32(pos[3*v:3*v+3]), n); !known || side == Outside {
				wantOut = append(wantOut, uint32(v))
			}
		}
		require.ElementsMatch(t, want, game.Farther(sculpt, limit, nil, 2), "limit %g", limit)
		require.ElementsMatch(t, wantOut, game.Farther(sculpt, limit, sides, 2), "limit %g outside", limit)
	}
}

func TestBound(t *testing.T) {
	t.Parallel()
	tree := buildOf(slab(8))
	out := make([]Near, 3)
	tree.Closest([]float32{0, 0.5, 0, 0, 0.25, 0, 0, 0.75, 0}, 0.5, out, 1)
	require.NotEqual(t, int32(Miss), out[0].Tri, "at the bound itself")
	require.NotEqual(t, int32(Miss), out[1].Tri)
	require.Equal(t, Near{Tri: Miss, Dist: inf32}, out[2])
	tree.Closest([]float32{0, 0.5, 0}, nan32, out, 1)
	require.Equal(t, int32(Miss), out[0].Tri, "a bound that is not a number")
}

func TestWeld(t *testing.T) {
	t.Parallel()
	minus := float32(math.Copysign(0, -1))
	of, n := Weld([]float32{0, 0, 0, 1, 0, 0, minus, 0, minus, 1, 0, 0, nan32, 0, 0, nan32, 0, 0}, 0)
	require.Equal(t, []uint32{0, 1, 0, 1, 2, 3}, of)
	require.Equal(t, 4, n)

	// Steps of 0.6 with a tolerance of 1: the third is too far from the first, and the chain does not creep.
	of, n = Weld([]float32{0, 0, 0, 0.6, 0, 0, 1.2, 0, 0, 1.8, 0, 0, inf32, 0, 0}, 1)
	require.Equal(t, []uint32{0, 0, 1, 1, 2}, of)
	require.Equal(t, 3, n)

	rng := rand.New(rand.NewPCG(61, 62))
	pos := make([]float32, 3*2000)
	for i := range pos {
		pos[i] = rng.Float32() - 0.5
	}
	const tolerance = 0.03
	var first []int
	want := make([]uint32, 2000)
	for v := range want {
		want[v] = math.MaxUint32
		for k, u := range first {
			d := vecOf([3]float32(pos[3*v : 3*v+3])).sub(vecOf([3]float32(pos[3*u : 3*u+3])))
			if d.dot(d) <= float64(float32(tolerance))*float64(float32(tolerance)) {
				want[v] = uint32(k)
				break
			}
		}
		if want[v] == math.MaxUint32 {
			want[v] = uint32(len(first))
			first = append(first, v)
		}
	}
	of, n = Weld(pos, tolerance)
	require.Equal(t, want, of)
	require.Equal(t, len(first), n)
}

func TestAcross(t *testing.T) {
	t.Parallel()
	_, tri := ball(1, 6, 9)
	place := make([]uint32, 2+5*9)
	for i := range place {
		place[i] = uint32(i)
	}
	across := Across(tri, place, len(place))
	for h, o := range across {
		require.GreaterOrEqual(t, o, int32(0))
		require.Contains(t, across[3*o:3*o+3], int32(h/3), "neighbours are mutual")
	}
	// Two triangles along one edge; a third makes it tangled; turned, two are tangled too; a collapsed one has no edges.
	require.Equal(t, []int32{-1, -1, 1, -1, -1, 0}, Across([]uint32{0, 1, 2, 1, 0, 3}, place, len(place)))
	require.Equal(t, []int32{-1, -1, -2, -1, -1, -2, -1, -1, -2}, Across([]uint32{0, 1, 2, 1, 0, 3, 1, 0, 4}, place, len(place)))
	require.Equal(t, []int32{-1, -1, -2, -1, -1, -2}, Across([]uint32{0, 1, 2, 0, 1, 3}, place, len(place)))
	require.Equal(t, []int32{-1, -1, -1}, Across([]uint32{5, 5, 5}, place, len(place)))
}
