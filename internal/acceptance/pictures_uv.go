package acceptance

import (
	"context"
	"math"
	"slices"

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
	uvTriangle = 150_000 // above this many triangles their edges are not drawn
)

// uvLayout is one set's layout, ready to be drawn.
type uvLayout struct {
	set    *Set
	uv     []float32 // folded into the picture, 0 to 1 across
	tri    []uint32
	field  densityField
	by     []float32 // px/m by triangle, 0 where it has no area
	target float64
	tiles  [2]int // across and down
	order  []int  // islands, the largest area first
	rank   []int  // of each island in order
}

// uvPicture draws a set's UV layout coloured by texel density.
func uvPicture(_ context.Context, s *Subject, set *Set, name string) *drawn {
	l := newUVLayout(s, set)
	if l == nil {
		return nil
	}
	c := raster.NewCanvas(uvW, uvH, paper)
	title := "UV layout"
	if set.Name != "" && len(s.Sets) > 1 {
		title += ", set " + set.Name
	}
	heading(c, title, propTitle(s)+" · coloured by texel density at "+itoa(set.WidthPx)+" × "+itoa(set.HeightPx)+" px ("+words.English().Sentence(set.sizeFrom())+")")
	l.draw(c, s.Threads)
	l.side(c)
	return finished(c, name, "The UV layout of a texture set, coloured by texel density; overlaps are striped, islands outlined and numbered by area.",
		"uv.texel_density", "uv.overlap", "uv.padding", "uv.range", "uv.coverage", "uv.stretch", "uv.flipped")
}

func newUVLayout(s *Subject, set *Set) *uvLayout {
	sf := &set.Game
	if len(sf.Tri) == 0 || len(sf.UV) == 0 || set.WidthPx <= 0 || set.HeightPx <= 0 {
		return nil
	}
	l := &uvLayout{set: set, tri: sf.Tri}
	source := textureUV(set)
	l.field = densityOf(sf, source, set.WidthPx, set.HeightPx)
	if !(l.field.areaSum > 0) {
		return nil
	}
	l.target = s.Spec.Rule("uv.texel_density", nil, &set.Def).Numbers["target_px_per_m"]
	if !(l.target > 0) {
		l.target = math.Sqrt(l.field.texelSum / l.field.areaSum)
	}
	l.measure(source)
	l.fold(source, set.Def.Kind == spec.UDIM)
	l.rankIslands()
	return l
}

// measure finds the density of every triangle.
func (l *uvLayout) measure(uv []float32) {
	sf := &l.set.Game
	l.by = make([]float32, sf.Triangles())
	pixels := float64(l.set.WidthPx) * float64(l.set.HeightPx)
	for t := range l.by {
		area := worldArea(corners(sf, t))
		texels := 0.5 * math.Abs(uvArea2(uvCorners(uv, sf.Tri, t))) * pixels
		if d := math.Sqrt(texels / area); area > 0 && finite(d) {
			l.by[t] = float32(d)
		}
	}
}

// fold moves every island by whole tiles into the first tile, or for a set of several tiles lays the tiles out.
func (l *uvLayout) fold(uv []float32, udim bool) {
	n := l.field.isl.N
	lo := make([][2]float64, n)
	for i := range lo {
		lo[i] = [2]float64{math.Inf(1), math.Inf(1)}
	}
	hi := [2]float64{1, 1}
	for t, i := range l.field.isl.Of {
		for k := range 3 {
			v := l.tri[3*t+k]
			for a := range 2 {
				if x := float64(uv[2*int(v)+a]); finite(x) {
					lo[i][a], hi[a] = min(lo[i][a], x), max(hi[a], x)
				}
			}
		}
	}
	l.tiles = [2]int{1, 1}
	if udim {
		l.tiles = [2]int{int(min(math.Ceil(hi[0]-1e-6), 10)), int(min(math.Ceil(hi[1]-1e-6), 10))}
	}
	across := float64(max(l.tiles[0], l.tiles[1]))
	// Every triangle gets corners of its own: a vertex may serve islands that move differently.
	out := make([]float32, 0, 2*len(l.tri))
	tri := make([]uint32, len(l.tri))
	for t, i := range l.field.isl.Of {
		var shift [2]float64
		if !udim {
			for a := range 2 {
				if finite(lo[i][a]) {
					shift[a] = math.Floor(lo[i][a] + 1e-5)
				}
			}
		}
		for k := range 3 {
			v := int(l.tri[3*t+k])
			tri[3*t+k] = uint32(len(out) / 2)
			out = append(out, float32((float64(uv[2*v])-shift[0])/across), float32((float64(uv[2*v+1])-shift[1])/across))
		}
	}
	l.uv, l.tri = out, tri
}

func (l *uvLayout) rankIslands() {
	n := l.field.isl.N
	l.order, l.rank = make([]int, n), make([]int, n)
	for i := range l.order {
		l.order[i] = i
	}
	slices.SortStableFunc(l.order, func(a, b int) int {
		switch {
		case l.field.area[a] > l.field.area[b]:
			return -1
		case l.field.area[a] < l.field.area[b]:
			return 1
		}
		return 0
	})
	for r, i := range l.order {
		l.rank[i] = r
	}
}

// octaves is how far a density is from the target: 1 is twice as many pixels per metre, -1 half as many.
func (l *uvLayout) octaves(density float64) float64 {
	return detmath.Log(density/l.target) / math.Ln2
}

// colour is the scale's colour of a density; the scale reaches one octave either way.
func (l *uvLayout) colour(density float64) [3]float32 {
	if !(density > 0) {
		return raster.Colour{R: 150, G: 148, B: 145}.Linear()
	}
	return raster.Signed.LinearAt(0.5 + float64(l.octaves(density)/2))
}

