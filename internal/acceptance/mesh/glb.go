package mesh

import (
	"bytes"
	"encoding/binary"
	"fmt"
)

// glb is the parts of a GLB container (glTF 2.0, section 4.4): the JSON text, and the binary chunk or nil.
type glb struct {
	json, bin     []byte
	jsonAt, binAt int64 // byte offsets in the file
}

var glbMagic = []byte("glTF")

const (
	chunkJSON = 0x4E4F534A
	chunkBIN  = 0x004E4942
)

// splitGLB checks the container. It returns false where no JSON can be reached; a container that is wrong but
// readable is reported and read all the same, so that the sender gets every fault at once.
func splitGLB(data []byte, is *issues) (glb, bool) {
	var g glb
	if len(data) < 12 {
		is.error("container.truncated", "", int64(len(data)), fmt.Sprintf(
			"The file ends after %d bytes, inside its 12-byte header; export and send it again.", len(data)))
		return g, false
	}
	if !bytes.Equal(data[:4], glbMagic) {
		is.error("container.magic", "", 0, "The file does not begin with \"glTF\", so it is not a .glb; export it again as glTF binary.")
		return g, false
	}
	if v := binary.LittleEndian.Uint32(data[4:]); v != 2 {
		is.error("container.version", "", 4, fmt.Sprintf("The container says version %d and only version 2 is read; export as glTF 2.0.", v))
		return g, false
	}
	total := int64(binary.LittleEndian.Uint32(data[8:]))
	switch {
	case total < 12+8:
		is.error("container.length", "", 8, fmt.Sprintf("The header says that the file is %d bytes long, too short for any chunk; export it again.", total))
		return g, false
	case total > int64(len(data)):
		is.error("container.truncated", "", int64(len(data)), fmt.Sprintf(
			"The header says %d bytes and %d arrived; the file was cut off, send it again.", total, len(data)))
	case total < int64(len(data)):
		is.warn("container.extra_data", "", total, fmt.Sprintf("%d bytes follow after the end that the header names; they are not read.", int64(len(data))-total))
	}
	return g, g.chunks(data[:min(total, int64(len(data)))], is)
}

// chunks walks the chunks after the header; data ends where the header says.
func (g *glb) chunks(data []byte, is *issues) bool {
	haveJSON, haveBIN := false, false
	for n, at := 0, int64(12); at < int64(len(data)); n++ {
		if int64(len(data))-at < 8 {
			is.error("container.truncated", "", at, "The file ends inside a chunk's header; export and send it again.")
			return haveJSON
		}
		size := int64(binary.LittleEndian.Uint32(data[at:]))
		kind := binary.LittleEndian.Uint32(data[at+4:])
		if n == 0 && kind != chunkJSON {
			is.error("container.first_chunk", "", at+4, "The first chunk is not the JSON chunk; export it again.")
			return false
		}
		if size%4 != 0 {
			is.error("container.chunk_alignment", "", at, fmt.Sprintf("A chunk is %d bytes long, which is no multiple of 4; the exporter must pad it.", size))
		}
		at += 8
		if size > int64(len(data))-at {
			is.error("container.chunk_length", "", at-8, fmt.Sprintf("A chunk says %d bytes and the file has %d left; it was cut off or mis-written, export and send it again.", size, int64(len(data))-at))
			size = int64(len(data)) - at
			if kind == chunkJSON {
				return false
			}
		}
		body := data[at : at+size]
		switch {
		case kind == chunkJSON && haveJSON, kind == chunkBIN && haveBIN:
			is.error("container.duplicate_chunk", "", at-8, "A chunk of this type was there before; a .glb holds one of each.")
		case kind == chunkJSON:
			haveJSON, g.json, g.jsonAt = true, body, at
			if size == 0 {
				is.error("container.empty_chunk", "", at-8, "The JSON chunk is empty; export it again.")
				return false
			}
		case kind == chunkBIN:
			if n != 1 {
				is.error("container.chunk_order", "", at-8, "The binary chunk is not the second chunk; export it again.")
			}
			haveBIN, g.bin, g.binAt = true, body, at
		default:
			is.warn("container.unknown_chunk", "", at-8, fmt.Sprintf("A chunk of unknown type 0x%08x is not read.", kind))
		}
		at += size
	}
	return haveJSON
}
