package bake

import (
	"sync"

	"proofhouse/internal/acceptance/detmath"
)

// The transfer function of sRGB, IEC 61966-2-1:1999, section 5.2, both ways, for values from 0 to 1.

func decodeSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return detmath.Pow((v+0.055)/1.055, 2.4)
}

func encodeSRGB(v float64) float64 {
	if v <= 0.0031308 {
		return float64(12.92 * v)
	}
	return float64(1.055*detmath.Pow(v, 1/2.4)) - 0.055
}

// curve is a function from 0 to 1 in steps, linear in between: at 4096 of them a normal's component is off by less than half
// a step of 8 bits wherever it is not below 0.01, which leans 80° out of the surface.
type curve [4097]float32

func (c *curve) at(v float64) float64 {
	x := float64(min(max(v, 0), 1) * 4096)
	i := min(int(x), 4095)
	a, b := float64(c[i]), float64(c[i+1])
	return a + float64((b-a)*(x-float64(i)))
}

// curves are decodeSRGB and encodeSRGB as tables, made when first asked for.
var curves = sync.OnceValues(func() (decode, encode *curve) {
	decode, encode = new(curve), new(curve)
	for i := range decode {
		v := float64(float64(i) / 4096) // a whole power of two: rounded before it is added to
		decode[i], encode[i] = float32(decodeSRGB(v)), float32(encodeSRGB(v))
	}
	return decode, encode
})
