package acceptance

import (
	"cmp"
	"math"
	"slices"

	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/surface"
)

const (
	silhouetteW, silhouetteH = 1280, 720
	worstViews               = 3
)

var (
	gameLine    = raster.Colour{R: 38, G: 70, B: 120}
	sculptLine  = raster.Colour{R: 186, G: 88, B: 20}
	insideTint  = raster.Colour{R: 228, G: 225, B: 219}
	gameOver    = raster.Colour{R: 150, G: 176, B: 214}
	sculptOver  = raster.Colour{R: 238, G: 176, B: 112}
	lensPx      = 150 // side of the enlarged square
	lensMagnify = [...]float64{32, 16, 8, 4, 2}
)

// outlineView is a view to be drawn and the part it belongs to.
type outlineView struct {
	surface.View
	part string
}

// silhouettes draws both outlines over each other for the worst views of all parts.
func silhouettes(s *Subject, parts []compared) *drawn {
	var views []outlineView
	for _, c := range parts {
		for _, v := range c.views {
			if len(v.Game) > 0 && len(v.Sculpt) > 0 && v.HalfMM > 0 && finite(v.HalfMM) {
				views = append(views, outlineView{v, c.part.Name})
			}
		}
	}
	if len(views) == 0 {
		return nil
	}
	slices.SortStableFunc(views, func(a, b outlineView) int { return cmp.Compare(b.MaxOffsetMM, a.MaxOffsetMM) })
	views = views[:min(len(views), worstViews)]
	c := raster.NewCanvas(silhouetteW, silhouetteH, paper)
	heading(c, propTitle(s), "")
	pixelMM := s.Spec.View.PixelMM()
	width := (silhouetteW - 2*sheetMargin - (worstViews-1)*20) / worstViews
	for i := range views {
		x := sheetMargin + i*(width+20)
		drawOutlines(c, &views[i], box{x, headHeight + 4, x + width, silhouetteH - 78}, pixelMM)
	}
	silhouetteLegend(c)
	return finished(c, "silhouette_worst.png",
		"The outlines of game surface and sculpt over each other, from the directions in which they differ most; A, solid, is the game surface, B, dashed, the sculpt, A − B what only the game surface covers, B − A what only the sculpt does. Ringed and enlarged stands the largest offset. Seen from +Z the front, +X the prop's left, +Y above.",
		"surface.silhouette")
}

// plane maps a view's plane, millimetres with y up, into pixels.
type plane struct{ scale, x, y float64 }

func (p plane) at(q [2]float64) (x, y float64) {
	return p.x + float64(q[0]*p.scale), p.y - float64(q[1]*p.scale)
}

func drawOutlines(c *raster.Canvas, v *outlineView, b box, pixelMM float64) {
	c.Rect(b.x0, b.y0, b.x1, b.y1, white)
	const foot = 54
	p := fitOutlines(v, box{b.x0 + 16, b.y0 + 16, b.x1 - 16, b.y1 - foot - 16})
	paintOutlines(c, v, p, box{b.x0 + 1, b.y0 + 1, b.x1 - 1, b.y1 - foot}, 1.3)

	fx, fy := p.at(v.WorstFromMM)
	corner := lens(c, v, b, p)
	c.Ring(fx, fy, 9, 4.5, white, 0.9)
	c.Ring(fx, fy, 9, 2, ink, 1)
	if corner != nil {
		c.Line(fx+math.Copysign(7, corner[0]-fx), fy+math.Copysign(7, corner[1]-fy), corner[0], corner[1], 1, ink, 1)
	}
	c.Border(b.x0, b.y0, b.x1, b.y1, hairline)

	title := sideAxes(v.Toward)
	if v.part != "" {
		title = v.part + " · " + title
	}
	c.Text(float64(b.x0+12), float64(b.y1-32), raster.Bold, textSize, raster.Left, ink, title)
	who := "A"
	if v.SculptOut {
		who = "B"
	}
	line := who + " +" + lengthText(v.MaxOffsetMM)
	if pixelMM > 0 {
		line += " · " + fixed(v.MaxOffsetMM/pixelMM, 1) + " px"
	}
	c.Text(float64(b.x0+12), float64(b.y1-12), raster.Regular, 14, raster.Left, softInk, line)
}

