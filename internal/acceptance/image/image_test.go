package image

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	stdimage "image"
	"image/color"
	"image/jpeg"
	"runtime"
	"testing"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/require"
	"golang.org/x/image/tiff"
)

// tga is a TGA file of one kind; origin is the descriptor's bits 4 and 5.
func tga(kind, bits, w, h int, origin byte, pixels ...byte) []byte {
	head := make([]byte, tgaHeaderBytes)
	head[2], head[16], head[17] = byte(kind), byte(bits), origin
	if bits == 32 {
		head[17] |= 8
	}
	binary.LittleEndian.PutUint16(head[12:], uint16(w))
	binary.LittleEndian.PutUint16(head[14:], uint16(h))
	return append(head, pixels...)
}

// ktx is a KTX2 file of one level.
func ktx(vk uint32, w, h int, scheme uint32, model, transfer byte, level []byte, size int) []byte {
	le := binary.LittleEndian
	b := make([]byte, ktxHeaderBytes+ktxLevelBytes+28)
	copy(b, ktx2Magic)
	le.PutUint32(b[12:], vk)
	le.PutUint32(b[20:], uint32(w))
	le.PutUint32(b[24:], uint32(h))
	le.PutUint32(b[36:], 1)
	le.PutUint32(b[40:], 1)
	le.PutUint32(b[44:], scheme)
	le.PutUint32(b[48:], ktxHeaderBytes+ktxLevelBytes)
	le.PutUint32(b[52:], 28)
	le.PutUint64(b[80:], uint64(len(b)))
	le.PutUint64(b[88:], uint64(len(level)))
	le.PutUint64(b[96:], uint64(size))
	d := b[ktxHeaderBytes+ktxLevelBytes:]
	le.PutUint32(d, 28)
	d[12], d[14] = model, transfer
	return append(b, level...)
}

func zstdOf(b []byte) []byte {
	e, _ := zstd.NewWriter(nil)
	defer e.Close()
	return e.EncodeAll(b, nil)
}

func zlibOf(b []byte) []byte {
	var z bytes.Buffer
	w := zlib.NewWriter(&z)
	w.Write(b)
	w.Close()
	return z.Bytes()
}

func tiffOf(img stdimage.Image, o *tiff.Options) []byte {
	var b bytes.Buffer
	if err := tiff.Encode(&b, img, o); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func jpegOf(img stdimage.Image) []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, &jpeg.Options{Quality: 100}); err != nil {
		panic(err)
	}
	return b.Bytes()
}

func TestTGA(t *testing.T) {
	t.Parallel()
	px := []byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12} // BGR, 2 × 2, the first row the lowest
	paletted := tga(1, 8, 2, 1, 0x20)
	paletted[1], paletted[5], paletted[7] = 1, 2, 24
	paletted = append(paletted, 1, 2, 3, 4, 5, 6, 1, 0)
	for _, c := range []struct {
		name     string
		data     []byte
		channels int
		want     []uint8
	}{
		{"lower left", tga(2, 24, 2, 2, 0, px...), 3, []uint8{9, 8, 7, 12, 11, 10, 3, 2, 1, 6, 5, 4}},
		{"upper left", tga(2, 24, 2, 2, 0x20, px...), 3, []uint8{3, 2, 1, 6, 5, 4, 9, 8, 7, 12, 11, 10}},
		{"lower right", tga(2, 24, 2, 2, 0x10, px...), 3, []uint8{12, 11, 10, 9, 8, 7, 6, 5, 4, 3, 2, 1}},
		{"32 bits", tga(2, 32, 1, 1, 0x20, 1, 2, 3, 4), 4, []uint8{3, 2, 1, 4}},
		{"16 bits", tga(2, 16, 1, 1, 0x20, 0x1f, 0x7c), 3, []uint8{255, 0, 255}},
		{"grey", tga(3, 8, 2, 1, 0x20, 7, 9), 1, []uint8{7, 9}},
		{"grey and alpha", tga(3, 16, 1, 1, 0x28, 7, 9), 2, []uint8{7, 9}},
		{"runs across rows", tga(10, 24, 2, 2, 0x20, 0x82, 1, 2, 3, 0x00, 4, 5, 6), 3, []uint8{3, 2, 1, 3, 2, 1, 3, 2, 1, 6, 5, 4}},
		{"grey runs", tga(11, 8, 5, 1, 0x20, 0x83, 7, 0x00, 9), 1, []uint8{7, 7, 7, 7, 9}},
		{"palette", paletted, 3, []uint8{6, 5, 4, 3, 2, 1}},
	} {
		m, err := Decode("x.TGA", c.data, Limits{}, 1)
		require.NoError(t, err, c.name)
		require.Equal(t, c.channels, m.Channels, c.name)
		require.Equal(t, c.want, m.Pix8, c.name)
	}
	for _, broken := range [][]byte{tga(4, 24, 2, 2, 0, px...), tga(2, 12, 2, 2, 0, px...), tga(2, 24, 0, 2, 0, px...), tga(1, 8, 2, 2, 0, px...)} {
		_, err := Decode("x.tga", broken, Limits{}, 1)
		require.Error(t, err)
	}
}

