package web

import (
	"bytes"
	"context"
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
	"golang.org/x/sync/semaphore"
)

// Bounds of a preview: how much memory its picture may take, how large it is shown, how well it is kept.
const (
	previewDecodeMax = 512 << 20 // bytes of its pixels, unpacked
	previewMax       = 2048      // px, the longer side
	thumbMax         = 480       // px, the longer side
	previewQuality   = 85
)

// previews bounds the memory that all previews under way take together.
var previews = semaphore.NewWeighted(previewDecodeMax)

// unpacked is how many bytes a picture takes while it is read, by its header alone: the library makes room for all of it before
// it reads a pixel. It fails where that is too much, or more than so few bytes can unpack to.
func unpacked(data []byte) (int64, error) {
	c, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return 0, fmt.Errorf("web: picture: %w", err)
	}
	px, each, packed := int64(c.Width)*int64(c.Height), int64(4), int64(1)
	switch c.ColorModel {
	case color.RGBA64Model, color.NRGBA64Model:
		each = 8
	case color.Gray16Model:
		each = 2
	}
	if _, few := c.ColorModel.(color.Palette); few || c.ColorModel == color.GrayModel {
		each, packed = 1, 8 // eight pixels of one bit in a byte
	}
	if kind == "jpeg" {
		each = 3
		if bytes.Contains(data, []byte{0xff, 0xc2}) {
			each = 3 * (1 + 4) // progressive: its coefficients are kept, four bytes each
		}
	}
	longest := max(c.Width, c.Height)
	if px <= 0 || longest > previewDecodeMax || px*each > previewDecodeMax || kind == "png" && px/packed > int64(len(data))*deflateMost {
		return 0, fmt.Errorf("web: picture of %d × %d px in %d bytes", c.Width, c.Height, len(data))
	}
	return px * each, nil
}

// deflateMost is the most bytes that one byte of a DEFLATE stream unpacks to: 258 for each two bits (RFC 1951, section 3.2.5).
const deflateMost = 1032

// preview makes a JPEG of a picture, no side longer than longest, with mark written all over it where there is one: who
// looks at a secret shall know that a picture of the screen says so.
func preview(ctx context.Context, data []byte, longest int, mark string) ([]byte, error) {
	need, err := unpacked(data)
	if err != nil {
		return nil, err
	}
	if err := previews.Acquire(ctx, need); err != nil {
		return nil, fmt.Errorf("web: picture: %w", err)
	}
	defer previews.Release(need)
	src, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, fmt.Errorf("web: picture: %w", err)
	}
	w, h := src.Bounds().Dx(), src.Bounds().Dy()
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
