package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/texels"
)

const (
	mapSide = 620
	mapGap  = 40
	mapW    = sheetMargin + 2*mapSide + mapGap + sheetMargin
	mapH    = headHeight + 24 + mapSide + 56 + sheetMargin
	mapZoom = 62 // texels across the magnified place, ten pixels each
)

// mapPictures draws what broke a limit in a set's maps: bleed where it is shortest, and base colour out of range. The map
// is decoded again: pictures are made for few of a delivery's maps.
func mapPictures(ctx context.Context, s *Subject, set *Set, findings []Finding) []*drawn {
	if set.maps == nil {
		return nil
	}
	suffix := ".png"
	if len(s.Sets) > 1 {
		suffix = "_" + fileWord(set.Name) + ".png"
	}
	var out []*drawn
	for _, f := range findings {
		if f.Set != set.Name || f.Outcome != Warn && f.Outcome != Fail {
			continue
		}
		switch f.Check {
		case mapsBleedDef.Name:
			worst, _, _ := worstBleed(set, set.maps, ruleFor(s, f.Check, Target{Set: set}))
			if p := newMapSheet(ctx, s, set, worst); p != nil {
				out = append(out, p.bleed("map_bleed"+suffix))
			}
		case mapsColourDef.Name:
			if p := newMapSheet(ctx, s, set, worstColour(set.maps)); p != nil {
				out = append(out, p.colours("map_base_color"+suffix))
			}
		}
	}
	return out
}

// worstColour is the base colour map with the most texels out of range.
func worstColour(m *mapsMeasure) *mapRead {
	var worst *mapRead
	read, _ := m.named("base_color")
	outside := func(r *mapRead) float64 { return shareOf(r.colour.Dark+r.colour.Bright, r.colour.Dielectric) }
	for _, r := range read {
		if r.colour != nil && (worst == nil || outside(r) > outside(worst)) {
			worst = r
		}
	}
	return worst
}

// mapSheet is one map with what it is drawn from.
type mapSheet struct {
	s    *Subject
	set  *Set
	r    *mapRead
	img  *image.Image
	mask *texels.Mask // nil where the map repeats
	c    *raster.Canvas
}

func newMapSheet(ctx context.Context, s *Subject, set *Set, r *mapRead) *mapSheet {
	if r == nil || ctx.Err() != nil {
		return nil
	}
	again := *r
	rd := &reading{s: s, set: set, threads: s.Threads}
	if len(set.Game.UV) > 0 {
		rd.uv = textureUV(set)
	}
	p := &mapSheet{s: s, set: set, r: r, img: rd.decode(&again), c: raster.NewCanvas(mapW, mapH, paper)}
	if p.img == nil {
		return nil
	}
	if m := rd.cover(&again); m != nil {
		p.mask = m.mask
	}
	return p
}

func (p *mapSheet) heading() {
	title := propTitle(p.s)
	if p.set.Name != "" && len(p.s.Sets) > 1 {
		title += " · " + p.set.Name
	}
	heading(p.c, title, p.r.from+" · "+itoa(p.img.Width)+" × "+itoa(p.img.Height)+" px")
}

func (p *mapSheet) label(k int, text string) {
	x := sheetMargin + k*(mapSide+mapGap)
	p.c.Text(float64(x), headHeight+14, raster.Bold, textSize, raster.Left, ink, text)
	p.c.Border(x-1, headHeight+23, x+mapSide+1, headHeight+25+mapSide, ink)
}

// colourAt is a texel as it is stored, 8 bits a channel.
func (p *mapSheet) colourAt(x, y int) raster.Colour {
	v := func(c int) uint8 {
		if p.img.Channels < 3 {
			c = 0
		}
		return uint8(math.Round(float64(p.img.Value(x, y, c) * 255)))
	}
	return raster.Colour{R: v(0), G: v(1), B: v(2)}
}

// whole draws the map into a panel, each pixel by what at says of its texel; diagonal counts the panel's pixels across and down.
func (p *mapSheet) whole(k int, at func(x, y, diagonal int) raster.Colour) (scale float64) {
	edge := max(p.img.Width, p.img.Height)
	w, h := mapSide*p.img.Width/edge, mapSide*p.img.Height/edge
	x0 := sheetMargin + k*(mapSide+mapGap)
	for y := range h {
		for x := range w {
			p.c.Set(x0+x, headHeight+24+y, at((2*x+1)*p.img.Width/(2*w), (2*y+1)*p.img.Height/(2*h), x+y))
		}
	}
	return float64(mapSide) / float64(edge)
}

func (p *mapSheet) in(x, y int) bool {
	return x >= 0 && y >= 0 && x < p.img.Width && y < p.img.Height && (p.mask == nil || p.mask.In[y*p.img.Width+x] != 0)
}

