package mesh

import (
	"errors"
	"fmt"
	"strings"
)

// loadImages reads the images' bytes and checks that each can be decoded (glTF 2.0, sections 3.8.4 and 5.18).
func (d *document) loadImages() {
	for i, v := range d.each("images") {
		img := Image{Name: d.name(v), Pointer: pointer("images", i)}
		declared := d.t.string(d.val(v, "mimeType"))
		uriAt := d.val(v, "uri")
		switch uri := d.t.string(uriAt); {
		case strings.HasPrefix(uri, "data:"):
			parsed, err := parseDataURI(uri)
			if err != nil {
				d.is.error("uri.invalid", img.Pointer+"/uri", d.t.offset(uriAt), fmt.Sprintf("The data URI cannot be decoded: %s; export it again.", dataFault(err)))
			} else if img.Data = parsed.data; declared == "" {
				declared = parsed.mime
			}
		case uriAt >= 0:
			file := d.open(uri, img.Pointer+"/uri", d.t.offset(uriAt))
			img.Data, img.Path = file.data, file.path
		default:
			d.imageInView(&img, d.index(v, "bufferView"))
		}
		if img.Data != nil {
			d.imageHeader(&img, declared)
		}
		d.s.Images = append(d.s.Images, img)
	}
	d.decodeAll()
}

func (d *document) imageInView(img *Image, i int) {
	if i < 0 {
		return
	}
	d.useView(i, "image", img.Pointer)
	if d.views[i].stride > 0 {
		d.is.error("view.stride", img.Pointer, -1, "An image lies in a view with a byteStride; it must be packed.")
	}
	if d.views[i].ok {
		img.Data = d.views[i].data
	}
}

// imageHeader fills format and size; an image that cannot be used loses its bytes' size, not its place.
func (d *document) imageHeader(img *Image, declared string) {
	fault := func(code, msg string) { d.is.error(code, img.Pointer, -1, msg) }
	mime, h, err := imageHeader(img.Data)
	img.MIME = mime
	if declared != "" && mime != "" && declared != mime {
		fault("image.media_type", fmt.Sprintf("The image is %s and declared as %s; correct the declaration.", mime, clip(declared)))
	}
	switch {
	case mime == "":
		fault("image.unknown_format", "The image is neither PNG nor JPEG; export textures as PNG.")
	case mime == "image/webp" && d.uses("EXT_texture_webp"), mime == "image/ktx2" && d.uses("KHR_texture_basisu"):
		d.is.undecoded("image.not_decoded", img.Pointer, -1, fmt.Sprintf("The image is %s, which is not decoded here; export textures as PNG.", mime))
	case mime != "image/png" && mime != "image/jpeg":
		fault("image.media_type", fmt.Sprintf("The image is %s and glTF holds PNG and JPEG; export it as PNG.", mime))
	case h.Width > 0 && d.lim.fits(h) != nil: // told even where the file is too short for what it claims
		img.Width, img.Height = h.Width, h.Height
		fault("limits.image_pixels", fmt.Sprintf("The image has %d × %d pixels, more than the limit of %d an edge and %d in all; scale it down.",
			h.Width, h.Height, d.lim.ImageEdge, d.lim.ImagePixel))
	case err != nil:
		fault("image.undecodable", fmt.Sprintf("The image's header cannot be read (%v); export it again.", err))
	default:
		img.Width, img.Height = h.Width, h.Height
	}
}

func (d *document) uses(extension string) bool {
	for _, e := range d.s.Extensions {
		if e == extension {
			return true
		}
	}
	return false
}

// decodeAll decodes each image within the limits once, two at a time, to find broken ones; nothing is kept.
func (d *document) decodeAll() {
	var todo []int
	seen := map[*byte]bool{} // images that share bytes
	for i, img := range d.s.Images {
		if img.Width > 0 && len(img.Data) > 0 && !seen[&img.Data[0]] {
			seen[&img.Data[0]] = true
			todo = append(todo, i)
		}
	}
	faults := make([]error, len(todo))
	for from := 0; from < len(todo); from += 2 {
		pair := todo[from:min(from+2, len(todo))]
		parallel(len(pair), func(k int) { _, faults[from+k] = decodeImage("", d.s.Images[pair[k]].Data, d.lim) })
	}
	for k, err := range faults {
		if err != nil && !errors.Is(err, ErrImageTooLarge) {
			img := &d.s.Images[todo[k]]
			d.is.error("image.undecodable", img.Pointer, -1, fmt.Sprintf("The image cannot be decoded (%v); export it again.", err))
			img.Width, img.Height = 0, 0
		}
	}
}
