package detmath

import "math"

// ln 2 in two parts; the first has 32 bits, so that its products with an exponent are exact.
const (
	ln2Hi = 6.93147180369123816490e-01
	ln2Lo = 1.90821492927058770002e-10
)

// Exp is e to the x, within 2 ulp where the result is a normal number: 0 below about -745, +Inf above about 709.8.
func Exp(x float64) float64 {
	switch {
	case x != x:
		return x
	case x > 709.8:
		return math.Inf(1)
	case x < -745.2:
		return 0
	}
	k := math.Floor(float64(x*(1/math.Ln2)) + 0.5)
	hi := x - float64(k*ln2Hi)
	lo := float64(k * ln2Lo)
	r := hi - lo
	tail := (hi - r) - lo
	// e^r - 1 by its Taylor series; |r| is at most 0.35, the first term left out below 2^-59 of 1.
	p := 1.0 / 87178291200 // 14!
	p = float64(p*r) + 1.0/6227020800
	p = float64(p*r) + 1.0/479001600
	p = float64(p*r) + 1.0/39916800
	p = float64(p*r) + 1.0/3628800
	p = float64(p*r) + 1.0/362880
	p = float64(p*r) + 1.0/40320
	p = float64(p*r) + 1.0/5040
	p = float64(p*r) + 1.0/720
	p = float64(p*r) + 1.0/120
	p = float64(p*r) + 1.0/24
	p = float64(p*r) + 1.0/6
	p = float64(p*r) + 1.0/2
	y := 1 + (r + (float64(float64(r*r)*p) + tail))
	return math.Ldexp(y, int(k))
}

// Log is the natural logarithm, within 2 ulp: -Inf at 0, NaN below.
func Log(x float64) float64 {
	switch {
	case x != x || x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	case math.IsInf(x, 1):
		return x
	}
	m, e := math.Frexp(x)
	if m < math.Sqrt2/2 {
		m, e = 2*m, e-1
	}
	// ln(1+f) = f - s(f - R) with s = f/(2+f): the series of 2 atanh(s) arranged so that its largest part, f, is exact.
	f := m - 1
	s := f / (2 + f)
	z := float64(s * s)
	p := 2.0 / 23
	p = float64(p*z) + 2.0/21
	p = float64(p*z) + 2.0/19
	p = float64(p*z) + 2.0/17
	p = float64(p*z) + 2.0/15
	p = float64(p*z) + 2.0/13
	p = float64(p*z) + 2.0/11
	p = float64(p*z) + 2.0/9
	p = float64(p*z) + 2.0/7
	p = float64(p*z) + 2.0/5
	p = float64(p*z) + 2.0/3
	half := float64(float64(f*f) / 2)
	k := float64(e)
	c := half - float64(s*(half+float64(z*p))) - float64(k*ln2Lo)
	return float64(k*ln2Hi) - (c - f)
}

// Pow is x to the y for x of zero or more; NaN for x below. The relative error stays within (3 + 2|y ln x|) ulp: enough
// for colour curves and scales, not a correctly rounded power.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case x != x || y != y || x < 0:
		return math.NaN()
	case y == 1:
		return x
	case y == 0.5:
		return math.Sqrt(x)
	case x == 0:
		if y > 0 {
			return 0
		}
		return math.Inf(1)
	case math.IsInf(y, 0):
		if (x > 1) == (y > 0) {
			return math.Inf(1)
		}
		return 0
	}
	return Exp(float64(y * Log(x)))
}

// Hypot is the length of (x, y), within 2 ulp, without overflow or underflow on the way.
func Hypot(x, y float64) float64 {
	x, y = math.Abs(x), math.Abs(y)
	if math.IsInf(x, 1) || math.IsInf(y, 1) {
		return math.Inf(1)
	}
	if x < y {
		x, y = y, x
	}
	if x == 0 || x != x || y != y {
		return x + y
	}
	scale := 1.0
	if x > 0x1p500 || x < 0x1p-500 {
		_, e := math.Frexp(x)
		scale = math.Ldexp(1, -max(e, -1000))
	}
	a, b := float64(x*scale), float64(y*scale)
	return math.Sqrt(float64(a*a)+float64(b*b)) / scale
}

// Cbrt is the cube root, within 2 ulp.
func Cbrt(x float64) float64 {
	a := math.Abs(x)
	if a == 0 || x-x != 0 {
		return x
	}
	m, e := math.Frexp(a)
	shift := ((e % 3) + 3) % 3
	m = math.Ldexp(m, shift) // in [0.5, 4)
	y := Exp(Log(m) / 3)
	y -= (float64(float64(y*y)*y) - m) / float64(3*float64(y*y)) // one step of Newton's
	return math.Copysign(math.Ldexp(y, (e-shift)/3), x)
}
