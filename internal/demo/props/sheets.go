package props

import (
	"fmt"
	"image"
	"math"

	"proofhouse/internal/acceptance/raster"
)

// Size of the sheets of a reference pack, pixels, and their colours.
const (
	sheetW, sheetH = 1200, 900
	sheetEdge      = 40
	sheetHead      = 90
	// sheetHalfTan is the tangent of half the picture's height through an 85 mm lens on film 36 mm by 24 mm.
	sheetHalfTan = 12.0 / 85
	sheetThreads = 2
)

var (
	sheetPaper = raster.Colour{R: 0xf2, G: 0xf0, B: 0xea}
	sheetInk   = raster.Colour{R: 0x26, G: 0x2c, B: 0x33}
	sheetFaint = raster.Colour{R: 0x8a, G: 0x8d, B: 0x8c}
)

// Remark is what a concept sheet says of a place on the prop, metres.
type Remark struct {
	At   [3]float64
	Text string
}

// Concept draws a prop as the studio imagines it, with remarks beside it, as a PNG.
func (p Prop) Concept(remarks []Remark) ([]byte, error) {
	model, err := p.painted()
	if err != nil {
		return nil, fmt.Errorf("draw the concept of %s: %w", p.Code, err)
	}
	v := raster.Towards(raster.Vec{}, raster.Vec{-0.55, 0.36, 1}, sheetW, sheetH)
	v.FitPerspective(model.Pos, sheetHalfTan, raster.Frame{X0: sheetEdge, Y0: sheetHead + 20, X1: 0.62 * sheetW, Y1: sheetH - 2*sheetEdge})
	rig := raster.NewRig(&v, model.Pos, model.Casters(), sheetThreads)
	c, _ := raster.Shoot(model, v, rig, raster.Wanted{Lit: true, Floor: true}, sheetThreads)
	heading(c, p.Title, "concept")
	for i, r := range remarks {
		x, y, _, ok := v.Project(r.At)
		if !ok {
			continue
		}
		tx, ty := 0.68*sheetW, 220+130*float64(i)
		c.Line(x, y, tx-12, ty-6, 1.5, sheetInk, 0.7)
		c.Disc(x, y, 5, sheetInk, 1)
		c.Text(tx, ty, raster.Regular, 19, raster.Left, sheetInk, r.Text)
	}
	return c.PNG()
}

// Scale draws props side by side from the front, to one scale, with their sizes, as a PNG.
func Scale(all []Prop) ([]byte, error) {
	row := &raster.Prop{}
	clay := raster.Plain(raster.Colour{R: 0x9a, G: 0x97, B: 0x90}, 0.8)
	type span struct{ lo, hi vec }
	spans := make([]span, len(all))
	at := 0.0
	for i, p := range all {
		var pos []float32
		first := len(row.Tri) / 3
		for _, prim := range p.lod0() {
			from := uint32(len(row.Pos)/3) + uint32(len(pos)/3)
			pos = append(pos, prim.Pos...)
			row.Nrm = append(row.Nrm, prim.Nrm...)
			for _, t := range prim.Tri {
				row.Tri = append(row.Tri, from+t)
			}
		}
		lo, hi := box3(pos)
		for k := 0; k < len(pos); k += 3 {
			pos[k] += float32(at - lo[0])
		}
		spans[i] = span{vec{at, lo[1], 0}, vec{at + hi[0] - lo[0], hi[1], 0}}
		at += hi[0] - lo[0] + 0.16
		row.Pos = append(row.Pos, pos...)
		row.Pieces = append(row.Pieces, raster.Piece{First: first, End: len(row.Tri) / 3, Material: clay})
	}
	v := raster.Towards(raster.Vec{}, raster.Vec{0, 0, 1}, sheetW, sheetH)
	v.FitOrthographic(row.Pos, raster.Frame{X0: sheetEdge + 20, Y0: sheetHead + 90, X1: sheetW - sheetEdge - 40, Y1: sheetH - 190})
	rig := raster.NewRig(&v, row.Pos, row.Casters(), sheetThreads)
	c, _ := raster.Shoot(row, v, rig, raster.Wanted{Lit: true}, sheetThreads)
	heading(c, "Saltmarsh harbour", "sizes to scale, from the front; millimetres")
	for i, p := range all {
		x0, y0, _, _ := v.Project(spans[i].lo)
		x1, y1, _, _ := v.Project(spans[i].hi)
		measure(c, x0, y0+18, x1, y0+18)
		c.Text((x0+x1)/2, y0+42, raster.Regular, 17, raster.Centre, sheetInk, fmt.Sprintf("%.0f", 1000*(spans[i].hi[0]-spans[i].lo[0])))
		measure(c, x1+12, y0, x1+12, y1)
		c.Text((x0+x1)/2, y1-14, raster.Regular, 17, raster.Centre, sheetInk, fmt.Sprintf("%.0f high", 1000*(spans[i].hi[1]-spans[i].lo[1])))
		c.Text((x0+x1)/2, y0+76, raster.Bold, 18, raster.Centre, sheetInk, p.Title)
	}
	return c.PNG()
}

