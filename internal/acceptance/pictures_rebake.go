package acceptance

import (
	"context"
	"slices"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/raster"
)

const (
	rebakePanel = 460
	rebakeGap   = 24
	rebakeW     = sheetMargin + 3*rebakePanel + 2*rebakeGap + 170 + sheetMargin
	rebakeH     = headHeight + 24 + rebakePanel + 150 + sheetMargin
	// rebakeTopDeg is the end of the scale: what is beyond is as wrong as can be.
	rebakeTopDeg = 40
)

// bakePanels are a comparison's pictures, small.
type bakePanels struct{ *bake.Panels }

func newBakePanels(_ *bake.Game, m *bake.Map, d *bake.Delivered) *bakePanels {
	return &bakePanels{bake.MakePanels(m, d, rebakePanel)}
}

// rebakePictures draws each of a set's normal maps beside our own bake and the angle between them, where a finding tells of
// them. Where the findings were known and nothing was measured, it is measured now: the pictures must not depend on that.
func rebakePictures(ctx context.Context, s *Subject, set *Set, findings []Finding) []*drawn {
	told := slices.ContainsFunc(findings, func(f Finding) bool {
		return (f.Check == "maps.normal_rebake" || f.Check == "maps.normal_baked") && f.Set == set.Name && len(f.Metrics) > 0
	})
	if !told {
		return nil
	}
	var out []*drawn
	for _, r := range bakesOf(ctx, s, set).maps {
		if r.panels == nil || r.report == nil || r.report.All.Texels == 0 {
			continue
		}
		name := r.name
		if len(s.Sets) > 1 {
			name += "_" + fileWord(set.Name)
		}
		if r.tile > 0 {
			name += "_" + itoa(r.tile)
		}
		out = append(out, r.picture(s, set, "rebake_"+name+".png"))
	}
	return out
}

func (r *rebaked) picture(s *Subject, set *Set, name string) *drawn {
	c := raster.NewCanvas(rebakeW, rebakeH, paper)
	title := propTitle(s)
	if set.Name != "" && len(s.Sets) > 1 {
		title += " · " + set.Name
	}
	if r.tile > 0 {
		title += " · " + itoa(r.tile)
	}
	heading(c, title, r.from+" · "+itoa(r.grid.W)+" × "+itoa(r.grid.H)+" px")
	y := headHeight + 24
	for k, label := range [3]string{"1", "2", "1 ≠ 2"} {
		x := sheetMargin + k*(rebakePanel+rebakeGap)
		c.Text(float64(x), float64(y)-10, raster.Bold, textSize, raster.Left, ink, label)
		r.panel(c, k, x, y)
		c.Border(x-1, y-1, x+r.panels.W+1, y+r.panels.H+1, ink)
	}
	x := sheetMargin + 3*rebakePanel + 3*rebakeGap
	var marks []string
	for i := range 5 {
		mark := itoa(rebakeTopDeg*(4-i)/4) + "°"
		if i == 0 {
			mark = "≥ " + mark
		}
		marks = append(marks, mark)
	}
	legendBar(c, x, y, 26, 220, raster.Rising, marks)
	swatch(c, x, y+250, func(i, j int) raster.Colour {
		if (i+j)%7 < 3 {
			return ink
		}
		return white
	})
	c.Text(float64(x+36), float64(y+263), raster.Regular, 14, raster.Left, ink, "—")
	r.table(c, y+r.panels.H+34)
	what := "1 a normal map as delivered, 2 our own bake of the sculpt, 1 ≠ 2 the angle between them in degrees, striped where no sculpt is met. The table: mean, 95 % within, share over 10°, texels; A inside the islands, B at the seams (2 texels), C left of the mirror plane, D right of it. E the mean of the whole, F the same over averages of 16 by 16 texels, G the mean if the map is read as the finding says."
	return finished(c, name, what, "maps."+map[string]string{"normal": "normal_rebake", "normal_baked": "normal_baked"}[r.name])
}

// panel draws one of the three: as delivered, ours, the angle.
func (r *rebaked) panel(c *raster.Canvas, which, x0, y0 int) {
	p := r.panels
	for y := range p.H {
		for x := range p.W {
			i := y*p.W + x
			colour := white
			switch {
			case which == 0:
				colour = raster.Colour{R: p.Delivered[3*i], G: p.Delivered[3*i+1], B: p.Delivered[3*i+2]}
			case p.Missed[i] && (x+y)%7 < 3:
				colour = ink
			case p.ErrorDeg[i] < 0:
			case which == 1:
				colour = raster.Colour{R: p.Ours[3*i], G: p.Ours[3*i+1], B: p.Ours[3*i+2]}
			default:
				colour = raster.Rising.At(float64(p.ErrorDeg[i]) / rebakeTopDeg)
			}
			c.Set(x0+x, y0+y, colour)
		}
	}
}

// table writes the numbers below: seams apart from the islands' insides, both sides of the mirror plane, and what fits better.
func (r *rebaked) table(c *raster.Canvas, y int) {
	p := r.report
	columns := []int{sheetMargin, sheetMargin + 230, sheetMargin + 390, sheetMargin + 490, sheetMargin + 600}
	for k, head := range []string{"", "ø", "95 %", "> 10°", "n"} {
		c.Text(float64(columns[k]+70*min(k, 1)), float64(y), raster.Bold, 14, raster.Right, softInk, head)
	}
	for i, row := range []struct {
		what string
		e    bake.Error
	}{{"A", p.Inside}, {"B", p.Seams}, {"C", p.Left}, {"D", p.Right}} {
		ty := float64(y + 24*(i+1))
		c.Text(float64(columns[0]), ty, raster.Regular, textSize, raster.Left, ink, row.what)
		if row.e.Texels == 0 {
			c.Text(float64(columns[1]+70), ty, raster.Regular, textSize, raster.Right, softInk, "—")
			continue
		}
		for k, cell := range []string{fixed(row.e.MeanDeg, 1) + "°", fixed(row.e.P95Deg, 1) + "°", percent(row.e.ShareOver10), itoa(row.e.Texels)} {
			c.Text(float64(columns[k+1]+70), ty, raster.Regular, textSize, raster.Right, ink, cell)
		}
	}
	x := float64(sheetMargin + 2*(rebakePanel+rebakeGap))
	lines := []string{"E  " + fixed(p.All.MeanDeg, 1) + "°", "F  " + fixed(p.LowPassMeanDeg, 1) + "°"}
	if best := r.best(); p.Best > 0 && p.Ratio >= 2 {
		lines = append(lines, "G  "+fixed(best.MeanDeg, 1)+"°")
	}
	if p.Unserved > 0 {
		lines = append(lines, "—  "+percent(float64(p.Unserved)/float64(p.Covered)))
	}
	ty := float64(y + 24)
	for _, line := range lines {
		ty = wrapText(c, x, ty, rebakePanel+170, textSize, ink, line) + 6
	}
}
