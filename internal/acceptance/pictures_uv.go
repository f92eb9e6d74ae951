package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

const (
	uvTilePx   = 800
	uvSideW    = 330
	uvW        = sheetMargin + uvTilePx + uvSideW + sheetMargin
	uvH        = headHeight + uvTilePx + sheetMargin
	uvListed   = 12      // islands in the list
	uvNumbered = 40      // islands with a number on them
	uvGaps     = 24      // gaps that are marked
	uvTriangle = 150_000 // above this many triangles their edges are not drawn
)

// uvSheet is one set's layout, ready to be drawn.
type uvSheet struct {
	set    *Set
	layout *uvLayout
	field  densityField
	uv     []float32 // folded into the picture, in its pixels; corners of their own for every triangle
	tri    []uint32
	by     []float32 // px/m by triangle, 0 where it has no area
	target float64
	// Of the tiles: across and down, the first column and the top row (rows grow upward), and the size of each in the picture.
	tiles, first [2]int
	scale        chart.Vec
	order        []int // islands, the largest area first
	gaps         []islandGap
	want         float64 // the gap that is wanted, px; 0 where padding is not judged
	clearSurface bool    // no two surfaces overlap by mistake
}

// uvPicture draws a set's UV layout coloured by texel density.
func uvPicture(ctx context.Context, s *Subject, set *Set, name string) *drawn {
	l := newUVSheet(ctx, s, set)
	if l == nil {
		return nil
	}
	c := raster.NewCanvas(uvW, uvH, paper)
	title := propTitle(s)
	if set.Name != "" && len(s.Sets) > 1 {
		title += " · " + set.Name
	}
	heading(c, title, itoa(set.WidthPx)+" × "+itoa(set.HeightPx)+" px")
	l.draw(c, s.Threads)
	l.side(c)
	return finished(c, name, "The UV layout of a texture set at its size in pixels, coloured by texel density, denser above and coarser below the target, which ► marks; islands outlined and numbered by area, with their density and share of the surface. A hatched, what overlaps by mistake; B, what is stacked; C ringed, gaps that are narrower than asked for, or than half of that to the border.",
		"uv.texel_density", "uv.overlap", "uv.padding", "uv.range", "uv.coverage", "uv.stretch", "uv.flipped")
}

func newUVSheet(ctx context.Context, s *Subject, set *Set) *uvSheet {
	if set.WidthPx <= 0 || set.HeightPx <= 0 {
		return nil
	}
	layout := set.layout()
	if layout == nil {
		return nil
	}
	l := &uvSheet{set: set, layout: layout, field: densityOf(layout)}
	if !(l.field.areaSum > 0) {
		return nil
	}
	l.target = s.Spec.Rule("uv.texel_density", nil, &set.Def).Numbers["target_px_per_m"]
	if !(l.target > 0) {
		l.target = math.Sqrt(l.field.texelSum / l.field.areaSum)
	}
	l.measure()
	l.arrange()
	l.fold()
	l.rankIslands()
	if rule := s.Spec.Rule("uv.padding", nil, &set.Def); rule.Mode != spec.NotAppl {
		l.markGaps(ctx, layout, rule.Numbers["border_share"], func() (padding, error) { return layout.padding(ctx, rule) })
	}
	return l
}

// measure finds the density of every triangle.
func (l *uvSheet) measure() {
	sf := l.layout.sf
	l.by = make([]float32, sf.Triangles())
	for t := range l.by {
		area := worldArea(corners(sf, t))
		if d := math.Sqrt(l.layout.texelsOf(t, l.layout.charts.Island[t]) / area); area > 0 && finite(d) {
			l.by[t] = float32(d)
		}
	}
}

// arrange lays the tiles out: of a set of several, the rectangle of columns and rows that are in use.
func (l *uvSheet) arrange() {
	l.tiles = [2]int{1, 1}
	lo, hi := [2]int{math.MaxInt, math.MaxInt}, [2]int{math.MinInt, math.MinInt}
	for _, s := range l.layout.slots {
		if s.tile > 0 {
			at := [2]int{(s.tile - 1001) % 10, (s.tile - 1001) / 10}
			for k := range 2 {
				lo[k], hi[k] = min(lo[k], at[k]), max(hi[k], at[k])
			}
		}
	}
	if lo[0] <= hi[0] {
		l.tiles, l.first = [2]int{hi[0] - lo[0] + 1, hi[1] - lo[1] + 1}, [2]int{lo[0], hi[1]}
	}
	// Tiles keep the map's shape.
	aspect := float64(l.set.HeightPx) / float64(l.set.WidthPx)
	width := min(float64(uvTilePx)/float64(l.tiles[0]), float64(uvTilePx)/float64(l.tiles[1])/aspect)
	l.scale = chart.Vec{width, width * aspect}
}