func TestKTX2(t *testing.T) {
	t.Parallel()
	rgba := []byte{1, 2, 3, 4, 5, 6, 7, 8}
	// BC1: red and blue as end colours (31<<11 and 31), texel i takes code i%4; 2/3 and 1/3 of 255 are 170 and 85.
	bc1 := []byte{0x00, 0xf8, 0x1f, 0x00, 0xe4, 0xe4, 0xe4, 0xe4}
	// BC4: 0 to 255 with the first below the second, so five steps of 51 and the two ends; codes 0, 1, 2 … 7 and again.
	codes := uint64(0)
	for i := range 16 {
		codes |= uint64(i%8) << (3 * i)
	}
	bc4 := binary.LittleEndian.AppendUint64(nil, codes<<16|255<<8)
	four := []uint8{0, 255, 51, 102, 153, 204, 0, 255, 0, 255, 51, 102, 153, 204, 0, 255}
	for _, c := range []struct {
		name string
		data []byte
		ch   int
		want []uint8
	}{
		{"rgba8", ktx(43, 2, 1, 0, 1, 2, rgba, 8), 4, rgba},
		{"bgra8", ktx(50, 2, 1, 0, 1, 2, rgba, 8), 4, []uint8{3, 2, 1, 4, 7, 6, 5, 8}},
		{"zstd", ktx(37, 2, 1, 2, 1, 1, zstdOf(rgba), 8), 4, rgba},
		{"zlib", ktx(37, 2, 1, 3, 1, 1, zlibOf(rgba), 8), 4, rgba},
		{"bc1", ktx(131, 4, 1, 0, 128, 1, bc1, 8), 3, []uint8{255, 0, 0, 0, 0, 255, 170, 0, 85, 85, 0, 170}},
		{"bc4", ktx(139, 4, 4, 0, 131, 1, bc4, 8), 1, four},
		{"bc4, cut at the edge", ktx(139, 3, 2, 0, 131, 1, bc4, 8), 1, []uint8{0, 255, 51, 153, 204, 0}},
	} {
		m, err := Decode("x.ktx2", c.data, Limits{}, 1)
		require.NoError(t, err, c.name)
		require.Equal(t, c.ch, m.Channels, c.name)
		require.Equal(t, c.want, m.Pix8, c.name)
	}
	three := ktx(133, 4, 1, 0, 128, 1, []byte{0x1f, 0x00, 0x00, 0xf8, 0xe4, 0, 0, 0}, 8)
	m, err := Decode("x.ktx2", three, Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint8{128, 0, 128, 255, 0, 0, 0, 0}, m.Pix8[8:], "three colours and clear black")

	m, err = Decode("x.ktx2", ktx(137, 1, 1, 0, 130, 1, append([]byte{9, 9, 0, 0, 0, 0, 0, 0}, bc1...), 16), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint8{255, 0, 0, 9}, m.Pix8)
	m, err = Decode("x.ktx2", ktx(141, 1, 1, 0, 132, 1, []byte{7, 7, 0, 0, 0, 0, 0, 0, 9, 9, 0, 0, 0, 0, 0, 0}, 16), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint8{7, 9}, m.Pix8)
	require.False(t, m.HasAlpha())
	m, err = Decode("x.ktx2", ktx(70, 1, 1, 0, 1, 1, []byte{0x34, 0x12}, 2), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, []uint16{0x1234}, m.Pix16)

	for name, data := range map[string][]byte{
		"ETC1S": ktx(0, 4, 4, 1, 163, 2, bc1, 8), "UASTC": ktx(0, 4, 4, 2, 166, 2, bc1, 16),
		"BC7": ktx(145, 4, 4, 0, 134, 1, make([]byte, 16), 16), "ASTC": ktx(157, 4, 4, 0, 162, 1, make([]byte, 16), 16),
	} {
		h, err := ReadHeader("x.ktx2", data)
		require.ErrorIs(t, err, ErrNotRead)
		require.ErrorContains(t, err, name)
		require.Equal(t, 4, h.Width, "the size is known all the same")
		_, err = Decode("x.ktx2", data, Limits{}, 1)
		require.ErrorIs(t, err, ErrNotRead)
	}
}

