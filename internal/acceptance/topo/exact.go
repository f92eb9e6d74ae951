package topo

import (
	"math"
	"math/big"
)

// Orient is the sign of the volume of (a-d, b-d, c-d): above zero where d lies below the plane that a, b, c wind
// counter-clockwise seen from above. It is exact for coordinates that are float32 numbers: where float64 cannot tell, the
// determinant is done again with enough bits (the filter is that of Shewchuk, Adaptive Precision Floating-Point
// Arithmetic and Fast Robust Geometric Predicates, 1997).
func Orient(a, b, c, d vec) int {
	x, y, z := sub(a, d), sub(b, d), sub(c, d)
	yz0, yz1, yz2 := float64(y[1]*z[2]), float64(y[2]*z[0]), float64(y[0]*z[1])
	zy0, zy1, zy2 := float64(y[2]*z[1]), float64(y[0]*z[2]), float64(y[1]*z[0])
	det := float64(x[0]*(yz0-zy0)) + float64(x[1]*(yz1-zy1)) + float64(x[2]*(yz2-zy2))
	size := float64(math.Abs(x[0])*(math.Abs(yz0)+math.Abs(zy0))) + float64(math.Abs(x[1])*(math.Abs(yz1)+math.Abs(zy1))) +
		float64(math.Abs(x[2])*(math.Abs(yz2)+math.Abs(zy2)))
	const errorShare = 8e-16 // (7 + 56ε)ε for ε = 2^-53, rounded up
	switch {
	case det > errorShare*size:
		return 1
	case det < -errorShare*size:
		return -1
	case size == 0:
		return 0
	}
	return orientExact(a, b, c, d)
}

// exactBits holds any product of three differences of float32 numbers: exponents from -149 to 127, so 278 bits a
// difference, three times that and the carries of the sums.
const exactBits = 900

func orientExact(a, b, c, d vec) int {
	var m [3][3]*big.Float
	for i, p := range [3]vec{a, b, c} {
		for k := range 3 {
			m[i][k] = bigOf().Sub(bigOf().SetFloat64(p[k]), bigOf().SetFloat64(d[k]))
		}
	}
	minor := func(i, j int) *big.Float {
		return bigOf().Sub(bigOf().Mul(m[1][i], m[2][j]), bigOf().Mul(m[1][j], m[2][i]))
	}
	sum := bigOf().Mul(m[0][0], minor(1, 2))
	sum.Add(sum, bigOf().Mul(m[0][1], minor(2, 0)))
	sum.Add(sum, bigOf().Mul(m[0][2], minor(0, 1)))
	return sum.Sign()
}

func bigOf() *big.Float { return new(big.Float).SetPrec(exactBits) }
