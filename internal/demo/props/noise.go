package props

import "math"

// noise is smooth value noise between 0 and 1 with features about one unit wide.
func noise(p vec, seed uint32) float64 {
	var i [3]int32
	var f [3]float64
	for k := range 3 {
		fl := math.Floor(p[k])
		i[k] = int32(fl)
		t := p[k] - fl
		f[k] = t * t * (3 - 2*t)
	}
	lerp := func(a, b, t float64) float64 { return a + (b-a)*t }
	at := func(dx, dy, dz int32) float64 {
		h := uint32(i[0]+dx)*0x8da6b343 ^ uint32(i[1]+dy)*0xd8163841 ^ uint32(i[2]+dz)*0xcb1ab31f ^ seed*0x9e3779b9
		h ^= h >> 15
		h *= 0x2c1b3c6d
		h ^= h >> 12
		h *= 0x297a2d39
		h ^= h >> 15
		return float64(h) / math.MaxUint32
	}
	return lerp(
		lerp(lerp(at(0, 0, 0), at(1, 0, 0), f[0]), lerp(at(0, 1, 0), at(1, 1, 0), f[0]), f[1]),
		lerp(lerp(at(0, 0, 1), at(1, 0, 1), f[0]), lerp(at(0, 1, 1), at(1, 1, 1), f[0]), f[1]), f[2])
}

// fractal sums octaves of noise, each half as wide and half as strong; the result is between 0 and 1.
func fractal(p vec, seed uint32, octaves int) float64 {
	sum, weight, total := 0.0, 1.0, 0.0
	for o := range octaves {
		sum += weight * noise(p, seed+uint32(o))
		total += weight
		p, weight = p.mul(2.03), weight/2
	}
	return sum / total
}

// hammered is worn metal or wood: relief between -depth and 0.
func hammered(depth, width float64, seed uint32) relief {
	return func(p vec) float64 {
		return -depth * (0.35*fractal(p.mul(1/width), seed, 2) + 0.65*fractal(p.mul(6/width), seed+17, 2))
	}
}

// grooved adds grooves across an axis, pitch apart.
func grooved(under relief, axis int, pitch, width, depth float64) relief {
	return func(p vec) float64 {
		t := p[axis]/pitch - 0.5
		d := math.Abs(t-math.Round(t)) * pitch
		cut := 0.0
		if d < width {
			s := 1 - d/width
			cut = s * s * (3 - 2*s)
		}
		return under(p) - depth*cut
	}
}

// lump is sculpt that stands proud where it should not: a smooth hill of a height over a round foot.
type lump struct {
	at             vec
	radius, height float64
}

func lumpy(under relief, lumps []lump) relief {
	if len(lumps) == 0 {
		return under
	}
	return func(p vec) float64 {
		d := under(p)
		for _, l := range lumps {
			if r := p.sub(l.at).length() / l.radius; r < 1 {
				hill := (1 - r*r) * (1 - r*r)
				d = d*(1-hill) + l.height*hill
			}
		}
		return d
	}
}
