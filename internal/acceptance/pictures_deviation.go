package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/surface"
)

// The deviation picture's measures in pixels.
const (
	deviationW, deviationH = 1280, 940
	deviationSide          = 270 // width of the column with the legend
	maxRings               = 12
)

// heatMesh is the heat of all parts as one mesh.
type heatMesh struct {
	pos     []float32
	tri     []uint32
	height  []float32 // mm, by vertex
	rangeMM float64   // the scale's ends
	limitMM float64
	patches []ringed
	several bool // more than one part
}

// ringed is a patch to be ringed and its label.
type ringed struct {
	surface.Patch
	label string
	part  string
}

func gatherHeat(parts []compared) *heatMesh {
	m := &heatMesh{}
	withHeat := 0
	for _, c := range parts {
		if c.heat == nil {
			continue
		}
		base := uint32(len(m.pos) / 3)
		m.pos = append(m.pos, c.heat.Pos...)
		m.height = append(m.height, c.heat.HeightMM...)
		for _, v := range c.heat.Tri {
			m.tri = append(m.tri, base+v)
		}
		if m.limitMM == 0 || c.limitMM > 0 && c.limitMM < m.limitMM {
			m.limitMM = c.limitMM
		}
		withHeat++
	}
	m.several = withHeat > 1
	letter := 0
	for _, c := range parts {
		if c.heat == nil {
			continue
		}
		for _, p := range c.patches[:min(len(c.patches), maxRings)] {
			r := ringed{Patch: p, label: itoa(p.Number), part: c.part.Name}
			if m.several {
				r.label = string(rune('a'+letter%26)) + itoa(p.Number)
			}
			m.patches = append(m.patches, r)
		}
		letter++
	}
	slices.SortStableFunc(m.patches, func(a, b ringed) int {
		switch {
		case a.HeightMM > b.HeightMM:
			return -1
		case a.HeightMM < b.HeightMM:
			return 1
		}
		return 0
	})
	m.patches = m.patches[:min(len(m.patches), maxRings)]
	m.rangeMM = m.spread()
	return m
}

// spread picks the ends of the scale: a round number that 98 % of the vertices stay within, at least the limit and
// the tallest patch, so that neither is lost beyond the scale's end.
func (m *heatMesh) spread() float64 {
	var sizes []float32
	for _, h := range m.height {
		if h == h {
			sizes = append(sizes, float32(math.Abs(float64(h))))
		}
	}
	if len(sizes) == 0 {
		return 1
	}
	slices.Sort(sizes)
	top := max(float64(sizes[(len(sizes)-1)*98/100]), m.limitMM, 0.001)
	if len(m.patches) > 0 {
		top = max(top, m.patches[0].HeightMM)
	}
	return roundUp(top)
}

// side is one of the picture's views.
type side struct {
	name   string
	toward raster.Vec
}

var sides = []side{
	{"+Z", raster.Vec{0, 0, 1}}, {"+X", raster.Vec{1, 0, 0}}, {"−Z", raster.Vec{0, 0, -1}},
	{"−X", raster.Vec{-1, 0, 0}}, {"+Y", raster.Vec{0, 1, 0}}, {"−Y", raster.Vec{0, -1, 0}},
}

// box is a cell of the sheet.
type box struct{ x0, y0, x1, y1 int }

// cells lays the six views out: slim props in four tall columns with two wide cells below, others in two rows of three.
func sideCells(wide, high float64) []box {
	x0, x1 := sheetMargin, deviationW-deviationSide-sheetMargin
	y0, y1 := headHeight, deviationH-sheetMargin
	var out []box
	if high > 1.5*wide {
		mid := y0 + (y1-y0)*68/100
		for i := range 4 {
			out = append(out, box{x0 + (x1-x0)*i/4, y0, x0 + (x1-x0)*(i+1)/4, mid})
		}
		for i := range 2 {
			out = append(out, box{x0 + (x1-x0)*i/2, mid, x0 + (x1-x0)*(i+1)/2, y1})
		}
		return out
	}
	for i := range 6 {
		c, r := i%3, i/3
		out = append(out, box{x0 + (x1-x0)*c/3, y0 + (y1-y0)*r/2, x0 + (x1-x0)*(c+1)/3, y0 + (y1-y0)*(r+1)/2})
	}
	return out
}

const cellPad, cellLabel = 14, 26

