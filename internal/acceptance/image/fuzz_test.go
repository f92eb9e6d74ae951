package image

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"path"
	"testing"
)

// fuzzLimits keep a try quick.
var fuzzLimits = Limits{Edge: 256, Pixels: 128 * 128}

// tryAny decodes anything: no panic gets out, an image is whole, and header and image agree.
func tryAny(t *testing.T, name string, data []byte) {
	h, headErr := ReadHeader(name, data)
	m, err := Decode(name, data, fuzzLimits, 2)
	if err != nil {
		if m != nil {
			t.Fatal("an image beside an error")
		}
		return
	}
	if headErr != nil || h != m.Header {
		t.Fatalf("the header says %+v (%v) and the image %+v", h, headErr, m.Header)
	}
	n := m.Width * m.Height * m.Channels
	if m.Bits == 8 && len(m.Pix8) != n || m.Bits == 16 && len(m.Pix16) != n || m.Bits != 8 && m.Bits != 16 || n == 0 {
		t.Fatalf("%+v with %d and %d values", m.Header, len(m.Pix8), len(m.Pix16))
	}
	if one, err := Decode(name, data, fuzzLimits, 1); err != nil || string(one.Pix8) != string(m.Pix8) {
		t.Fatal("one thread and two differ")
	}
	m.Std()
}

func fuzz(f *testing.F, ext string) {
	for name, data := range small() {
		if path.Ext(name) == ext {
			f.Add(data)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) { tryAny(t, "x"+ext, data) })
}

// FuzzPNG mends checksums, so that tries get past them.
func FuzzPNG(f *testing.F) {
	for _, name := range []string{"a.png", "b.png"} {
		f.Add(small()[name])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		data = bytes.Clone(data)
		for at := int64(len(pngMagic)); at+12 <= int64(len(data)); {
			end := at + 8 + int64(binary.BigEndian.Uint32(data[at:]))
			if end+4 > int64(len(data)) {
				break
			}
			binary.BigEndian.PutUint32(data[end:], crc32.ChecksumIEEE(data[at+4:end]))
			at = end + 4
		}
		tryAny(t, "x.png", data)
	})
}

func FuzzTGA(f *testing.F)  { fuzz(f, ".tga") }
func FuzzKTX2(f *testing.F) { fuzz(f, ".ktx2") }
func FuzzTIFF(f *testing.F) { fuzz(f, ".tif") }
func FuzzJPEG(f *testing.F) { fuzz(f, ".jpg") }
