package mesh

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/tiff"
)

func encoded(t *testing.T, img image.Image, kind string) []byte {
	var b bytes.Buffer
	var err error
	switch kind {
	case "png":
		err = png.Encode(&b, img)
	case "jpeg":
		err = jpeg.Encode(&b, img, nil)
	default:
		err = tiff.Encode(&b, img, nil)
	}
	require.NoError(t, err)
	return b.Bytes()
}

// Depth survives decoding: 16 bits a channel of a PNG or TIFF stay 16 bits.
func TestDecodeImageKeepsDepth(t *testing.T) {
	t.Parallel()
	deep := image.NewNRGBA64(image.Rect(0, 0, 3, 2))
	deep.SetNRGBA64(1, 1, color.NRGBA64{0x1234, 0x5678, 0x9abc, 0xffff})
	for _, kind := range []string{"png", "tiff"} {
		img, err := DecodeImage("", encoded(t, deep, kind), Limits{})
		require.NoError(t, err)
		r, g, b, _ := img.At(1, 1).RGBA()
		require.Equal(t, [3]uint32{0x1234, 0x5678, 0x9abc}, [3]uint32{r, g, b}, kind)
	}
	img, err := DecodeImage("", encoded(t, deep, "jpeg"), Limits{})
	require.NoError(t, err)
	require.Equal(t, image.Pt(3, 2), img.Bounds().Size())
}

func TestDecodeImageRefuses(t *testing.T) {
	t.Parallel()
	good := encoded(t, image.NewGray(image.Rect(0, 0, 100, 10)), "png")
	_, err := DecodeImage("", good, Limits{ImageEdge: 99})
	require.ErrorIs(t, err, ErrImageTooLarge)
	_, err = DecodeImage("", good, Limits{ImagePixel: 999})
	require.ErrorIs(t, err, ErrImageTooLarge)
	for _, data := range [][]byte{nil, []byte("text"), good[:len(good)/2], append([]byte("II*\x00"), 0xff, 0xff, 0xff, 0xff)} {
		_, err := DecodeImage("", data, Limits{})
		require.Error(t, err)
		require.NotErrorIs(t, err, ErrImageTooLarge)
	}
}
