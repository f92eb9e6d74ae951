package mesh

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"testing"

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
