package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/raster"
)

// draw draws the six views and rings each place in the view that shows it best.
func (m *faultMap) draw(ctx context.Context, c *raster.Canvas, views []raster.View, cells []box, threads int) []int {
	var scr raster.Screen
	buf := raster.NewBuffer(0, 0, raster.Four)
	inside := raster.NewBuffer(0, 0, raster.One)
	best, seen := make([]float64, len(m.places)), make([]int, len(m.places))
	for i := range seen {
		seen[i], best[i] = -1, -9
	}
	render := func(v *raster.View) {
		buf.Reset(v.W, v.H, raster.Four)
		scr.Project(v, m.pos, threads)
		buf.Draw(raster.Job{Screen: &scr, Tri: m.tri, Cull: raster.CullNone}, threads)
	}
	for i := range views {
		if ctx.Err() != nil {
			return nil
		}
		render(&views[i])
		for k := range m.places {
			if score := m.places[k].score(&views[i], buf); score > best[k]+1e-9 {
				best[k], seen[k] = score, i
			}
		}
	}
	for i := range views {
		v, b := &views[i], cells[i]
		render(v)
		buf.Resolve(c, b.x0, b.y0, threads, m.shader(v))
		if len(m.hidden) > 0 {
			inside.Reset(v.W, v.H, raster.One)
			inside.Draw(raster.Job{Screen: &scr, Tri: m.hidden, Cull: raster.CullNone}, threads)
			m.through(c, inside, b)
		}
		for _, st := range m.strokes {
			st.draw(c, v, b, buf)
		}
		c.Text(float64(b.x0+cellPad), float64(b.y0)+18, raster.Bold, textSize, raster.Left, ink, sides[i].name)
		if i > 0 && b.x0 > sheetMargin {
			c.Rect(b.x0, b.y0+6, b.x0+1, b.y1-10, hairline)
		}
		for k := len(m.places) - 1; k >= 0; k-- {
			if seen[k] == i {
				m.places[k].ring(c, v, b, k+1)
			}
		}
	}
	return seen
}

// score says how well a view shows a place: 2 where nothing stands before it, and how squarely the face there looks at the eye.
func (n *numbered) score(v *raster.View, buf *raster.Buffer) float64 {
	x, y, near, ok := v.Project(n.point)
	if !ok || x < 0 || y < 0 || int(x) >= buf.W || int(y) >= buf.H {
		return -9
	}
	score := 0.0
	if _, front := buf.At(0, int(x), int(y)); near >= float64(front)-4/v.Scale {
		score = 2
	}
	return score + inner(n.normal, v.Back)
}

func (n *numbered) ring(c *raster.Canvas, v *raster.View, b box, number int) {
	x, y, _, ok := v.Project(n.point)
	if !ok {
		return
	}
	x, y = x+float64(b.x0), y+float64(b.y0)
	r := 11.0
	c.Ring(x, y, r, 4.5, white, 0.9)
	c.Ring(x, y, r, 2, ink, 1)
	k := float64((r + 8) * 0.7071)
	// Badges of places that lie together stand around them.
	turn := [4][2]float64{{1, -1}, {1, 1}, {-1, 1}, {-1, -1}}[(number-1)%4]
	badge(c, min(max(x+float64(k*turn[0]), float64(b.x0+12)), float64(b.x1-12)), min(max(y+float64(k*turn[1]), float64(b.y0+12)), float64(b.y1-12)), itoa(number))
}

// shader is matt grey, darker where the surface turns away, with the patterns of faults on it.
func (m *faultMap) shader(v *raster.View) func(id uint32, x, y float64) [3]float32 {
	grey := raster.Colour{R: 196, G: 194, B: 190}.Linear()
	var light [3]float64
	for k := range 3 {
		light[k] = float64(-0.35*v.Right[k]) + float64(0.45*v.Up[k]) + float64(0.82*v.Back[k])
	}
	return func(id uint32, x, y float64) [3]float32 {
		a, b, c := point(m.pos, m.tri[3*id]), point(m.pos, m.tri[3*id+1]), point(m.pos, m.tri[3*id+2])
		n := unit(cross(sub(b, a), sub(c, a)))
		l := float32(0.5 + float64(0.5*math.Abs(inner(n, light))))
		if onWire(v, a, b, c, x, y) {
			l *= 0.72
		}
		col := grey
		if k := m.face[id]; k != noFault && k.pattern(int(x), int(y)) {
			col = faultStyles[k].colour.Linear()
		}
		return [3]float32{col[0] * l, col[1] * l, col[2] * l}
	}
}

