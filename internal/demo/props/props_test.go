package props

import (
	"bytes"
	"image/png"
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
			plan, err := layOut(p.parts, p.offset(), p.SizePx, p.PxPerM, gapPx)
			require.NoError(t, err)
			islands := plan.place(p.parts, p.offset(), 0)
			for _, is := range islands {
				for _, uv := range is.uv {
					require.True(t, uv[0] > 0 && uv[0] < 1 && uv[1] > 0 && uv[1] < 1)
				}
			}
			for i, part := range p.parts {
				pos, tri := joined(islands, i)
				s := part.shape.sculpt(part.edge*2, part.relief)
				game, sculpt := volume(t, pos, tri), volume(t, s.pos, s.tri)
				require.Greater(t, game, sculpt, "the game surface encloses the sculpt")
				require.Less(t, game, sculpt*1.35)
			}
		})
	}
}

// Every LOD is closed and lighter by half, and its islands lie within LOD 0's boxes; layouts are filled by more than 60 %.
func TestLODsAreSound(t *testing.T) {
	for _, p := range Harbour() {
		t.Run(p.Code, func(t *testing.T) {
			t.Parallel()
			plan, err := layOut(p.parts, p.offset(), p.SizePx, p.PxPerM, gapPx)
			require.NoError(t, err)
			covered, before := 0.0, 0
			for lod := range p.lods {
				islands := plan.place(p.parts, p.offset(), lod)
				require.Len(t, islands, len(plan.boxes))
				triangles := 0
				for i, is := range islands {
					lo, hi := is.uvBox()
					w, h := plan.boxes[i][0], plan.boxes[i][1]
					if plan.at[i].turned {
						w, h = h, w
					}
					require.GreaterOrEqual(t, lo[0]*1024, plan.at[i].x+gapPx/2-1e-6)
					require.GreaterOrEqual(t, lo[1]*1024, plan.at[i].y+gapPx/2-1e-6)
					require.LessOrEqual(t, hi[0]*1024, plan.at[i].x+w-gapPx/2+1e-6)
					require.LessOrEqual(t, hi[1]*1024, plan.at[i].y+h-gapPx/2+1e-6)
					triangles += len(is.tri) / 3
					for k := 0; lod == 0 && k < len(is.tri); k += 3 {
						a, b, c := is.uv[is.tri[k]], is.uv[is.tri[k+1]], is.uv[is.tri[k+2]]
						covered += math.Abs((b[0]-a[0])*(c[1]-a[1])-(c[0]-a[0])*(b[1]-a[1])) / 2
					}
				}
				if lod > 0 {
					require.LessOrEqual(t, triangles, before/2, "LOD %d", lod)
				}
				before = triangles
				for i := range p.parts {
					pos, tri := joined(islands, i)
					volume(t, pos, tri)
				}
			}
			require.Greater(t, covered, 0.6)
		})
	}
}

// Collision pieces are closed and convex: no corner stands above any face's plane.
func TestCollisionIsConvex(t *testing.T) {
	for _, p := range Harbour() {
		require.NotEmpty(t, p.bumps, p.Code)
		for i, b := range p.bumps {
			prim := bumpPrim(b)
			var pos []vec
			for k := 0; k < len(prim.Pos); k += 3 {
				pos = append(pos, vec{float64(prim.Pos[k]), float64(prim.Pos[k+1]), float64(prim.Pos[k+2])})
			}
			volume(t, pos, prim.Tri)
			for k := 0; k < len(prim.Tri); k += 3 {
				a, n := pos[prim.Tri[k]], pos[prim.Tri[k+1]].sub(pos[prim.Tri[k]]).cross(pos[prim.Tri[k+2]].sub(pos[prim.Tri[k]])).unit()
				for _, q := range pos {
					require.Less(t, q.sub(a).dot(n), 0.0005, "%s, piece %d", p.Code, i+1)
				}
			}
		}
	}
}

// joined are the positions and triangles of one part's islands.
func joined(islands []placed, part int) (pos []vec, tri []uint32) {
	for _, is := range islands {
		if is.part != part {
			continue
		}
		for _, v := range is.tri {
			tri = append(tri, uint32(len(pos))+v)
		}
		pos = append(pos, is.pos...)
	}
	return pos, tri
}

// A remark is drawn on its sheet, and the material board is a picture of its size.
func TestSheetsAreDrawn(t *testing.T) {
	t.Parallel()
	p, _ := ByCode("bollard")
	plain, err := p.Concept(nil)
	require.NoError(t, err)
	said, err := p.Concept([]Remark{{At: [3]float64{0, 0.3, 0.16}, Text: "Waist"}})
	require.NoError(t, err)
	require.NotEqual(t, plain, said)
	board, err := Materials()
	require.NoError(t, err)
	img, err := png.DecodeConfig(bytes.NewReader(board))
	require.NoError(t, err)
	require.Equal(t, [2]int{sheetW, sheetH}, [2]int{img.Width, img.Height})
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
	plan, err := layOut(p.parts, p.offset(), p.SizePx, p.PxPerM, gapPx)
	require.NoError(t, err)
	islands := plan.place(p.parts, p.offset(), 0)
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
