package acceptance

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/tiff"

	"proofhouse/internal/acceptance/mesh"
)

func tgaOf(w, h int) []byte {
	b := make([]byte, 18+3*w*h)
	b[2], b[16] = 2, 24
	binary.LittleEndian.PutUint16(b[12:], uint16(w))
	binary.LittleEndian.PutUint16(b[14:], uint16(h))
	return b
}

// TestImageHeaders: size from the header, and what is broken or not read is told and never decoded.
func TestImageHeaders(t *testing.T) {
	t.Parallel()
	good := pngOf(t, 48)
	flipped := bytes.Clone(good)
	flipped[len(flipped)/2] ^= 1
	huge := bytes.Clone(good)
	binary.BigEndian.PutUint32(huge[16:], 60000)
	binary.BigEndian.PutUint32(huge[20:], 60000)
	// The header's own CRC must hold, or it would be refused for that: W3C PNG 5.5.
	fixCRC(huge, 8)
	var jpg, tif bytes.Buffer
	require.NoError(t, jpeg.Encode(&jpg, image.NewGray(image.Rect(0, 0, 40, 30)), nil))
	require.NoError(t, tiff.Encode(&tif, image.NewGray16(image.Rect(0, 0, 12, 34)), nil))
	rows := []struct {
		name string
		data []byte
		w, h int
		code string
	}{
		{"n.png", good, 48, 48, ""},
		{"n.jpg", jpg.Bytes(), 40, 30, ""},
		{"n.tif", tif.Bytes(), 12, 34, ""},
		{"n.tga", tgaOf(20, 10), 20, 10, ""},
		{"short.png", good[:len(good)-20], 0, 0, "image.broken"},
		{"flipped.png", flipped, 0, 0, "image.broken"},
		{"huge.png", huge, 0, 0, "limits.image_pixels"},
		{"short.jpg", jpg.Bytes()[:jpg.Len()-30], 0, 0, "image.broken"},
		{"short.tga", tgaOf(20, 10)[:100], 0, 0, "image.broken"},
		{"empty.png", nil, 0, 0, "image.broken"},
		{"text.png", []byte("not an image"), 0, 0, "image.broken"},
		{"n.ktx2", []byte("\xabKTX 20\xbb\r\n\x1a\n and more"), 0, 0, "image.broken"},
		{"n.exr", []byte{0x76, 0x2f, 0x31, 0x01}, 0, 0, "image.undecoded"},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			f := &File{Path: r.name}
			readImageHeader(mesh.MemSource{r.name: r.data}, f)
			require.Equal(t, []int{r.w, r.h}, []int{f.WidthPx, f.HeightPx})
			if r.code == "" {
				require.Empty(t, f.Issues)
				return
			}
			require.Len(t, f.Issues, 1)
			require.Equal(t, r.code, f.Issues[0].Code)
			require.Equal(t, r.code == "image.undecoded", f.Issues[0].Undecoded)
		})
	}
}

// fixCRC writes the right checksum behind the chunk at a byte.
func fixCRC(data []byte, at int) {
	size := int(binary.BigEndian.Uint32(data[at:]))
	binary.BigEndian.PutUint32(data[at+8+size:], crc32.ChecksumIEEE(data[at+4:at+8+size]))
}
