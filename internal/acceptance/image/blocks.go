package image

import "encoding/binary"

// Block formats as in the Khronos Data Format Specification 1.3, chapters 18 (S3TC: BC1, BC3) and 19 (RGTC: BC4, BC5).
// Interpolated values are rounded to the nearest byte; processors may differ by one.

// unpackColours is the colour half of BC1 and BC3. In BC1 a first colour that is not above the second means three
// colours and clear black.
func unpackColours(to *[16][4]uint8, b []byte, threeToo bool) {
	c0, c1 := binary.LittleEndian.Uint16(b), binary.LittleEndian.Uint16(b[2:])
	var pal [4][4]uint8
	pal[0], pal[1] = from565(c0), from565(c1)
	pal[2][3], pal[3][3] = 255, 255
	for c := range 3 {
		a, d := int(pal[0][c]), int(pal[1][c])
		if c0 > c1 || !threeToo {
			pal[2][c], pal[3][c] = uint8((2*a+d+1)/3), uint8((a+2*d+1)/3)
		} else {
			pal[2][c] = uint8((a + d + 1) / 2)
		}
	}
	if c0 <= c1 && threeToo {
		pal[3] = [4]uint8{}
	}
	bits := binary.LittleEndian.Uint32(b[4:])
	for i := range to {
		to[i] = pal[bits&3]
		bits >>= 2
	}
}

func from565(c uint16) [4]uint8 {
	r, g, b := uint8(c>>11), uint8(c>>5&63), uint8(c&31)
	return [4]uint8{r<<3 | r>>2, g<<2 | g>>4, b<<3 | b>>2, 255}
}

func unpackBC1(to *[16][4]uint8, b []byte) { unpackColours(to, b, true) }

func unpackBC3(to *[16][4]uint8, b []byte) {
	unpackColours(to, b[8:], false)
	unpackValues(to, b, 3)
}

func unpackBC4(to *[16][4]uint8, b []byte) { unpackValues(to, b, 0) }

func unpackBC5(to *[16][4]uint8, b []byte) {
	unpackValues(to, b, 0)
	unpackValues(to, b[8:], 1)
}

// unpackValues is one channel of two end values and three bits a texel.
func unpackValues(to *[16][4]uint8, b []byte, channel int) {
	v0, v1 := int(b[0]), int(b[1])
	pal := [8]uint8{b[0], b[1]}
	if v0 > v1 {
		for i := 2; i < 8; i++ {
			pal[i] = uint8(((8-i)*v0 + (i-1)*v1 + 3) / 7)
		}
	} else {
		for i := 2; i < 6; i++ {
			pal[i] = uint8(((6-i)*v0 + (i-1)*v1 + 2) / 5)
		}
		pal[7] = 255
	}
	bits := uint64(binary.LittleEndian.Uint16(b[2:])) | uint64(binary.LittleEndian.Uint32(b[4:]))<<16
	for i := range to {
		to[i][channel] = pal[bits&7]
		bits >>= 3
	}
}
