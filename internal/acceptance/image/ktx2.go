package image

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/klauspost/compress/zlib"
	"github.com/klauspost/compress/zstd"
)

var ktx2Magic = []byte("\xabKTX 20\xbb\r\n\x1a\n")

// texels is how a format of KTX2 holds texels: blocks of blockEdge² with bytes each, or single texels where it is 1.
type texels struct {
	name      string
	blockEdge int
	bytes     int
	channels  int
	bits      int
	bgr       bool // blue comes first
	unpack    func(to *[16][4]uint8, block []byte)
}

// ktxFormats are the VkFormats that are decoded (Vulkan 1.3, VkFormat); sRGB is told by the data format descriptor.
var ktxFormats = map[uint32]texels{
	9: {"R8", 1, 1, 1, 8, false, nil}, 15: {"R8", 1, 1, 1, 8, false, nil},
	16: {"R8G8", 1, 2, 2, 8, false, nil}, 22: {"R8G8", 1, 2, 2, 8, false, nil},
	23: {"R8G8B8", 1, 3, 3, 8, false, nil}, 29: {"R8G8B8", 1, 3, 3, 8, false, nil},
	30: {"B8G8R8", 1, 3, 3, 8, true, nil}, 36: {"B8G8R8", 1, 3, 3, 8, true, nil},
	37: {"R8G8B8A8", 1, 4, 4, 8, false, nil}, 43: {"R8G8B8A8", 1, 4, 4, 8, false, nil},
	44: {"B8G8R8A8", 1, 4, 4, 8, true, nil}, 50: {"B8G8R8A8", 1, 4, 4, 8, true, nil},
	70: {"R16", 1, 2, 1, 16, false, nil}, 77: {"R16G16", 1, 4, 2, 16, false, nil},
	84: {"R16G16B16", 1, 6, 3, 16, false, nil}, 91: {"R16G16B16A16", 1, 8, 4, 16, false, nil},
	131: {"BC1", 4, 8, 3, 8, false, unpackBC1}, 132: {"BC1", 4, 8, 3, 8, false, unpackBC1},
	133: {"BC1", 4, 8, 4, 8, false, unpackBC1}, 134: {"BC1", 4, 8, 4, 8, false, unpackBC1},
	137: {"BC3", 4, 16, 4, 8, false, unpackBC3}, 138: {"BC3", 4, 16, 4, 8, false, unpackBC3},
	139: {"BC4", 4, 8, 1, 8, false, unpackBC4}, 141: {"BC5", 4, 16, 2, 8, false, unpackBC5},
}

// Values of a KTX2 header and of the Khronos Data Format descriptor (KTX File Format Specification 2.0, sections 3 and
// 5; Khronos Data Format Specification 1.3, chapter 5).
const (
	ktxHeaderBytes = 80
	ktxLevelBytes  = 24
	schemeNone     = 0
	schemeBasisLZ  = 1
	schemeZstd     = 2
	schemeZlib     = 3
	modelETC1S     = 163
	modelUASTC     = 166
	transferLinear = 1
	transferSRGB   = 2
)

// ktxFile is a KTX2 file with its header read. Its first level is the largest.
type ktxFile struct {
	Header
	texels
	scheme uint32
	first  []byte // the first level's bytes as stored
	size   int64  // and unpacked
}

func scanKTX2(data []byte) (ktxFile, error) {
	f := ktxFile{Header: Header{Format: KTX2, Bits: 8, FileBits: 8, Channels: 4}}
	if len(data) < ktxHeaderBytes+ktxLevelBytes {
		return f, fmt.Errorf("it is shorter than a header: %w", ErrShort)
	}
	le := binary.LittleEndian
	w, h := le.Uint32(data[20:]), le.Uint32(data[24:])
	depth, layers, faces := le.Uint32(data[28:]), le.Uint32(data[32:]), le.Uint32(data[36:])
	levels := max(1, le.Uint32(data[40:]))
	f.scheme = le.Uint32(data[44:])
	if w == 0 || h == 0 || w > 1<<31-1 || h > 1<<31-1 || levels > 32 || depth > 1 || layers > 1 || faces != 1 {
		return f, errors.New("it is no single image of two dimensions")
	}
	f.Width, f.Height, f.Levels = int(w), int(h), int(levels)
	model := f.descriptor(data, le.Uint32(data[48:]), le.Uint32(data[52:]))
	for i := range f.Levels {
		at := ktxHeaderBytes + ktxLevelBytes*i
		if at+ktxLevelBytes > len(data) {
			return f, fmt.Errorf("its list of levels is cut: %w", ErrShort)
		}
		from, n := le.Uint64(data[at:]), le.Uint64(data[at+8:])
		if from > uint64(len(data)) || n > uint64(len(data))-from {
			return f, fmt.Errorf("level %d lies behind the file's end: %w", i, ErrShort)
		}
		if i == 0 {
			f.first, f.size = data[from:from+n], int64(le.Uint64(data[at+16:]))
		}
	}
	return f, f.known(le.Uint32(data[12:]), model)
}

// descriptor reads colour model and transfer function out of the basic data format descriptor.
func (f *ktxFile) descriptor(data []byte, at, n uint32) (model byte) {
	if n < 28 || int64(at)+int64(n) > int64(len(data)) {
		return 0
	}
	d := data[at : at+n]
	switch d[14] {
	case transferLinear:
		f.Colour, f.ColourFrom = Linear, "KTX2 transfer function"
	case transferSRGB:
		f.Colour, f.ColourFrom = SRGB, "KTX2 transfer function"
	}
	return d[12]
}

