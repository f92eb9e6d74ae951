package acceptance

import "math"

// keyBits are the bits of a float for comparing values exactly, with -0 taken as 0: both are the same place.
func keyBits(f float32) uint32 {
	if f == 0 {
		return 0
	}
	return math.Float32bits(f)
}
