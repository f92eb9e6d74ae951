package detmath

import (
	"math"
	"math/big"
	"sync"
)

// Pi/2 in three parts (Cody & Waite, "Software Manual for the Elementary Functions", 1980, chapter 8): the first two have
// 33 bits each, so that their products with a whole number below 2^20 are exact.
const (
	halfPi1 = 1.57079632673412561417e+00
	halfPi2 = 6.07710050630396597660e-11
	halfPi3 = 2.02226624879595063154e-21

	smallAngle = 1e6 // radians; beyond, the angle is reduced with big numbers
)

// Sin is the sine of x radians, within 2 ulp for |x| up to 1e6 and as exact beyond (slowly). NaN for the infinities.
func Sin(x float64) float64 {
	n, r, tail := reduce(x)
	switch n & 3 {
	case 0:
		return sinNear(r, tail)
	case 1:
		return cosNear(r, tail)
	case 2:
		return -sinNear(r, tail)
	}
	return -cosNear(r, tail)
}

// Cos is the cosine of x radians, within 2 ulp as Sin is.
func Cos(x float64) float64 {
	n, r, tail := reduce(x)
	switch n & 3 {
	case 0:
		return cosNear(r, tail)
	case 1:
		return -sinNear(r, tail)
	case 2:
		return -cosNear(r, tail)
	}
	return sinNear(r, tail)
}

// Sincos gives both at the price of little more than one.
func Sincos(x float64) (sin, cos float64) {
	n, r, tail := reduce(x)
	s, c := sinNear(r, tail), cosNear(r, tail)
	switch n & 3 {
	case 0:
		return s, c
	case 1:
		return c, -s
	case 2:
		return -s, -c
	}
	return -c, s
}

// Tan is the tangent of x radians, within 4 ulp.
func Tan(x float64) float64 {
	s, c := Sincos(x)
	return s / c
}

// reduce gives n and r + tail with x = n*Pi/2 + r + tail, |r| at most a little over Pi/4. Only n's two lowest bits count.
func reduce(x float64) (n int, r, tail float64) {
	if x-x != 0 {
		return 0, math.NaN(), 0
	}
	if math.Abs(x) <= math.Pi/4 {
		return 0, x, 0
	}
	if math.Abs(x) > smallAngle {
		return reduceBig(x)
	}
	whole := math.Floor(float64(x*(2/math.Pi)) + 0.5)
	w := x - float64(whole*halfPi1)
	b := float64(whole * halfPi2)
	r = w - b
	// What the subtraction rounded away (Knuth's two-sum), and the third part.
	back := w - r
	tail = (w - (r + back)) + (back - b)
	tail -= float64(whole * halfPi3)
	sum := r + tail
	return int(whole), sum, (r - sum) + tail
}

// bits is enough for the largest float64, just below 2^1024, to leave more than 200 good bits after the reduction.
const bits = 1300

// halfPi is Pi/2 by Machin's formula, Pi/4 = 4 atan(1/5) - atan(1/239), in whole numbers.
var halfPi = sync.OnceValue(func() *big.Float {
	one := new(big.Int).Lsh(big.NewInt(1), bits)
	atanInv := func(q int64) *big.Int {
		sum, term, q2 := new(big.Int), new(big.Int).Div(one, big.NewInt(q)), big.NewInt(q*q)
		for k := int64(1); term.Sign() != 0; k += 2 {
			part := new(big.Int).Div(term, big.NewInt(k))
			if k%4 == 1 {
				sum.Add(sum, part)
			} else {
				sum.Sub(sum, part)
			}
			term.Div(term, q2)
		}
		return sum
	}
	quarter := new(big.Int).Mul(atanInv(5), big.NewInt(4))
	quarter.Sub(quarter, atanInv(239))
	half := new(big.Float).SetPrec(bits).SetInt(quarter)
	return half.SetMantExp(half, 1-bits)
})

func reduceBig(x float64) (n int, r, tail float64) {
	pi := halfPi()
	v := new(big.Float).SetPrec(bits).SetFloat64(x)
	q, _ := new(big.Float).SetPrec(bits).Quo(v, pi).Int(nil)
	rest := new(big.Float).SetPrec(bits).SetInt(q)
	rest.Sub(v, rest.Mul(rest, pi))
	r, _ = rest.Float64()
	for r > math.Pi/4 {
		q.Add(q, big.NewInt(1))
		rest.Sub(rest, pi)
		r, _ = rest.Float64()
	}
	for r < -math.Pi/4 {
		q.Sub(q, big.NewInt(1))
		rest.Add(rest, pi)
		r, _ = rest.Float64()
	}
	tail, _ = rest.Sub(rest, new(big.Float).SetFloat64(r)).Float64()
	return int(new(big.Int).And(q, big.NewInt(3)).Int64()), r, tail
}

// sinNear is sin(r + tail) for |r| up to Pi/4 by its Taylor series; the first term left out is below 2^-63 of the sum.
func sinNear(r, tail float64) float64 {
	z := float64(r * r)
	p := -1.0 / 121645100408832000 // 19!
	p = float64(p*z) + 1.0/355687428096000
	p = float64(p*z) - 1.0/1307674368000
	p = float64(p*z) + 1.0/6227020800
	p = float64(p*z) - 1.0/39916800
	p = float64(p*z) + 1.0/362880
	p = float64(p*z) - 1.0/5040
	p = float64(p*z) + 1.0/120
	p = float64(p*z) - 1.0/6
	if r == 0 {
		return r // keeps the sign of zero
	}
	slope := 1 - float64(z/2) // cos(r), as far as a tail needs it
	return r + (float64(float64(r*z)*p) + float64(tail*slope))
}

// cosNear is cos(r + tail), likewise.
func cosNear(r, tail float64) float64 {
	z := float64(r * r)
	p := 1.0 / 2432902008176640000 // 20!
	p = float64(p*z) - 1.0/6402373705728000
	p = float64(p*z) + 1.0/20922789888000
	p = float64(p*z) - 1.0/87178291200
	p = float64(p*z) + 1.0/479001600
	p = float64(p*z) - 1.0/3628800
	p = float64(p*z) + 1.0/40320
	p = float64(p*z) - 1.0/720
	p = float64(p*z) + 1.0/24
	half := float64(z / 2)
	w := 1 - half
	return w + (((1 - w) - half) + (float64(float64(z*z)*p) - float64(r*tail)))
}