// fitOutlines maps the box of both outlines into a box of pixels.
func fitOutlines(v *outlineView, b box) plane {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, loops := range [2][]surface.Loop{v.Game, v.Sculpt} {
		for _, l := range loops {
			for _, q := range l {
				for k := range 2 {
					// What lies farther out than the view says is not part of the prop.
					if math.Abs(q[k]) <= v.HalfMM {
						lo[k], hi[k] = min(lo[k], q[k]), max(hi[k], q[k])
					}
				}
			}
		}
	}
	for k := range 2 {
		if !(hi[k] > lo[k]) {
			lo[k], hi[k] = -v.HalfMM, v.HalfMM
		}
	}
	p := plane{scale: min(float64(b.x1-b.x0)/(hi[0]-lo[0]), float64(b.y1-b.y0)/(hi[1]-lo[1]))}
	p.x = float64(float64(b.x0+b.x1)/2) - float64((lo[0]+hi[0])/2*p.scale)
	p.y = float64(float64(b.y0+b.y1)/2) + float64((lo[1]+hi[1])/2*p.scale)
	return p
}

// paintOutlines fills what both cover, tints what only one covers (the sculpt's share striped) and draws both lines:
// the game surface's solid, the sculpt's dashed.
func paintOutlines(c *raster.Canvas, v *outlineView, p plane, b box, width float64) {
	game := covered(v.Game, p, b)
	sculpt := covered(v.Sculpt, p, b)
	for y := b.y0; y < b.y1; y++ {
		for x := b.x0; x < b.x1; x++ {
			g := float64(game.Get(x-b.x0, y-b.y0).R) / 255
			t := float64(sculpt.Get(x-b.x0, y-b.y0).R) / 255
			both := min(g, t)
			c.Blend(x, y, insideTint, both)
			c.Blend(x, y, gameOver, g-both)
			over := t - both
			if (x+y)%6 < 2 {
				over *= 0.45
			}
			c.Blend(x, y, sculptOver, over)
		}
	}
	for _, l := range v.Game {
		strokeLoop(c, l, p, b, width, gameLine, false)
	}
	for _, l := range v.Sculpt {
		strokeLoop(c, l, p, b, width, sculptLine, true)
	}
}

// covered is the area that loops enclose within a box, in the red channel of a canvas of the box's size.
func covered(loops []surface.Loop, p plane, b box) *raster.Canvas {
	c := raster.NewCanvas(b.x1-b.x0, b.y1-b.y0, raster.Colour{})
	path := &raster.Path{}
	for _, l := range loops {
		points := make([][2]float64, len(l))
		for i, q := range l {
			x, y := p.at(q)
			points[i] = [2]float64{x - float64(b.x0), y - float64(b.y0)}
		}
		path.Add(raster.ClipPolygon(points, -2, -2, float64(c.W+2), float64(c.H+2)))
	}
	c.FillPath(path, white, 1)
	return c
}

// strokeLoop draws a loop inside a box, dashed by length along it.
func strokeLoop(c *raster.Canvas, l surface.Loop, p plane, b box, width float64, col raster.Colour, dashed bool) {
	const dash, gap = 7.0, 5.0
	run := 0.0
	for i, q := range l {
		n := l[(i+1)%len(l)]
		x0, y0 := p.at(q)
		x1, y1 := p.at(n)
		size := math.Sqrt(float64((x1-x0)*(x1-x0)) + float64((y1-y0)*(y1-y0)))
		if !(size > 0) || !finite(size) || size > 1e5 {
			continue
		}
		if !dashed {
			strokeInside(c, x0, y0, x1, y1, b, width, col)
			continue
		}
		for at := 0.0; at < size; {
			phase := run + at - float64(math.Floor((run+at)/(dash+gap))*(dash+gap))
			end := min(size, at+dash-phase)
			if phase >= dash {
				at = min(size, at+dash+gap-phase) + 1e-9
				continue
			}
			t0, t1 := at/size, end/size
			strokeInside(c, x0+float64((x1-x0)*t0), y0+float64((y1-y0)*t0), x0+float64((x1-x0)*t1), y0+float64((y1-y0)*t1), b, width, col)
			at = end + 1e-9
		}
		run += size
	}
}

