package mesh

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"hash/crc32"
	"image"
	"image/color"
	"image/png"
	"math"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"
)

func pngBytes(t testing.TB, w, h int) []byte {
	t.Helper()
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for i := range w * h {
		img.SetNRGBA(i%w, i/w, color.NRGBA{uint8(i), uint8(7 * i), 128, 255})
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

// codes lists the codes of errors, in order, each once.
func codes(issues []Issue, warnings bool) []string {
	var out []string
	seen := map[string]bool{}
	for _, i := range issues {
		if i.Warning == warnings && !i.Undecoded && !seen[i.Code] {
			seen[i.Code] = true
			out = append(out, i.Code)
		}
	}
	return out
}

// fixCRC writes the checksum of a PNG's header chunk, its last four bytes.
func fixCRC(png []byte) {
	n := len(png)
	binary.BigEndian.PutUint32(png[n-4:], crc32.ChecksumIEEE(png[12:n-4]))
}

// area returns the area of a surface's triangles.
func area(s *Surface) float64 {
	sum := 0.0
	for i := 0; i < len(s.Tri); i += 3 {
		var p [3][3]float64
		for c := range 3 {
			for k := range 3 {
				p[c][k] = float64(s.Pos[3*s.Tri[i+c]+uint32(k)])
			}
		}
		var n [3]float64
		for k := range 3 {
			a, b := (k+1)%3, (k+2)%3
			n[k] = (p[1][a]-p[0][a])*(p[2][b]-p[0][b]) - (p[1][b]-p[0][b])*(p[2][a]-p[0][a])
		}
		sum += math.Sqrt(n[0]*n[0]+n[1]*n[1]+n[2]*n[2]) / 2
	}
	return sum
}

// validJSON is the library's word, with UTF-8 required as RFC 8259 does and the library does not.
func validJSON(data []byte) bool { return json.Valid(data) && utf8.Valid(data) }
