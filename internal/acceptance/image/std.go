package image

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	stdimage "image"
	"image/color"
	"image/jpeg"
	"strings"
	"unicode/utf16"

	"golang.org/x/image/tiff"
)

// jpegHeader reads a JPEG's size and, if it has one, its colour profile (ICC.1:2010, B.4: APP2 segments).
func jpegHeader(data []byte) (Header, error) {
	h := Header{Format: JPEG, Levels: 1, Bits: 8, FileBits: 8, Channels: 3, Lossy: true}
	cfg, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return h, fmt.Errorf("its header is broken: %w", err)
	}
	h.Width, h.Height = cfg.Width, cfg.Height
	if cfg.ColorModel == color.GrayModel {
		h.Channels = 1
	}
	profile, scan := jpegSegments(data)
	if !bytes.Contains(data[scan:], []byte{0xff, 0xd9}) {
		return h, fmt.Errorf("it has no end marker: %w", ErrShort)
	}
	if profile != nil {
		h.Colour, h.ColourFrom = iccColour(profile), "ICC profile"
	}
	return h, nil
}

// jpegSegments walks the segments in front of the pixels. It returns the first piece of an embedded profile, which holds
// its description, and where the pixels begin: a thumbnail in front of them may have an end marker of its own.
func jpegSegments(data []byte) (profile []byte, scan int) {
	mark := []byte("ICC_PROFILE\x00")
	at := 2
	for at+4 <= len(data) && data[at] == 0xff {
		kind, n := data[at+1], int(binary.BigEndian.Uint16(data[at+2:]))
		if kind == 0xda || n < 2 || at+2+n > len(data) {
			break
		}
		if body := data[at+4 : at+2+n]; profile == nil && kind == 0xe2 && bytes.HasPrefix(body, mark) && len(body) > len(mark)+2 {
			profile = body[len(mark)+2:]
		}
		at += 2 + n
	}
	return profile, min(at, len(data))
}

