package raster

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"image"
	"image/png"
	"math"
)

// Canvas is an opaque picture of bytes onto which flat things are drawn: lines, words, legends. Coordinates are
// pixels, pixel centres at halves; edges are smoothed by the share of the pixel that they cover, mixed in encoded
// values as is usual for type.
type Canvas struct {
	W, H int
	Pix  []uint8 // RGBA, alpha always 255
}

// NewCanvas makes a canvas of one colour.
func NewCanvas(w, h int, c Colour) *Canvas {
	k := &Canvas{W: w, H: h, Pix: make([]uint8, 4*w*h)}
	k.Rect(0, 0, w, h, c)
	return k
}

// Digest is the SHA-256, in hex, of width and height (4 bytes each, little-endian) and the pixels. Unlike the PNG's own it
// does not depend on how the compressor of the day packs.
func (k *Canvas) Digest() string {
	var size [8]byte
	binary.LittleEndian.PutUint32(size[:4], uint32(k.W))
	binary.LittleEndian.PutUint32(size[4:], uint32(k.H))
	h := sha256.New()
	h.Write(size[:])
	h.Write(k.Pix)
	return hex.EncodeToString(h.Sum(nil))
}

// Image is the canvas as an image.Image that shares its pixels.
func (k *Canvas) Image() *image.NRGBA {
	return &image.NRGBA{Pix: k.Pix, Stride: 4 * k.W, Rect: image.Rect(0, 0, k.W, k.H)}
}

// PNG encodes the canvas.
func (k *Canvas) PNG() ([]byte, error) {
	var b bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := enc.Encode(&b, k.Image()); err != nil {
		return nil, fmt.Errorf("encode a picture of %d by %d: %w", k.W, k.H, err)
	}
	return b.Bytes(), nil
}

// Set sets one pixel; outside the canvas nothing happens.
func (k *Canvas) Set(x, y int, c Colour) {
	if x < 0 || y < 0 || x >= k.W || y >= k.H {
		return
	}
	p := k.Pix[4*(y*k.W+x) : 4*(y*k.W+x)+4]
	p[0], p[1], p[2], p[3] = c.R, c.G, c.B, 255
}

// Get is the colour of a pixel, black outside.
func (k *Canvas) Get(x, y int) Colour {
	if x < 0 || y < 0 || x >= k.W || y >= k.H {
		return Colour{}
	}
	p := k.Pix[4*(y*k.W+x) : 4*(y*k.W+x)+3]
	return Colour{p[0], p[1], p[2]}
}

// Blend mixes a colour into a pixel; cover runs from 0 to 1.
func (k *Canvas) Blend(x, y int, c Colour, cover float64) {
	if x < 0 || y < 0 || x >= k.W || y >= k.H || !(cover > 0) {
		return
	}
	a := uint32(float64(min(cover, 1)*256) + 0.5)
	p := k.Pix[4*(y*k.W+x) : 4*(y*k.W+x)+4]
	p[0] = uint8((uint32(p[0])*(256-a) + uint32(c.R)*a + 128) >> 8)
	p[1] = uint8((uint32(p[1])*(256-a) + uint32(c.G)*a + 128) >> 8)
	p[2] = uint8((uint32(p[2])*(256-a) + uint32(c.B)*a + 128) >> 8)
	p[3] = 255
}

// Rect fills the pixels from (x0, y0) up to but not including (x1, y1).
func (k *Canvas) Rect(x0, y0, x1, y1 int, c Colour) {
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, k.W), min(y1, k.H)
	for y := y0; y < y1; y++ {
		row := k.Pix[4*y*k.W : 4*(y+1)*k.W]
		for x := x0; x < x1; x++ {
			row[4*x], row[4*x+1], row[4*x+2], row[4*x+3] = c.R, c.G, c.B, 255
		}
	}
}

// Border draws a one-pixel line just inside a rectangle.
func (k *Canvas) Border(x0, y0, x1, y1 int, c Colour) {
	k.Rect(x0, y0, x1, y0+1, c)
	k.Rect(x0, y1-1, x1, y1, c)
	k.Rect(x0, y0, x0+1, y1, c)
	k.Rect(x1-1, y0, x1, y1, c)
}

// byDistance colours every pixel of a box by how far its centre lies inside a shape: fully from half a pixel in,
// not at all from half a pixel out.
func (k *Canvas) byDistance(x0, y0, x1, y1 float64, c Colour, alpha float64, inside func(x, y float64) float64) {
	if math.IsNaN(x0 + y0 + x1 + y1) {
		return
	}
	lo := func(v float64, end int) int { return int(min(max(v-1, 0), float64(end))) }
	for y := lo(y0, k.H); y < k.H && float64(y) < y1+1; y++ {
		for x := lo(x0, k.W); x < k.W && float64(x) < x1+1; x++ {
			k.Blend(x, y, c, float64(alpha*clamp01(inside(float64(x)+0.5, float64(y)+0.5)+0.5)))
		}
	}
}