// onWire says whether a pixel lies on an edge of its triangle, where that is large enough on the picture to show its edges.
func onWire(v *raster.View, a, b, c [3]float64, x, y float64) bool {
	w, ok := v.Weights(a, b, c, x, y)
	if !ok {
		return false
	}
	twice := math.Sqrt(lenSq(cross(sub(b, a), sub(c, a))))
	far := [3]float64{lenSq(sub(c, b)), lenSq(sub(a, c)), lenSq(sub(b, a))}
	for k := range 3 {
		high := twice / math.Sqrt(far[k]) * v.Scale // of corner k over its edge, pixels
		if high < 6 {
			return false
		}
		if w[k]*high < 0.6 {
			return true
		}
	}
	return false
}

// through dots hidden faces over whatever stands before them.
func (m *faultMap) through(c *raster.Canvas, inside *raster.Buffer, b box) {
	for y := range inside.H {
		for x := range inside.W {
			if id, _ := inside.At(0, x, y); id != raster.Empty && faultHidden.pattern(x, y) {
				c.Blend(b.x0+x, b.y0+y, faultStyles[faultHidden].colour, 0.75)
			}
		}
	}
}

// draw draws an edge: solid where it is seen, faint where something stands before it; meant ones dotted, tangled ones with
// bars across.
func (st *stroke) draw(c *raster.Canvas, v *raster.View, b box, buf *raster.Buffer) {
	x0, y0, n0, ok0 := v.Project(st.a)
	x1, y1, n1, ok1 := v.Project(st.b)
	if !ok0 || !ok1 {
		return
	}
	long := math.Sqrt(float64((x1-x0)*(x1-x0)) + float64((y1-y0)*(y1-y0)))
	col := faultStyles[st.kind].colour
	steps := max(1, int(long/4))
	for i := range steps {
		f, g := float64(i)/float64(steps), float64(i+1)/float64(steps)
		ax, ay, bx, by := x0+float64((x1-x0)*f), y0+float64((y1-y0)*f), x0+float64((x1-x0)*g), y0+float64((y1-y0)*g)
		alpha := 1.0
		px, py := int(ax), int(ay)
		if px >= 0 && py >= 0 && px < buf.W && py < buf.H {
			if _, front := buf.At(0, px, py); n0+float64((n1-n0)*f) < float64(front)-4/v.Scale {
				alpha = 0.25
			}
		}
		ox, oy := float64(b.x0), float64(b.y0)
		switch st.kind {
		case faultMeant:
			if i%2 == 0 {
				c.Line(ax+ox, ay+oy, bx+ox, by+oy, 1.6, col, alpha)
			}
		case faultTangle:
			c.Line(ax+ox, ay+oy, bx+ox, by+oy, 3, col, alpha)
			if i%2 == 0 && long > 0 {
				ux, uy := float64((y1-y0)/long*5), float64((x0-x1)/long*5)
				c.Line(ax+ox-ux, ay+oy-uy, ax+ox+ux, ay+oy+uy, 1.5, col, alpha)
			}
		default:
			c.Line(ax+ox, ay+oy, bx+ox, by+oy, 4.6, white, alpha*0.8)
			c.Line(ax+ox, ay+oy, bx+ox, by+oy, 2.6, col, alpha)
		}
	}
}

// legend writes what the patterns mean and the list of the ringed places.
func (m *faultMap) legend(c *raster.Canvas) {
	x := deviationW - deviationSide - sheetMargin + 14
	y := headHeight + 8
	for k := faultKind(1); k < faultKinds; k++ {
		if !m.used[k] || k == faultPoint {
			continue
		}
		st := faultStyles[k]
		swatch(c, x, y, func(i, j int) raster.Colour {
			line := j >= 7 && j <= 9
			switch {
			case k == faultOpen && line, k == faultMeant && line && i%8 < 4, k == faultTangle && (line || i%8 < 2 && j > 3 && j < 13):
				return st.colour
			case k.pattern(i, j):
				return st.colour
			}
			return raster.Colour{R: 196, G: 194, B: 190}
		})
		c.Text(float64(x+36), float64(y)+13, raster.Regular, 14, raster.Left, ink, st.name)
		y += 26
	}
	yy := float64(y) + 22
	for i, n := range m.places {
		yy += 24
		badge(c, float64(x)+10, yy-5, itoa(i+1))
		yy = wrapText(c, float64(x)+28, yy, float64(deviationSide)-20, 13.5, ink, n.text) - 18
	}
}
