package mesh

import (
	"encoding/binary"
	"errors"
)

// ImageSize reads the size of a PNG, JPEG, TIFF or TGA in pixels from its header, without decoding. The first three are
// told by their first bytes; a TGA has none, so its header has to make sense throughout.
func ImageSize(data []byte) (width, height int, err error) {
	if imageKind(data) == "" {
		if w, h, ok := tgaSize(data); ok {
			return w, h, nil
		}
		return 0, 0, errors.New("image size: format is not PNG, JPEG, TIFF or TGA")
	}
	_, cfg, err := imageHeader(data)
	if err != nil {
		return 0, 0, err
	}
	return cfg.Width, cfg.Height, nil
}

// tgaSize reads a TGA header (Truevision TGA File Format Specification 2.0, fields 2 to 5; from memory).
func tgaSize(data []byte) (width, height int, ok bool) {
	const header = 18
	if len(data) < header {
		return 0, 0, false
	}
	mapped, kind, depth := data[1], data[2], data[16]
	switch kind {
	case 1, 9: // colour-mapped, plain and run-length
		if mapped != 1 {
			return 0, 0, false
		}
	case 2, 3, 10, 11: // true colour and grey
		if mapped > 1 {
			return 0, 0, false
		}
	default:
		return 0, 0, false
	}
	switch depth {
	case 8, 15, 16, 24, 32:
	default:
		return 0, 0, false
	}
	if data[17]&0xC0 != 0 { // reserved bits of the descriptor
		return 0, 0, false
	}
	width = int(binary.LittleEndian.Uint16(data[12:]))
	height = int(binary.LittleEndian.Uint16(data[14:]))
	return width, height, width > 0 && height > 0
}