// corner is the upper left corner of a slot's tile in the picture; ok is false for places without a tile number.
func (l *uvSheet) corner(slot int32) (at chart.Vec, ok bool) {
	n := l.layout.slots[slot].tile
	switch {
	case n == 0:
		return chart.Vec{}, true
	case n < 0:
		return chart.Vec{}, false
	}
	return chart.Vec{float64((n-1001)%10-l.first[0]) * l.scale[0], float64(l.first[1]-(n-1001)/10) * l.scale[1]}, true
}

// fold places every triangle in its tile of the picture. Those of places without a tile number lie outside.
func (l *uvSheet) fold() {
	tri := l.layout.sf.Tri
	l.uv = make([]float32, 0, 2*len(tri))
	l.tri = make([]uint32, len(tri))
	for t, k := range l.layout.charts.Island {
		i := &l.layout.islands[k]
		at, ok := l.corner(i.slot)
		for c := range 3 {
			l.tri[3*t+c] = uint32(len(l.uv) / 2)
			p := l.layout.folded(i, tri[3*t+c])
			x, y := float32(at[0]+float64(p[0]*l.scale[0])), float32(at[1]+float64(p[1]*l.scale[1]))
			if !ok || !finite(float64(x)+float64(y)) {
				x, y = -1, -1
			}
			l.uv = append(l.uv, x, y)
		}
	}
}

