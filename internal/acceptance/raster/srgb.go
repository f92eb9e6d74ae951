package raster

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
)

// The transfer function of sRGB: IEC 61966-2-1:1999, section 5.2, encoded value to linear light:
//
//	linear = v/12.92                    for v <= 0.04045
//	linear = ((v + 0.055)/1.055)^2.4    above
//
// Both tables follow from it alone. A linear value is encoded to the byte whose exact encoded value is nearest, by
// comparing with the linear values half-way between bytes.

// decodeSRGB is the transfer function for an encoded value.
func decodeSRGB(v float64) float64 {
	if v <= 0.04045 {
		return v / 12.92
	}
	return detmath.Pow((v+0.055)/1.055, 2.4)
}

var (
	// linearOf is the linear value of each encoded byte.
	linearOf [256]float32
	// linearLimit[b] is the linear value half-way between bytes b-1 and b in the encoded scale.
	linearLimit [257]float32
	// byteGuess is the lowest byte for a linear value of i/(len-1), from where a step or two lead to the right one.
	byteGuess [4097]uint8
)

func init() {
	for i := range linearOf {
		linearOf[i] = float32(decodeSRGB(float64(i) / 255))
		linearLimit[i] = float32(decodeSRGB((float64(i) - 0.5) / 255))
	}
	linearLimit[0] = float32(math.Inf(-1))
	linearLimit[256] = float32(math.Inf(1))
	b := 0
	for i := range byteGuess {
		for linearLimit[b+1] <= float32(i)/float32(len(byteGuess)-1) {
			b++
		}
		byteGuess[i] = uint8(b)
	}
}

// Linear is the linear value of an encoded byte.
func Linear(encoded uint8) float32 { return linearOf[encoded] }

// Encode is the encoded byte of a linear value; values outside 0 to 1 and NaN are clamped.
func Encode(linear float32) uint8 {
	if !(linear > 0) {
		return 0
	}
	if linear >= 1 {
		return 255
	}
	b := int(byteGuess[int(linear*float32(len(byteGuess)-1))])
	for linear >= linearLimit[b+1] {
		b++
	}
	return uint8(b)
}
