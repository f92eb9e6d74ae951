package texels

import (
	"math"

	"proofhouse/internal/acceptance/image"
)

// Reduce averages one channel over w × h equal blocks of an image, 0 to 1. A block of less than a pixel reads the pixel
// that it lies in.
func Reduce(img *image.Image, channel, w, h, threads int) []float32 {
	out := make([]float32, w*h)
	strips(h, threads, func(from, to int) {
		for y := from; y < to; y++ {
			y0 := y * img.Height / h
			y1 := max((y+1)*img.Height/h, y0+1)
			for x := range w {
				x0 := x * img.Width / w
				x1 := max((x+1)*img.Width/w, x0+1)
				sum := 0
				for py := y0; py < y1; py++ {
					for px := x0; px < x1; px++ {
						sum += int(value8(img, py*img.Width+px, channel))
					}
				}
				out[y*w+x] = float32(float64(sum) / float64((y1-y0)*(x1-x0)) / 255)
			}
		}
	})
	return out
}

// Likeness is how two sets of values go together.
type Likeness struct {
	N                int
	MeanA, MeanB     float64
	SpreadA, SpreadB float64 // standard deviations
	Correlation      float64 // Pearson's; 0 where either hardly varies
}

// Compare reads pairs of values, leaving out those whose second is below zero.
func Compare(a, b []float32) Likeness {
	var n, x, y, xx, yy, xy float64
	for i, v := range b {
		if v < 0 {
			continue
		}
		p, q := float64(a[i]), float64(v)
		n, x, y = n+1, x+p, y+q
		xx, yy, xy = xx+float64(p*p), yy+float64(q*q), xy+float64(p*q)
	}
	if n == 0 {
		return Likeness{}
	}
	spread := func(s, ss float64) float64 { return math.Sqrt(max(0, ss/n-float64((s/n)*(s/n)))) }
	return Likeness{N: int(n), MeanA: x / n, MeanB: y / n, SpreadA: spread(x, xx), SpreadB: spread(y, yy),
		Correlation: correlation(n, x, y, xx, yy, xy)}
}
