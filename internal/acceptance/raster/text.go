package raster

import (
	"fmt"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// Style is a cut of the type: Go Regular and Go Bold (B. Bigelow and C. Holmes, 2016; the Go project's licence).
type Style uint8

// The styles.
const (
	Regular Style = iota
	Bold
)

// Align says which end of a text stands at its x.
type Align uint8

// The alignments.
const (
	Left Align = iota
	Centre
	Right
)

var fonts = sync.OnceValue(func() [2]*sfnt.Font {
	var out [2]*sfnt.Font
	for i, ttf := range [2][]byte{goregular.TTF, gobold.TTF} {
		f, err := sfnt.Parse(ttf)
		if err != nil {
			panic(fmt.Sprintf("the type that is built in cannot be read: %v", err))
		}
		out[i] = f
	}
	return out
})

// glyph is one placed character.
type glyph struct {
	index sfnt.GlyphIndex
	x     fixed.Int26_6
}

func layOut(buf *sfnt.Buffer, f *sfnt.Font, size float64, text string) (glyphs []glyph, width fixed.Int26_6) {
	ppem := fixed.Int26_6(size * 64)
	var prev sfnt.GlyphIndex
	for i, r := range text {
		g, err := f.GlyphIndex(buf, r)
		if err != nil {
			continue
		}
		if i > 0 {
			if kern, err := f.Kern(buf, prev, g, ppem, font.HintingNone); err == nil {
				width += kern
			}
		}
		glyphs = append(glyphs, glyph{g, width})
		if adv, err := f.GlyphAdvance(buf, g, ppem, font.HintingNone); err == nil {
			width += adv
		}
		prev = g
	}
	return glyphs, width
}

// TextWidth is the width of a line of text in pixels.
func TextWidth(style Style, size float64, text string) float64 {
	var buf sfnt.Buffer
	_, w := layOut(&buf, fonts()[style], size, text)
	return float64(w) / 64
}

// Text writes one line, its baseline at y, and returns its width in pixels. Letters start on whole pixels down and
// quarter pixels across, so that equal words look equal.
func (k *Canvas) Text(x, y float64, style Style, size float64, align Align, c Colour, text string) float64 {
	var buf sfnt.Buffer
	f := fonts()[style]
	glyphs, width := layOut(&buf, f, size, text)
	w := float64(float64(width) / 64)
	switch align {
	case Centre:
		x -= float64(w / 2)
	case Right:
		x -= w
	}
	at := toFixed(x, y, 0)
	if at.x == outside {
		return w
	}
	originX, originY := at.x&^63, (at.y+subUnit/2)&^(subUnit-1)
	ppem := fixed.Int26_6(size * 64)
	for _, g := range glyphs {
		segs, err := f.LoadGlyph(&buf, g.index, ppem, nil)
		if err != nil {
			continue
		}
		p := &Path{}
		px := func(q fixed.Point26_6) (int32, int32) {
			return originX + int32(g.x+q.X)*(subUnit/64), originY + int32(q.Y)*(subUnit/64)
		}
		for _, s := range segs {
			switch s.Op {
			case sfnt.SegmentOpMoveTo:
				p.Move(px(s.Args[0]))
			case sfnt.SegmentOpLineTo:
				p.LineTo(px(s.Args[0]))
			case sfnt.SegmentOpQuadTo:
				cx, cy := px(s.Args[0])
				ex, ey := px(s.Args[1])
				p.QuadTo(cx, cy, ex, ey)
			}
		}
		k.FillPath(p, c, 1)
	}
	return w
}

// TextOver writes a line with a soft edge of another colour around it, for words over a picture.
func (k *Canvas) TextOver(x, y float64, style Style, size float64, align Align, c, edge Colour, text string) {
	for _, d := range [8][2]float64{{-1.5, 0}, {1.5, 0}, {0, -1.5}, {0, 1.5}, {-1, -1}, {1, -1}, {-1, 1}, {1, 1}} {
		k.Text(x+d[0], y+d[1], style, size, align, edge, text)
	}
	k.Text(x, y, style, size, align, c, text)
}