// Line draws a line with round ends.
func (k *Canvas) Line(x0, y0, x1, y1, width float64, c Colour, alpha float64) {
	x0, y0, x1, y1, ok := ClipLine(x0, y0, x1, y1, -width, -width, float64(k.W)+width, float64(k.H)+width)
	if !ok {
		return
	}
	dx, dy := x1-x0, y1-y0
	l2 := float64(dx*dx) + float64(dy*dy)
	half := float64(width / 2)
	dist := func(x, y float64) float64 {
		t := 0.0
		if l2 > 0 {
			t = clamp01((float64((x-x0)*dx) + float64((y-y0)*dy)) / l2)
		}
		ex, ey := x-x0-float64(t*dx), y-y0-float64(t*dy)
		return half - math.Sqrt(float64(ex*ex)+float64(ey*ey))
	}
	// A long slanting line's box is mostly empty, so it is drawn in short pieces; each pixel belongs to one of
	// them, by the row or column that it lies in.
	if math.Abs(dx) < 2 || math.Abs(dy) < 2 || l2 < 32*32 {
		k.byDistance(min(x0, x1)-half, min(y0, y1)-half, max(x0, x1)+half, max(y0, y1)+half, c, alpha, dist)
		return
	}
	reach := half + 1
	if math.Abs(dx) > math.Abs(dy) {
		slope := dy / dx
		slack := float64(reach * math.Sqrt(1+float64(slope*slope)))
		for x := int(max(min(x0, x1)-reach, 0)); x < k.W && float64(x) <= max(x0, x1)+reach; x++ {
			xc := min(max(float64(x)+0.5, min(x0, x1)), max(x0, x1))
			yc := y0 + float64((xc-x0)*slope)
			for y := int(max(yc-slack, 0)); y < k.H && float64(y) <= yc+slack; y++ {
				k.Blend(x, y, c, float64(alpha*clamp01(dist(float64(x)+0.5, float64(y)+0.5)+0.5)))
			}
		}
		return
	}
	slope := dx / dy
	slack := float64(reach * math.Sqrt(1+float64(slope*slope)))
	for y := int(max(min(y0, y1)-reach, 0)); y < k.H && float64(y) <= max(y0, y1)+reach; y++ {
		yc := min(max(float64(y)+0.5, min(y0, y1)), max(y0, y1))
		xc := x0 + float64((yc-y0)*slope)
		for x := int(max(xc-slack, 0)); x < k.W && float64(x) <= xc+slack; x++ {
			k.Blend(x, y, c, float64(alpha*clamp01(dist(float64(x)+0.5, float64(y)+0.5)+0.5)))
		}
	}
}

// ClipLine cuts a line to a box: Liang and Barsky, "A new concept and method for line clipping", 1984.
func ClipLine(x0, y0, x1, y1, loX, loY, hiX, hiY float64) (a, b, c, d float64, ok bool) {
	if s := x0 + y0 + x1 + y1; math.IsNaN(s) || math.IsInf(s, 0) {
		return 0, 0, 0, 0, false
	}
	t0, t1 := 0.0, 1.0
	dx, dy := x1-x0, y1-y0
	for _, e := range [4][2]float64{{-dx, x0 - loX}, {dx, hiX - x0}, {-dy, y0 - loY}, {dy, hiY - y0}} {
		switch p, q := e[0], e[1]; {
		case p == 0 && q < 0:
			return 0, 0, 0, 0, false
		case p < 0:
			t0 = max(t0, q/p)
		case p > 0:
			t1 = min(t1, q/p)
		}
	}
	if t0 > t1 {
		return 0, 0, 0, 0, false
	}
	return x0 + float64(t0*dx), y0 + float64(t0*dy), x0 + float64(t1*dx), y0 + float64(t1*dy), true
}

// Disc fills a circle.
func (k *Canvas) Disc(cx, cy, r float64, c Colour, alpha float64) {
	k.byDistance(cx-r, cy-r, cx+r, cy+r, c, alpha, func(x, y float64) float64 {
		return r - math.Sqrt(float64((x-cx)*(x-cx))+float64((y-cy)*(y-cy)))
	})
}

// Ring draws a circle; r is the middle of its stroke.
func (k *Canvas) Ring(cx, cy, r, width float64, c Colour, alpha float64) {
	half := float64(width / 2)
	o := r + half
	k.byDistance(cx-o, cy-o, cx+o, cy+o, c, alpha, func(x, y float64) float64 {
		return half - math.Abs(math.Sqrt(float64((x-cx)*(x-cx))+float64((y-cy)*(y-cy)))-r)
	})
}

// RoundRect fills a rectangle with rounded corners.
func (k *Canvas) RoundRect(x0, y0, x1, y1, r float64, c Colour, alpha float64) {
	mx, my, hx, hy := (x0+x1)/2, (y0+y1)/2, float64((x1-x0)/2)-r, float64((y1-y0)/2)-r
	k.byDistance(x0, y0, x1, y1, c, alpha, func(x, y float64) float64 {
		dx, dy := math.Abs(x-mx)-hx, math.Abs(y-my)-hy
		ox, oy := max(dx, 0), max(dy, 0)
		return r - math.Sqrt(float64(ox*ox)+float64(oy*oy)) - min(max(dx, dy), 0)
	})
}

// Copy puts another canvas onto this one with its upper left corner at (x, y), every pixel enlarged n times.
func (k *Canvas) Copy(from *Canvas, x, y, n int) {
	for j := range from.H {
		for i := range from.W {
			k.Rect(x+i*n, y+j*n, x+(i+1)*n, y+(j+1)*n, from.Get(i, j))
		}
	}
}

// Tint mixes a colour into every pixel by the share of its samples that are covered, the buffer's upper left corner at
// (x, y).
func (b *Buffer) Tint(c *Canvas, x, y int, col Colour) {
	n := b.W * b.H
	for i := range n {
		count := 0
		for s := range b.Offsets {
			if b.keys[s*n+i] != 0 {
				count++
			}
		}
		if count > 0 {
			c.Blend(x+i%b.W, y+i/b.W, col, float64(count)/float64(len(b.Offsets)))
		}
	}
}
