package acceptance

import (
	"math"
	"slices"

	"proofhouse/internal/acceptance/raster"
)

// Size of the stills, and their lens: 85 mm on film 36 mm by 24 mm, so that the tangent of half the height is 12/85.
const (
	stillWidth, stillHeight = 1280, 960
	stillHalfTan            = 12.0 / 85
)

// threeQuarter is from where the stills are taken: in front, to the prop's left and a little above.
var threeQuarter = raster.Vec{0.62, 0.42, 1}

// studio is a prop ready to be photographed.
type studio struct {
	prop    *raster.Prop
	lo, hi  [3]float64 // of what ships, metres
	threads int
	title   string
	scratch raster.Buffer
	rig     *raster.Rig
	used    []float32 // positions of the corners in use, 3 each
}

func newStudio(s *Subject) *studio {
	p := drawnProp(s, setsByDraw(s))
	if p == nil {
		return nil
	}
	lo, hi, ok := boundsOf(&s.LODs[0].Surface, shipped(s, 0))
	if !ok || !(hi[0]-lo[0] < 1e5 && hi[1]-lo[1] < 1e5 && hi[2]-lo[2] < 1e5) {
		return nil
	}
	// Fits look at every vertex they are given: only those in use may count.
	used := make([]float32, 0, len(p.Tri))
	for _, v := range p.Tri {
		used = append(used, p.Pos[3*v:3*v+3]...)
	}
	return &studio{prop: p, lo: lo, hi: hi, threads: s.Threads, title: propTitle(s), used: used}
}

// lights hangs the rig, once: all stills look from the same direction.
func (st *studio) lights(v *raster.View) *raster.Rig {
	if st.rig == nil {
		st.rig = raster.NewRig(v, st.prop.Pos, st.prop.Casters(), st.threads)
	}
	return st.rig
}

// view frames the prop; the rule before it has room below.
func (st *studio) view() (raster.View, floorRule) {
	v := raster.Towards(raster.Vec{}, threeQuarter, stillWidth, stillHeight)
	frame := raster.Frame{X0: 170, Y0: headHeight + 10, X1: stillWidth - 170, Y1: stillHeight - 120}
	v.FitPerspective(st.used, stillHalfTan, frame)
	rule := st.rule()
	// A prop that bulges above a small foot stands far behind the rule, which then leaves the picture: both are framed.
	if !rule.within(&v) {
		frame.Y1 = stillHeight - ruleRoom
		v.FitPerspective(append(slices.Clone(st.used), rule.corners()...), stillHalfTan, frame)
	}
	return v, rule
}

// ruleRoom is how many pixels the rule keeps below it: its length is written there.
const ruleRoom = 40

// stills takes the lit still and the one in clay.
func (st *studio) stills() []*drawn {
	v, rule := st.view()
	rig := st.lights(&v)
	lit, clay := raster.Shoot(st.prop, v, rig, raster.Wanted{Lit: true, Clay: true, Floor: true, Scratch: &st.scratch}, st.threads)
	var out []*drawn
	for _, one := range []struct {
		c    *raster.Canvas
		name string
		what string
	}{
		{lit, "prop_lit.png", "The prop, lit and textured, from the front three-quarter, with a rule on the floor and a person for scale."},
		{clay, "prop_clay.png", "The prop in clay, from the same place and in the same light."},
	} {
		heading(one.c, st.title, "")
		rule.draw(one.c, &v)
		st.scaleFigure(one.c)
		out = append(out, finished(one.c, one.name, one.what))
	}
	return out
}

// floorRule is a rule that lies on the floor in front of the prop, along its width.
type floorRule struct {
	x, y, z float64 // its left rear end, metres
	mm      float64
	wide    float64 // metres
}

func (st *studio) rule() floorRule {
	w, d := st.hi[0]-st.lo[0], st.hi[2]-st.lo[2]
	size := max(w, d, (st.hi[1]-st.lo[1])/3, 1e-4)
	mm := roundDown(1000 * size)
	return floorRule{
		x: float64((st.lo[0]+st.hi[0])/2) - mm/2000, y: st.lo[1],
		z: st.hi[2] + float64(0.12*size), mm: mm, wide: 0.035 * size,
	}
}

// corners are the rule's four, three values each.
func (r floorRule) corners() []float32 {
	l := r.mm / 1000
	var out []float32
	for _, c := range [4][2]float64{{0, 0}, {l, 0}, {l, r.wide}, {0, r.wide}} {
		out = append(out, float32(r.x+c[0]), float32(r.y), float32(r.z+c[1]))
	}
	return out
}

// within says whether the whole rule lies in the picture, with room for its length.
func (r floorRule) within(v *raster.View) bool {
	x0, _, x1, y1, ok := v.Outline(r.corners())
	return ok && x0 >= 0 && x1 <= stillWidth && y1 <= stillHeight-ruleRoom
}

