package props

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A demo prop must be what the demo says it is: closed, wound outward, its game surface outside its base surface, its
// islands inside the texture. These are facts of closed surfaces (divergence theorem), not of our checks.
func TestPropsAreSound(t *testing.T) {
	for _, p := range Harbour() {
		t.Run(p.Code, func(t *testing.T) {
			t.Parallel()
			islands, err := layout(p.parts, p.offset(), p.SizePx, p.PxPerM, 10)
			require.NoError(t, err)
			for _, is := range islands {
				for _, uv := range is.uv {
					require.True(t, uv[0] > 0 && uv[0] < 1 && uv[1] > 0 && uv[1] < 1)
				}
			}
			for i, part := range p.parts {
				var pos []vec
				var tri []uint32
				for _, is := range islands {
					if is.part == i {
						for _, v := range is.tri {
							tri = append(tri, uint32(len(pos))+v)
						}
						pos = append(pos, is.pos...)
					}
				}
				s := part.shape.sculpt(part.edge*2, part.relief)
				game, sculpt := volume(t, pos, tri), volume(t, s.pos, s.tri)
				require.Greater(t, game, sculpt, "the game surface encloses the sculpt")
				require.Less(t, game, sculpt*1.35)
			}
		})
	}
}

// volume checks that every edge has two opposite uses and returns the enclosed volume.
func volume(t *testing.T, pos []vec, tri []uint32) float64 {
	t.Helper()
	type edge [2][3]int64
	key := func(p vec) [3]int64 {
		return [3]int64{int64(math.Round(p[0] * 1e7)), int64(math.Round(p[1] * 1e7)), int64(math.Round(p[2] * 1e7))}
	}
	uses := map[edge]int{}
	sum := 0.0
	for i := 0; i < len(tri); i += 3 {
		a, b, c := pos[tri[i]], pos[tri[i+1]], pos[tri[i+2]]
		sum += a.dot(b.cross(c)) / 6
		for _, e := range [3][2]vec{{a, b}, {b, c}, {c, a}} {
			uses[edge{key(e[0]), key(e[1])}]++
			uses[edge{key(e[1]), key(e[0])}]--
		}
	}
	for e, n := range uses {
		require.Zero(t, n, "edge %v is not closed", e)
	}
	require.Positive(t, sum)
	return sum
}

// The normal map is the sculpt's own: a lump on the sculpt leans in it, green points up, and down where that fault is wanted.
func TestNormalMapIsTheSculpts(t *testing.T) {
	t.Parallel()
	p, ok := ByCode("bollard")
	require.True(t, ok)
	islands, err := layout(p.parts, p.offset(), p.SizePx, p.PxPerM, 10)
	require.NoError(t, err)
	bake := func(f Fault) []uint16 {
		b, err := bakeMaps(p.gamePrims(islands), p.sculptScene(0.5, f), 256, f.Green)
		require.NoError(t, err)
		return b.normals
	}
	up, down := bake(Fault{}), bake(Fault{Green: true})
	lumpy := bake(Fault{Lumps: []Lump{{At: [3]float64{0.153, 0.30, 0}, Radius: 0.05, Height: -0.01}}})
	leans, lumps := 0, 0
	for i := 0; i < len(up); i += 3 {
		require.Equal(t, up[i], down[i])
		require.InDelta(t, 65535, int(up[i+1])+int(down[i+1]), 1)
		if up[i] != 32768 {
			leans++
		}
		if up[i] != lumpy[i] || up[i+1] != lumpy[i+1] {
			lumps++
		}
	}
	require.Greater(t, leans, 5000)
	require.Positive(t, lumps)
	require.Less(t, lumps, leans/4, "a lump is a small part of the surface")
}

func TestWriteMakesAWholeDelivery(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "delivery")
	p, ok := ByCode("bollard")
	require.True(t, ok)
	require.NoError(t, p.Write(dir, 0.25, Fault{Finer: 1, Lumps: []Lump{{At: [3]float64{0.16, 0.3, 0}, Radius: 0.03, Height: 0.008}}}))
	names, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, names, 5)
}