// known finds the texel format, or says by name what is not decoded.
func (f *ktxFile) known(vk uint32, model byte) error {
	refused := func(what string) error {
		f.Encoding, f.Lossy = what, true
		return fmt.Errorf("KTX2 with %s: %w", what, ErrNotRead)
	}
	switch {
	case f.scheme == schemeBasisLZ || model == modelETC1S:
		return refused("Basis Universal ETC1S")
	case model == modelUASTC:
		return refused("Basis Universal UASTC")
	case f.scheme > schemeZlib:
		return refused(fmt.Sprintf("supercompression %d", f.scheme))
	}
	t, ok := ktxFormats[vk]
	if !ok {
		return refused(ktxName(vk))
	}
	f.texels = t
	f.Channels, f.Bits, f.FileBits = t.channels, t.bits, t.bits
	if t.blockEdge > 1 {
		f.Encoding, f.Lossy = t.name, true
	}
	e := t.blockEdge
	want := int64((f.Width+e-1)/e) * int64((f.Height+e-1)/e) * int64(t.bytes)
	if f.scheme == schemeNone && int64(len(f.first)) < want || f.scheme != schemeNone && f.size != want {
		return fmt.Errorf("its first level has not the bytes that %d × %d texels of %s take: %w", f.Width, f.Height, t.name, ErrShort)
	}
	f.size = want
	return nil
}

// ktxName names the families of formats that are not decoded.
func ktxName(vk uint32) string {
	switch {
	case vk == 135 || vk == 136:
		return "BC2 blocks"
	case vk == 140 || vk == 142:
		return "signed BC4 or BC5 blocks"
	case vk == 143 || vk == 144:
		return "BC6H blocks"
	case vk == 145 || vk == 146:
		return "BC7 blocks"
	case vk >= 147 && vk <= 156:
		return "ETC2 or EAC blocks"
	case vk >= 157 && vk <= 184:
		return "ASTC blocks"
	}
	return fmt.Sprintf("texel format %d", vk)
}

func decodeKTX2(data []byte, lim Limits, threads int) (*Image, error) {
	f, err := scanKTX2(data)
	if err != nil {
		return nil, err
	}
	if err := lim.check(f.Header); err != nil {
		return nil, err
	}
	raw, err := f.unpacked()
	if err != nil {
		return nil, err
	}
	m := &Image{Header: f.Header}
	m.alloc()
	switch {
	case f.blockEdge > 1:
		blocks := (f.Height + 3) / 4
		bands(blocks, threads, func(from, to int) {
			for by := from; by < to; by++ {
				blockRow(m, &f, raw, by)
			}
		})
	case f.bits == 16:
		for i := range m.Pix16 {
			m.Pix16[i] = binary.LittleEndian.Uint16(raw[2*i:])
		}
	default:
		copy(m.Pix8, raw)
		if f.bgr {
			for i := 0; i+2 < len(m.Pix8); i += f.channels {
				m.Pix8[i], m.Pix8[i+2] = m.Pix8[i+2], m.Pix8[i]
			}
		}
	}
	return m, nil
}

// unpacked undoes supercompression. What is allocated is what the size of the image takes.
func (f *ktxFile) unpacked() ([]byte, error) {
	switch f.scheme {
	case schemeZstd:
		d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecodeAllCapLimit(true),
			zstd.WithDecoderMaxMemory(uint64(max(f.size, 1<<20))), zstd.WithDecoderMaxWindow(1<<27))
		if err != nil {
			return nil, err
		}
		defer d.Close()
		if int64(len(f.first)) > 2*f.size+1024 {
			return nil, errors.New("its packed level is longer than unpacked")
		}
		raw, err := d.DecodeAll(f.first, make([]byte, 0, f.size))
		if err != nil || int64(len(raw)) != f.size {
			return nil, errors.Join(errors.New("its texels cannot be unpacked"), err)
		}
		return raw, nil
	case schemeZlib:
		if f.size > deflateRatio*int64(len(f.first)) {
			return nil, fmt.Errorf("its texels: %w", ErrShort)
		}
		z, err := zlib.NewReader(bytes.NewReader(f.first))
		if err != nil {
			return nil, fmt.Errorf("its texels cannot be unpacked: %w", err)
		}
		defer z.Close()
		raw := make([]byte, f.size)
		if _, err := io.ReadFull(z, raw); err != nil {
			return nil, fmt.Errorf("its texels cannot be unpacked: %w", err)
		}
		return raw, nil
	}
	return f.first[:f.size], nil
}

// blockRow decodes one row of 4 × 4 blocks; what hangs over the image's edge is dropped.
func blockRow(m *Image, f *ktxFile, raw []byte, by int) {
	var px [16][4]uint8
	across := (m.Width + 3) / 4
	for bx := range across {
		at := (by*across + bx) * f.bytes
		f.unpack(&px, raw[at:at+f.bytes])
		for y := 0; y < 4 && 4*by+y < m.Height; y++ {
			for x := 0; x < 4 && 4*bx+x < m.Width; x++ {
				copy(m.Pix8[((4*by+y)*m.Width+4*bx+x)*m.Channels:][:m.Channels], px[4*y+x][:m.Channels])
			}
		}
	}
}
