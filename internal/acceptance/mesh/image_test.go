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
		img, err := DecodeImage(encoded(t, deep, kind), Limits{})
		require.NoError(t, err)
		r, g, b, _ := img.At(1, 1).RGBA()
		require.Equal(t, [3]uint32{0x1234, 0x5678, 0x9abc}, [3]uint32{r, g, b}, kind)
	}
	img, err := DecodeImage(encoded(t, deep, "jpeg"), Limits{})
	require.NoError(t, err)
	require.Equal(t, image.Pt(3, 2), img.Bounds().Size())
}

func TestDecodeImageRefuses(t *testing.T) {
	t.Parallel()
	good := encoded(t, image.NewGray(image.Rect(0, 0, 100, 10)), "png")
	_, err := DecodeImage(good, Limits{ImageEdge: 99})
	require.ErrorIs(t, err, ErrImageTooLarge)
	_, err = DecodeImage(good, Limits{ImagePixel: 999})
	require.ErrorIs(t, err, ErrImageTooLarge)
	for _, data := range [][]byte{nil, []byte("text"), good[:len(good)/2], append([]byte("II*\x00"), 0xff, 0xff, 0xff, 0xff)} {
		_, err := DecodeImage(data, Limits{})
		require.Error(t, err)
		require.NotErrorIs(t, err, ErrImageTooLarge)
	}
}

// RGBA8 gives the colours that were stored, transparent ones too: colour under alpha 0 is not lost.
func TestRGBA8(t *testing.T) {
	t.Parallel()
	deep := image.NewNRGBA64(image.Rect(0, 0, 2, 2))
	deep.SetNRGBA64(0, 0, color.NRGBA64{0x8000, 0x4000, 0xffff, 0})
	deep.SetNRGBA64(1, 1, color.NRGBA64{0x0100, 0xff00, 0x7fff, 0x8000})
	out := RGBA8(deep)
	require.Equal(t, color.NRGBA{0x80, 0x40, 0xff, 0}, out.NRGBAAt(0, 0))
	require.Equal(t, color.NRGBA{0x01, 0xff, 0x7f, 0x80}, out.NRGBAAt(1, 1))

	gray := image.NewGray(image.Rect(5, 5, 7, 7))
	gray.SetGray(6, 6, color.Gray{77})
	require.Equal(t, color.NRGBA{77, 77, 77, 255}, RGBA8(gray).NRGBAAt(1, 1), "the origin moves to 0,0")

	pal := image.NewPaletted(image.Rect(0, 0, 1, 1), color.Palette{color.NRGBA{10, 20, 30, 128}})
	require.Equal(t, color.NRGBA{10, 20, 30, 128}, RGBA8(pal).NRGBAAt(0, 0))

	half := image.NewRGBA(image.Rect(0, 0, 1, 1)) // premultiplied
	half.SetRGBA(0, 0, color.RGBA{64, 32, 0, 128})
	require.Equal(t, color.NRGBA{127, 63, 0, 128}, RGBA8(half).NRGBAAt(0, 0))

	same := image.NewNRGBA(image.Rect(0, 0, 1, 1))
	require.Same(t, same, RGBA8(same))
}
