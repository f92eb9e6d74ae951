package raster

import (
	"image"
	"image/color"
	"math"
)

// Texture is an image with its mip levels, sampled with repeat as glTF's default sampler does. Level 0 is at most
// TextureEdge pixels on its longer side: pictures never show more.
type Texture struct {
	levels []level
	srgb   bool // colours were averaged and are sampled in linear light
}

// TextureEdge is the longer side of the finest level that a texture keeps.
const TextureEdge = 2048

type level struct {
	w, h int
	pix  []uint8 // RGBA, as encoded
}

// NewTexture copies an image and makes its mip levels. With srgb its colours are averaged in linear light.
func NewTexture(img image.Image, srgb bool) *Texture {
	t := &Texture{srgb: srgb}
	b := img.Bounds()
	if b.Dx() <= 0 || b.Dy() <= 0 {
		t.levels = []level{{w: 1, h: 1, pix: []uint8{255, 255, 255, 255}}}
		return t
	}
	l := level{w: b.Dx(), h: b.Dy(), pix: straightRGBA(img)}
	for max(l.w, l.h) > TextureEdge {
		l = l.half(srgb)
	}
	t.levels = append(t.levels, l)
	for l.w > 1 || l.h > 1 {
		l = l.half(srgb)
		t.levels = append(t.levels, l)
	}
	return t
}

// Image is the finest level whose longer side is at most edge pixels, with straight alpha. The pixels are the texture's own.
func (t *Texture) Image(edge int) *image.NRGBA {
	i := 0
	for i < len(t.levels)-1 && max(t.levels[i].w, t.levels[i].h) > edge {
		i++
	}
	l := t.levels[i]
	return &image.NRGBA{Pix: l.pix, Stride: 4 * l.w, Rect: image.Rect(0, 0, l.w, l.h)}
}

// straightRGBA gives the pixels of an image with straight alpha, four bytes each; of 16-bit images the upper byte.
func straightRGBA(img image.Image) []uint8 {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	out := make([]uint8, 4*w*h)
	for y := range h {
		straightRow(out[4*w*y:4*w*(y+1)], img, b.Min.X, b.Min.Y+y)
	}
	return out
}

// straightRow is one row of straightRGBA, with short cuts for the types that image/png and image/jpeg make.
func straightRow(row []uint8, img image.Image, x0, y int) {
	w := len(row) / 4
	switch m := img.(type) {
	case *image.NRGBA:
		copy(row, m.Pix[m.PixOffset(x0, y):])
		return
	case *image.NRGBA64:
		src := m.Pix[m.PixOffset(x0, y):]
		for i := range row {
			row[i] = src[2*i]
		}
		return
	case *image.RGBA:
		if copy(row, m.Pix[m.PixOffset(x0, y):]); opaque(row) {
			return
		}
	case *image.RGBA64:
		src := m.Pix[m.PixOffset(x0, y):]
		for i := range row {
			row[i] = src[2*i]
		}
		if opaque(row) {
			return
		}
	case *image.YCbCr:
		for x := range w {
			c := m.YCbCrAt(x0+x, y)
			row[4*x], row[4*x+1], row[4*x+2] = color.YCbCrToRGB(c.Y, c.Cb, c.Cr)
			row[4*x+3] = 255
		}
		return
	case *image.Gray:
		src := m.Pix[m.PixOffset(x0, y):]
		for x := range w {
			g := src[x]
			row[4*x], row[4*x+1], row[4*x+2], row[4*x+3] = g, g, g, 255
		}
		return
	}
	for x := range w {
		c := color.NRGBAModel.Convert(img.At(x0+x, y)).(color.NRGBA)
		row[4*x], row[4*x+1], row[4*x+2], row[4*x+3] = c.R, c.G, c.B, c.A
	}
}

func opaque(row []uint8) bool {
	for i := 3; i < len(row); i += 4 {
		if row[i] != 255 {
			return false
		}
	}
	return true
}

