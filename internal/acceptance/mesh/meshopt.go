package mesh

import "fmt"

// meshoptName is the extension that compresses buffer views (Khronos, EXT_meshopt_compression; its codecs are written
// here from the specification and held against the reference implementation's).
const meshoptName = "EXT_meshopt_compression"

// decompress fills a view whose bytes come from EXT_meshopt_compression. The view's own buffer may hold the same bytes
// plainly for readers without the extension; then they are taken.
func (d *document) decompress(w *view, v int, ptr string) {
	ext := d.t.path(v, "extensions", meshoptName)
	if ext < 0 || w.ok || w.length < 0 || !d.uses(meshoptName) {
		return
	}
	fault := func(msg string) {
		d.is.error("meshopt.broken", ptr+"/extensions/"+meshoptName, d.t.offset(ext), msg+" Export the file again, or without compression.")
	}
	from, offset, length := d.index(ext, "buffer"), d.intOf(ext, "byteOffset", 0), d.intOf(ext, "byteLength", -1)
	stride, count := d.intOf(ext, "byteStride", -1), d.intOf(ext, "count", -1)
	mode, filter := d.t.string(d.val(ext, "mode")), d.t.string(d.val(ext, "filter"))
	switch {
	case from < 0 || from >= len(d.buffers) || offset < 0 || length < 1 || offset > 1<<53 || length > 1<<53 || stride < 1 || count < 1 || count > 1<<31:
		fault("The compression names no buffer, or its offset, length, stride or count is missing or out of range.")
		return
	case !d.buffers[from].ok || offset+length > int64(len(d.buffers[from].data)):
		fault(fmt.Sprintf("The compressed bytes end at %d of a buffer of %d.", offset+length, len(d.buffers[from].data)))
		return
	case stride > meshoptStrideLimit || stride*count != w.length:
		fault(fmt.Sprintf("%d elements of %d bytes are declared for a view of %d.", count, stride, w.length))
		return
	case w.stride > 0 && w.stride != stride:
		fault(fmt.Sprintf("The compression says a stride of %d bytes and the view %d.", stride, w.stride))
		return
	}
	if !d.take(w.length, ptr) {
		return
	}
	data, err := meshoptDecode(d.buffers[from].data[offset:offset+length], mode, filter, int(count), int(stride))
	if err != nil {
		fault(fmt.Sprintf("The bytes cannot be unpacked (mode %s, filter %s).", clip(mode), clip(filter)))
		return
	}
	w.data, w.ok = data, true
}

// meshoptDecode unpacks one view.
func meshoptDecode(data []byte, mode, filter string, count, stride int) ([]byte, error) {
	plain := filter == "" || filter == "NONE"
	switch {
	case mode == "ATTRIBUTES":
		out, err := meshoptAttributes(data, count, stride)
		if err != nil {
			return nil, err
		}
		return out, meshoptFilter(filter, out, stride)
	case mode == "TRIANGLES" && plain && (stride == 2 || stride == 4):
		return meshoptTriangles(data, count, stride)
	case mode == "INDICES" && plain && (stride == 2 || stride == 4):
		return meshoptSequence(data, count, stride)
	}
	return nil, errMeshopt
}
