package mesh

import "encoding/binary"

// meshoptTriangles decodes count indices of triangles (the extension's "Mode 1: triangles"), size bytes each. A code byte
// a triangle says which of the last sixteen edges and vertices it shares, or that a vertex is new; what is neither is a
// difference in the data that follow.
func meshoptTriangles(data []byte, count, size int) ([]byte, error) {
	const table = 16
	triangles := count / 3
	if len(data) == 0 || data[0]&0xf0 != 0xe0 || data[0]&0x0f > 1 || count%3 != 0 || len(data) < 1+triangles+table {
		return nil, errMeshopt
	}
	t := meshoptStrip{codes: data[1 : 1+triangles], in: data[1+triangles : len(data)-table], aux: data[len(data)-table:], free: 15}
	if data[0]&0x0f == 1 {
		t.free = 13
	}
	for i := range t.edges {
		t.edges[i], t.vertices[i] = [2]uint32{^uint32(0), ^uint32(0)}, ^uint32(0)
	}
	out := make([]byte, count*size)
	for i := range triangles {
		a, b, c := t.next3(t.codes[i])
		putIndex(out, 3*i, size, a)
		putIndex(out, 3*i+1, size, b)
		putIndex(out, 3*i+2, size, c)
	}
	if t.short || len(t.in) != 0 {
		return nil, errMeshopt
	}
	return out, nil
}

func putIndex(out []byte, i, size int, v uint32) {
	if size == 2 {
		binary.LittleEndian.PutUint16(out[2*i:], uint16(v))
		return
	}
	binary.LittleEndian.PutUint32(out[4*i:], v)
}

// meshoptStrip is the state from one triangle to the next.
type meshoptStrip struct {
	codes, in, aux []byte
	free           uint32 // from this value on a code's lower half means a difference
	edges          [16][2]uint32
	vertices       [16]uint32
	edgeAt         uint32
	vertexAt       uint32
	next, last     uint32
	short          bool // data ran out
}

func (t *meshoptStrip) pushVertex(v uint32) {
	t.vertices[t.vertexAt&15] = v
	t.vertexAt++
}

func (t *meshoptStrip) pushEdge(a, b uint32) {
	t.edges[t.edgeAt&15] = [2]uint32{a, b}
	t.edgeAt++
}

// fresh is the next vertex that no triangle has named yet.
func (t *meshoptStrip) fresh() uint32 {
	v := t.next
	t.next++
	return v
}

func (t *meshoptStrip) difference() uint32 {
	v, n := meshoptVarint(t.in)
	if n == 0 {
		t.short = true
		return 0
	}
	t.in = t.in[n:]
	t.last += v>>1 ^ -(v & 1)
	return t.last
}

// meshoptVarint reads a number of seven bits a byte, the lowest first; n is 0 where data run out.
func meshoptVarint(in []byte) (v uint32, n int) {
	for n < 5 && n < len(in) {
		b := in[n]
		v |= uint32(b&127) << (7 * n)
		if n++; b < 128 {
			return v, n
		}
	}
	if n == 5 {
		return v, n
	}
	return 0, 0
}

// next3 decodes one triangle.
func (t *meshoptStrip) next3(code byte) (a, b, c uint32) {
	if code < 0xf0 {
		edge := t.edges[(t.edgeAt-1-uint32(code>>4))&15]
		a, b = edge[0], edge[1]
		switch low := uint32(code & 15); {
		case low == 0:
			c = t.fresh()
			t.pushVertex(c)
		case low < t.free:
			c = t.vertices[(t.vertexAt-1-low)&15]
		case low == 15:
			c = t.difference()
			t.pushVertex(c)
		default: // 13 and 14 of version 1: one before and one after the last
			t.last += 2*low - 27
			c = t.last
			t.pushVertex(c)
		}
		t.pushEdge(c, b)
		t.pushEdge(a, c)
		return a, b, c
	}
	if code < 0xfe {
		aux := t.aux[code&15]
		fb, fc := aux>>4, aux&15
		a = t.fresh()
		b, c = t.vertex(fb), t.vertex(fc) // in this order: both may take a number
		t.pushVertex(a)
		t.pushIfNew(b, fb == 0)
		t.pushIfNew(c, fc == 0)
	} else {
		a, b, c = t.apart(code == 0xff)
	}
	t.pushEdge(b, a)
	t.pushEdge(c, b)
	t.pushEdge(a, c)
	return a, b, c
}

// apart decodes a triangle that shares no edge and whose code stands in the data; coded says that its first corner is a
// difference.
func (t *meshoptStrip) apart(coded bool) (a, b, c uint32) {
	if len(t.in) == 0 {
		t.short = true
		return 0, 0, 0
	}
	aux := t.in[0]
	t.in = t.in[1:]
	fb, fc := aux>>4, aux&15
	if aux == 0 {
		t.next = 0
	}
	if !coded {
		a = t.fresh()
	}
	b, c = t.vertex(fb), t.vertex(fc)
	if coded {
		a = t.difference()
	}
	if fb == 15 {
		b = t.difference()
	}
	if fc == 15 {
		c = t.difference()
	}
	t.pushVertex(a)
	t.pushIfNew(b, fb == 0 || fb == 15)
	t.pushIfNew(c, fc == 0 || fc == 15)
	return a, b, c
}

// vertex is the vertex of a half of an auxiliary code: a new one for 0, else one of the last fifteen.
func (t *meshoptStrip) vertex(f byte) uint32 {
	if f == 0 {
		return t.fresh()
	}
	return t.vertices[(t.vertexAt-uint32(f))&15]
}

func (t *meshoptStrip) pushIfNew(v uint32, isNew bool) {
	if isNew {
		t.pushVertex(v)
	}
}

// meshoptSequence decodes count indices in any order (the extension's "Mode 2: indices"): differences to one of two
// indices before.
func meshoptSequence(data []byte, count, size int) ([]byte, error) {
	const tail = 4
	if len(data) < 1+count+tail || data[0]&0xf0 != 0xd0 || data[0]&0x0f > 1 {
		return nil, errMeshopt
	}
	in := data[1 : len(data)-tail]
	out := make([]byte, count*size)
	var last [2]uint32
	for i := range count {
		v, n := meshoptVarint(in)
		if n == 0 {
			return nil, errMeshopt
		}
		in = in[n:]
		which := v & 1
		v >>= 1
		last[which] += v>>1 ^ -(v & 1)
		putIndex(out, i, size, last[which])
	}
	if len(in) != 0 {
		return nil, errMeshopt
	}
	return out, nil
}
