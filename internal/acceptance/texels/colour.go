package texels

import (
	"math"

	"proofhouse/internal/acceptance/image"
)

// Histogram counts the values of one channel in steps of 8 bits over a mask of the image's size (nil: all).
func Histogram(img *image.Image, channel int, m *Mask, threads int) [256]int {
	parts := summed(img.Height, threads, func(from, to int) (h [256]int) {
		for i := from * img.Width; i < to*img.Width; i++ {
			if m != nil && m.In[i] == 0 {
				continue
			}
			h[value8(img, i, channel)]++
		}
		return h
	})
	var sum [256]int
	for _, h := range parts {
		for v, n := range h {
			sum[v] += n
		}
	}
	return sum
}

func value8(img *image.Image, i, channel int) uint8 {
	if img.Bits == 16 {
		return uint8(img.Pix16[i*img.Channels+channel] >> 8)
	}
	return img.Pix8[i*img.Channels+channel]
}

// Channel is one channel of a map, times a factor, read at another map's texels.
type Channel struct {
	Img    *image.Image
	C      int
	Factor float64
}

// at reads the channel at texel x, y of a map of w × h, 0 to 1: the texel that the middle lies in.
func (c *Channel) at(x, y, w, h int) float64 {
	px, py := (2*x+1)*c.Img.Width/(2*w), (2*y+1)*c.Img.Height/(2*h)
	return float64(value8(c.Img, py*c.Img.Width+px, c.C)) / 255 * c.Factor
}

// Colours is what the texels of a base colour map say of themselves.
type Colours struct {
	Dielectric, Dark, Bright int     // texels that are no metal, and of them those below and above the range
	Metal, DarkMetal         int     // texels of metal, and of them those too dark for one
	Shading                  float64 // correlation of luminance with occlusion over dielectrics; 0 without an occlusion map
	Spots                    []Spot  // texels of dielectric out of range, spread over the map
}

// Range is what a base colour may be, as linear luminance, and what each channel is multiplied by first.
type Range struct {
	Dark, Bright, DarkMetal float64
	Factor                  [3]float64
}

// metalFrom is the metallic value from which a texel counts as metal.
const metalFrom = 0.5

// JudgeColours reads a base colour map over a mask of its size (nil: all). linear decodes a channel, with 256 or 65536
// entries by depth; luminance is that of IEC 61966-2-1's primaries, 0.2126 R + 0.7152 G + 0.0722 B (ITU-R BT.709).
// metal and occlusion may be nil.
func JudgeColours(img *image.Image, m *Mask, linear []float32, r Range, metal, occlusion *Channel, threads int) Colours {
	type tally struct {
		Colours
		n, l, o, ll, oo, lo float64
	}
	parts := summed(img.Height, threads, func(from, to int) (t tally) {
		for y := from; y < to; y++ {
			for x := range img.Width {
				i := y*img.Width + x
				if m != nil && m.In[i] == 0 {
					continue
				}
				lum := luminance(img, i, linear, r.Factor)
				if metal != nil && metal.at(x, y, img.Width, img.Height) >= metalFrom {
					t.Metal++
					if lum < r.DarkMetal {
						t.DarkMetal++
					}
					continue
				}
				t.Dielectric++
				if lum < r.Dark || lum > r.Bright {
					if lum < r.Dark {
						t.Dark++
					} else {
						t.Bright++
					}
					if len(t.Spots) < maxSpots {
						t.Spots = append(t.Spots, Spot{X: x, Y: y})
					}
				}
				if occlusion != nil {
					o := occlusion.at(x, y, img.Width, img.Height)
					t.n++
					t.l += lum
					t.o += o
					t.ll += float64(lum * lum)
					t.oo += float64(o * o)
					t.lo += float64(lum * o)
				}
			}
		}
		return t
	})
	var sum tally
	for _, t := range parts {
		sum.Dielectric += t.Dielectric
		sum.Dark += t.Dark
		sum.Bright += t.Bright
		sum.Metal += t.Metal
		sum.DarkMetal += t.DarkMetal
		sum.Spots = append(sum.Spots, t.Spots...)
		sum.n, sum.l, sum.o = sum.n+t.n, sum.l+t.l, sum.o+t.o
		sum.ll, sum.oo, sum.lo = sum.ll+t.ll, sum.oo+t.oo, sum.lo+t.lo
	}
	sum.Shading = correlation(sum.n, sum.l, sum.o, sum.ll, sum.oo, sum.lo)
	sum.Spots = spread(sum.Spots, max(img.Width, img.Height)/16)
	return sum.Colours
}

func luminance(img *image.Image, i int, linear []float32, factor [3]float64) float64 {
	at := func(c int) float64 {
		if img.Bits == 16 {
			return float64(linear[img.Pix16[i*img.Channels+c]])
		}
		return float64(linear[img.Pix8[i*img.Channels+c]])
	}
	g, b := 0, 0
	if img.Channels >= 3 {
		g, b = 1, 2
	}
	return float64(0.2126*factor[0]*at(0)) + float64(0.7152*factor[1]*at(g)) + float64(0.0722*factor[2]*at(b))
}

// leastSpread is the variance under which a map is too even for a correlation to say anything: a standard deviation
// of a fiftieth of the range.
const leastSpread = 0.02 * 0.02

// correlation is Pearson's, from sums; 0 where either value hardly varies.
func correlation(n, x, y, xx, yy, xy float64) float64 {
	if n < 2 {
		return 0
	}
	mx, my := x/n, y/n
	vx, vy := xx/n-float64(mx*mx), yy/n-float64(my*my)
	if vx < leastSpread || vy < leastSpread {
		return 0
	}
	return min(1, max(-1, (xy/n-float64(mx*my))/math.Sqrt(float64(vx*vy))))
}
