package acceptance

import (
	"context"
	"math"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// assumedPx is the edge of a map whose size nothing tells: coarse enough for any map that is not smaller.
const assumedPx = 1024

// stackTexels is how far apart the outlines of two charts may be everywhere and still count as lying on each other:
// half a texel moves no sample to another one.
const stackTexels = 0.5

// uvLayout is one set's layout as all UV checks read it, measured once.
type uvLayout struct {
	set     *Set
	sf      *mesh.Surface
	uv      []float32 // as the reference texture reads them
	charts  chart.Layout
	islands []uvIsland
	slots   []uvSlot // the tiles in use: one for a set of one tile, whatever the UVs say
	mapPx   [2]int   // the set's size when it was measured
	assumed bool     // no size is known: px are those of a map of assumedPx

	chartIsland []int32        // island of each chart
	chartArea   []float64      // of each chart in tiles, by its triangles
	chartM2     []float64      // of each chart in the world
	outlines    chart.Outlines // folded, in texels of the chart's tile
	stack       []int32        // of each chart: the first chart of those that it lies on
	copies      []int32        // of each chart that is a first: how many lie there

	mu       sync.Mutex
	overlaps []chart.Overlaps // by slot; nil until measured
}

// uvIsland is one island of a layout. One without a finite UV has First -1.
type uvIsland struct {
	box     chart.Box // as stored
	shift   chart.Vec // whole tiles taken off to fold it
	slot    int32
	area    float64 // m²
	texels  float64 // area in texels of its tile
	first   int32   // its first triangle with finite UVs
	largest int32   // its triangle of the largest area
}

// uvSlot is one tile.
type uvSlot struct {
	tile int       // its number (1001 and on) in a set of several tiles, 0 in a set of one
	at   chart.Vec // its lower corner in UV as stored, for a set of several tiles
	px   chart.Vec // its size
}

// uvMemo keeps the layouts measured of a set: as it was delivered, and as it would be once a fault is mended. Copies of
// a set share it.
type uvMemo struct {
	mu   sync.Mutex
	held []*uvLayout
}

// layout measures the set's layout, or returns what was measured before. It is nil where there are no UVs.
func (t *Set) layout() *uvLayout {
	if len(t.Game.Tri) == 0 || len(t.Game.UV) == 0 {
		return nil
	}
	if t.memo == nil {
		return newUVLayout(t)
	}
	t.memo.mu.Lock()
	defer t.memo.mu.Unlock()
	for _, l := range t.memo.held {
		if &l.sf.Pos[0] == &t.Game.Pos[0] && l.mapPx == [2]int{t.WidthPx, t.HeightPx} {
			return l
		}
	}
	l := newUVLayout(t)
	t.memo.held = append(t.memo.held, l)
	return l
}

// layoutFor is a set's layout, or what to say where there is none to judge: no UVs, or glass that no map covers.
func layoutFor(s *Subject, t *Set) (*uvLayout, Finding) {
	if t.WidthPx == 0 && len(t.Maps) == 0 && onlyGlass(s, t) {
		return nil, exempt("uv.glass")
	}
	if l := t.layout(); l != nil {
		return l, Finding{}
	}
	return nil, unable("uv.none")
}

// onlyGlass says whether all of a set's surface belongs to parts of kind glass.
func onlyGlass(s *Subject, t *Set) bool {
	parts := partsByDraw(s)
	for _, r := range t.Game.Of {
		if p := parts[keyOf(r)]; p == nil || p.Def.Kind != spec.Glass {
			return false
		}
	}
	return len(t.Game.Of) > 0
}

func newUVLayout(t *Set) *uvLayout {
	l := &uvLayout{set: t, sf: &t.Game, uv: textureUV(t), mapPx: [2]int{t.WidthPx, t.HeightPx}, assumed: t.WidthPx <= 0 || t.HeightPx <= 0}
	l.charts = chart.Find(l.sf.Pos, l.uv, l.sf.Tri)
	l.findIslands()
	l.findSlots()
	l.measureCharts()
	l.outline()
	l.stack = chart.Stacks(&l.outlines, stackTexels)
	l.copies = make([]int32, len(l.stack))
	for _, first := range l.stack {
		l.copies[first]++
	}
	return l
}

// findIslands gathers boxes and areas. A triangle whose UVs are not finite counts nowhere: uv.present tells of it.
func (l *uvLayout) findIslands() {
	l.islands = make([]uvIsland, l.charts.Islands)
	best := make([]float64, l.charts.Islands)
	for i := range l.islands {
		l.islands[i] = uvIsland{box: chart.Nothing, first: -1}
	}
	for t, i := range l.charts.Island {
		a, b, c := uvCorners(l.uv, l.sf.Tri, t)
		if !finite(a[0] + a[1] + b[0] + b[1] + c[0] + c[1]) {
			continue
		}
		is := &l.islands[i]
		if is.first < 0 {
			is.first, is.largest = int32(t), int32(t)
		}
		is.box = is.box.With(a).With(b).With(c)
		area := worldArea(corners(l.sf, t))
		is.area += area
		if area > best[i] {
			best[i], is.largest = area, int32(t)
		}
	}
}

// findSlots folds every island by whole tiles. In a set of one tile all come to lie in it, so that a half or a copy
// that was set aside for the bake is where it is read; in a set of several, each lies in the tile that its middle is in.
func (l *uvLayout) findSlots() {
	several := l.set.Def.Kind == spec.UDIM || len(l.set.Def.Tiles) > 0
	if !several {
		l.slots = []uvSlot{{px: l.sizeOf(0)}}
	}
	var numbers []int
	number := func(i *uvIsland) int {
		// V points down in glTF and tile rows count upward: the tile of V 0 to 1 is row 0, that of V -1 to 0 is row 1.
		// Far rows and columns are kept apart without overflow.
		const far = 1 << 20
		column, row := math.Max(-far, math.Min(far, i.shift[0])), math.Max(-far, math.Min(far, -i.shift[1]))
		if column < 0 || column > 9 || row < 0 || row > 99 {
			return -1 - (int(column+far)*(2*far+1) + int(row+far)) // no number: told by uv.range
		}
		return 1001 + int(column) + 10*int(row)
	}
	for k := range l.islands {
		i := &l.islands[k]
		if i.first < 0 {
			continue
		}
		i.shift = chart.Vec{math.Floor((i.box[0] + i.box[2]) / 2), math.Floor((i.box[1] + i.box[3]) / 2)}
		if several {
			numbers = append(numbers, number(i))
		}
	}
	if !several {
		return
	}
	slices.Sort(numbers)
	for _, n := range slices.Compact(numbers) {
		l.slots = append(l.slots, uvSlot{tile: n, px: l.sizeOf(n)})
	}
	for k := range l.islands {
		i := &l.islands[k]
		if i.first < 0 {
			continue
		}
		n := number(i)
		slot, _ := slices.BinarySearchFunc(l.slots, n, func(s uvSlot, n int) int { return s.tile - n })
		i.slot = int32(slot)
		l.slots[slot].at = i.shift
	}
}

// sizeOf is the size of a tile's map in pixels.
func (l *uvLayout) sizeOf(tile int) chart.Vec {
	if px := l.set.Def.TilePx[tile]; px > 0 {
		w, h := max(1, l.set.WidthPx), max(1, l.set.HeightPx)
		longer := max(w, h)
		return chart.Vec{float64(max(1, px*w/longer)), float64(max(1, px*h/longer))}
	}
	return chart.Vec{sizeOr(l.set.WidthPx, assumedPx), sizeOr(l.set.HeightPx, assumedPx)}
}

// measureCharts gathers areas by chart and texels by island.
func (l *uvLayout) measureCharts() {
	n := l.charts.Charts
	l.chartIsland, l.chartArea, l.chartM2 = make([]int32, n), make([]float64, n), make([]float64, n)
	for t, c := range l.charts.Chart {
		if c < 0 {
			continue
		}
		i := l.charts.Island[t]
		l.chartIsland[c] = i
		area := float64(math.Abs(uvArea2(uvCorners(l.uv, l.sf.Tri, t))) / 2)
		l.chartArea[c] += area
		world := worldArea(corners(l.sf, t))
		l.chartM2[c] += world
		if world > 0 {
			px := l.slots[l.islands[i].slot].px
			l.islands[i].texels += float64(float64(area*px[0]) * px[1])
		}
	}
}

// outline places the outlines of charts in texels of their tile.
func (l *uvLayout) outline() {
	l.outlines = chart.Outlines{Edges: make([][2]chart.Vec, len(l.charts.Outline)), First: l.charts.OutlineOf,
		Area: make([]float64, l.charts.Charts), Tile: make([]int32, l.charts.Charts)}
	for c := range l.charts.Charts {
		i := &l.islands[l.chartIsland[c]]
		px := l.slots[i.slot].px
		l.outlines.Area[c] = float64(float64(l.chartArea[c]*px[0]) * px[1])
		l.outlines.Tile[c] = i.slot
		for e := l.charts.OutlineOf[c]; e < l.charts.OutlineOf[c+1]; e++ {
			for end, v := range l.charts.Outline[e] {
				at := l.folded(i, v)
				l.outlines.Edges[e][end] = chart.Vec{float64(at[0] * px[0]), float64(at[1] * px[1])}
			}
		}
	}
}

// folded is a vertex in its tile.
func (l *uvLayout) folded(i *uvIsland, v uint32) chart.Vec {
	return chart.Vec{float64(l.uv[2*v]) - i.shift[0], float64(l.uv[2*v+1]) - i.shift[1]}
}

// overlap measures what lies on what in each slot: charts of a stack count once, as the first of them.
func (l *uvLayout) overlap(ctx context.Context) ([]chart.Overlaps, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.overlaps != nil {
		return l.overlaps, nil
	}
	counts := make([]int, len(l.slots))
	first := func(t int) (chartOf int32, ok bool) {
		c := l.charts.Chart[t]
		return c, c >= 0 && l.stack[c] == c
	}
	for t := range l.charts.Chart {
		if c, ok := first(t); ok {
			counts[l.islands[l.chartIsland[c]].slot]++
		}
	}
	bySlot := make([][]chart.Triangle, len(l.slots))
	for s, n := range counts {
		bySlot[s] = make([]chart.Triangle, 0, n)
	}
	for t := range l.charts.Chart {
		c, ok := first(t)
		if !ok {
			continue
		}
		i := &l.islands[l.chartIsland[c]]
		q := chart.Triangle{ID: int32(t), Chart: c, Stacked: l.copies[c] > 1}
		for k := range 3 {
			q.At[k] = l.folded(i, l.sf.Tri[3*t+k])
		}
		bySlot[i.slot] = append(bySlot[i.slot], q)
	}
	out := make([]chart.Overlaps, len(l.slots))
	for s := range bySlot {
		var err error
		if out[s], err = chart.Overlap(ctx, bySlot[s]); err != nil {
			return nil, err
		}
		bySlot[s] = nil
	}
	l.overlaps = out
	return out, nil
}

// tileOf is the number of a slot's tile for a finding; nil in a set of one tile.
func (l *uvLayout) tileOf(slot int32) *int {
	if n := l.slots[slot].tile; n > 0 {
		return &n
	}
	return nil
}

// m2 is the set's surface on islands with finite UVs.
func (l *uvLayout) m2() float64 {
	sum := 0.0
	for i := range l.islands {
		sum += l.islands[i].area
	}
	return sum
}

// place is where a triangle is.
func (l *uvLayout) place(t int32) Place { return trianglePlace(l.sf, l.uv, int(t)) }

// islands are the UV islands of a surface: the island of each triangle, and how many there are.
type islands struct {
	Of []int32
	N  int
}

func findIslands(pos, uv []float32, tri []uint32) islands {
	l := chart.Find(pos, uv, tri)
	return islands{l.Island, l.Islands}
}
