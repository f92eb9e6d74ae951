package web

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	_ "image/png" // what references are
	"sync"

	scaled "golang.org/x/image/draw"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// Bounds of a preview: how large a picture is decoded, how large it is shown, how well it is kept.
const (
	previewDecodeMax = 64 << 20 // pixels
	previewMax       = 2048     // px, the longer side
	thumbMax         = 480      // px, the longer side
	previewQuality   = 85
)

// preview makes a JPEG of a picture, no side longer than longest, with mark written all over it where there is one: who
// looks at a secret shall know that a picture of the screen says so.
func preview(data []byte, longest int, mark string) ([]byte, error) {
	c, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("web: picture: %w", err)
	}
	if c.Width <= 0 || c.Height <= 0 || c.Width*c.Height > previewDecodeMax {
		return nil, fmt.Errorf("web: picture of %d × %d px", c.Width, c.Height)
	}
	src, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("web: picture: %w", err)
	}
	w, h := c.Width, c.Height
	if long := max(w, h); long > longest {
		w, h = max(1, w*longest/long), max(1, h*longest/long)
	}
	dst := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(dst, dst.Bounds(), image.NewUniform(color.RGBA{0xcf, 0xd3, 0xd2, 0xff}), image.Point{}, draw.Src) // behind what is see-through
	scaled.CatmullRom.Scale(dst, dst.Bounds(), src, src.Bounds(), scaled.Over, nil)
	if mark != "" {
		if err := writeOver(dst, mark); err != nil {
			return nil, err
		}
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, dst, &jpeg.Options{Quality: previewQuality})
	return out.Bytes(), err
}

var markFont = sync.OnceValues(func() (*opentype.Font, error) { return opentype.Parse(gobold.TTF) })

// writeOver writes mark in rows all over a picture, light with a dark edge so that it shows on any ground.
func writeOver(dst *image.RGBA, mark string) error {
	f, err := markFont()
	if err != nil {
		return fmt.Errorf("web: type of the mark: %w", err)
	}
	size := max(12, float64(dst.Bounds().Dx())/48)
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: size, DPI: 72})
	if err != nil {
		return fmt.Errorf("web: type of the mark: %w", err)
	}
	defer face.Close()
	step := int(size * 7)
	width := font.MeasureString(face, mark).Ceil() + int(size*3)
	for row, y := 0, step/2; y < dst.Bounds().Dy()+step; row, y = row+1, y+step {
		for x := -(row % 2) * width / 2; x < dst.Bounds().Dx(); x += width {
			for _, ink := range []struct {
				off int
				c   color.NRGBA
			}{{max(1, int(size/14)), color.NRGBA{0, 0, 0, 110}}, {0, color.NRGBA{255, 255, 255, 130}}} {
				d := font.Drawer{Dst: dst, Src: image.NewUniform(ink.c), Face: face, Dot: fixed.P(x+ink.off, y+ink.off)}
				d.DrawString(mark)
			}
		}
	}
	return nil
}
