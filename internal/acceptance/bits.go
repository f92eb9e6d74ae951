package acceptance

import (
	"math"
	"math/bits"
)

// keyBits are the bits of a float for comparing values exactly, with -0 taken as 0: both are the same place.
func keyBits(f float32) uint32 {
	if f == 0 {
		return 0
	}
	return math.Float32bits(f)
}

// fold mixes two words by multiplying them and folding the 128-bit product, which spreads low bits over the whole word.
func fold(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a, b)
	return hi ^ lo
}
