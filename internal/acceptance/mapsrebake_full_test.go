//go:build full

package acceptance

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
)

// The other faults of a raw bake: the kernel's own tests have each of them, too.
func init() {
	rawFaults = append(rawFaults, []rawFault{
		{"red flipped", "red_flipped", func(_, _ int, v [3]float64) [3]float64 { return [3]float64{-v[0], v[1], v[2]} }, "", Fail, "when red is flipped"},
		{"swapped", "red_green_swapped", func(_, _ int, v [3]float64) [3]float64 { return [3]float64{v[1], v[0], v[2]} }, "", Fail, "when red and green are swapped"},
		{"turned", "turned_90", func(_, _ int, v [3]float64) [3]float64 { return [3]float64{v[1], -v[0], v[2]} }, "", Fail, "when each vector is turned by a quarter"},
		{"upside down", "image_upside_down", from(func(x, y int) (int, int) { return x, drumPx - 1 - y }), "", Fail, "turned upside down"},
		{"shifted", "shifted", from(func(x, y int) (int, int) { return x + 5, y }), "", Fail, "when it is moved by 5"},
		{"saved as a colour", "srgb_encoded", func(_, _ int, v [3]float64) [3]float64 {
			for k := range v {
				c := (v[k] + 1) / 2
				if c > 0.0031308 {
					c = 1.055*math.Pow(c, 1/2.4) - 0.055 // IEC 61966-2-1, 5.2
				} else {
					c *= 12.92
				}
				v[k] = 2*c - 1
			}
			return v
		}, "", Fail, "when an sRGB curve is taken off its values"},
		{"directions in space", "object_space", func(x, _ int, v [3]float64) [3]float64 {
			s, c := detmath.Sincos(math.Pi * (float64(x) + 0.5) / drumPx)
			return [3]float64{v[0]*s - v[2]*c, v[1], v[0]*c + v[2]*s}
		}, "", Fail, "read as directions in space"},
	}...)
}
