package texels

import "proofhouse/internal/acceptance/image"

// Opacity is an alpha channel in steps of 8 bits, one byte a texel.
type Opacity struct {
	W, H int
	A    []uint8
}

// OpacityOf takes one channel of an image as its opacity.
func OpacityOf(img *image.Image, channel int) *Opacity {
	o := &Opacity{W: img.Width, H: img.Height, A: make([]uint8, img.Width*img.Height)}
	for i := range o.A {
		o.A[i] = value8(img, i, channel)
	}
	return o
}

// Half is the next mip level: blocks of two by two averaged, an odd last row or column with itself.
func (o *Opacity) Half() *Opacity {
	h := &Opacity{W: max(o.W/2, 1), H: max(o.H/2, 1)}
	h.A = make([]uint8, h.W*h.H)
	for y := range h.H {
		y0, y1 := min(2*y, o.H-1)*o.W, min(2*y+1, o.H-1)*o.W
		for x := range h.W {
			x0, x1 := min(2*x, o.W-1), min(2*x+1, o.W-1)
			h.A[y*h.W+x] = uint8((int(o.A[y0+x0]) + int(o.A[y0+x1]) + int(o.A[y1+x0]) + int(o.A[y1+x1]) + 2) / 4)
		}
	}
	return h
}

// Kept is the share of texels that pass a cut-off, 0 to 1, over a mask of the level's size (nil: all).
func (o *Opacity) Kept(cutoff uint8, m *Mask) float64 {
	n, kept := 0, 0
	for i, a := range o.A {
		if m != nil && m.In[i] == 0 {
			continue
		}
		n++
		if a >= cutoff {
			kept++
		}
	}
	if n == 0 {
		return 0
	}
	return float64(kept) / float64(n)
}

// From is the mask of texels whose opacity is at least a value.
func (o *Opacity) From(least uint8) *Mask {
	m := &Mask{W: o.W, H: o.H, In: make([]uint8, len(o.A))}
	for i, a := range o.A {
		if a >= least {
			m.In[i] = 1
		}
	}
	return m
}
