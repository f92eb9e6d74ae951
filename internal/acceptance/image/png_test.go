package image

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	stdpng "image/png"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// pngChunk appends one chunk with its checksum.
func pngChunk(to []byte, name string, body []byte) []byte {
	to = binary.BigEndian.AppendUint32(to, uint32(len(body)))
	at := len(to)
	to = append(append(to, name...), body...)
	return binary.BigEndian.AppendUint32(to, crc32.ChecksumIEEE(to[at:]))
}

// rawPNG is a PNG of filtered rows as given; extra are chunks that stand before the pixels, pieces the number of IDAT.
type rawPNG struct {
	w, h, bits, kind int
	rows             []byte
	extra            [][2]string
	pieces           int
}

func (r rawPNG) bytes() []byte {
	head := binary.BigEndian.AppendUint32(nil, uint32(r.w))
	head = binary.BigEndian.AppendUint32(head, uint32(r.h))
	out := pngChunk(bytes.Clone(pngMagic), "IHDR", append(head, byte(r.bits), byte(r.kind), 0, 0, 0))
	for _, e := range r.extra {
		out = pngChunk(out, e[0], []byte(e[1]))
	}
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	w.Write(r.rows)
	w.Close()
	n := max(1, r.pieces)
	for i := range n {
		out = pngChunk(out, "IDAT", z.Bytes()[i*z.Len()/n:(i+1)*z.Len()/n])
	}
	return pngChunk(out, "IEND", nil)
}

// sameAsStd holds an image against the one that image/png decodes from the same bytes.
func sameAsStd(t require.TestingT, data []byte, threads int) *Image {
	want, err := stdpng.Decode(bytes.NewReader(data))
	require.NoError(t, err)
	got, err := Decode("a.png", data, Limits{}, threads)
	require.NoError(t, err)
	require.Equal(t, want.Bounds().Size(), got.Std().Bounds().Size())
	ref := fromStd(want, got.Header, 1)
	require.Equal(t, ref.Pix8, got.Pix8)
	require.Equal(t, ref.Pix16, got.Pix16)
	return got
}

// Every colour type and depth, any filters, with and without transparency, in one piece or several: the same pixels as
// the standard library's decoder gives.
func TestPNGAgainstTheStandardLibrary(t *testing.T) {
	t.Parallel()
	kinds := [][2]int{{0, 1}, {0, 2}, {0, 4}, {0, 8}, {0, 16}, {2, 8}, {2, 16}, {3, 1}, {3, 2}, {3, 4}, {3, 8}, {4, 8}, {4, 16}, {6, 8}, {6, 16}}
	for _, k := range kinds {
		t.Run(fmt.Sprintf("type %d of %d bits", k[0], k[1]), func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				r := rawPNG{kind: k[0], bits: k[1], w: rapid.IntRange(1, 40).Draw(t, "w"), h: rapid.IntRange(1, 12).Draw(t, "h"),
					pieces: rapid.IntRange(1, 3).Draw(t, "pieces")}
				samples := map[int]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[r.kind]
				row := (r.w*samples*r.bits + 7) / 8
				fill := rapid.SliceOfN(rapid.Byte(), 1, 64)
				clear := rapid.Bool().Draw(t, "clear")
				switch {
				case r.kind == 3: // a whole palette, so that no pixel is outside it
					pal := fill.Draw(t, "palette")
					for len(pal) < 3<<r.bits {
						pal = append(pal, byte(len(pal)*37))
					}
					r.extra = append(r.extra, [2]string{"PLTE", string(pal[:3<<r.bits])})
					if clear {
						r.extra = append(r.extra, [2]string{"tRNS", "\x00\x80"})
					}
				case r.kind == 0 && clear && r.bits < 16:
					r.extra = append(r.extra, [2]string{"tRNS", string([]byte{0, rapid.Byte().Draw(t, "key") & byte(1<<r.bits-1)})})
				case r.kind == 2 && clear && r.bits == 8:
					r.extra = append(r.extra, [2]string{"tRNS", "\x00\x01\x00\x01\x00\x01"})
				}
				seed := fill.Draw(t, "bytes")
				for y := range r.h {
					r.rows = append(r.rows, rapid.SampledFrom([]byte{0, 1, 2, 3, 4}).Draw(t, "filter"))
					for x := range row {
						r.rows = append(r.rows, seed[(x+y*7)%len(seed)]+byte(x*y))
					}
				}
				data := r.bytes()
				sameAsStd(t, data, 1)
			})
		})
	}
}

