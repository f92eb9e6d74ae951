package mesh

import (
	"encoding/binary"
	"errors"
	"math/bits"
)

// errMeshopt is returned for compressed data that are not as the extension says.
var errMeshopt = errors.New("the compressed data are broken")

// Sizes of EXT_meshopt_compression's attribute streams (the extension's specification, appendix A "Mode 0: attributes").
const (
	meshoptBlockBytes  = 8192
	meshoptBlockMost   = 256 // elements
	meshoptGroup       = 16  // elements
	meshoptGroupReach  = 24  // a group takes no more bytes than this, and the tail makes sure that they are there
	meshoptTailLeast0  = 32
	meshoptTailLeast1  = 24
	meshoptStrideLimit = 256
)

// meshoptAttributes decodes count elements of stride bytes, a multiple of 4 up to 256: versions 0 and 1 of the format.
// Blocks of elements hold each byte of an element apart, as differences to the element before, in groups of sixteen
// that take 0, 1, 2, 4 or 8 bits each.
func meshoptAttributes(data []byte, count, stride int) ([]byte, error) {
	if len(data) == 0 || data[0]&0xf0 != 0xa0 || data[0]&0x0f > 1 || stride <= 0 || stride > meshoptStrideLimit || stride%4 != 0 {
		return nil, errMeshopt
	}
	version := int(data[0] & 0x0f)
	tail, least := stride, meshoptTailLeast0
	if version == 1 {
		tail, least = stride+stride/4, meshoptTailLeast1
	}
	if len(data)-1 < max(tail, least) {
		return nil, errMeshopt
	}
	d := meshoptBlocks{in: data[1:], stride: stride, version: version}
	d.last = append(d.last, data[len(data)-tail:len(data)-tail+stride]...)
	if version == 1 {
		d.channels = data[len(data)-stride/4:]
	}
	// Each element takes at least an eighth of a header's bit for each of its bytes: what could never be held is refused
	// before it is allocated.
	if count > meshoptBlockMost*16*len(data) {
		return nil, errMeshopt
	}
	out := make([]byte, count*stride)
	each := min(meshoptBlockBytes/stride&^(meshoptGroup-1), meshoptBlockMost)
	for at := 0; at < count; at += each {
		n := min(each, count-at)
		if !d.block(out[at*stride:(at+n)*stride], n) {
			return nil, errMeshopt
		}
	}
	if len(d.in) != max(tail, least) {
		return nil, errMeshopt
	}
	return out, nil
}

// meshoptBlocks is the state from one block to the next.
type meshoptBlocks struct {
	in       []byte // what is left
	stride   int
	version  int
	last     []byte // the last element
	channels []byte
	planes   [4*meshoptBlockMost + meshoptGroup]byte
}

// meshoptWidths are the bits of a group for each value of its header: of version 0, and of the two kinds of version 1.
var meshoptWidths = [3][4]int{{0, 2, 4, 8}, {0, 1, 2, 4}, {1, 2, 4, 8}}

func (d *meshoptBlocks) block(out []byte, n int) bool {
	var control []byte
	if d.version == 1 {
		if len(d.in) < d.stride/4 {
			return false
		}
		control, d.in = d.in[:d.stride/4], d.in[d.stride/4:]
	}
	for k := 0; k < d.stride; k += 4 {
		for j := range 4 {
			plane := d.planes[j*n:]
			kind := 0
			if d.version == 1 {
				kind = int(control[k/4]>>(2*j))&3 + 1
			}
			switch kind {
			case 4: // as they are
				if len(d.in) < n {
					return false
				}
				copy(plane, d.in[:n])
				d.in = d.in[n:]
			case 3: // nothing but zeros
				clear(plane[:n])
			default:
				if !d.groups(plane, n, &meshoptWidths[kind]) {
					return false
				}
			}
		}
		channel := 0
		if d.version == 1 {
			channel = int(d.channels[k/4])
		}
		switch channel & 3 {
		case 0:
			d.bytes(out[k:], k, n)
		case 1:
			d.shorts(out[k:], k, n)
		case 2:
			d.words(out[k:], k, n, channel>>4)
		default:
			return false
		}
	}
	copy(d.last, out[(n-1)*d.stride:])
	return true
}

// groups reads n bytes in groups, the last one whole: planes have room for it.
func (d *meshoptBlocks) groups(to []byte, n int, widths *[4]int) bool {
	groups := (n + meshoptGroup - 1) / meshoptGroup
	headers := (groups + 3) / 4
	if len(d.in) < headers {
		return false
	}
	head := d.in[:headers]
	d.in = d.in[headers:]
	for g := range groups {
		if len(d.in) < meshoptGroupReach {
			return false
		}
		width := widths[head[g/4]>>(2*(g%4))&3]
		d.in = d.in[meshoptUnpack((*[meshoptGroup]byte)(to[g*meshoptGroup:]), d.in, width):]
	}
	return true
}

// meshoptUnpack reads a group and returns the bytes it took. Values with all bits set stand for a whole byte that follows.
func meshoptUnpack(to *[meshoptGroup]byte, in []byte, width int) int {
	switch width {
	case 0:
		*to = [meshoptGroup]byte{}
		return 0
	case 8:
		copy(to[:], in[:meshoptGroup])
		return meshoptGroup
	}
	escaped := 2 * width
	full := byte(1<<width - 1)
	for i := range to {
		b := in[i*width/8]
		var v byte
		if width == 1 { // the first value in the lowest bit; the others begin with the highest
			v = b >> (i % 8) & 1
		} else {
			v = b >> (8 - width - i*width%8) & full
		}
		if v == full {
			v = in[escaped]
			escaped++
		}
		to[i] = v
	}
	return escaped
}

// bytes puts four planes together as byte differences in zigzag; out begins at the group's place in the first element.
func (d *meshoptBlocks) bytes(out []byte, k, n int) {
	for j := range 4 {
		p := d.last[k+j]
		plane := d.planes[j*n : (j+1)*n]
		for i, v := range plane {
			p += -(v & 1) ^ v>>1
			out[i*d.stride+j] = p
		}
	}
}

// shorts puts planes together as differences of 16 bits in zigzag.
func (d *meshoptBlocks) shorts(out []byte, k, n int) {
	for j := 0; j < 4; j += 2 {
		p := binary.LittleEndian.Uint16(d.last[k+j:])
		lo, hi := d.planes[j*n:(j+1)*n], d.planes[(j+1)*n:(j+2)*n]
		for i := range lo {
			v := uint16(lo[i]) | uint16(hi[i])<<8
			p += -(v & 1) ^ v>>1
			binary.LittleEndian.PutUint16(out[i*d.stride+j:], p)
		}
	}
}

// words puts planes together as rotated exclusive-or differences of 32 bits.
func (d *meshoptBlocks) words(out []byte, k, n, turn int) {
	p := binary.LittleEndian.Uint32(d.last[k:])
	for i := range n {
		v := uint32(d.planes[i]) | uint32(d.planes[n+i])<<8 | uint32(d.planes[2*n+i])<<16 | uint32(d.planes[3*n+i])<<24
		p ^= bits.RotateLeft32(v, -turn)
		binary.LittleEndian.PutUint32(out[i*d.stride:], p)
	}
}