// half averages blocks of two by two; an odd last row or column is averaged with itself.
func (l level) half(srgb bool) level {
	o := level{w: max(l.w/2, 1), h: max(l.h/2, 1)}
	o.pix = make([]uint8, 4*o.w*o.h)
	for y := range o.h {
		y0, y1 := min(2*y, l.h-1), min(2*y+1, l.h-1)
		for x := range o.w {
			x0, x1 := min(2*x, l.w-1), min(2*x+1, l.w-1)
			p := [4][]uint8{l.at(x0, y0), l.at(x1, y0), l.at(x0, y1), l.at(x1, y1)}
			d := o.pix[4*(y*o.w+x) : 4*(y*o.w+x)+4]
			for k := range 3 {
				if srgb {
					d[k] = Encode((linearOf[p[0][k]] + linearOf[p[1][k]] + linearOf[p[2][k]] + linearOf[p[3][k]]) / 4)
				} else {
					d[k] = uint8((int(p[0][k]) + int(p[1][k]) + int(p[2][k]) + int(p[3][k]) + 2) / 4)
				}
			}
			d[3] = uint8((int(p[0][3]) + int(p[1][3]) + int(p[2][3]) + int(p[3][3]) + 2) / 4)
		}
	}
	return o
}

func (l level) at(x, y int) []uint8 { return l.pix[4*(y*l.w+x) : 4*(y*l.w+x)+4] }

// Sample reads the texture at u, v (0,0 is the upper left corner) for a pixel whose footprint is du by dv wide in
// the same coordinates: colours from two levels, other values from the nearer one, with bilinear weights. Colours come in linear
// light where the texture is sRGB.
func (t *Texture) Sample(u, v, du, dv float64) [4]float32 {
	if !(math.Abs(u) < 1e6 && math.Abs(v) < 1e6) {
		u, v = 0, 0
	}
	top := t.levels[0]
	// The footprint in pixels of level 0. Without a logarithm: find the level by halving, and the share of the
	// next one by how far the footprint is between one pixel and two.
	size := max(math.Abs(du)*float64(top.w), math.Abs(dv)*float64(top.h))
	i := 0
	for size > 2 && i < len(t.levels)-1 {
		size /= 2
		i++
	}
	if !t.srgb {
		if size > 1.4142 && i+1 < len(t.levels) {
			i++
		}
		return t.bilinear(t.levels[i], u, v)
	}
	a := t.bilinear(t.levels[i], u, v)
	if f := float32(clamp01(size - 1)); f > 0 && i+1 < len(t.levels) {
		b := t.bilinear(t.levels[i+1], u, v)
		for k := range a {
			a[k] += float32((b[k] - a[k]) * f)
		}
	}
	return a
}

func (t *Texture) bilinear(l level, u, v float64) [4]float32 {
	x, y := float64((u-math.Floor(u))*float64(l.w))-0.5, float64((v-math.Floor(v))*float64(l.h))-0.5
	fx, fy := math.Floor(x), math.Floor(y)
	tx, ty := float32(x-fx), float32(y-fy)
	x0, y0 := wrap(int(fx), l.w), wrap(int(fy), l.h)
	x1, y1 := wrap(x0+1, l.w), wrap(y0+1, l.h)
	w := [4]float32{(1 - tx) * (1 - ty), tx * (1 - ty), (1 - tx) * ty, tx * ty}
	var out [4]float32
	for i, p := range [4][]uint8{l.at(x0, y0), l.at(x1, y0), l.at(x0, y1), l.at(x1, y1)} {
		for k := range 3 {
			c := float32(p[k]) / 255
			if t.srgb {
				c = linearOf[p[k]]
			}
			out[k] += float32(c * w[i])
		}
		out[3] += float32(float32(p[3]) / 255 * w[i])
	}
	return out
}

func wrap(i, n int) int {
	if i < 0 {
		return i + n
	}
	if i >= n {
		return i - n
	}
	return i
}
