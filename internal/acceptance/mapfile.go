package acceptance

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	_ "image/jpeg" // for image.DecodeConfig
	_ "image/png"
	"path"
	"strings"

	_ "golang.org/x/image/tiff"
	_ "golang.org/x/image/webp"

	"proofhouse/internal/acceptance/mesh"
)

// Limits of a map file. An 8-bit RGBA image of maxMapEdge squared is 1 GiB: more is a mistake or an attack.
const (
	maxMapEdge  = 16384
	maxMapBytes = 2 << 30
)

// readImageHeader reads the size of a map delivered as a file of its own and checks that the file is whole. Pixels are
// not decoded. Formats whose pixels are not read here (WebP, KTX2, EXR) get an issue that says so.
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
	w, h, err := imageSize(f.Path, blob.Data)
	switch {
	case errors.Is(err, errUnread):
		issue(mesh.Issue{Code: "image.undecoded", Undecoded: true,
			Message: fmt.Sprintf("Images that end in %s are not read here; deliver the map as PNG, TGA or TIFF for the inspection.", path.Ext(f.Path))})
	case err != nil:
		issue(mesh.Issue{Code: "image.broken", Message: fmt.Sprintf("The image cannot be read: %v. Export it again.", err)})
	case w > maxMapEdge || h > maxMapEdge:
		issue(mesh.Issue{Code: "limits.image_pixels", Message: fmt.Sprintf(
			"The image claims %d × %d pixels; at most %d an edge are read. Deliver it smaller.", w, h, maxMapEdge)})
	default:
		f.WidthPx, f.HeightPx = w, h
	}
}

// errUnread marks a format that is known but whose pixels are not read here.
var errUnread = errors.New("format not read")

// imageSize reads width and height and finds files that are cut short. It never allocates by what a header claims.
func imageSize(name string, data []byte) (w, h int, err error) {
	defer func() { // decoders are a library's and the bytes are a stranger's
		if p := recover(); p != nil {
			err = fmt.Errorf("the header is broken (%v)", p)
		}
	}()
	switch {
	case bytes.HasPrefix(data, []byte("\xabKTX 20\xbb\r\n\x1a\n")), bytes.HasPrefix(data, []byte{0x76, 0x2f, 0x31, 0x01}):
		return 0, 0, errUnread
	case strings.EqualFold(path.Ext(name), ".tga"):
		return tgaSize(data)
	}
	cfg, format, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return 0, 0, errors.New("it is no PNG, JPEG, TIFF or TGA, or its header is broken")
	}
	switch format {
	case "webp":
		return 0, 0, errUnread
	case "png":
		err = wholePNG(data)
	case "jpeg":
		if !bytes.Contains(data[max(0, len(data)-64):], []byte{0xff, 0xd9}) {
			err = errors.New("it has no end marker, so it was cut short")
		}
	}
	return cfg.Width, cfg.Height, err
}

// wholePNG walks the chunks to the last one and checks each one's CRC (W3C PNG, third edition, 5.3 to 5.5).
func wholePNG(data []byte) error {
	for at := 8; ; {
		if len(data)-at < 12 {
			return fmt.Errorf("it ends at byte %d in the middle of a chunk, so it was cut short", len(data))
		}
		size := int64(binary.BigEndian.Uint32(data[at:]))
		if size > int64(len(data)-at-12) {
			return fmt.Errorf("it ends at byte %d in the middle of a chunk, so it was cut short", len(data))
		}
		end := at + 8 + int(size)
		if crc32.ChecksumIEEE(data[at+4:end]) != binary.BigEndian.Uint32(data[end:]) {
			return fmt.Errorf("the chunk at byte %d does not match its checksum, so bytes were changed", at)
		}
		if string(data[at+4:at+8]) == "IEND" {
			return nil
		}
		at = end + 4
	}
}

// tgaSize reads an 18-byte TGA header: image type at 2, width and height as 16-bit little-endian at 12 and 14, bits a
// pixel at 16. An uncompressed file must be as long as its pixels.
func tgaSize(data []byte) (w, h int, err error) {
	const header = 18
	if len(data) < header {
		return 0, 0, errors.New("it is shorter than a header")
	}
	kind, bits := data[2], int(data[16])
	w, h = int(binary.LittleEndian.Uint16(data[12:])), int(binary.LittleEndian.Uint16(data[14:]))
	known := kind == 1 || kind == 2 || kind == 3 || kind == 9 || kind == 10 || kind == 11
	if !known || w == 0 || h == 0 || bits != 8 && bits != 15 && bits != 16 && bits != 24 && bits != 32 {
		return 0, 0, errors.New("it is no TGA image")
	}
	if uncompressed := kind < 8; uncompressed && int64(len(data)-header) < int64(w)*int64(h)*int64((bits+7)/8) {
		return 0, 0, errors.New("it has fewer pixels than its header says, so it was cut short")
	}
	return w, h, nil
}
