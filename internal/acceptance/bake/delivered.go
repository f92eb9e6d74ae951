package bake

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
)

// Delivered is a normal map as it was decoded, and how the contract says that it is to be read.
type Delivered struct {
	W, H, Channels int
	Pix8           []uint8  // one of the two is set: W × H × Channels values
	Pix16          []uint16 //

	X, Y, Z   int  // channels that hold x, y and z; Z below zero: it is made from the other two
	GreenDown bool // y points down the image
}

// value is a channel of a pixel, 0 to 1.
func (d *Delivered) value(px, py, channel int) float64 {
	i := (py*d.W+px)*d.Channels + channel
	if d.Pix16 != nil {
		return float64(d.Pix16[i]) * (1.0 / 65535)
	}
	return float64(d.Pix8[i]) * (1.0 / 255)
}

// vector is a pixel's vector by the contract, green up, of unit length. c, where not nil, is applied to the stored values first.
func (d *Delivered) vector(px, py int, c *curve) vec {
	return d.direction(d.stored(px, py, c))
}

// stored are a pixel's three values from -1 to 1 as stored; z is zero where it is to be made.
func (d *Delivered) stored(px, py int, c *curve) (s vec) {
	for k, channel := range [3]int{d.X, d.Y, d.Z} {
		if channel < 0 {
			continue
		}
		v := d.value(px, py, channel)
		if c != nil {
			v = c.at(v)
		}
		s[k] = float64(2*v) - 1
	}
	return s
}

// direction is the unit vector of stored values. One without a length stands for straight up.
func (d *Delivered) direction(s vec) vec {
	if d.GreenDown {
		s[1] = -s[1]
	}
	if d.Z < 0 {
		s[2] = math.Sqrt(max(1-float64(s[0]*s[0])-float64(s[1]*s[1]), 0))
	}
	u, ok := unit(s)
	if !ok {
		return vec{0, 0, 1}
	}
	return u
}

// between is the vector at a place between pixels, bilinear over stored values, repeated beyond the image's border.
func (d *Delivered) between(x, y float64) vec {
	fx, fy := math.Floor(x), math.Floor(y)
	u, v := x-fx, y-fy
	x0, y0 := wrap(int(fx), d.W), wrap(int(fy), d.H)
	x1, y1 := wrap(x0+1, d.W), wrap(y0+1, d.H)
	a, b := d.stored(x0, y0, nil), d.stored(x1, y0, nil)
	e, f := d.stored(x0, y1, nil), d.stored(x1, y1, nil)
	top, low := along(scale(a, 1-u), u, b), along(scale(e, 1-u), u, f)
	return d.direction(along(scale(top, 1-v), v, low))
}

func wrap(i, n int) int {
	if i %= n; i < 0 {
		i += n
	}
	return i
}

const degrees = 57.29577951308232 // in a radian

// angle between unit vectors in degrees, by their chord: exact near zero, where an arc cosine is not.
func angle(a, b vec) float64 {
	d := sub(a, b)
	return 2 * degrees * detmath.Asin(min(length(d)/2, 1))
}