// deviationSides draws the prop from six sides with the distance to the sculpt painted on.
func deviationSides(ctx context.Context, s *Subject, m *heatMesh) *drawn {
	c := raster.NewCanvas(deviationW, deviationH, paper)
	heading(c, propTitle(s), "")
	views, cells, scale := m.views()
	if len(views) == 0 {
		return nil
	}
	var scr raster.Screen
	buf := raster.NewBuffer(0, 0, raster.Four)
	where := m.bestViews(views)
	for i := range views {
		if ctx.Err() != nil {
			return nil
		}
		v, b := &views[i], cells[i]
		buf.Reset(v.W, v.H, raster.Four)
		scr.Project(v, m.pos, s.Threads)
		buf.Draw(raster.Job{Screen: &scr, Tri: m.tri, Cull: raster.CullNone}, s.Threads)
		buf.Resolve(c, b.x0, b.y0, s.Threads, m.shader(v))
		c.Text(float64(b.x0+cellPad), float64(b.y0)+18, raster.Bold, textSize, raster.Left, ink, sides[i].name)
		if i > 0 && b.x0 > sheetMargin {
			c.Rect(b.x0, b.y0+6, b.x0+1, b.y1-10, hairline)
		}
		m.rings(c, v, b, i, where)
	}
	scaleBar(c, sheetMargin+cellPad, deviationH-sheetMargin+10, scale/1000, 160)
	m.legend(c)
	return finished(c, "deviation_sides.png",
		"The game surface from six sides (+Z the front, −Z the back, +X the prop's left, −X its right, +Y above, −Y below), coloured by how far the sculpt stands proud of it, plus, or lies under it, minus; striped where it is prouder than the limit, which ► marks, crossed where there is no sculpt. Patches of poke-through are ringed and numbered as in the finding, with height and area.",
		"surface.poke_through", "surface.deviation", "surface.symmetry")
}

// views fits all six views at one scale, in pixels a metre.
func (m *heatMesh) views() (views []raster.View, cells []box, scale float64) {
	front := raster.Towards(raster.Vec{}, sides[0].toward, 1, 1)
	x0, y0, x1, y1, ok := front.Outline(m.pos)
	if !ok {
		return nil, nil, 0
	}
	cells = sideCells(x1-x0, y1-y0)
	scale = math.Inf(1)
	for i, sd := range sides {
		b := cells[i]
		v := raster.Towards(raster.Vec{}, sd.toward, b.x1-b.x0, b.y1-b.y0)
		v.FitOrthographic(m.pos, raster.Frame{X0: cellPad, Y0: cellLabel + 4, X1: float64(v.W - cellPad), Y1: float64(v.H - cellPad)})
		scale = min(scale, v.Scale)
		views = append(views, v)
	}
	for i := range views {
		v := &views[i]
		// Shrink about the middle of the frame.
		mx, my := float64(float64(v.W)/2), float64(float64(cellLabel+4+v.H-cellPad)/2)
		k := scale / v.Scale
		v.CX, v.CY, v.Scale = mx+float64((v.CX-mx)*k), my+float64((v.CY-my)*k), scale
	}
	return views, cells, scale
}

// shader colours by height: the scale's colour, a little darker where the surface turns away, striped where the
// sculpt stands higher than the limit, crossed where there is no sculpt.
func (m *heatMesh) shader(v *raster.View) func(id uint32, x, y float64) [3]float32 {
	noSculpt := raster.Colour{R: 150, G: 148, B: 145}.Linear()
	return func(id uint32, x, y float64) [3]float32 {
		t := m.tri[3*id : 3*id+3]
		a, b, c := point(m.pos, t[0]), point(m.pos, t[1]), point(m.pos, t[2])
		w, _ := v.Weights(a, b, c, x, y)
		h := float64(float64(m.height[t[0]])*w[0]) + float64(float64(m.height[t[1]])*w[1]) + float64(float64(m.height[t[2]])*w[2])
		n := cross(sub(b, a), sub(c, a))
		turned := 0.0
		if l := math.Sqrt(lenSq(n)); l > 0 {
			// Light from the upper left in front.
			d := [3]float64{}
			for k := range 3 {
				d[k] = float64(-0.35*v.Right[k]) + float64(0.45*v.Up[k]) + float64(0.82*v.Back[k])
			}
			turned = math.Abs(float64(n[0]*d[0])+float64(n[1]*d[1])+float64(n[2]*d[2])) / l
		}
		light := float32(0.52 + float64(0.48*min(turned, 1)))
		col := noSculpt
		diagonal := (int(x) + int(y)) % 8
		switch {
		case h != h:
			if diagonal < 2 || (int(x)-int(y)+1<<20)%8 < 2 {
				light *= 0.8
			}
		default:
			col = raster.Signed.LinearAt(0.5 + float64(h/(2*m.rangeMM)))
			if m.limitMM > 0 && h > m.limitMM && diagonal < 3 {
				light *= 0.5
			}
		}
		return [3]float32{col[0] * light, col[1] * light, col[2] * light}
	}
}

