package detmath

import "math"

// atanTable has atan(k/16) as a float64 and what that rounding left.
var atanTable = [17][2]float64{
	{0.0, 0.0},
	{0.06241880999595735, -1.5490756308295046e-18},
	{0.12435499454676144, -3.1253241424539383e-18},
	{0.18534794999569476, 4.180692268843079e-18},
	{0.24497866312686414, 1.0698755618734451e-17},
	{0.3028848683749714, -1.1010827903001369e-17},
	{0.35877067027057225, -2.4623815582638635e-17},
	{0.4124104415973873, -1.587652227770689e-17},
	{0.4636476090008061, 2.2698777452961687e-17},
	{0.5123894603107377, -2.5462781472855804e-17},
	{0.5585993153435624, -5.4556305485916264e-18},
	{0.6022873461349642, 2.950430737228402e-17},
	{0.6435011087932844, 1.5834785051444286e-17},
	{0.6823165548747481, 6.943223671560008e-18},
	{0.7188299996216245, -2.1478388444456983e-17},
	{0.7531512809621944, -2.4256934659182068e-17},
	{0.7853981633974483, 3.061616997868383e-17},
}

const (
	piLo     = 1.2246467991473532e-16 // Pi - math.Pi as float64
	halfPiLo = piLo / 2
)

// atanUnit is atan(x) for x in [0, 1] as a sum of two: the table's entry nearest to x and the series of what is left,
// (x - c)/(1 + xc), at most 1/32.
func atanUnit(x float64) (hi, lo float64) {
	k := math.Floor(float64(x*16) + 0.5)
	c := float64(k / 16) // the compiler makes a product of it
	z := x
	if k > 0 {
		z = (x - c) / (1 + float64(x*c))
	}
	s := float64(z * z)
	p := 1.0 / 13
	p = 1.0/11 - float64(p*s)
	p = 1.0/9 - float64(p*s)
	p = 1.0/7 - float64(p*s)
	p = 1.0/5 - float64(p*s)
	p = 1.0/3 - float64(p*s)
	rest := float64(float64(z*s) * p)
	t := atanTable[int(k)]
	if k == 0 {
		return z, -rest
	}
	return t[0], (t[1] - rest) + z
}

// Atan is the angle whose tangent is x, within 2 ulp.
func Atan(x float64) float64 {
	if x != x {
		return x
	}
	a := math.Abs(x)
	if a <= 1 {
		hi, lo := atanUnit(a)
		return math.Copysign(hi+lo, x)
	}
	hi, lo := atanUnit(1 / a)
	return math.Copysign((math.Pi/2-hi)+(halfPiLo-lo), x)
}

// Atan2 is the angle of the point (x, y) from the positive x axis, in [-Pi, Pi], within 2 ulp. Signs of zeros and
// infinities count as in C's Annex F (and in Go's math.Atan2).
func Atan2(y, x float64) float64 {
	if x != x || y != y {
		return math.NaN()
	}
	ax, ay := math.Abs(x), math.Abs(y)
	var hi, lo float64
	switch {
	case ay == 0 && ax == 0:
	case math.IsInf(ax, 1) && math.IsInf(ay, 1):
		hi, lo = atanUnit(1)
	case ay <= ax:
		hi, lo = atanUnit(ay / ax)
	default:
		hi, lo = atanUnit(ax / ay)
		hi, lo = math.Pi/2-hi, halfPiLo-lo
	}
	if math.Signbit(x) {
		hi, lo = math.Pi-hi, piLo-lo
	}
	return math.Copysign(hi+lo, y)
}

// Asin is the angle whose sine is x, within 3 ulp; NaN outside [-1, 1].
func Asin(x float64) float64 {
	if !(x >= -1 && x <= 1) {
		return math.NaN()
	}
	return Atan2(x, math.Sqrt(float64((1-x)*(1+x))))
}

// Acos is the angle whose cosine is x, in [0, Pi], within 3 ulp; NaN outside [-1, 1].
func Acos(x float64) float64 {
	if !(x >= -1 && x <= 1) {
		return math.NaN()
	}
	return Atan2(math.Sqrt(float64((1-x)*(1+x))), x)
}