func TestTIFFAndJPEG(t *testing.T) {
	t.Parallel()
	deep := stdimage.NewNRGBA64(stdimage.Rect(0, 0, 3, 2))
	shallow := stdimage.NewNRGBA(deep.Rect)
	grey, grey16 := stdimage.NewGray(deep.Rect), stdimage.NewGray16(deep.Rect)
	rgb := stdimage.NewRGBA(deep.Rect)
	for i := range 6 {
		deep.SetNRGBA64(i%3, i/3, color.NRGBA64{uint16(9999 * i), 0x1234, 0xabcd, uint16(65535 - 7*i)})
		shallow.SetNRGBA(i%3, i/3, color.NRGBA{uint8(40 * i), 0x12, 0xab, uint8(255 - i)})
		grey.SetGray(i%3, i/3, color.Gray{uint8(40 * i)})
		grey16.SetGray16(i%3, i/3, color.Gray16{uint16(9999 * i)})
		rgb.SetRGBA(i%3, i/3, color.RGBA{uint8(40 * i), 0x12, 0xab, 255})
	}
	for _, o := range []*tiff.Options{nil, {Compression: tiff.Deflate}, {Compression: tiff.Deflate, Predictor: true}} {
		m, err := Decode("", tiffOf(deep, o), Limits{}, 2)
		require.NoError(t, err)
		require.Equal(t, 16, m.Bits)
		require.Equal(t, []uint16{9999, 0x1234, 0xabcd, 65528}, m.Pix16[4:8])
		m, err = Decode("", tiffOf(shallow, o), Limits{}, 2)
		require.NoError(t, err)
		require.Equal(t, shallow.Pix, m.Pix8)
		m, err = Decode("", tiffOf(grey, o), Limits{}, 2)
		require.NoError(t, err)
		require.Equal(t, grey.Pix, m.Pix8)
		m, err = Decode("", tiffOf(grey16, o), Limits{}, 2)
		require.NoError(t, err)
		require.Equal(t, []uint16{0, 9999, 19998, 29997, 39996, 49995}, m.Pix16)
	}
	m, err := Decode("", jpegOf(grey), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, 1, m.Channels)
	m, err = Decode("", jpegOf(rgb), Limits{}, 1)
	require.NoError(t, err)
	require.Equal(t, 3, m.Channels)
	require.True(t, m.Lossy)

	data := jpegOf(rgb)
	app2 := append([]byte{0xff, 0xe2, 0, 0}, "ICC_PROFILE\x00\x01\x01"...)
	app2 = append(app2, profile("sRGB built-in")...)
	binary.BigEndian.PutUint16(app2[2:], uint16(len(app2)-2))
	h, err := ReadHeader("", append(append(bytes.Clone(data[:2]), app2...), data[2:]...))
	require.NoError(t, err)
	require.Equal(t, SRGB, h.Colour)
}

// small are whole files of every decoder, short enough to cut at every length.
func small() map[string][]byte {
	grey := stdimage.NewGray(stdimage.Rect(0, 0, 5, 3))
	deep := stdimage.NewNRGBA64(stdimage.Rect(0, 0, 2, 2))
	return map[string][]byte{
		"a.png": rawPNG{w: 3, h: 2, bits: 8, kind: 2, rows: make([]byte, 20), extra: [][2]string{{"sRGB", "\x00"}}}.bytes(),
		"b.png": rawPNG{w: 3, h: 1, bits: 2, kind: 3, rows: []byte{0, 0x18}, extra: [][2]string{{"PLTE", "\x01\x02\x03\x04\x05\x06\x07\x08\x09"}, {"tRNS", "\x00"}}}.bytes(),
		"a.tga": tga(2, 24, 2, 1, 0, 1, 2, 3, 4, 5, 6), "b.tga": tga(10, 32, 3, 1, 0, 0x81, 1, 2, 3, 4, 0, 5, 6, 7, 8),
		"a.ktx2": ktx(37, 2, 1, 0, 1, 1, make([]byte, 8), 8), "b.ktx2": ktx(131, 4, 4, 2, 128, 1, zstdOf(make([]byte, 8)), 8),
		"c.ktx2": ktx(137, 5, 4, 3, 130, 1, zlibOf(make([]byte, 32)), 32),
		"a.tif":  tiffOf(deep, nil), "b.tif": tiffOf(grey, &tiff.Options{Compression: tiff.Deflate, Predictor: true}),
		"a.jpg": jpegOf(grey),
	}
}

// A file cut anywhere gives an error, or, where what is cut off is nothing that pixels need, the whole image.
func TestCutAnywhere(t *testing.T) {
	t.Parallel()
	for name, data := range small() {
		whole, err := Decode(name, data, Limits{}, 1)
		require.NoError(t, err, name)
		for n := range data {
			m, err := Decode(name, data[:n], Limits{}, 1)
			if err == nil {
				require.Equal(t, whole, m, "%s cut at %d", name, n)
			}
			if n < 20 {
				require.Error(t, err)
			}
		}
	}
}