// swatch is one field of a material board.
type swatch struct {
	name, says string
	paint      paint
}

// Materials draws the harbour's paints and woods as flat fields, as a PNG.
func Materials() ([]byte, error) {
	board := []swatch{
		{"Pier green", "worn at edges and low down", painted(pierGreen, 0.35, 3)},
		{"Signal red", "flakes off in sheets", painted(signalRed, 0.3, 31)},
		{"Dock yellow", "chalky, rust in runs", painted(dockYellow, 0.3, 53)},
		{"Old pine", "salt-bleached, open grain", planks(oldPine, 1, 0.065, 43)},
		{"Iron black", "bolts, posts, whelps", painted(ironBlack, 0.3, 64)},
		{"Pale iron", "the capstan's drum", painted(paleIron, 0.5, 63)},
	}
	c := raster.NewCanvas(sheetW, sheetH, sheetPaper)
	heading(c, "Harbour materials", "each field is 300 mm wide; colours are base colour, unlit")
	const field, gap = 330, 45
	for i, s := range board {
		x0, y0 := sheetEdge+(i%3)*(field+gap), sheetHead+30+(i/3)*(field+70)
		for y := range field - 30 {
			for x := range field {
				l := s.paint(vec{0.3 * float64(x) / field, 0.45 - 0.3*float64(y)/field, 0.1 * float64(i)}, vec{0, 0, 1})
				c.Set(x0+x, y0+y, raster.Colour{R: byteOf(l.r), G: byteOf(l.g), B: byteOf(l.b)})
			}
		}
		c.Border(x0, y0, x0+field, y0+field-30, sheetInk)
		c.Text(float64(x0), float64(y0+field-4), raster.Bold, 18, raster.Left, sheetInk, s.name)
		c.Text(float64(x0), float64(y0+field+20), raster.Regular, 16, raster.Left, sheetInk, s.says)
	}
	return c.PNG()
}

func byteOf(x float64) uint8 { return uint8(math.Round(255 * clamp01(x))) }

func heading(c *raster.Canvas, title, line string) {
	c.Text(sheetEdge, 52, raster.Bold, 26, raster.Left, sheetInk, title)
	c.Text(sheetEdge, 78, raster.Regular, 16, raster.Left, sheetFaint, line)
}

// measure draws a line with a tick at each end.
func measure(c *raster.Canvas, x0, y0, x1, y1 float64) {
	c.Line(x0, y0, x1, y1, 1.2, sheetInk, 0.8)
	dx, dy := 0.0, 5.0
	if x0 == x1 {
		dx, dy = 5, 0
	}
	c.Line(x0-dx, y0-dy, x0+dx, y0+dy, 1.2, sheetInk, 0.8)
	c.Line(x1-dx, y1-dy, x1+dx, y1+dy, 1.2, sheetInk, 0.8)
}

// painted is the game mesh with its base colour, as the concept shows it.
func (p Prop) painted() (*raster.Prop, error) {
	plan, err := layOut(p.parts, p.offset(), p.SizePx, p.PxPerM, gapPx)
	if err != nil {
		return nil, err
	}
	islands := plan.place(p.parts, p.offset(), 0)
	base := image.NewNRGBA(image.Rect(0, 0, p.SizePx, p.SizePx))
	done := make([]bool, p.SizePx*p.SizePx)
	for _, is := range islands {
		for t := 0; t < len(is.tri); t += 3 {
			eachTexel(is, t, p.SizePx, func(x, y int, pos, n vec) {
				done[y*p.SizePx+x] = true
				l := p.parts[is.part].paint(pos, n)
				put(base, x, y, l.r, l.g, l.b)
			})
		}
	}
	bleed(done, p.SizePx, base)
	material := raster.Plain(raster.Colour{R: 255, G: 255, B: 255}, 0.6)
	material.Base = raster.Map{Texture: raster.NewTexture(base, true)}
	out := &raster.Prop{}
	for _, prim := range p.gamePrims(islands) {
		first := uint32(len(out.Pos) / 3)
		out.Pos, out.Nrm, out.UV = append(out.Pos, prim.Pos...), append(out.Nrm, prim.Nrm...), append(out.UV, prim.UV...)
		for _, t := range prim.Tri {
			out.Tri = append(out.Tri, first+t)
		}
	}
	out.Pieces = []raster.Piece{{First: 0, End: len(out.Tri) / 3, Material: material}}
	return out, nil
}

// box3 is the bounding box of some positions.
func box3(pos []float32) (lo, hi vec) {
	lo, hi = vec{math.Inf(1), math.Inf(1), math.Inf(1)}, vec{math.Inf(-1), math.Inf(-1), math.Inf(-1)}
	for i, x := range pos {
		lo[i%3], hi[i%3] = math.Min(lo[i%3], float64(x)), math.Max(hi[i%3], float64(x))
	}
	return lo, hi
}
