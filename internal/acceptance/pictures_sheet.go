package acceptance

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	"proofhouse/internal/acceptance/raster"
)

// Colours and measures that all pictures share.
var (
	paper    = raster.Colour{R: 246, G: 244, B: 240}
	ink      = raster.Colour{R: 36, G: 39, B: 44}
	softInk  = raster.Colour{R: 92, G: 97, B: 104}
	hairline = raster.Colour{R: 208, G: 204, B: 197}
	white    = raster.Colour{R: 255, G: 255, B: 255}
)

const (
	sheetMargin = 36
	titleSize   = 24.0
	textSize    = 15.0
	headHeight  = 98 // from the top to where a sheet's own picture begins
)

// heading writes the prop's name and a line of numbers below it in the upper left corner.
func heading(c *raster.Canvas, title, line string) {
	c.Text(sheetMargin, sheetMargin+18, raster.Bold, titleSize, raster.Left, ink, title)
	c.Text(sheetMargin, sheetMargin+42, raster.Regular, textSize, raster.Left, softInk, line)
}

// drawn is a picture whose pixels are done.
type drawn struct {
	Picture
	canvas *raster.Canvas // nil where Bytes are there already
}

// finished turns a canvas into a picture.
func finished(c *raster.Canvas, name, what string, checks ...string) *drawn {
	return &drawn{Picture{Name: name, What: what, MIME: "image/png", Checks: checks}, c}
}

// album gathers pictures in order and encodes each while the next one is drawn.
type album struct {
	pics []*drawn
	wait sync.WaitGroup
}

// add takes a picture; nil is none.
func (a *album) add(d *drawn) {
	if d == nil {
		return
	}
	a.pics = append(a.pics, d)
	if d.canvas == nil {
		return
	}
	a.wait.Go(func() {
		data, err := d.canvas.PNG()
		if err == nil {
			d.Bytes, d.SHA256 = data, d.canvas.Digest()
		}
		d.canvas = nil
	})
}

// bound waits for the encoders and returns the pictures; one that could not be encoded is left out.
func (a *album) bound() []Picture {
	a.wait.Wait()
	var out []Picture
	for _, d := range a.pics {
		if d.Bytes != nil {
			out = append(out, d.Picture)
		}
	}
	return out
}

// lengthText writes a length in millimetres with as many digits as make sense.
func lengthText(mm float64) string {
	decimals := 0
	switch a := math.Abs(mm); {
	case a < 1:
		decimals = 2
	case a < 100:
		decimals = 1
	}
	return strconv.FormatFloat(mm, 'f', decimals, 64) + " mm"
}

// bare writes a number without needless zeros.
func bare(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// roundUp is the smallest of 1, 2 and 5 times a power of ten that is at least v; roundDown the largest at most v.
func roundUp(v float64) float64   { return roundTo(v, true) }
func roundDown(v float64) float64 { return roundTo(v, false) }

func roundTo(v float64, up bool) float64 {
	if !(v > 1e-9) || math.IsInf(v, 0) {
		return 1e-9
	}
	step := 1e-9
	last := step
	for {
		for _, m := range [3]float64{1, 2, 5} {
			s := step * m
			if up && s >= v*(1-1e-9) {
				return s
			}
			if !up && s > v*(1+1e-9) {
				return last
			}
			last = s
		}
		step *= 10
	}
}

// sideAxes says from where one looks, by the axes that the direction has most of: +X the prop's left, +Y up, +Z its front. Pictures carry
// letters, numbers and signs alone, so that they are the same for readers of every language; what they mean stands beside them.
func sideAxes(toward [3]float64) string {
	out := ""
	for _, k := range [3]int{2, 0, 1} {
		if math.Abs(toward[k]) <= sideShare {
			continue
		}
		sign := "+"
		if toward[k] < 0 {
			sign = "−"
		}
		out += " " + sign + "XYZ"[k:k+1]
	}
	return strings.TrimSpace(out)
}

// badge draws a number on a disc.
func badge(c *raster.Canvas, x, y float64, text string) {
	const r, size = 10.5, 12.5
	half := max(float64(raster.TextWidth(raster.Bold, size, text)/2)+4.5-r, 0) // long labels make the disc a capsule
	c.Line(x-half, y, x+half, y, 2*r+3, white, 1)
	c.Line(x-half, y, x+half, y, 2*r, ink, 1)
	c.Text(x, y+4.5, raster.Bold, size, raster.Centre, white, text)
}

// scaleBar draws a bar of a round length in millimetres, at most maxPx long, and says its length.
func scaleBar(c *raster.Canvas, x, y int, pxPerMM float64, maxPx float64) {
	if !(pxPerMM > 0) || math.IsInf(pxPerMM, 0) {
		return
	}
	mm := roundDown(maxPx / pxPerMM)
	w := int(math.Round(mm * pxPerMM))
	for i := range 5 {
		col := ink
		if i%2 == 1 {
			col = white
		}
		c.Rect(x+w*i/5, y, x+w*(i+1)/5, y+6, col)
	}
	c.Border(x, y, x+w, y+6, ink)
	c.Text(float64(x+w)+8, float64(y)+8, raster.Regular, 13, raster.Left, ink, bare(mm)+" mm")
}

// legendBar draws an upright colour scale with ticks. values run from the top down in equal steps of the scale.
func legendBar(c *raster.Canvas, x, y, w, h int, s raster.Scale, labels []string) {
	for i := range h {
		c.Rect(x, y+i, x+w, y+i+1, s.At(1-(float64(i)+0.5)/float64(h)))
	}
	c.Border(x, y, x+w, y+h, ink)
	for i, l := range labels {
		ty := y + i*(h-1)/max(len(labels)-1, 1)
		c.Rect(x+w, ty, x+w+6, ty+1, ink)
		c.Text(float64(x+w+11), float64(ty)+5, raster.Regular, 14, raster.Left, ink, l)
	}
}

// wrapText writes text into a column and returns the baseline after the last line.
func wrapText(c *raster.Canvas, x, y, width, size float64, col raster.Colour, text string) float64 {
	line := ""
	flush := func() {
		c.Text(x, y, raster.Regular, size, raster.Left, col, line)
		y += math.Round(size * 1.35)
	}
	for _, word := range strings.Fields(text) {
		next := word
		if line != "" {
			next = line + " " + word
		}
		if line != "" && raster.TextWidth(raster.Regular, size, next) > width {
			flush()
			next = word
		}
		line = next
	}
	if line != "" {
		flush()
	}
	return y
}

// propTitle is the prop's name as pictures write it.
func propTitle(s *Subject) string {
	if s.Spec.Title != "" && s.Spec.Prop != "" {
		return fmt.Sprintf("%s · %s", s.Spec.Title, s.Spec.Prop)
	}
	return orElse(s.Spec.Title, orElse(s.Spec.Prop, "prop"))
}

// fixed writes a number with a fixed count of decimals.
func fixed(v float64, decimals int) string { return strconv.FormatFloat(v, 'f', decimals, 64) }