func decodeJPEG(data []byte, lim Limits, threads int) (*Image, error) {
	h, err := jpegHeader(data)
	if err != nil {
		return nil, err
	}
	if err := lim.check(h); err != nil {
		return nil, err
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	return fromStd(img, h, threads), nil
}

// Tags of TIFF 6.0 (section 8 and supplement) that a header is read from, and of the ICC's annex for profiles.
const (
	tiffWidth, tiffHeight, tiffBits, tiffPhotometric, tiffSamples = 256, 257, 258, 262, 277
	tiffExtra, tiffFormat, tiffICC                                = 338, 339, 34675
)

// tiffHeader reads the first directory of a TIFF.
func tiffHeader(data []byte) (Header, error) {
	h := Header{Format: TIFF, Levels: 1, Bits: 8, FileBits: 1, Channels: 3}
	var order binary.ByteOrder = binary.LittleEndian
	if data[0] == 'M' {
		order = binary.BigEndian
	}
	if len(data) < 8 {
		return h, ErrShort
	}
	at := int64(order.Uint32(data[4:]))
	if at+2 > int64(len(data)) {
		return h, fmt.Errorf("its directory lies behind its end: %w", ErrShort)
	}
	n := int64(order.Uint16(data[at:]))
	if at+2+12*n > int64(len(data)) {
		return h, fmt.Errorf("its directory is cut: %w", ErrShort)
	}
	samples, photometric, extra, number := uint32(1), uint32(0), uint32(0), uint32(1)
	for i := range n {
		e := data[at+2+12*i:][:12]
		v := tiffValue(data, e, order)
		switch order.Uint16(e) {
		case tiffWidth:
			h.Width = int(v)
		case tiffHeight:
			h.Height = int(v)
		case tiffBits:
			h.FileBits = int(v)
		case tiffPhotometric:
			photometric = v
		case tiffSamples:
			samples = v
		case tiffExtra:
			extra = v
		case tiffFormat:
			number = v
		case tiffICC:
			from, size := int64(order.Uint32(e[8:])), int64(order.Uint32(e[4:]))
			if from+size <= int64(len(data)) {
				h.Colour, h.ColourFrom = iccColour(data[from:from+size]), "ICC profile"
			}
		}
	}
	return h, h.tiffKind(samples, photometric, extra, number)
}

// tiffKind fills channels and depth.
func (h *Header) tiffKind(samples, photometric, extra, number uint32) error {
	switch {
	case h.Width <= 0 || h.Height <= 0:
		return errors.New("its header is broken")
	case number != 1:
		return fmt.Errorf("TIFF of signed or floating point numbers: %w", ErrNotRead)
	case photometric <= 1 && samples == 1:
		h.Channels = 1
	case photometric == 2 && samples == 3, photometric == 3 && samples == 1:
		h.Channels = 3
	case photometric == 2 && samples == 4 && extra <= 2:
		h.Channels = 4
	default:
		return fmt.Errorf("TIFF of %d samples of kind %d: %w", samples, photometric, ErrNotRead)
	}
	if photometric == 3 {
		h.Encoding = "palette"
	}
	if h.FileBits == 16 {
		h.Bits = 16
	}
	if h.FileBits != 8 && h.FileBits != 16 && !(h.FileBits == 1 && h.Channels == 1) {
		return fmt.Errorf("TIFF of %d bits a channel: %w", h.FileBits, ErrNotRead)
	}
	return nil
}

// tiffValue is the first value of a directory entry of whole numbers.
func tiffValue(data, entry []byte, order binary.ByteOrder) uint32 {
	kind, count := order.Uint16(entry[2:]), int64(order.Uint32(entry[4:]))
	size := map[uint16]int64{1: 1, 3: 2, 4: 4}[kind]
	from := entry[8:]
	if size*count > 4 {
		at := int64(order.Uint32(entry[8:]))
		if at+size > int64(len(data)) {
			return 0
		}
		from = data[at:]
	}
	switch size {
	case 1:
		return uint32(from[0])
	case 2:
		return uint32(order.Uint16(from))
	case 4:
		return order.Uint32(from)
	}
	return 0
}

func decodeTIFF(data []byte, lim Limits, threads int) (*Image, error) {
	h, err := tiffHeader(data)
	if err != nil {
		return nil, err
	}
	if err := lim.check(h); err != nil {
		return nil, err
	}
	img, err := tiff.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	if b := img.Bounds(); b.Dx() != h.Width || b.Dy() != h.Height {
		return nil, errors.New("its header is broken")
	}
	return fromStd(img, h, threads), nil
}

// fromStd copies an image of the standard library's kinds into the shape that the header says.
func fromStd(img stdimage.Image, h Header, threads int) *Image {
	m := &Image{Header: h}
	m.alloc()
	bands(h.Height, threads, func(from, to int) {
		for y := from; y < to; y++ {
			if m.Bits == 8 && h.Channels == 3 && rowOf3(m, img, y) {
				continue
			}
			stdRow(m, img, y)
		}
	})
	return m
}

// rowOf3 copies an opaque row of the kinds that decoders make of RGB and YCbCr, without a call for each pixel.
func rowOf3(m *Image, img stdimage.Image, y int) bool {
	out := m.Pix8[y*m.Width*3 : (y+1)*m.Width*3]
	b := img.Bounds()
	switch s := img.(type) {
	case *stdimage.YCbCr:
		for x := range m.Width {
			yi, ci := s.YOffset(b.Min.X+x, b.Min.Y+y), s.COffset(b.Min.X+x, b.Min.Y+y)
			out[3*x], out[3*x+1], out[3*x+2] = color.YCbCrToRGB(s.Y[yi], s.Cb[ci], s.Cr[ci])
		}
	case *stdimage.RGBA:
		from := s.Pix[s.PixOffset(b.Min.X, b.Min.Y+y):]
		for x := range m.Width {
			copy(out[3*x:3*x+3], from[4*x:4*x+3])
		}
	default:
		return false
	}
	return true
}

// stdRow copies one row by way of the 16-bit values that each kind can give.
func stdRow(m *Image, img stdimage.Image, y int) {
	b := img.Bounds()
	ch := m.Channels
	var deep [4]uint16
	for x := range m.Width {
		px := b.Min.X + x
		switch s := img.(type) {
		case *stdimage.NRGBA64:
			c := s.NRGBA64At(px, b.Min.Y+y)
			deep = [4]uint16{c.R, c.G, c.B, c.A}
		case *stdimage.NRGBA:
			c := s.NRGBAAt(px, b.Min.Y+y)
			deep = [4]uint16{uint16(c.R) * 257, uint16(c.G) * 257, uint16(c.B) * 257, uint16(c.A) * 257}
		default:
			at := img.At(px, b.Min.Y+y)
			if c, ok := at.(color.NRGBA); ok { // of a palette; the model's way would lose colour under alpha 0
				deep = [4]uint16{uint16(c.R) * 257, uint16(c.G) * 257, uint16(c.B) * 257, uint16(c.A) * 257}
				break
			}
			c := color.NRGBA64Model.Convert(at).(color.NRGBA64)
			deep = [4]uint16{c.R, c.G, c.B, c.A}
		}
		if ch <= 2 {
			deep[1] = deep[3]
		}
		at := (y*m.Width + x) * ch
		for c := range ch {
			if m.Bits == 16 {
				m.Pix16[at+c] = deep[c]
			} else {
				m.Pix8[at+c] = uint8(deep[c] >> 8)
			}
		}
	}
}

// maxProfileBytes bounds what is unpacked of a colour profile; a display profile has a few kilobytes.
const maxProfileBytes = 1 << 20

// iccColour tells from a profile's description (ICC.1:2010, 9.2.41: tag 'desc') whether it is sRGB or linear.
func iccColour(profile []byte) Colour {
	name := strings.ToLower(iccName(profile))
	switch {
	case strings.Contains(name, "linear"):
		return Linear
	case strings.Contains(name, "srgb"):
		return SRGB
	}
	return Profile
}

func iccName(p []byte) string {
	if len(p) < 132 {
		return ""
	}
	for i := range min(int(binary.BigEndian.Uint32(p[128:])), 100) {
		if 132+12*(i+1) > len(p) {
			return ""
		}
		e := p[132+12*i:]
		from, size := int64(binary.BigEndian.Uint32(e[4:])), int64(binary.BigEndian.Uint32(e[8:]))
		if string(e[:4]) != "desc" || from+size > int64(len(p)) {
			continue
		}
		body := p[from : from+size]
		switch {
		case len(body) > 12 && string(body[:4]) == "desc": // ASCII, counted
			n := min(int64(binary.BigEndian.Uint32(body[8:])), int64(len(body)-12))
			return string(body[12 : 12+n])
		case len(body) > 28 && string(body[:4]) == "mluc": // UTF-16 in the first language
			n, at := int64(binary.BigEndian.Uint32(body[20:])), int64(binary.BigEndian.Uint32(body[24:]))
			if at+n > int64(len(body)) {
				return ""
			}
			var units []uint16
			for k := at; k+1 < at+n; k += 2 {
				units = append(units, binary.BigEndian.Uint16(body[k:]))
			}
			return string(utf16.Decode(units))
		}
	}
	return ""
}