// bleed draws the map with the shortest places numbered, and the first of them magnified with the islands' edges.
func (p *mapSheet) bleed(name string) *drawn {
	p.heading()
	scale := p.whole(0, func(x, y, _ int) raster.Colour { return p.colourAt(x, y) })
	spots := p.r.bleed.Spots
	for i := len(spots) - 1; i >= 0; i-- {
		x, y := sheetMargin+float64(float64(spots[i].X)*scale), headHeight+24+float64(float64(spots[i].Y)*scale)
		p.c.Ring(x, y, 13, 5, white, 1)
		p.c.Ring(x, y, 13, 2.5, ink, 1)
		badge(p.c, min(x+22, sheetMargin+mapSide-12), max(y-16, headHeight+36), itoa(i+1))
	}
	p.label(0, "A")
	if len(spots) > 0 {
		p.magnified(spots[0])
		p.label(1, "B  1 · × "+itoa(mapSide/mapZoom))
	}
	ship := shipScale(p.set, p.r.header)
	line := "C  " + bare(float64(p.r.bleed.Px)*ship) + " px"
	p.c.Text(sheetMargin, headHeight+24+mapSide+34, raster.Regular, textSize, raster.Left, ink, line)
	return finished(p.c, name, "A a map where colour is carried too short a way past the UV islands, the places where the background comes nearest numbered; B the first of them magnified, the island inside the line, striped what is background; C how far colour is carried at ship size.", mapsBleedDef.Name)
}

// magnified draws the texels around a spot. The island's edge is a line, and texels of the background's colour are striped.
func (p *mapSheet) magnified(s texels.Spot) {
	const k = mapSide / mapZoom
	x0, y0 := s.X-mapZoom/2, s.Y-mapZoom/2
	ground := p.r.bleed.Ground
	left, top := sheetMargin+mapSide+mapGap, headHeight+24
	for y := range mapSide {
		for x := range mapSide {
			tx, ty := x0+x/k, y0+y/k
			if tx < 0 || ty < 0 || tx >= p.img.Width || ty >= p.img.Height {
				p.c.Set(left+x, top+y, hairline)
				continue
			}
			c := p.colourAt(tx, ty)
			in := p.in(tx, ty)
			edge := x%k < 2 && in != p.in(tx-1, ty) || y%k < 2 && in != p.in(tx, ty-1)
			switch {
			case edge:
				c = white
				if (x+y)%8 < 4 {
					c = ink
				}
			case !in && c == (raster.Colour{R: ground[0], G: ground[1], B: ground[2]}) && (x+y)%9 < 2:
				c = raster.Colour{R: 255 - c.R/2, G: 160, B: 60}
			}
			p.c.Set(left+x, top+y, c)
		}
	}
}

// colours draws the map and beside it, over its greys, which texels are darker and brighter than materials are.
func (p *mapSheet) colours(name string) *drawn {
	p.heading()
	p.whole(0, func(x, y, _ int) raster.Colour { return p.colourAt(x, y) })
	p.label(0, "A")
	rule := ruleFor(p.s, mapsColourDef.Name, Target{Set: p.set})
	dark, bright := decodeSRGB(rule.Numbers["dark_srgb"]/255), decodeSRGB(rule.Numbers["bright_srgb"]/255)
	low, high := raster.Signed.At(0.12), raster.Signed.At(0.88)
	p.whole(1, func(x, y, diagonal int) raster.Colour {
		c := p.colourAt(x, y).Linear()
		lum := float64(0.2126*float64(c[0])*p.r.tint[0]) + float64(0.7152*float64(c[1])*p.r.tint[1]) + float64(0.0722*float64(c[2])*p.r.tint[2])
		switch {
		case !p.in(x, y):
			return paper
		case lum < dark:
			return low
		case lum > bright && diagonal%6 < 2:
			return white
		case lum > bright:
			return high
		}
		v := raster.Encode(float32(0.25 + float64(lum*0.6)))
		return raster.Colour{R: v, G: v, B: v}
	})
	p.label(1, "B")
	y := headHeight + 24 + mapSide + 22
	x := sheetMargin + mapSide + mapGap
	for i, e := range []struct {
		c    raster.Colour
		text string
	}{{low, "< " + bare(rule.Numbers["dark_srgb"]) + " (sRGB)"}, {high, "> " + bare(rule.Numbers["bright_srgb"])}} {
		swatch(p.c, x+i*250, y, func(sx, sy int) raster.Colour {
			if i == 1 && (sx+sy)%6 < 2 {
				return white
			}
			return e.c
		})
		p.c.Text(float64(x+i*250+36), float64(y+13), raster.Regular, 14, raster.Left, ink, e.text)
	}
	return finished(p.c, name, "A a base colour map as delivered, B which of its texels are darker or brighter than materials are, of what the layout covers, metal not told apart.", mapsColourDef.Name)
}
