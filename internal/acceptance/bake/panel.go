package bake

// Panels are small pictures of a comparison: W × H pixels, row by row.
type Panels struct {
	W, H      int
	Delivered []uint8   // RGB, as stored
	Ours      []uint8   // RGB, as the contract has it stored; zero where nothing was baked
	ErrorDeg  []float32 // mean angle over a pixel's texels; below zero where nothing was compared
	Missed    []bool    // baked, but no ray served it
}

// MakePanels draws a comparison at no more than edge pixels along its longer side.
func MakePanels(m *Map, d *Delivered, edge int) *Panels {
	g := m.Grid
	longer := max(g.W, g.H, 1)
	p := &Panels{W: max(g.W*min(edge, longer)/longer, 1), H: max(g.H*min(edge, longer)/longer, 1)}
	n := p.W * p.H
	p.Delivered, p.Ours, p.ErrorDeg, p.Missed = make([]uint8, 3*n), make([]uint8, 3*n), make([]float32, n), make([]bool, n)
	for y := range p.H {
		for x := range p.W {
			p.pixel(m, d, x, y)
		}
	}
	return p
}

// pixel fills one pixel from the texels under it.
func (p *Panels) pixel(m *Map, d *Delivered, x, y int) {
	g := m.Grid
	x0, x1 := x*g.W/p.W, max((x+1)*g.W/p.W, x*g.W/p.W+1)
	y0, y1 := y*g.H/p.H, max((y+1)*g.H/p.H, y*g.H/p.H+1)
	var ours vec
	sum, count, missed := 0.0, 0, 0
	for ty := y0; ty < y1; ty++ {
		for tx := x0; tx < x1; tx++ {
			i := ty*g.W + tx
			switch {
			case m.Tri[i] < 0:
			case !m.Served(i):
				missed++
			default:
				n, _ := unit(m.normal(i))
				px, py := g.Pixel(tx, ty)
				sum += angle(n, d.vector(px, py, nil))
				ours = add(ours, n)
				count++
			}
		}
	}
	i := y*p.W + x
	p.ErrorDeg[i], p.Missed[i] = -1, missed > count
	if count > 0 {
		p.ErrorDeg[i] = float32(sum / float64(count))
		n, _ := unit(ours)
		if d.GreenDown {
			n[1] = -n[1]
		}
		for k := range 3 {
			p.Ours[3*i+k] = uint8(quantized((n[k]+1)/2) >> 8)
		}
	}
	px, py := g.Pixel((x0+x1-1)/2, (y0+y1-1)/2)
	for k := range 3 {
		p.Delivered[3*i+k] = uint8(float64(d.value(px, py, min(k, d.Channels-1))*255) + 0.5)
	}
}
