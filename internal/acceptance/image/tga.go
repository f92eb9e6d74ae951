package image

import (
	"encoding/binary"
	"errors"
	"fmt"
)

// tgaFile is a TGA file with its header read (Truevision TGA File Format Specification 2.0, 1991, from memory; the files
// that an independent encoder writes are read back in the tests).
type tgaFile struct {
	Header
	kind    uint8 // 1 palette, 2 true colour, 3 grey; 9 to 11 the same run-length encoded
	bits    int   // of a stored pixel
	palette []byte
	palBits int
	palFrom int // index of the palette's first entry
	pixels  []byte
	flipX   bool
	flipY   bool
}

const tgaHeaderBytes = 18

func tgaHeader(data []byte) (tgaFile, error) {
	var t tgaFile
	if len(data) < tgaHeaderBytes {
		return t, fmt.Errorf("it is shorter than a header: %w", ErrShort)
	}
	le := binary.LittleEndian
	t.kind, t.bits = data[2], int(data[16])
	t.Format, t.Levels, t.Bits, t.FileBits = TGA, 1, 8, 8
	t.Width, t.Height = int(le.Uint16(data[12:])), int(le.Uint16(data[14:]))
	attribute := int(data[17] & 15)
	t.flipX, t.flipY = data[17]&0x10 != 0, data[17]&0x20 == 0 // bit 5 clear: the first row is the lowest
	if !t.shape(data, attribute) || t.Width == 0 || t.Height == 0 {
		return t, errors.New("it is no TGA image that is known: true colour of 15, 16, 24 or 32 bits, grey of 8 or 16, or a palette of 8")
	}
	at := tgaHeaderBytes + int(data[0])
	if data[1] == 1 {
		n := int(le.Uint16(data[5:])) * ((int(data[7]) + 7) / 8)
		if len(data) < at+n {
			return t, fmt.Errorf("the palette is cut: %w", ErrShort)
		}
		t.palette, t.palBits, t.palFrom = data[at:at+n], int(data[7]), int(le.Uint16(data[3:]))
		at += n
	}
	if at > len(data) {
		return t, fmt.Errorf("it ends before its pixels: %w", ErrShort)
	}
	t.pixels = data[at:]
	each := int64((t.bits + 7) / 8)
	need := int64(t.Width) * int64(t.Height) * each
	if t.kind > 8 { // a packet holds at most 128 pixels in 1 + each bytes
		need = (int64(t.Width)*int64(t.Height) + 127) / 128 * (1 + each)
	}
	if int64(len(t.pixels)) < need {
		return t, fmt.Errorf("it has fewer pixels than its header says: %w", ErrShort)
	}
	return t, nil
}

// shape fills channels and depth and says whether kind and bits go together.
func (t *tgaFile) shape(data []byte, attribute int) bool {
	switch {
	case t.kind&7 == 1 && t.bits == 8 && data[1] == 1:
		t.Channels = map[uint8]int{15: 3, 16: 3, 24: 3, 32: 4}[data[7]]
		t.Encoding = "palette"
	case t.kind&7 == 2 && (t.bits == 15 || t.bits == 16):
		t.Channels, t.FileBits = 3, 5
	case t.kind&7 == 2 && t.bits == 24:
		t.Channels = 3
	case t.kind&7 == 2 && t.bits == 32:
		t.Channels = 4
	case t.kind&7 == 3 && t.bits == 8:
		t.Channels = 1
	case t.kind&7 == 3 && t.bits == 16 && attribute == 8:
		t.Channels = 2
	}
	return t.Channels > 0 && (t.kind < 4 || t.kind > 8 && t.kind < 12)
}

func decodeTGA(data []byte, lim Limits) (*Image, error) {
	t, err := tgaHeader(data)
	if err != nil {
		return nil, err
	}
	if err := lim.check(t.Header); err != nil {
		return nil, err
	}
	m := &Image{Header: t.Header}
	m.alloc()
	each := (t.bits + 7) / 8
	stored := t.pixels
	if t.kind > 8 {
		if stored, err = tgaUnpack(t.pixels, m.Width*m.Height, each); err != nil {
			return nil, err
		}
	}
	for y := range m.Height {
		row := y
		if t.flipY {
			row = m.Height - 1 - y
		}
		to := m.Pix8[row*m.Width*m.Channels : (row+1)*m.Width*m.Channels]
		if err := t.row(to, stored[y*m.Width*each:(y+1)*m.Width*each]); err != nil {
			return nil, err
		}
		if t.flipX {
			mirror(to, m.Channels)
		}
	}
	return m, nil
}

// tgaUnpack undoes run-length encoding: a packet is a count byte, whose upper bit says that one pixel follows for all.
func tgaUnpack(in []byte, pixels, each int) ([]byte, error) {
	out := make([]byte, pixels*each)
	for at, from := 0, 0; at < len(out); {
		if from >= len(in) {
			return nil, fmt.Errorf("it has fewer pixels than its header says: %w", ErrShort)
		}
		count := min((int(in[from]&127)+1)*each, len(out)-at)
		same := in[from]&128 != 0
		from++
		take := count
		if same {
			take = each
		}
		if from+take > len(in) {
			return nil, fmt.Errorf("it has fewer pixels than its header says: %w", ErrShort)
		}
		if n := copy(out[at:at+count], in[from:from+take]); same {
			for ; n < count; n *= 2 {
				copy(out[at+n:at+count], out[at:at+n])
			}
		}
		at += count
		from += take
	}
	return out, nil
}

// row converts one stored row: blue comes first.
func (t *tgaFile) row(to, from []byte) error {
	switch {
	case t.kind&7 == 1:
		each := (t.palBits + 7) / 8
		for x, v := range from {
			at := (int(v) - t.palFrom) * each
			if at < 0 || at+each > len(t.palette) {
				return errors.New("a pixel names a colour that its palette does not hold")
			}
			tgaPixel(to[x*t.Channels:(x+1)*t.Channels], t.palette[at:at+each])
		}
	case t.Channels == 1 || t.Channels == 2:
		copy(to, from)
	case t.Channels == 3 && t.bits == 24:
		for i := 0; i+2 < len(to) && i+2 < len(from); i += 3 {
			to[i], to[i+1], to[i+2] = from[i+2], from[i+1], from[i]
		}
	case t.Channels == 4:
		for i := 0; i+3 < len(to) && i+3 < len(from); i += 4 {
			to[i], to[i+1], to[i+2], to[i+3] = from[i+2], from[i+1], from[i], from[i+3]
		}
	default:
		for x := range t.Width {
			tgaPixel(to[3*x:3*x+3], from[2*x:2*x+2])
		}
	}
	return nil
}

func tgaPixel(to, from []byte) {
	if len(from) == 2 { // five bits each, widened by repeating the upper bits
		v := binary.LittleEndian.Uint16(from)
		five := func(s uint) uint8 { b := uint8(v>>s) & 31; return b<<3 | b>>2 }
		to[0], to[1], to[2] = five(10), five(5), five(0)
		return
	}
	to[0], to[1], to[2] = from[2], from[1], from[0]
	if len(to) == 4 {
		to[3] = from[3]
	}
}

func mirror(row []byte, channels int) {
	for a, b := 0, len(row)/channels-1; a < b; a, b = a+1, b-1 {
		for c := range channels {
			row[a*channels+c], row[b*channels+c] = row[b*channels+c], row[a*channels+c]
		}
	}
}
