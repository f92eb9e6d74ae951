package acceptance

import (
	"math"
	"math/bits"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// islandFault is how many texels of a LOD lie where LOD 0 has none.
type islandFault struct {
	texels, outside int
	places          []Place
}

// islandCost bounds the rows and texels that are drawn for one LOD. A prop of 500,000 triangles with a layout of its own
// needs some 10 million; only a layout that stacks whole tiles hundreds of times needs more, and is not measured.
const islandCost = 200_000_000

// lodIslands counts, set by set, the texels whose middle a LOD's triangles cover, and those of them that lie outside LOD
// 0's islands and what is filled around them. Sheets that tile have no islands; their sets are left out.
func lodIslands(s *Subject, lod int, bleedPx float64) islandFault {
	sf := &s.LODs[lod].Surface
	ranges := shipped(s, lod)
	c := &islandCounter{}
	for _, set := range s.Sets {
		if set.Def.Kind == spec.Tiling || set.Def.Kind == spec.Trim || set.Def.Kind == spec.DecalAtlas {
			continue
		}
		size := maskSize(set.WidthPx)
		grow := int(math.Ceil(bleedPx))
		if set.WidthPx > 0 {
			grow = int(math.Ceil(bleedPx * float64(size) / float64(set.WidthPx)))
		}
		masks := newTileMasks(size, set.Def.Kind == spec.UDIM)
		for t := range set.Game.Triangles() {
			if tri, ok := texelCorners(&set.Game, t, size); ok {
				c.cost += masks.of(tri).cover(tri)
			}
			if c.cost > islandCost {
				return islandFault{}
			}
		}
		masks.grow(grow)
		for _, g := range ranges {
			if g.NoUV || !slices.Contains(set.Materials, materialName(g.Scene, g.Scene.Prims[g.Draw.Prim].Material)) {
				continue
			}
			if c.count(sf, g, masks); c.cost > islandCost {
				return islandFault{}
			}
		}
	}
	out := islandFault{texels: c.all, outside: c.off}
	for _, e := range c.worst.top() {
		out.places = append(out.places, texelPlace(sf, c.of[e.at], c.triangle[e.at], e.value))
	}
	return out
}

// islandCounter adds up texels, and keeps the triangles that have some outside.
type islandCounter struct {
	all, off, cost int
	worst          worst
	of             []mesh.Range
	triangle       []int
}

func (c *islandCounter) count(sf *mesh.Surface, g mesh.Range, masks *tileMasks) {
	for t := g.First; t < g.End && c.cost <= islandCost; t++ {
		tri, ok := texelCorners(sf, t, masks.size)
		if !ok {
			continue
		}
		all, off, cost := masks.of(tri).count(tri)
		c.all, c.off, c.cost = c.all+all, c.off+off, c.cost+cost
		if off > 0 {
			c.worst.add(float64(off), len(c.of))
			c.of, c.triangle = append(c.of, g), append(c.triangle, t)
		}
	}
}

func texelPlace(sf *mesh.Surface, g mesh.Range, t int, texels float64) Place {
	a, b, c := corners(sf, t)
	var uv [2]float64
	for k := range 2 {
		for _, v := range sf.Tri[3*t : 3*t+3] {
			uv[k] += float64(sf.UV[2*v+uint32(k)]) / 3
		}
	}
	return Place{Node: g.NodeName(), Triangles: []int{t - g.First}, PointMM: middleMM(a, b, c), UV: &uv,
		Side: facing(a, b, c), Value: &Value{Value: texels, Unit: "px"}}
}

// maskSize is the edge of the grid on which texels are counted: the map's, between 256 and 2048.
func maskSize(px int) int {
	if px == 0 {
		px = 1024
	}
	size := 256
	for size < px && size < 2048 {
		size *= 2
	}
	return size
}

// texelCorners are a triangle's UVs in texels of a square grid. Not ok where they are not finite or lie absurdly far out.
func texelCorners(sf *mesh.Surface, t, size int) (tri [3][2]float64, ok bool) {
	for k, v := range sf.Tri[3*t : 3*t+3] {
		for j := range 2 {
			x := float64(sf.UV[2*v+uint32(j)])
			if !(math.Abs(x) < 1e4) {
				return tri, false
			}
			tri[k][j] = x * float64(size)
		}
	}
	return tri, true
}

// tileMasks hold the covered texels of one set: all tiles folded into one, or where tiles differ, one mask for each.
type tileMasks struct {
	size  int
	split bool
	tiles map[[2]int]*texelMask
}

func newTileMasks(size int, split bool) *tileMasks {
	return &tileMasks{size, split, map[[2]int]*texelMask{}}
}

func (m *tileMasks) of(tri [3][2]float64) *texelMask {
	var key [2]int
	if m.split {
		for k := range 2 {
			key[k] = int(math.Floor((tri[0][k] + tri[1][k] + tri[2][k]) / float64(3*m.size)))
		}
	}
	mask := m.tiles[key]
	if mask == nil {
		mask = &texelMask{size: m.size, bit: make([]uint64, m.size*m.size/64)}
		m.tiles[key] = mask
	}
	return mask
}

func (m *tileMasks) grow(by int) {
	for _, mask := range m.tiles { // each for itself
		mask.grow(by)
	}
}

// texelMask is a square of texels that repeats in both directions. Its edge is a power of two, 64 at least.
type texelMask struct {
	size int
	bit  []uint64
}

func (m *texelMask) set(x, y int) {
	i := (y&(m.size-1))*m.size + x&(m.size-1)
	m.bit[i>>6] |= 1 << (i & 63)
}

// cover sets the texels whose middle lies in the triangle, and those that its edges run through, so that what is thinner
// than a texel is not lost. It returns what it cost: rows and texels of edges.
func (m *texelMask) cover(tri [3][2]float64) (cost int) {
	cost = eachSpan(tri, m.size, func(y, x0, x1 int) {
		m.words(y, x0, x1, func(i int, bits uint64) { m.bit[i] |= bits })
	})
	for k := range 3 {
		a, b := tri[k], tri[(k+1)%3]
		steps := min(int(math.Ceil(2*max(math.Abs(b[0]-a[0]), math.Abs(b[1]-a[1]))))+1, 8*m.size)
		for i := range steps + 1 {
			f := float64(i) / float64(steps)
			m.set(int(math.Floor(a[0]+float64(f*(b[0]-a[0])))), int(math.Floor(a[1]+float64(f*(b[1]-a[1])))))
		}
		cost += steps
	}
	return cost
}

func (m *texelMask) count(tri [3][2]float64) (all, off, cost int) {
	cost = eachSpan(tri, m.size, func(y, x0, x1 int) {
		m.words(y, x0, x1, func(i int, mask uint64) {
			all += bits.OnesCount64(mask)
			off += bits.OnesCount64(mask &^ m.bit[i])
		})
	})
	return all, off, cost
}

// words visits the words of a row that hold texels x0 to x1, with the bits of those; the row repeats, and a span as long
// as the row or longer holds all of it.
func (m *texelMask) words(y, x0, x1 int, visit func(i int, bits uint64)) {
	x1 = min(x1, x0+m.size-1)
	row := (y & (m.size - 1)) * (m.size / 64)
	for x := x0; x <= x1; {
		at := x & (m.size - 1)
		last := min(at|63, at+x1-x) // within the word
		visit(row+at>>6, ^uint64(0)<<(at&63)&(^uint64(0)>>(63-last&63)))
		x += last - at + 1
	}
}

// eachSpan visits the texels whose middle lies in a triangle, row by row, and returns how many rows there were. A
// triangle larger than eight tiles is left out.
func eachSpan(tri [3][2]float64, size int, visit func(y, x0, x1 int)) (rows int) {
	lo, hi := min(tri[0][1], tri[1][1], tri[2][1]), max(tri[0][1], tri[1][1], tri[2][1])
	if hi-lo > float64(8*size) || max(tri[0][0], tri[1][0], tri[2][0])-min(tri[0][0], tri[1][0], tri[2][0]) > float64(8*size) {
		return 0
	}
	for y := int(math.Ceil(lo - 0.5)); float64(y)+0.5 <= hi; y++ {
		rows++
		mid := float64(y) + 0.5
		left, right := math.Inf(1), math.Inf(-1)
		for k := range 3 {
			a, b := tri[k], tri[(k+1)%3]
			if a[1] == b[1] || mid < min(a[1], b[1]) || mid > max(a[1], b[1]) {
				continue
			}
			x := a[0] + float64((b[0]-a[0])*((mid-a[1])/(b[1]-a[1])))
			left, right = min(left, x), max(right, x)
		}
		if x0, x1 := int(math.Ceil(left-0.5)), int(math.Floor(right-0.5)); x0 <= x1 {
			visit(y, x0, x1)
		}
	}
	return rows
}

// grow sets every texel within a square of the given half edge around those that are set.
func (m *texelMask) grow(by int) {
	words := m.size / 64
	row := make([]uint64, words)
	for range by {
		for y := range m.size {
			line := m.bit[y*words : (y+1)*words]
			for i, w := range line {
				before, after := line[(i+words-1)%words], line[(i+1)%words]
				row[i] = w | w<<1 | before>>63 | w>>1 | after<<63
			}
			copy(line, row)
		}
	}
	for range by {
		above := slices.Clone(m.bit)
		n := len(m.bit)
		for i := range m.bit {
			m.bit[i] |= above[(i+words)%n] | above[(i+n-words)%n]
		}
	}
}
