package mesh

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/jpeg"
	"image/png"

	"golang.org/x/image/tiff"
)

// ErrImageTooLarge is returned for an image whose header claims more pixels than the limits allow; nothing was decoded.
var ErrImageTooLarge = errors.New("image too large")

// imageKind tells a format by its first bytes; "" where it is none that is known.
func imageKind(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	case bytes.HasPrefix(data, []byte{0xFF, 0xD8, 0xFF}):
		return "image/jpeg"
	case bytes.HasPrefix(data, []byte("II*\x00")), bytes.HasPrefix(data, []byte("MM\x00*")):
		return "image/tiff"
	case len(data) >= 12 && string(data[:4]) == "RIFF" && string(data[8:12]) == "WEBP":
		return "image/webp"
	case bytes.HasPrefix(data, []byte("\xabKTX 20\xbb\r\n\x1a\n")):
		return "image/ktx2"
	}
	return ""
}

// imageHeader reads format and size from an image's header, without decoding.
func imageHeader(data []byte) (mime string, cfg image.Config, err error) {
	mime = imageKind(data)
	r := bytes.NewReader(data)
	switch mime {
	case "image/png":
		cfg, err = png.DecodeConfig(r)
	case "image/jpeg":
		cfg, err = jpeg.DecodeConfig(r)
	case "image/tiff":
		cfg, err = tiff.DecodeConfig(r)
	default:
		err = errors.New("format is not PNG, JPEG or TIFF")
	}
	return mime, cfg, err
}

// fits checks a header against the pixel limits.
func (l Limits) fits(cfg image.Config) error {
	if cfg.Width > l.ImageEdge || cfg.Height > l.ImageEdge || int64(cfg.Width)*int64(cfg.Height) > l.ImagePixel {
		return fmt.Errorf("%d × %d pixels, %d an edge and %d in all allowed: %w", cfg.Width, cfg.Height, l.ImageEdge, l.ImagePixel, ErrImageTooLarge)
	}
	return nil
}

// DecodeImage decodes a PNG, JPEG or TIFF (told by its first bytes) in the depth that it has: 8 or 16 bits a channel.
// The header is held against the limits before anything of the image's size is allocated. Errors: ErrImageTooLarge,
// or that the data are broken.
func DecodeImage(data []byte, lim Limits) (img image.Image, err error) {
	defer func() {
		if p := recover(); p != nil { // a decoder's own fault must not end the process
			img, err = nil, fmt.Errorf("decode image: %v", p)
		}
	}()
	mime, cfg, err := imageHeader(data)
	if err != nil {
		return nil, fmt.Errorf("decode image: %w", err)
	}
	if err := lim.withDefaults().fits(cfg); err != nil {
		return nil, fmt.Errorf("decode image: %w", err)
	}
	r := bytes.NewReader(data)
	switch mime {
	case "image/png":
		img, err = png.Decode(r)
	case "image/jpeg":
		img, err = jpeg.Decode(r)
	default:
		img, err = tiff.Decode(r)
	}
	if err != nil {
		return nil, fmt.Errorf("decode image: %w", err)
	}
	return img, nil
}

// RGBA8 converts an image to 8 bits a channel, not premultiplied, with its origin at (0,0). An image that is so already
// is returned as it is.
func RGBA8(img image.Image) *image.NRGBA {
	b := img.Bounds()
	if n, ok := img.(*image.NRGBA); ok && b.Min == (image.Point{}) {
		return n
	}
	out := image.NewNRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	switch src := img.(type) {
	case *image.NRGBA64:
		for y := range b.Dy() {
			from := src.Pix[src.PixOffset(b.Min.X, b.Min.Y+y):]
			to := out.Pix[y*out.Stride:]
			for i := range 4 * b.Dx() {
				to[i] = from[2*i]
			}
		}
	case *image.YCbCr, *image.RGBA, *image.Gray: // opaque, or drawn by the library's own fast paths
		rgba := image.NewRGBA(out.Rect)
		draw.Draw(rgba, rgba.Rect, img, b.Min, draw.Src)
		if rgba.Opaque() {
			out.Pix = rgba.Pix
			break
		}
		unpremultiply(out, img)
	default:
		unpremultiply(out, img)
	}
	return out
}

func unpremultiply(out *image.NRGBA, img image.Image) {
	b := img.Bounds()
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.SetNRGBA(x, y, color.NRGBAModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.NRGBA))
		}
	}
}