// strokeInside draws a line unless it lies outside the box; lines are cut at its border.
func strokeInside(c *raster.Canvas, x0, y0, x1, y1 float64, b box, width float64, col raster.Colour) {
	x0, y0, x1, y1, ok := raster.ClipLine(x0, y0, x1, y1, float64(b.x0)+1, float64(b.y0)+1, float64(b.x1)-1, float64(b.y1)-1)
	if ok {
		c.Line(x0, y0, x1, y1, width, col, 1)
	}
}

// lens draws the surroundings of the largest offset enlarged, in the corner of the panel that is farthest from it, and returns
// the corner of the lens that points at it; nil where the offset is too small to be worth enlarging.
func lens(c *raster.Canvas, v *outlineView, b box, p plane) *[2]float64 {
	offset := v.MaxOffsetMM * p.scale
	if !(offset > 0.02) || !finite(offset) {
		return nil
	}
	n := lensMagnify[len(lensMagnify)-1]
	for _, m := range lensMagnify {
		if offset*m <= float64(lensPx)*0.6 {
			n = m
			break
		}
	}
	mid := [2]float64{(v.WorstFromMM[0] + v.WorstToMM[0]) / 2, (v.WorstFromMM[1] + v.WorstToMM[1]) / 2}
	x, y := p.at(mid)
	in := box{b.x0 + 10, b.y0 + 10, b.x0 + 10 + lensPx, b.y0 + 10 + lensPx}
	corner := [2]float64{float64(in.x1), float64(in.y1)}
	if x < float64(b.x0+b.x1)/2 {
		in.x0, in.x1 = b.x1-10-lensPx, b.x1-10
		corner[0] = float64(in.x0)
	}
	if y < float64(b.y0+b.y1)/2 {
		in.y0, in.y1 = b.y1-58-lensPx, b.y1-58
		corner[1] = float64(in.y0)
	}
	c.Rect(in.x0, in.y0, in.x1, in.y1, white)
	near := plane{p.scale * n, 0, 0}
	near.x = float64(float64(in.x0+in.x1)/2) - float64(mid[0]*near.scale)
	near.y = float64(float64(in.y0+in.y1)/2) + float64(mid[1]*near.scale)
	paintOutlines(c, v, near, in, 1.6)
	ax, ay := near.at(v.WorstFromMM)
	bx, by := near.at(v.WorstToMM)
	strokeInside(c, ax, ay, bx, by, in, 2, ink)
	c.Disc(ax, ay, 3, ink, 1)
	c.Disc(bx, by, 3, ink, 1)
	c.Border(in.x0, in.y0, in.x1, in.y1, ink)
	text := "× " + bare(n)
	c.TextOver(float64(in.x0+8), float64(in.y1-8), raster.Bold, 13, raster.Left, ink, white, text)
	return &corner
}

func silhouetteLegend(c *raster.Canvas) {
	y := float64(silhouetteH - 40)
	x := float64(sheetMargin)
	whole := box{0, 0, silhouetteW, silhouetteH}
	item := func(text string, draw func(x, y float64)) {
		draw(x, y-5)
		x += 44 + c.Text(x+38, y, raster.Regular, 14, raster.Left, ink, text) + 24
	}
	item("A", func(x, y float64) { strokeInside(c, x, y, x+28, y, whole, 2, gameLine) })
	item("B", func(x, y float64) {
		strokeLoop(c, surface.Loop{{x, -y}, {x + 28, -y}}, plane{scale: 1}, whole, 2, sculptLine, true)
	})
	item("A − B", func(x, y float64) {
		swatch(c, int(x), int(y)-8, func(i, j int) raster.Colour { return gameOver })
	})
	item("B − A", func(x, y float64) {
		swatch(c, int(x), int(y)-8, func(i, j int) raster.Colour {
			if (i+j)%6 < 2 {
				return raster.Colour{R: 248, G: 220, B: 191}
			}
			return sculptOver
		})
	})
	item("×", func(x, y float64) {
		c.Ring(x+14, y, 8, 2, ink, 1)
	})
}
