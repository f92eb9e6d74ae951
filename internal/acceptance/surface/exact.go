package surface

import (
	"math"
	"math/big"

	"proofhouse/internal/acceptance/topo"
)

// orient is topo.Orient: the sign of the volume of (a-d, b-d, c-d), exact.
func orient(a, b, c, d vec) int { return topo.Orient(a, b, c, d) }

// exactBits holds any product of two differences of float32 numbers: exponents from -149 to 127, so 278 bits a difference.
const exactBits = 600

// turn is the sign of the area of a, b, c: above zero for a left turn. Exact as orient is.
func turn(a, b, c point2) int {
	l, r := float64((a[0]-c[0])*(b[1]-c[1])), float64((a[1]-c[1])*(b[0]-c[0]))
	const errorShare = 3.4e-16 // (3 + 16ε)ε
	if det, size := l-r, math.Abs(l)+math.Abs(r); det > errorShare*size {
		return 1
	} else if det < -errorShare*size {
		return -1
	} else if size == 0 {
		return 0
	}
	diff := func(x, y float64) *big.Float { return new(big.Float).SetPrec(exactBits).Sub(exact(x), exact(y)) }
	return less(times(diff(a[0], c[0]), diff(b[1], c[1])), times(diff(a[1], c[1]), diff(b[0], c[0]))).Sign()
}

func exact(x float64) *big.Float { return new(big.Float).SetPrec(exactBits).SetFloat64(x) }

func times(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(exactBits).Mul(a, b) }

func less(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(exactBits).Sub(a, b) }
