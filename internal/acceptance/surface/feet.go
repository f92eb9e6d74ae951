package surface

import "math"

// feet are points of the game surface, each standing for the same area of it.
type feet struct {
	pos         []float32 // 3 a point
	tri         []uint32  // triangle of the skin
	weight      [][2]float32
	hiddenShare float64 // of the surface, inside another shell of it: no foot there
	areaEachMM2 float64
}

// feetSeed starts the sequence that places the feet.
const feetSeed = 20250917

// feet places about n points: the surface is cut into n strips of equal area, triangle after triangle, and one point lies in each, at
// a jittered place of the strip; within a triangle the points follow the additive recurrence of the plastic number,
// which spreads any run of them evenly (Roberts, The unreasonable effectiveness of quasirandom sequences, 2018).
func (p *Pair) feet(n int) *feet {
	s := p.skin
	areas := make([]float64, len(s.face))
	var total float64
	for t := range areas {
		areas[t] = area(at(s.pos, s.tri[3*t]), at(s.pos, s.tri[3*t+1]), at(s.pos, s.tri[3*t+2]))
		total += areas[t]
	}
	f := &feet{areaEachMM2: 1e6 * total / float64(n)}
	if !(total > 0) {
		return f
	}
	const r1, r2 = 0x1.827f5352054c6p-1, 0x1.23c21b4b8f3cfp-1 // 1/ρ, 1/ρ² for ρ³ = ρ + 1
	step, t, before, inside := total/float64(n), 0, 0.0, 0
	for k := range n {
		at0 := float64(step * (float64(k) + jitter(uint64(k))))
		for t+1 < len(areas) && before+areas[t] <= at0 {
			before += areas[t]
			t++
		}
		_, x := math.Modf(0.5 + float64(r1*float64(k+1)))
		_, y := math.Modf(0.5 + float64(r2*float64(k+1)))
		root := math.Sqrt(x)
		u, v := 1-root, float64(root*y)
		q := inTriangle(at(s.pos, s.tri[3*t]), at(s.pos, s.tri[3*t+1]), at(s.pos, s.tri[3*t+2]), [2]float64{u, v})
		if s.inOther(q, s.shell[t]) {
			inside++
			continue
		}
		w := narrow(q)
		f.pos = append(f.pos, w[0], w[1], w[2])
		f.tri = append(f.tri, uint32(t))
		f.weight = append(f.weight, [2]float32{float32(u), float32(v)})
	}
	f.hiddenShare = float64(inside) / float64(n)
	return f
}

// jitter is a fixed number in [0, 1) for each k: the finaliser of SplitMix64 (Steele, Lea and Flood 2014).
func jitter(k uint64) float64 {
	z := (k + feetSeed) * 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return float64(float64((z^z>>31)>>11) * 0x1p-53)
}
