package image

import (
	"bytes"
	"errors"
	"fmt"
	stdimage "image"
	"path"
	"strings"
)

var (
	// ErrTooLarge is returned for an image whose header claims more than the limits allow; nothing was decoded.
	ErrTooLarge = errors.New("image too large")
	// ErrNotRead is returned for a format that is known but not decoded here; the message names it.
	ErrNotRead = errors.New("not decoded here")
	// ErrUnknown is returned for data that are no image of any known format.
	ErrUnknown = errors.New("no image of a known format")
	// ErrShort is returned for a file that ends before its image does.
	ErrShort = errors.New("the file was cut short")
)

// Format is a file format.
type Format string

// The formats that are told apart.
const (
	PNG  Format = "PNG"
	JPEG Format = "JPEG"
	TIFF Format = "TIFF"
	TGA  Format = "TGA"
	KTX2 Format = "KTX2"
	WebP Format = "WebP"
	EXR  Format = "OpenEXR"
)

// Limits bound what is decoded. A zero field takes its default.
type Limits struct {
	Edge   int   // pixels of the longer edge; 16384
	Pixels int64 // pixels in all; 8192², so that 16-bit RGBA takes 512 MiB
}

func (l Limits) check(h Header) error {
	if l.Edge <= 0 {
		l.Edge = 16384
	}
	if l.Pixels <= 0 {
		l.Pixels = 8192 * 8192
	}
	if h.Width > l.Edge || h.Height > l.Edge || int64(h.Width)*int64(h.Height) > l.Pixels {
		return fmt.Errorf("%d × %d pixels, %d an edge and %d in all allowed: %w", h.Width, h.Height, l.Edge, l.Pixels, ErrTooLarge)
	}
	return nil
}

// Colour is what a file says of its values' meaning.
type Colour string

// What a file may say.
const (
	Undeclared Colour = ""       // nothing: glTF and every engine go by the map's use
	SRGB       Colour = "sRGB"   // an sRGB chunk, profile or transfer function
	Linear     Colour = "linear" // gamma 1 or a linear transfer function
	Profile    Colour = "other"  // another colour profile or gamma
)

// Header is what an image's header says.
type Header struct {
	Format        Format
	Width, Height int
	Channels      int    // 1 grey (or red), 2 grey and alpha (in KTX2 red and green), 3 RGB, 4 RGBA with straight alpha
	Bits          int    // of a channel as it comes out of Decode: 8 or 16
	FileBits      int    // of a channel as the file holds it, after any palette: 1, 2, 4, 8 or 16; 5 for 15-bit TGA
	Lossy         bool   // values are near those that were painted and not equal to them
	Levels        int    // mip levels in the file; 1 unless it is KTX2
	Colour        Colour // as declared
	ColourFrom    string // what declared it, as "sRGB chunk"; "" where nothing did
	Encoding      string // block compression or other encoding inside the container, "" where there is none worth naming
}

// Image is a decoded image. Of Pix8 and Pix16 the one that Bits names is set, with Width × Height × Channels values.
type Image struct {
	Header
	Pix8  []uint8
	Pix16 []uint16
}

func (m *Image) alloc() {
	n := m.Width * m.Height * m.Channels
	if m.Bits == 16 {
		m.Pix16 = make([]uint16, n)
	} else {
		m.Pix8 = make([]uint8, n)
	}
}

// Value is one channel of one pixel, 0 to 1. Loops over whole images read Pix8 or Pix16 themselves.
func (m *Image) Value(x, y, channel int) float32 {
	i := (y*m.Width+x)*m.Channels + channel
	if m.Bits == 16 {
		return float32(m.Pix16[i]) / 65535
	}
	return float32(m.Pix8[i]) / 255
}

// Row16 writes row y into to as 16-bit values, Width × Channels of them; 8-bit values are widened exactly (v × 257).
func (m *Image) Row16(to []uint16, y int) []uint16 {
	n := m.Width * m.Channels
	to = to[:n]
	if m.Bits == 16 {
		copy(to, m.Pix16[y*n:])
		return to
	}
	for i, v := range m.Pix8[y*n : (y+1)*n] {
		to[i] = uint16(v) * 257
	}
	return to
}

// HasAlpha says whether the last channel is alpha.
func (m *Image) HasAlpha() bool {
	return m.Channels == 4 || m.Channels == 2 && m.Format != KTX2
}