// A colour that stands for clear at 16 bits.
func TestPNGKeyed16(t *testing.T) {
	t.Parallel()
	r := rawPNG{w: 2, h: 1, bits: 16, kind: 2, extra: [][2]string{{"tRNS", "\x12\x34\x56\x78\x9a\xbc"}},
		rows: []byte("\x00\x12\x34\x56\x78\x9a\xbc\x12\x34\x56\x78\x9a\xbd")}
	m, err := Decode("", r.bytes(), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint16{0x1234, 0x5678, 0x9abc, 0, 0x1234, 0x5678, 0x9abd, 65535}, m.Pix16)
	r.kind, r.extra, r.rows = 0, [][2]string{{"tRNS", "\x12\x34"}}, []byte("\x00\x12\x34\x12\x35")
	m, err = Decode("", r.bytes(), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint16{0x1234, 0, 0x1235, 65535}, m.Pix16)
}

// Enough rows for several bands: one thread and two give the same pixels, and both those of the standard library.
func TestPNGBands(t *testing.T) {
	t.Parallel()
	for _, bits := range []int{8, 16} {
		r := rawPNG{w: 500, h: 700, bits: bits, kind: 2}
		for y := range r.h {
			r.rows = append(r.rows, byte(y%5))
			for x := range 3 * r.w * bits / 8 {
				r.rows = append(r.rows, byte(x*x>>7+y))
			}
		}
		data := r.bytes()
		one, two := sameAsStd(t, data, 1), sameAsStd(t, data, 2)
		require.Equal(t, one, two)
	}
}

func TestPNGInterlaced(t *testing.T) {
	t.Parallel()
	// One pixel, so one pass: the same bytes with the interlace method set.
	data := rawPNG{w: 1, h: 1, bits: 8, kind: 6, rows: []byte("\x00\x01\x02\x03\x04")}.bytes()
	data[28] = 1
	binary.BigEndian.PutUint32(data[29:], crc32.ChecksumIEEE(data[12:29]))
	m, err := Decode("", data, Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint8{1, 2, 3, 4}, m.Pix8)
}

func TestPNGColourDeclared(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		extra [][2]string
		want  Colour
		from  string
	}{
		{"nothing", nil, Undeclared, ""},
		{"sRGB", [][2]string{{"sRGB", "\x00"}}, SRGB, "sRGB chunk"},
		{"gamma 1/2.2", [][2]string{{"gAMA", "\x00\x00\xb1\x8f"}}, SRGB, "gAMA chunk"},
		{"gamma 1", [][2]string{{"gAMA", "\x00\x01\x86\xa0"}}, Linear, "gAMA chunk"},
		{"gamma 1/1.8", [][2]string{{"gAMA", "\x00\x00\xd9\x03"}}, Profile, "gAMA chunk"},
		{"sRGB wins over gamma", [][2]string{{"sRGB", "\x00"}, {"gAMA", "\x00\x01\x86\xa0"}}, SRGB, "sRGB chunk"},
		{"cICP linear", [][2]string{{"cICP", "\x01\x08\x00\x01"}, {"sRGB", "\x00"}}, Linear, "cICP chunk"},
		{"profile, broken", [][2]string{{"iCCP", "x\x00\x00zz"}}, Profile, "iCCP chunk"},
		{"profile, sRGB", [][2]string{{"iCCP", "x\x00\x00" + packedProfile("sRGB IEC61966-2.1")}}, SRGB, "iCCP chunk"},
		{"profile, linear", [][2]string{{"iCCP", "x\x00\x00" + packedProfile("Linear sRGB")}}, Linear, "iCCP chunk"},
		{"profile, other", [][2]string{{"iCCP", "x\x00\x00" + packedProfile("wide gamut")}}, Profile, "iCCP chunk"},
	} {
		h, err := ReadHeader("", rawPNG{w: 1, h: 1, bits: 8, kind: 0, rows: []byte{0, 7}, extra: c.extra}.bytes())
		require.NoError(t, err, c.name)
		require.Equal(t, c.want, h.Colour, c.name)
		require.Equal(t, c.from, h.ColourFrom, c.name)
	}
}

// profile is an ICC profile with nothing but its description.
func profile(name string) []byte {
	p := make([]byte, 144)
	binary.BigEndian.PutUint32(p[128:], 1)
	copy(p[132:], "desc")
	binary.BigEndian.PutUint32(p[136:], 144)
	body := append([]byte("desc\x00\x00\x00\x00"), 0, 0, 0, byte(len(name)))
	body = append(body, name...)
	binary.BigEndian.PutUint32(p[140:], uint32(len(body)))
	return append(p, body...)
}

func packedProfile(name string) string {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	w.Write(profile(name))
	w.Close()
	return z.String()
}