// draw paints the rule in ten blocks, dark and pale, and writes its length at its end.
func (r floorRule) draw(c *raster.Canvas, v *raster.View) {
	l := r.mm / 1000
	at := func(t, s float64) [2]float64 {
		x, y, _, _ := v.Project(raster.Vec{r.x + float64(l*t), r.y, r.z + float64(r.wide*s)})
		return [2]float64{x, y}
	}
	for i := range 10 {
		col := ink
		if i%2 == 1 {
			col = white
		}
		a, b := float64(i)/10, float64(i+1)/10
		c.FillPath(raster.Polygon(at(a, 0), at(b, 0), at(b, 1), at(a, 1)), col, 1)
	}
	corners := [4][2]float64{at(0, 0), at(1, 0), at(1, 1), at(0, 1)}
	for i, p := range corners {
		q := corners[(i+1)%4]
		c.Line(p[0], p[1], q[0], q[1], 1, ink, 1)
	}
	end, near := at(1, 1), at(1, 0)
	c.Text(max(end[0], near[0])+10, max(end[1], near[1])+5, raster.Bold, textSize, raster.Left, ink, bare(r.mm)+" mm")
}

// figureMM is how tall the person beside the prop is.
const (
	figureMM   = 1750
	figureText = "1.75 m"
)

// scaleFigure draws a card in the lower right corner: the prop from the front and a person at the same scale, on one line.
func (st *studio) scaleFigure(c *raster.Canvas) {
	const cardW, cardH, inner = 204, 190, 14
	x0, y0 := c.W-sheetMargin-cardW, c.H-sheetMargin-cardH
	c.RoundRect(float64(x0), float64(y0), float64(x0+cardW), float64(y0+cardH), 8, paper, 0.92)
	w, h := st.hi[0]-st.lo[0], st.hi[1]-st.lo[1]
	const personW = 0.62 // metres of card that the person takes
	scale := min(float64(cardH-2*inner-28)/max(h, figureMM/1000.0), float64(cardW-3*inner)/(w+personW))
	base := float64(y0 + cardH - inner - 24)
	left := float64(x0) + float64((cardW-inner-float64((w+personW)*scale))/2)

	v := raster.Towards(raster.Vec{}, raster.Vec{0, 0, 1}, cardW, cardH)
	v.Eye, v.Scale = raster.Vec{st.lo[0], st.lo[1], st.hi[2] + 1}, scale
	v.CX, v.CY = left-float64(x0), base-float64(y0)
	silhouette(c, st.prop, &v, x0, y0, raster.Colour{R: 70, G: 76, B: 84})
	person(c, left+float64((w+personW/2)*scale)+inner, base, scale, raster.Colour{R: 158, G: 156, B: 150})
	c.Line(float64(x0+inner), base+0.5, float64(x0+cardW-inner), base+0.5, 1, softInk, 1)
	// The two labels keep their distance even where the prop is a thimble.
	tall := lengthText(1000 * h)
	mine, theirs := left+float64(w*scale/2), left+float64((w+personW/2)*scale)+inner
	need := float64((raster.TextWidth(raster.Bold, 13, tall)+raster.TextWidth(raster.Regular, 13, figureText))/2) + 12
	if short := need - (theirs - mine); short > 0 {
		mine -= short
	}
	c.Text(mine, base+19, raster.Bold, 13, raster.Centre, ink, tall)
	c.Text(theirs, base+19, raster.Regular, 13, raster.Centre, softInk, figureText)
}

// silhouette fills what a view sees of a prop with one colour, the view's upper left corner at (x, y).
func silhouette(c *raster.Canvas, p *raster.Prop, v *raster.View, x, y int, col raster.Colour) {
	var scr raster.Screen
	scr.Project(v, p.Pos, 1)
	b := raster.NewBuffer(v.W, v.H, raster.Four)
	b.Draw(raster.Job{Screen: &scr, Tri: p.Tri, Cull: raster.CullNone}, 1)
	b.Tint(c, x, y, col)
}

// person draws a plain standing figure, feet at (x, y), scale in pixels a metre.
func person(c *raster.Canvas, x, y, scale float64, col raster.Colour) {
	px := func(m float64) float64 { return x + float64(m*scale) }
	py := func(m float64) float64 { return y - float64(m*scale) }
	c.Disc(px(0), py(1.63), 0.12*scale, col, 1)
	c.RoundRect(px(-0.20), py(1.47), px(0.20), py(0.82), 0.12*scale, col, 1)
	for _, side := range [2]float64{-1, 1} {
		c.Line(px(0.235*side), py(1.38), px(0.27*side), py(0.86), 0.085*scale, col, 1)
		c.Line(px(0.10*side), py(0.86), px(0.105*side), py(0.08), 0.15*scale, col, 1)
	}
}