// draw paints the tile.
func (l *uvLayout) draw(c *raster.Canvas, threads int) {
	x0, y0 := sheetMargin, headHeight
	c.Rect(x0, y0, x0+uvTilePx, y0+uvTilePx, white)
	var scr raster.Screen
	scr.Flat(l.uv, [2]float64{uvTilePx, uvTilePx}, [2]float64{})
	first := raster.NewBuffer(uvTilePx, uvTilePx, raster.Four)
	first.Draw(raster.Job{Screen: &scr, Tri: l.tri, Cull: raster.CullNone}, threads)
	// Where the lowest and the highest triangle over a sample differ, two lie there.
	last := raster.NewBuffer(uvTilePx, uvTilePx, raster.Four[:1]) // the one sample that is compared
	n := len(l.tri) / 3
	backwards := make([]uint32, 0, len(l.tri))
	for t := n - 1; t >= 0; t-- {
		backwards = append(backwards, l.tri[3*t:3*t+3]...)
	}
	last.Draw(raster.Job{Screen: &scr, Tri: backwards, Cull: raster.CullNone}, threads)

	first.Resolve(c, x0, y0, threads, func(id uint32, x, y float64) [3]float32 {
		return l.colour(float64(l.by[id]))
	})
	l.overlay(c, first, last, n)
	across := max(l.tiles[0], l.tiles[1])
	for i := range across + 1 {
		p := i * uvTilePx / across
		c.Rect(x0+p, y0, x0+p+1, y0+uvTilePx, softInk)
		c.Rect(x0, y0+p, x0+uvTilePx, y0+p+1, softInk)
	}
	c.Border(x0-1, y0-1, x0+uvTilePx+1, y0+uvTilePx+1, ink)
	l.numbers(c, first)
}

// overlay draws triangle edges faintly, island borders clearly and stripes over overlaps.
func (l *uvLayout) overlay(c *raster.Canvas, first, last *raster.Buffer, n int) {
	island := func(id uint32) int32 {
		if id == raster.Empty {
			return -1
		}
		return l.field.isl.Of[id]
	}
	for y := range uvTilePx {
		for x := range uvTilePx {
			id, _ := first.At(0, x, y)
			right, below := id, id
			if x+1 < uvTilePx {
				right, _ = first.At(0, x+1, y)
			}
			if y+1 < uvTilePx {
				below, _ = first.At(0, x, y+1)
			}
			px, py := sheetMargin+x, headHeight+y
			switch {
			case island(id) != island(right) || island(id) != island(below):
				c.Blend(px, py, ink, 0.85)
			case n <= uvTriangle && (id != right || id != below):
				c.Blend(px, py, ink, 0.16)
			}
			if other, _ := last.At(0, x, y); id != raster.Empty && uint32(n-1)-other != id && (x+y)%7 < 3 {
				c.Blend(px, py, ink, 0.8)
			}
		}
	}
}

// numbers writes the rank of the largest islands where there is room: on the pixel of the island closest to its middle.
func (l *uvLayout) numbers(c *raster.Canvas, b *raster.Buffer) {
	type spot struct {
		sumX, sumY, count int
		x, y, best        int
	}
	spots := make([]spot, l.field.isl.N)
	each := func(visit func(s *spot, x, y int)) {
		for y := range uvTilePx {
			for x := range uvTilePx {
				if id, _ := b.At(0, x, y); id != raster.Empty {
					visit(&spots[l.field.isl.Of[id]], x, y)
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

// side writes the scale, its marks and the list of islands.
func (l *uvLayout) side(c *raster.Canvas) {
	x, y := sheetMargin+uvTilePx+30, headHeight
	c.Text(float64(x), float64(y)+12, raster.Bold, textSize, raster.Left, ink, "denser, sharper")
	px := func(f float64) string { return fixed(l.target*f, 0) + " px/m" }
	labels := []string{px(2) + " or more", px(math.Sqrt2), px(1) + "  target", px(1 / math.Sqrt2), px(0.5) + " or less"}
	legendBar(c, x, y+24, 26, 220, raster.Signed, labels)
	c.Text(float64(x), float64(y)+268, raster.Bold, textSize, raster.Left, ink, "coarser, softer")
	yy := y + 286
	swatch(c, x, yy, func(i, j int) raster.Colour {
		if (i+j)%7 < 3 {
			return raster.Colour{R: 78, G: 79, B: 82}
		}
		return raster.Signed.At(0.5)
	})
	c.Text(float64(x+36), float64(yy+13), raster.Regular, 14, raster.Left, ink, "two or more surfaces overlap")
	yy += 54
	c.Text(float64(x), float64(yy), raster.Bold, textSize, raster.Left, ink, plural(l.field.isl.N, "island", "islands")+", by share of surface")
	for r, i := range l.order[:min(len(l.order), uvListed)] {
		yy += 27
		badge(c, float64(x+10), float64(yy-5), itoa(r+1))
		density := "no area"
		if l.field.area[i] > 0 {
			density = fixed(math.Sqrt(l.field.texels[i]/l.field.area[i]), 0) + " px/m"
		}
		c.Text(float64(x+118), float64(yy), raster.Regular, 14, raster.Right, ink, density)
		c.Text(float64(x+136), float64(yy), raster.Regular, 14, raster.Left, softInk, percent(l.field.area[i]/l.field.areaSum))
	}
	if len(l.order) > uvListed {
		c.Text(float64(x), float64(yy+30), raster.Regular, 14, raster.Left, softInk, "and "+plural(len(l.order)-uvListed, "smaller one", "smaller ones"))
	}
}
