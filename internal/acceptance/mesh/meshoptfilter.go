package mesh

import (
	"encoding/binary"
	"math"
)

// meshoptFilter undoes a filter in place (EXT_meshopt_compression, appendix B "Filters").
func meshoptFilter(name string, data []byte, stride int) error {
	switch {
	case name == "" || name == "NONE":
	case name == "OCTAHEDRAL" && stride == 4:
		for i := 0; i+4 <= len(data); i += 4 {
			v := octahedral(float32(int8(data[i])), float32(int8(data[i+1])), float32(int8(data[i+2])), 127)
			data[i], data[i+1], data[i+2] = byte(v[0]), byte(v[1]), byte(v[2])
		}
	case name == "OCTAHEDRAL" && stride == 8:
		for i := 0; i+8 <= len(data); i += 8 {
			for c, v := range octahedral(shortAt(data, i), shortAt(data, i+2), shortAt(data, i+4), 32767) {
				binary.LittleEndian.PutUint16(data[i+2*c:], uint16(v))
			}
		}
	case name == "QUATERNION" && stride == 8:
		for i := 0; i+8 <= len(data); i += 8 {
			quaternion(data[i : i+8])
		}
	case name == "EXPONENTIAL" && stride%4 == 0:
		for i := 0; i+4 <= len(data); i += 4 {
			v := int32(binary.LittleEndian.Uint32(data[i:]))
			binary.LittleEndian.PutUint32(data[i:], math.Float32bits(exponential(v)))
		}
	default:
		return errMeshopt
	}
	return nil
}

func shortAt(b []byte, i int) float32 { return float32(int16(binary.LittleEndian.Uint16(b[i:]))) }

// away rounds to the nearest whole number, halves away from zero.
func away(v float32) int32 {
	if v >= 0 {
		return int32(v + 0.5)
	}
	return int32(v - 0.5)
}

// octahedral unfolds a unit vector: x and y are its place on the octahedron where one stands for 1; full is 1 in the result.
func octahedral(x, y, one, full float32) [3]int32 {
	abs := func(v float32) float32 { return math.Float32frombits(math.Float32bits(v) &^ (1 << 31)) }
	z := one - abs(x) - abs(y)
	if t := min(z, 0); t < 0 { // the lower half is folded over
		if x >= 0 {
			x += t
		} else {
			x -= t
		}
		if y >= 0 {
			y += t
		} else {
			y -= t
		}
	}
	length := float32(math.Sqrt(float64(float32(float32(x*x)+float32(y*y)) + float32(z*z))))
	if length == 0 {
		return [3]int32{}
	}
	s := full / length
	return [3]int32{away(float32(x * s)), away(float32(y * s)), away(float32(z * s))}
}

// quaternion rebuilds the largest of four components from the other three; the fourth value holds their scale and, in its
// two lowest bits, which one it is.
func quaternion(b []byte) {
	last := int16(binary.LittleEndian.Uint16(b[6:]))
	largest := int(last & 3)
	s := float32(math.Sqrt2/2) / float32(last|3)
	x, y, z := float32(shortAt(b, 0)*s), float32(shortAt(b, 2)*s), float32(shortAt(b, 4)*s)
	w := float32(math.Sqrt(float64(max(0, 1-float32(x*x)-float32(y*y)-float32(z*z)))))
	for k, v := range [4]float32{x, y, z, w} {
		at := (largest + 1 + k) & 3
		binary.LittleEndian.PutUint16(b[2*at:], uint16(away(float32(v*32767))))
	}
}

// exponential is a number of 24 bits with sign, scaled by two to the upper eight.
func exponential(v int32) float32 {
	mantissa, power := v<<8>>8, v>>24
	return float32(float32(mantissa) * math.Float32frombits(uint32(power+127)<<23))
}