func (l *uvSheet) rankIslands() {
	islands := l.layout.islands
	l.order = make([]int, len(islands))
	for i := range l.order {
		l.order[i] = i
	}
	slices.SortStableFunc(l.order, func(i, j int) int {
		switch a, b := islands[i].area, islands[j].area; {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
}

// markGaps finds the gaps that are ringed: the smallest ones under what is wanted.
func (l *uvSheet) markGaps(ctx context.Context, layout *uvLayout, borderShare float64, measure func() (padding, error)) {
	p, err := measure()
	if err != nil || ctx.Err() != nil {
		return
	}
	for _, s := range p.slots {
		l.want = max(l.want, s.want)
		if s.border.slot >= 0 && s.border.px < float64(s.want*borderShare) {
			l.gaps = append(l.gaps, s.border)
		}
	}
	slices.SortStableFunc(p.islands, func(a, b islandGap) int {
		switch {
		case a.px < b.px:
			return -1
		case a.px > b.px:
			return 1
		}
		return 0
	})
	l.gaps = append(l.gaps, p.islands...)
	l.gaps = l.gaps[:min(len(l.gaps), uvGaps)]
}

// octaves is how far a density is from the target: 1 is twice as many pixels per metre, -1 half as many.
func (l *uvSheet) octaves(density float64) float64 {
	return detmath.Log(density/l.target) / math.Ln2
}

// colour is the scale's colour of a density; the scale reaches one octave either way.
func (l *uvSheet) colour(density float64) [3]float32 {
	if !(density > 0) {
		return raster.Colour{R: 150, G: 148, B: 145}.Linear()
	}
	return raster.Signed.LinearAt(0.5 + float64(l.octaves(density)/2))
}

// draw paints the tiles.
func (l *uvSheet) draw(c *raster.Canvas, threads int) {
	x0, y0 := sheetMargin, headHeight
	for _, s := range l.cells() {
		c.Rect(x0+int(s[0]), y0+int(s[1]), x0+int(s[0]+l.scale[0]), y0+int(s[1]+l.scale[1]), white)
	}
	var scr raster.Screen
	scr.Flat(l.uv, [2]float64{1, 1}, [2]float64{})
	top := raster.NewBuffer(uvTilePx, uvTilePx, raster.Four)
	top.Draw(raster.Job{Screen: &scr, Tri: l.tri, Cull: raster.CullNone}, threads)
	top.Resolve(c, x0, y0, threads, func(id uint32, x, y float64) [3]float32 {
		return l.colour(float64(l.by[id]))
	})
	// Of each stack only the first chart is kept; where then the lowest and the highest triangle over a sample differ, two
	// surfaces lie there by mistake.
	var kept, backwards, ids []uint32
	for t, k := range l.layout.charts.Chart {
		if k >= 0 && l.layout.stack[k] == k {
			kept, ids = append(kept, l.tri[3*t:3*t+3]...), append(ids, uint32(t))
		}
	}
	for t := len(ids) - 1; t >= 0; t-- {
		backwards = append(backwards, kept[3*t:3*t+3]...)
	}
	low, high := raster.NewBuffer(uvTilePx, uvTilePx, raster.Four[:1]), raster.NewBuffer(uvTilePx, uvTilePx, raster.Four[:1])
	low.Draw(raster.Job{Screen: &scr, Tri: kept, Cull: raster.CullNone}, threads)
	high.Draw(raster.Job{Screen: &scr, Tri: backwards, Cull: raster.CullNone}, threads)
	l.hatch(c, low, high, ids)
	l.edges(c, top)
	for _, s := range l.cells() {
		c.Border(x0+int(s[0])-1, y0+int(s[1])-1, x0+int(s[0]+l.scale[0])+1, y0+int(s[1]+l.scale[1])+1, ink)
	}
	for s := range l.layout.slots {
		if at, ok := l.corner(int32(s)); ok && l.layout.slots[s].tile > 0 {
			c.TextOver(float64(x0)+at[0]+8, float64(y0)+at[1]+20, raster.Bold, 14, raster.Left, ink, white, itoa(l.layout.slots[s].tile))
		}
	}
	l.numbers(c, top)
	l.rings(c)
}

// cells are the upper left corners of the tiles in use.
func (l *uvSheet) cells() []chart.Vec {
	var out []chart.Vec
	for s := range l.layout.slots {
		if at, ok := l.corner(int32(s)); ok {
			out = append(out, at)
		}
	}
	return out
}

// stackHatch and overlapHatch are the two patterns, told apart by shape and not by colour: thin parallel lines, and a
// dense lattice.
func stackHatch(x, y int) bool { return (x+y)%9 == 0 }

func overlapHatch(x, y int) bool { return (x+y)%7 < 2 || (x-y+7000)%7 < 2 }

// hatch draws stacks and overlaps.
func (l *uvSheet) hatch(c *raster.Canvas, low, high *raster.Buffer, ids []uint32) {
	n := len(ids)
	l.clearSurface = true
	for y := range uvTilePx {
		for x := range uvTilePx {
			id, _ := low.At(0, x, y)
			if id == raster.Empty {
				continue
			}
			other, _ := high.At(0, x, y)
			k := l.layout.charts.Chart[ids[id]]
			switch {
			case uint32(n-1)-other != id:
				l.clearSurface = false
				if overlapHatch(x, y) {
					c.Blend(sheetMargin+x, headHeight+y, ink, 0.9)
				}
			case l.layout.copies[k] > 1 && stackHatch(x, y):
				c.Blend(sheetMargin+x, headHeight+y, ink, 0.55)
			}
		}
	}
}

// edges draws triangle edges faintly and island borders clearly.
func (l *uvSheet) edges(c *raster.Canvas, top *raster.Buffer) {
	island := func(id uint32) int32 {
		if id == raster.Empty {
			return -1
		}
		return l.layout.charts.Island[id]
	}
	n := len(l.tri) / 3
	for y := range uvTilePx {
		for x := range uvTilePx {
			id, _ := top.At(0, x, y)
			right, below := id, id
			if x+1 < uvTilePx {
				right, _ = top.At(0, x+1, y)
			}
			if y+1 < uvTilePx {
				below, _ = top.At(0, x, y+1)
			}
			switch {
			case island(id) != island(right) || island(id) != island(below):
				c.Blend(sheetMargin+x, headHeight+y, ink, 0.85)
			case n <= uvTriangle && (id != right || id != below):
				c.Blend(sheetMargin+x, headHeight+y, ink, 0.16)
			}
		}
	}
}

// numbers writes the rank of the largest islands where there is room: on the pixel of the island closest to its middle.
func (l *uvSheet) numbers(c *raster.Canvas, b *raster.Buffer) {
	type spot struct {
		sumX, sumY, count int
		x, y, best        int
	}
	spots := make([]spot, len(l.layout.islands))
	each := func(visit func(s *spot, x, y int)) {
		for y := range uvTilePx {
			for x := range uvTilePx {
				if id, _ := b.At(0, x, y); id != raster.Empty {
					visit(&spots[l.layout.charts.Island[id]], x, y)
				}
			}
		}
	}
	each(func(s *spot, x, y int) { s.sumX, s.sumY, s.count, s.best = s.sumX+x, s.sumY+y, s.count+1, math.MaxInt })
	each(func(s *spot, x, y int) {
		dx, dy := x-s.sumX/s.count, y-s.sumY/s.count
		if d := dx*dx + dy*dy; d < s.best {
			s.x, s.y, s.best = x, y, d
		}
	})
	for r := min(len(l.order), uvNumbered) - 1; r >= 0; r-- {
		if s := spots[l.order[r]]; s.count > 30*30 || r < uvListed && s.count > 18*18 {
			badge(c, float64(sheetMargin+s.x), float64(headHeight+s.y), itoa(r+1))
		}
	}
}

// rings marks gaps that are too small, the smallest on top, with their size where no smaller one's stands already.
func (l *uvSheet) rings(c *raster.Canvas) {
	spots := make([]chart.Vec, 0, len(l.gaps))
	texts := make([]string, 0, len(l.gaps))
	for _, g := range l.gaps {
		if at, ok := l.corner(g.slot); ok {
			px := l.layout.slots[g.slot].px
			spots = append(spots, chart.Vec{
				sheetMargin + at[0] + float64(float64((g.at[0]+g.to[0])/2)/px[0]*l.scale[0]),
				headHeight + at[1] + float64(float64((g.at[1]+g.to[1])/2)/px[1]*l.scale[1])})
			texts = append(texts, words.English().Say("uv.picture.px", words.Px(roundPx(g.px))))
		}
	}
	for _, s := range slices.Backward(spots) {
		gapRing(c, s[0], s[1])
	}
	var labels []chart.Vec
	for k, s := range spots {
		side, dx, dy := raster.Left, 13.0, -9.0
		if s[0] > sheetMargin+uvTilePx-70 {
			side, dx = raster.Right, -13
		}
		if s[1] < headHeight+24 {
			dy = 18
		}
		const wide, high = 64, 18 // of a label with room around it
		at := chart.Vec{s[0] + dx, s[1] + dy}
		if slices.ContainsFunc(labels, func(o chart.Vec) bool { return math.Abs(o[0]-at[0]) < wide && math.Abs(o[1]-at[1]) < high }) {
			continue
		}
		labels = append(labels, at)
		c.TextOver(at[0], at[1], raster.Bold, 12.5, side, ink, white, texts[k])
	}
}

func gapRing(c *raster.Canvas, x, y float64) {
	c.Ring(x, y, 9, 5, white, 1)
	c.Ring(x, y, 9, 2.4, ink, 1)
}

// side writes the scale, its marks and the list of islands.
func (l *uvSheet) side(c *raster.Canvas) {
	x, y := sheetMargin+uvTilePx+30, headHeight
	px := func(f float64) string { return fixed(l.target*f, 0) + " px/m" }
	labels := []string{"≥ " + px(2), px(math.Sqrt2), "► " + px(1), px(1 / math.Sqrt2), "≤ " + px(0.5)}
	legendBar(c, x, y+24, 26, 220, raster.Signed, labels)
	yy := y + 286
	key := func(text string, on func(i, j int) bool) {
		swatch(c, x, yy, func(i, j int) raster.Colour {
			if on(i, j) {
				return raster.Colour{R: 56, G: 58, B: 62}
			}
			return raster.Signed.At(0.5)
		})
		c.Text(float64(x+36), float64(yy+13), raster.Regular, 14, raster.Left, ink, text)
		yy += 26
	}
	mistake := "A"
	if l.clearSurface {
		mistake += " × 0"
	}
	key(mistake, overlapHatch)
	key("B × "+itoa(l.layout.stacks()), stackHatch)
	if l.want > 0 {
		gapRing(c, float64(x+13), float64(yy+8))
		text := "C < " + fixed(l.want, 0) + " px"
		if len(l.gaps) == 0 {
			text += " × 0"
		}
		c.Text(float64(x+36), float64(yy+13), raster.Regular, 14, raster.Left, ink, text)
		yy += 26
	}
	yy += 22
	l.list(c, x, yy)
}

// list names the largest islands with their density.
func (l *uvSheet) list(c *raster.Canvas, x, y int) {
	c.Text(float64(x), float64(y), raster.Bold, textSize, raster.Left, ink, "× "+itoa(len(l.order)))
	for r, k := range l.order[:min(len(l.order), uvListed)] {
		y += 27
		i := &l.layout.islands[k]
		badge(c, float64(x+10), float64(y-5), itoa(r+1))
		density := "—"
		if i.area > 0 {
			density = fixed(math.Sqrt(i.texels/i.area), 0) + " px/m"
		}
		c.Text(float64(x+118), float64(y), raster.Regular, 14, raster.Right, ink, density)
		c.Text(float64(x+136), float64(y), raster.Regular, 14, raster.Left, softInk, percent(i.area/l.field.areaSum))
	}
	if len(l.order) > uvListed {
		c.Text(float64(x), float64(y+30), raster.Regular, 14, raster.Left, softInk, "+ "+itoa(len(l.order)-uvListed))
	}
}
