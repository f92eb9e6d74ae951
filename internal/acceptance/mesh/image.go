package mesh

import (
	"fmt"
	stdimage "image"
	"runtime"

	"proofhouse/internal/acceptance/image"
)

// ErrImageTooLarge is returned for an image whose header claims more pixels than the limits allow; nothing was decoded.
var ErrImageTooLarge = image.ErrTooLarge

// mediaTypes are the formats' names as glTF and RFC 2046 have them.
var mediaTypes = map[image.Format]string{
	image.PNG: "image/png", image.JPEG: "image/jpeg", image.TIFF: "image/tiff", image.WebP: "image/webp", image.KTX2: "image/ktx2",
}

// imageHeader reads format and size from an image's header, without decoding.
func imageHeader(data []byte) (mime string, h image.Header, err error) {
	mime = mediaTypes[image.Kind("", data)]
	h, err = image.ReadHeader("", data)
	return mime, h, err
}

func (l Limits) image() image.Limits { return image.Limits{Edge: l.ImageEdge, Pixels: l.ImagePixel} }

// fits checks a header against the pixel limits.
func (l Limits) fits(h image.Header) error {
	if h.Width > l.ImageEdge || h.Height > l.ImageEdge || int64(h.Width)*int64(h.Height) > l.ImagePixel {
		return fmt.Errorf("%d × %d pixels, %d an edge and %d in all allowed: %w", h.Width, h.Height, l.ImageEdge, l.ImagePixel, ErrImageTooLarge)
	}
	return nil
}

// DecodeImage decodes a map in the depth that it has, 8 or 16 bits a channel, into an image of the standard library; name
// is its file name, by whose ending TGA is told. Errors: ErrImageTooLarge, or that the data are broken or of a format
// that is not decoded.
func DecodeImage(name string, data []byte, lim Limits) (stdimage.Image, error) {
	m, err := decodeImage(name, data, lim)
	if err != nil {
		return nil, err
	}
	return m.Std(), nil
}

func decodeImage(name string, data []byte, lim Limits) (*image.Image, error) {
	m, err := image.Decode(name, data, lim.withDefaults().image(), runtime.GOMAXPROCS(0))
	if err != nil {
		return nil, fmt.Errorf("decode image: %w", err)
	}
	return m, nil
}