// gameDistance draws the prop as large as a player at the tier's nearest distance sees it, pixel for pixel, with a few
// pixels enlarged beside it, and the same pixels alone. There is none where the spec names no view.
func (st *studio) gameDistance(s *Subject) []*drawn {
	look := s.Spec.View
	pixelMM := look.PixelMM()
	if !(look.DistanceM > 0 && pixelMM > 0 && look.ScreenLines > 0) {
		return nil
	}
	const w, gap, least, most = 1280, 24, 720, 1080
	h := least
	v := raster.Towards(raster.Vec{}, threeQuarter, w, h)
	mid := raster.Vec{(st.lo[0] + st.hi[0]) / 2, (st.lo[1] + st.hi[1]) / 2, (st.lo[2] + st.hi[2]) / 2}
	v.Eye = mid
	reach := 0.0 // of the prop towards the camera
	for i := 0; i < len(st.used); i += 3 {
		reach = max(reach, v.Local(raster.Vec{float64(st.used[i]), float64(st.used[i+1]), float64(st.used[i+2])})[2])
	}
	v.Perspective = true
	v.Eye = raster.Vec{}
	for k := range 3 {
		v.Eye[k] = mid[k] + float64(v.Back[k]*(reach+look.DistanceM))
	}
	v.Scale = look.DistanceM * 1000 / pixelMM
	x0, y0, x1, y1, ok := v.Outline(st.used)
	if !ok {
		return nil
	}
	wide, high := x1-x0, y1-y0
	if need := int(min(high, most)) + headHeight + sheetMargin + 60; need > h {
		h = min(need, most)
	}
	c := raster.NewCanvas(w, h, paper)
	room := raster.Frame{X0: sheetMargin, Y0: headHeight, X1: w - sheetMargin, Y1: float64(h - sheetMargin)}
	beside := wide < 560 && high < 520
	if beside {
		room.X1 = (w - gap) / 2
	}
	pw, ph := int(room.X1-room.X0), int(room.Y1-room.Y0)
	v.CX += float64(float64(pw)/2) - float64((x0+x1)/2)
	v.CY += float64(float64(ph)/2) - float64((y0+y1)/2)
	v.W, v.H = pw, ph
	rig := st.lights(&v)
	lit, _ := raster.Shoot(st.prop, v, rig, raster.Wanted{Lit: true, Floor: true, Scratch: &st.scratch}, st.threads)
	c.Copy(lit, sheetMargin, headHeight, 1)
	line := bare(look.DistanceM) + " m · " + itoa(look.ScreenLines) + " px · 1 px = " + lengthText(pixelMM)
	if beside {
		n := max(2, min(16, int(min(float64(pw)/(wide+8), float64(ph)/(high+8)))))
		enlarge(c, lit, w/2+gap/2, headHeight, pw, ph, n)
		c.TextOver(w/2+gap/2+14, float64(h-sheetMargin-16), raster.Regular, textSize, raster.Left, ink, paper, "× "+itoa(n))
	} else if wide > float64(pw) || high > float64(ph) {
		line += " …"
	}
	heading(c, st.title, line)
	return []*drawn{
		finished(c, "prop_game_distance.png", "The prop at the size of real pixels, seen from the tier's nearest distance; where there is room, the same pixels enlarged. The line above tells the distance, the lines of the screen and what a pixel covers; where it ends with …, the prop is larger than the picture, which shows its middle."),
		finished(around(lit, int(math.Ceil(wide)), int(math.Ceil(high))), "prop_true_pixels.png", "The prop alone in real pixels at the tier's nearest distance, to stand beside its neighbours."),
	}
}

// trueMargin is the floor that is left around the prop in real pixels. It is the same for all, so that props stand on one
// line where their pictures do.
const trueMargin = 8

// around is the middle of a picture as large as the prop in it, with a margin; less where the picture ends.
func around(from *raster.Canvas, wide, high int) *raster.Canvas {
	w, h := min(from.W, wide+2*trueMargin), min(from.H, high+2*trueMargin)
	c := raster.NewCanvas(w, h, paper)
	x0, y0 := (from.W-w)/2, (from.H-h)/2
	for y := range h {
		for x := range w {
			c.Set(x, y, from.Get(x0+x, y0+y))
		}
	}
	return c
}

// enlarge copies the middle of a picture into a box, every pixel n by n.
func enlarge(c, from *raster.Canvas, x, y, w, h, n int) {
	cx, cy := from.W/2, from.H/2
	for j := range h {
		for i := range w {
			fx := cx + int(math.Floor(float64(i-w/2)/float64(n)))
			fy := cy + int(math.Floor(float64(j-h/2)/float64(n)))
			c.Set(x+i, y+j, from.Get(fx, fy))
		}
	}
}