// bestViews picks for every patch the view that faces it most squarely.
func (m *heatMesh) bestViews(views []raster.View) []int {
	out := make([]int, len(m.patches))
	for i, p := range m.patches {
		best := math.Inf(-1)
		for k := range views {
			b := views[k].Back
			d := float64(p.Normal[0]*b[0]) + float64(p.Normal[1]*b[1]) + float64(p.Normal[2]*b[2])
			if d > best+1e-9 {
				best, out[i] = d, k
			}
		}
	}
	return out
}

// rings draws the patches that this view shows best: the tallest last, so that its number lies on top.
func (m *heatMesh) rings(c *raster.Canvas, v *raster.View, b box, view int, where []int) {
	for i := len(m.patches) - 1; i >= 0; i-- {
		if where[i] != view {
			continue
		}
		p := &m.patches[i]
		x, y, _, ok := v.Project(raster.Vec{p.CentreMM[0] / 1000, p.CentreMM[1] / 1000, p.CentreMM[2] / 1000})
		if !ok {
			continue
		}
		r := min(max(float64(p.RadiusMM/1000*v.Scale)+5, 11), float64(v.W)/2)
		x, y = x+float64(b.x0), y+float64(b.y0)
		c.Ring(x, y, r, 4.5, white, 0.9)
		c.Ring(x, y, r, 2, ink, 1)
		k := float64((r + 8) * 0.7071)
		badge(c, min(max(x+k, float64(b.x0+12)), float64(b.x1-12)), max(y-k, float64(b.y0+12)), p.label)
	}
}

// legend writes the column on the right: the scale, what its marks mean, and the patches.
func (m *heatMesh) legend(c *raster.Canvas) {
	x := deviationW - deviationSide - sheetMargin + 30
	y := headHeight + 8
	r := m.rangeMM
	labels := []string{"+" + lengthText(r), "+" + lengthText(r/2), "0", "−" + lengthText(r/2), "−" + lengthText(r)}
	labels[0], labels[4] = "≥ "+labels[0], "≤ "+labels[4]
	legendBar(c, x, y+22, 26, 250, raster.Signed, labels)
	if m.limitMM > 0 && m.limitMM < r {
		ly := y + 22 + int(math.Round((0.5-m.limitMM/(2*r))*250))
		c.Rect(x-8, ly-1, x+26, ly+1, ink)
		c.Text(float64(x-11), float64(ly)+5, raster.Bold, 13, raster.Right, ink, "►")
	}
	yy := float64(y) + 334
	if m.limitMM > 0 {
		swatch(c, x, int(yy)-12, func(i, j int) raster.Colour {
			if (i+j)%8 < 3 {
				return raster.Colour{R: 136, G: 84, B: 40}
			}
			return raster.Signed.At(0.85)
		})
		c.Text(float64(x+36), yy, raster.Regular, 14, raster.Left, ink, "> "+lengthText(m.limitMM))
		yy += 26
	}
	if slices.ContainsFunc(m.height, func(h float32) bool { return h != h }) {
		swatch(c, x, int(yy)-12, func(i, j int) raster.Colour {
			if (i+j)%8 < 2 || (i-j+80)%8 < 2 {
				return raster.Colour{R: 134, G: 132, B: 129}
			}
			return raster.Colour{R: 150, G: 148, B: 145}
		})
		c.Text(float64(x+36), yy, raster.Regular, 14, raster.Left, ink, "—")
		yy += 26
	}
	m.list(c, float64(x), yy+18)
}

// list writes the ringed patches.
func (m *heatMesh) list(c *raster.Canvas, x, y float64) {
	if len(m.patches) == 0 {
		return
	}
	for _, p := range m.patches {
		y += 28
		badge(c, x+10, y-5, p.label)
		text := "+" + lengthText(p.HeightMM) + " · " + areaText(p.AreaMM2)
		c.Text(x+28, y, raster.Regular, 14, raster.Left, ink, text)
	}
}

// areaText writes an area with as many digits as make sense.
func areaText(mm2 float64) string {
	if mm2 >= 10000 {
		return fixed(mm2/100, 0) + " cm²"
	}
	if mm2 < 10 {
		return fixed(mm2, 1) + " mm²"
	}
	return fixed(mm2, 0) + " mm²"
}

// swatch draws a small framed pattern.
func swatch(c *raster.Canvas, x, y int, at func(i, j int) raster.Colour) {
	const w, h = 26, 16
	for j := range h {
		for i := range w {
			c.Set(x+i, y+j, at(i, j))
		}
	}
	c.Border(x, y, x+w, y+h, ink)
}
