package mesh

import (
	"encoding/binary"
	"fmt"
	"math"
	"unsafe"
)

// Component types by glTF's number.
const (
	compByte   = 5120
	compUByte  = 5121
	compShort  = 5122
	compUShort = 5123
	compUInt   = 5125
	compFloat  = 5126
)

var compSize = map[int64]int64{compByte: 1, compUByte: 1, compShort: 2, compUShort: 2, compUInt: 4, compFloat: 4}

var compNames = map[int64]string{compByte: "byte", compUByte: "unsigned byte", compShort: "short", compUShort: "unsigned short",
	compUInt: "unsigned int", compFloat: "float"}

var typeWidth = map[string]int{"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}

// accessor is a typed view, bounds checked (glTF 2.0, section 3.6.2).
type accessor struct {
	at     int // its object on the tape
	view   int // -1: none
	offset int64
	comp   int64
	typ    string
	width  int   // components an element
	size   int64 // bytes an element
	stride int64 // bytes from one element to the next
	norm   bool
	count  int64
	sparse *sparse
	ok     bool   // its data may be read
	typed  bool   // type, component type and count are known
	use    string // "index", "vertex", …

	// Once asked for: elements one after the other, their statistics, and decoded values.
	tight   []byte
	stats   *stats
	decoded []float32
	order   []uint32
	checked bool // values were checked for their use
}

type sparse struct {
	count          int64
	indices        []byte
	comp           int64
	values         []byte
	indexPtr       string
	indicesChecked bool
}

func (a *accessor) matrix() bool { return len(a.typ) == 4 && a.typ[:3] == "MAT" }

// elementSize returns an element's bytes; matrix columns begin on multiples of 4 (section 3.6.2.4).
func elementSize(typ string, comp int64) int64 {
	n, w := compSize[comp], int64(typeWidth[typ])
	switch typ {
	case "MAT2", "MAT3":
		side := int64(typ[3] - '0')
		column := (side*n + 3) &^ 3
		return column * side
	}
	return w * n
}

func (d *document) loadAccessors() {
	for i, v := range d.each("accessors") {
		a := accessor{at: v, view: d.index(v, "bufferView"), offset: d.intOf(v, "byteOffset", 0), comp: d.intOf(v, "componentType", 0),
			typ: d.t.string(d.val(v, "type")), count: d.intOf(v, "count", 0), norm: d.t.kind(d.val(v, "normalized")) == 't'}
		a.width = typeWidth[a.typ]
		if compSize[a.comp] > 0 && a.width > 0 && a.count > 0 {
			a.typed = true
			a.size = elementSize(a.typ, a.comp)
			a.stride = a.size
			a.ok = d.boundAccessor(&a, v, pointer("accessors", i))
		}
		d.accs = append(d.accs, a)
	}
}

// boundAccessor checks alignment and bounds and tells whether the data may be read. Offsets are at most 2^53 and
// count × stride at most 2^53 × 255, so that nothing overflows.
func (d *document) boundAccessor(a *accessor, v int, ptr string) bool {
	fault := func(code, msg string) { d.is.error(code, ptr, d.t.offset(v), msg) }
	if a.norm && (a.comp == compFloat || a.comp == compUInt) {
		fault("accessor.normalized", fmt.Sprintf("An accessor of %s cannot be normalized.", compNames[a.comp]))
	}
	for _, key := range []string{"min", "max"} {
		if m := d.val(v, key); m >= 0 && d.t.len(m) != a.width {
			fault("accessor.bounds_length", fmt.Sprintf("%q has %d numbers for elements of %d.", key, d.t.len(m), a.width))
			d.bad[m] = true
		}
	}
	ok := true
	unit := compSize[a.comp]
	if a.matrix() {
		unit = 4
	}
	if a.offset%compSize[a.comp] != 0 {
		fault("accessor.alignment", fmt.Sprintf("Byte offset %d is no multiple of the component's %d bytes; the exporter must align it.", a.offset, compSize[a.comp]))
	}
	switch {
	case d.t.get(v, "bufferView") >= 0 && a.view < 0:
		ok = false // the index itself was reported
	case a.view >= 0:
		ok = d.boundInView(a, unit, fault)
	}
	if sp := d.val(v, "sparse"); sp >= 0 {
		ok = d.boundSparse(a, sp, ptr+"/sparse") && ok
	} else if d.t.get(v, "sparse") >= 0 {
		ok = false
	}
	return ok
}

func (d *document) boundInView(a *accessor, unit int64, fault func(code, msg string)) bool {
	w := &d.views[a.view]
	if w.stride > 0 {
		a.stride = w.stride
		if w.stride < a.size {
			fault("accessor.stride", fmt.Sprintf("The view's stride of %d bytes is shorter than an element of %d.", w.stride, a.size))
			return false
		}
	}
	if (w.offset+a.offset)%unit != 0 && a.offset%compSize[a.comp] == 0 {
		fault("accessor.alignment", fmt.Sprintf("The data begin at byte %d of the buffer, which is no multiple of %d; the exporter must align it.", w.offset+a.offset, unit))
	}
	if w.length < 0 {
		return false
	}
	if end := float64(a.stride) * float64(a.count-1); end > 1<<60 || a.offset+a.stride*(a.count-1)+a.size > w.length {
		fault("accessor.out_of_bounds", fmt.Sprintf(
			"%d elements of %d bytes from byte %d do not fit the view's %d bytes; the exporter or a repacking tool cut the buffer.", a.count, a.size, a.offset, w.length))
		return false
	}
	return w.ok
}

func (d *document) boundSparse(a *accessor, v int, ptr string) bool {
	ix, vals := d.val(v, "indices"), d.val(v, "values")
	sp := &sparse{count: d.intOf(v, "count", -1), comp: d.intOf(ix, "componentType", 0), indexPtr: ptr + "/indices"}
	if sp.count < 0 || compSize[sp.comp] == 0 {
		return false
	}
	if sp.count > a.count {
		d.is.error("accessor.sparse_count", ptr, d.t.offset(v), fmt.Sprintf("%d elements are replaced of %d.", sp.count, a.count))
		return false
	}
	var ok1, ok2 bool
	sp.indices, ok1 = d.slice(ix, sp.count, compSize[sp.comp], compSize[sp.comp], ptr+"/indices")
	sp.values, ok2 = d.slice(vals, sp.count, a.size, compSize[a.comp], ptr+"/values")
	a.sparse = sp
	return ok1 && ok2
}

// slice returns count tight elements of a sparse accessor's part.
func (d *document) slice(v int, count, size, unit int64, ptr string) ([]byte, bool) {
	i, offset := d.index(v, "bufferView"), d.intOf(v, "byteOffset", 0)
	if i < 0 {
		return nil, false
	}
	d.useView(i, "other", ptr)
	w := &d.views[i]
	if offset%unit != 0 || (w.offset+offset)%unit != 0 {
		d.is.error("accessor.alignment", ptr, d.t.offset(v), fmt.Sprintf("Byte %d of the buffer is no multiple of the component's %d bytes; the exporter must align it.", w.offset+offset, unit))
	}
	if w.length >= 0 && (count > 1<<53/size || offset+count*size > w.length) {
		d.is.error("accessor.out_of_bounds", ptr, d.t.offset(v), fmt.Sprintf("%d elements of %d bytes from byte %d do not fit the view's %d bytes.", count, size, offset, w.length))
		return nil, false
	}
	if !w.ok {
		return nil, false
	}
	return w.data[offset : offset+count*size], true
}

// take books memory for a decoded array, or reports that the file asks for too much.
func (d *document) take(bytes int64, ptr string) bool {
	if bytes > d.budget {
		d.is.error("limits.expansion", ptr, -1, fmt.Sprintf("Reading this takes %d bytes of memory, far more than the file's own size explains; deliver plain arrays.", bytes))
		return false
	}
	d.budget -= bytes
	return true
}

// tight returns the accessor's elements one after the other: a view into the file where it lies there so, a copy
// with the sparse values put in where not. Nil where it must not be read.
func (d *document) tight(i int) []byte {
	if i < 0 || !d.accs[i].ok {
		return nil
	}
	a := &d.accs[i]
	if a.tight != nil {
		return a.tight
	}
	bytes := a.count * a.size
	if a.view >= 0 && a.sparse == nil && a.stride == a.size {
		a.tight = d.views[a.view].data[a.offset : a.offset+bytes]
		return a.tight
	}
	if a.count > 1<<53/a.size || !d.take(bytes, pointer("accessors", i)) || !d.sparseOrder(a) {
		a.ok = false
		return nil
	}
	out := make([]byte, bytes)
	if a.view >= 0 {
		from := d.views[a.view].data[a.offset:]
		gather(out, from, a.size, a.stride)
	}
	if sp := a.sparse; sp != nil {
		for k := range sp.count {
			at := int64(sp.index(k))
			copy(out[at*a.size:(at+1)*a.size], sp.values[k*a.size:])
		}
	}
	a.tight = out
	return out
}

// gather copies strided elements together.
func gather(out, from []byte, size, stride int64) {
	for o, f := int64(0), int64(0); o < int64(len(out)); o, f = o+size, f+stride {
		copy(out[o:o+size], from[f:f+size])
	}
}

func (sp *sparse) index(k int64) uint32 {
	switch sp.comp {
	case compUByte:
		return uint32(sp.indices[k])
	case compUShort:
		return uint32(binary.LittleEndian.Uint16(sp.indices[2*k:]))
	}
	return binary.LittleEndian.Uint32(sp.indices[4*k:])
}

// sparseOrder checks that sparse indices grow and stay inside (section 3.6.2.3).
func (d *document) sparseOrder(a *accessor) bool {
	sp := a.sparse
	if sp == nil || sp.indicesChecked {
		return true
	}
	sp.indicesChecked = true
	ok, last := true, int64(-1)
	for k := range sp.count {
		at := int64(sp.index(k))
		if at >= a.count {
			d.is.error("accessor.sparse_index", sp.indexPtr, -1, fmt.Sprintf("Sparse index %d is %d and there are %d elements.", k, at, a.count))
			return false
		}
		if at <= last {
			d.is.error("accessor.sparse_order", sp.indexPtr, -1, fmt.Sprintf("Sparse index %d is %d after %d; they must grow.", k, at, last))
			ok = false
		}
		last = at
	}
	return ok
}

// littleEndian is true where arrays in memory look as they do in the file, so that they can be viewed.
var littleEndian = binary.NativeEndian.Uint16([]byte{1, 0}) == 1

// asFloats views little-endian bytes as float32, or copies where they are not aligned.
func asFloats(b []byte) []float32 {
	n := len(b) / 4
	if n == 0 {
		return nil
	}
	if littleEndian && uintptr(unsafe.Pointer(&b[0]))%4 == 0 {
		return unsafe.Slice((*float32)(unsafe.Pointer(&b[0])), n)
	}
	out := make([]float32, n)
	for i := range out {
		out[i] = math.Float32frombits(binary.LittleEndian.Uint32(b[4*i:]))
	}
	return out
}

// asUints is asFloats for indices.
func asUints(b []byte) []uint32 {
	n := len(b) / 4
	if n == 0 {
		return nil
	}
	if littleEndian && uintptr(unsafe.Pointer(&b[0]))%4 == 0 {
		return unsafe.Slice((*uint32)(unsafe.Pointer(&b[0])), n)
	}
	out := make([]uint32, n)
	for i := range out {
		out[i] = binary.LittleEndian.Uint32(b[4*i:])
	}
	return out
}

// floats returns an accessor's components as float32, integers normalized or plain as it says (section 3.6.2.2:
// f = c / (2^(n-1) - 1), not below -1, for signed ones; f = c / (2^n - 1) for unsigned ones).
func (d *document) floats(i int) []float32 {
	b := d.tight(i)
	if b == nil {
		return nil
	}
	a := &d.accs[i]
	if a.comp == compFloat {
		return asFloats(b)
	}
	if a.decoded != nil {
		return a.decoded
	}
	n := a.count * int64(a.width)
	if !d.take(4*n, pointer("accessors", i)) {
		return nil
	}
	out := make([]float32, n)
	scale := float32(1)
	if a.norm {
		scale = map[int64]float32{compByte: 127, compUByte: 255, compShort: 32767, compUShort: 65535}[a.comp]
	}
	switch a.comp {
	case compByte:
		for k := range out {
			out[k] = max(float32(int8(b[k]))/scale, lowest(a.norm))
		}
	case compUByte:
		for k := range out {
			out[k] = float32(b[k]) / scale
		}
	case compShort:
		for k := range out {
			out[k] = max(float32(int16(binary.LittleEndian.Uint16(b[2*k:])))/scale, lowest(a.norm))
		}
	case compUShort:
		for k := range out {
			out[k] = float32(binary.LittleEndian.Uint16(b[2*k:])) / scale
		}
	case compUInt:
		for k := range out {
			out[k] = float32(binary.LittleEndian.Uint32(b[4*k:]))
		}
	}
	a.decoded = out
	return out
}

// lowest is the least value of a normalized or plain signed integer.
func lowest(norm bool) float32 {
	if norm {
		return -1
	}
	return -math.MaxFloat32
}

// uints returns an index accessor's elements.
func (d *document) uints(i int) []uint32 {
	b := d.tight(i)
	if b == nil {
		return nil
	}
	a := &d.accs[i]
	if a.comp == compUInt {
		return asUints(b)
	}
	if a.order != nil {
		return a.order
	}
	if !d.take(4*a.count, pointer("accessors", i)) {
		return nil
	}
	out := make([]uint32, a.count)
	a.order = out
	if a.comp == compUByte {
		for k := range out {
			out[k] = uint32(b[k])
		}
		return out
	}
	for k := range out {
		out[k] = uint32(binary.LittleEndian.Uint16(b[2*k:]))
	}
	return out
}
