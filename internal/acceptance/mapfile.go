package acceptance

import (
	"errors"
	"fmt"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
)

// Limits of a map file. An 8-bit RGBA image of maxMapEdge squared is 1 GiB: more is a mistake or an attack.
const (
	maxMapEdge  = 16384
	maxMapBytes = 2 << 30
)

// readImageHeader reads the size of a map delivered as a file of its own and checks that the file is whole. Pixels are
// not decoded. Formats whose pixels are not read (WebP, EXR, Basis Universal) get an issue that names them.
func readImageHeader(src mesh.Source, f *File) {
	issue := func(i mesh.Issue) {
		i.Path, i.Offset = f.Path, -1
		f.Issues = append(f.Issues, i)
	}
	blob, err := src.Open(f.Path, maxMapBytes)
	if errors.Is(err, mesh.ErrTooLarge) {
		issue(mesh.Issue{Code: "limits.file_bytes", Message: fmt.Sprintf("The image is larger than the %d bytes that are read; deliver it smaller.", int64(maxMapBytes))})
		return
	}
	if err != nil {
		issue(mesh.Issue{Code: "container.unreadable", Message: "The file is listed in the delivery but cannot be read; send it."})
		return
	}
	defer blob.Close()
	h, err := image.ReadHeader(f.Path, blob.Data)
	switch {
	case errors.Is(err, image.ErrNotRead):
		f.WidthPx, f.HeightPx = h.Width, h.Height // known all the same
		issue(mesh.Issue{Code: "image.undecoded", Undecoded: true,
			Message: fmt.Sprintf("The image cannot be judged (%v); deliver the map as PNG, TGA or TIFF for the inspection.", err)})
	case err != nil:
		issue(mesh.Issue{Code: "image.broken", Message: fmt.Sprintf("The image cannot be read: %v. Export it again.", err)})
	case h.Width > maxMapEdge || h.Height > maxMapEdge:
		issue(mesh.Issue{Code: "limits.image_pixels", Message: fmt.Sprintf(
			"The image claims %d × %d pixels; at most %d an edge are read. Deliver it smaller.", h.Width, h.Height, maxMapEdge)})
	default:
		f.WidthPx, f.HeightPx = h.Width, h.Height
	}
}