// Std is the image as the standard library has it, with the depth it has: Gray, Gray16, NRGBA or NRGBA64. 8-bit grey and
// RGBA share their pixels with the result.
func (m *Image) Std() stdimage.Image {
	r := stdimage.Rect(0, 0, m.Width, m.Height)
	if m.Bits == 8 && m.Channels == 1 {
		return &stdimage.Gray{Pix: m.Pix8, Stride: m.Width, Rect: r}
	}
	if m.Bits == 8 && m.Channels == 4 {
		return &stdimage.NRGBA{Pix: m.Pix8, Stride: 4 * m.Width, Rect: r}
	}
	if m.Bits == 8 {
		out := stdimage.NewNRGBA(r)
		for p := range m.Width * m.Height {
			spread(out.Pix[4*p:4*p+4], m.Pix8[p*m.Channels:(p+1)*m.Channels], 255)
		}
		return out
	}
	put := func(to []uint8, v uint16) { to[0], to[1] = uint8(v>>8), uint8(v) }
	if m.Channels == 1 {
		out := stdimage.NewGray16(r)
		for p, v := range m.Pix16 {
			put(out.Pix[2*p:], v)
		}
		return out
	}
	out := stdimage.NewNRGBA64(r)
	var px [4]uint16
	for p := range m.Width * m.Height {
		spread(px[:], m.Pix16[p*m.Channels:(p+1)*m.Channels], 65535)
		for c, v := range px {
			put(out.Pix[8*p+2*c:], v)
		}
	}
	return out
}

// spread writes a pixel of two to four channels as RGBA; two are grey and alpha.
func spread[T uint8 | uint16](to, from []T, full T) {
	switch len(from) {
	case 2:
		to[0], to[1], to[2], to[3] = from[0], from[0], from[0], from[1]
	case 3:
		to[0], to[1], to[2], to[3] = from[0], from[1], from[2], full
	default:
		copy(to, from)
	}
}

// Kind tells a format by its first bytes, TGA (which has no mark) by the name's ending; "" where it is none.
func Kind(name string, data []byte) Format {
	switch {
	case bytes.HasPrefix(data, pngMagic):
		return PNG
	case bytes.HasPrefix(data, []byte{0xFF, 0xD8, 0xFF}):
		return JPEG
	case bytes.HasPrefix(data, []byte("II*\x00")), bytes.HasPrefix(data, []byte("MM\x00*")):
		return TIFF
	case len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "WEBP":
		return WebP
	case bytes.HasPrefix(data, ktx2Magic):
		return KTX2
	case bytes.HasPrefix(data, []byte{0x76, 0x2f, 0x31, 0x01}):
		return EXR
	case strings.EqualFold(path.Ext(name), ".tga"):
		return TGA
	}
	return ""
}

// ReadHeader reads what an image's header says and finds files that are cut short or whose checksums do not match,
// without decoding. It allocates nothing of the image's size.
func ReadHeader(name string, data []byte) (h Header, err error) {
	defer caught(&err)
	switch k := Kind(name, data); k {
	case PNG:
		var p pngFile
		p, err = scanPNG(data)
		h = p.Header
	case JPEG:
		h, err = jpegHeader(data)
	case TIFF:
		h, err = tiffHeader(data)
	case TGA:
		var t tgaFile
		t, err = tgaHeader(data)
		h = t.Header
	case KTX2:
		var f ktxFile
		f, err = scanKTX2(data)
		h = f.Header
	case WebP, EXR:
		return Header{Format: k}, fmt.Errorf("%s: %w", k, ErrNotRead)
	default:
		return Header{}, ErrUnknown
	}
	return h, err
}

// Decode decodes an image; name is its file name, of which only the ending is read. threads is how many may work; the
// result does not depend on it. Errors wrap ErrTooLarge, ErrNotRead, ErrUnknown or ErrShort where one of them says what
// is the matter; other errors say that the data are broken.
func Decode(name string, data []byte, lim Limits, threads int) (m *Image, err error) {
	defer func() {
		if err != nil {
			m = nil
		}
	}()
	defer caught(&err)
	switch k := Kind(name, data); k {
	case PNG:
		return decodePNG(data, lim, threads)
	case JPEG:
		return decodeJPEG(data, lim, threads)
	case TIFF:
		return decodeTIFF(data, lim, threads)
	case TGA:
		return decodeTGA(data, lim)
	case KTX2:
		return decodeKTX2(data, lim, threads)
	case WebP, EXR:
		return nil, fmt.Errorf("%s: %w", k, ErrNotRead)
	}
	return nil, ErrUnknown
}

// caught turns a panic into an error: decoders are partly a library's, and the bytes a stranger's.
func caught(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("the data are broken (%v)", p)
	}
}