// allocated is what a function allocates in all, in bytes.
func allocated(fn func()) uint64 {
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	fn()
	runtime.ReadMemStats(&after)
	return after.TotalAlloc - before.TotalAlloc
}

// Small files that claim large images cost next to nothing: neither their header nor a try to decode them.
func TestBombs(t *testing.T) {
	big := rawPNG{w: 30000, h: 30000, bits: 16, kind: 6, rows: []byte{0}}.bytes()
	allowed := rawPNG{w: 8192, h: 8192, bits: 16, kind: 6, rows: []byte{0}}.bytes() // within limits, and not in so few bytes
	wide := tiffOf(stdimage.NewGray(stdimage.Rect(0, 0, 1, 1)), nil)
	patched := false
	for i := 8; i+12 <= len(wide); i++ { // the directory's entries for width and height
		if tag := binary.LittleEndian.Uint16(wide[i:]); (tag == 256 || tag == 257) && binary.LittleEndian.Uint32(wide[i+4:]) == 1 {
			binary.LittleEndian.PutUint16(wide[i+2:], 4)
			binary.LittleEndian.PutUint32(wide[i+8:], 30000)
			patched = true
		}
	}
	require.True(t, patched)
	for _, c := range []struct {
		name string
		data []byte
		want error
	}{
		{"big.png", big, ErrTooLarge}, {"allowed.png", allowed, ErrShort}, {"wide.tif", wide, ErrTooLarge},
		{"big.tga", tga(10, 32, 16000, 16000, 0, 0xff, 1, 2, 3, 4), ErrShort},
		{"plain.tga", tga(2, 32, 8000, 8000, 0, 1, 2, 3, 4), ErrShort},
		{"big.ktx2", ktx(91, 16384, 16384, 2, 1, 1, zstdOf([]byte{1}), 16384*16384*8), ErrTooLarge},
		{"zlib.ktx2", ktx(91, 8192, 8192, 3, 1, 1, zlibOf([]byte{1}), 8192*8192*8), ErrShort},
		{"lie.ktx2", ktx(37, 2, 2, 2, 1, 1, zstdOf(make([]byte, 1<<26)), 16), nil},
	} {
		n := allocated(func() {
			_, err := Decode(c.name, c.data, Limits{}, 2)
			require.Error(t, err, c.name)
			if c.want != nil {
				require.ErrorIs(t, err, c.want, c.name)
			}
		})
		require.Less(t, n, uint64(8<<20), "%s allocates", c.name)
	}
	_, err := Decode("a.png", rawPNG{w: 100, h: 10, bits: 8, kind: 0, rows: make([]byte, 1010)}.bytes(), Limits{Edge: 99}, 1)
	require.ErrorIs(t, err, ErrTooLarge)
	_, err = Decode("a.png", rawPNG{w: 100, h: 10, bits: 8, kind: 0, rows: make([]byte, 1010)}.bytes(), Limits{Pixels: 999}, 1)
	require.ErrorIs(t, err, ErrTooLarge)
}

func TestKnownAndNotRead(t *testing.T) {
	t.Parallel()
	for name, data := range map[string]string{"WebP": "RIFF\x00\x00\x00\x00WEBP", "OpenEXR": "\x76\x2f\x31\x01"} {
		h, err := ReadHeader("x", []byte(data))
		require.ErrorIs(t, err, ErrNotRead)
		require.ErrorContains(t, err, name)
		require.Equal(t, Format(name), h.Format)
	}
	_, err := Decode("notes.txt", []byte("no image at all, but long enough for a header"), Limits{}, 1)
	require.ErrorIs(t, err, ErrUnknown)
}

// Std keeps every value, and depth widens exactly.
func TestStd(t *testing.T) {
	t.Parallel()
	for _, bits := range []int{8, 16} {
		for ch := 1; ch <= 4; ch++ {
			m := &Image{Header: Header{Format: PNG, Width: 2, Height: 1, Channels: ch, Bits: bits}}
			m.alloc()
			for i := range 2 * ch {
				if bits == 8 {
					m.Pix8[i] = uint8(20 * (i + 1))
				} else {
					m.Pix16[i] = uint16(5000 * (i + 1))
				}
			}
			require.Equal(t, m.Pix8, fromStd(m.Std(), m.Header, 1).Pix8)
			require.Equal(t, m.Pix16, fromStd(m.Std(), m.Header, 1).Pix16)
			row := m.Row16(make([]uint16, 8), 0)
			require.Len(t, row, 2*ch)
			require.InDelta(t, m.Value(1, 0, ch-1), float32(row[2*ch-1])/65535, 1e-7)
		}
	}
}
