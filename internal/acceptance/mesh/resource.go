package mesh

import (
	"encoding/base64"
	"errors"
	"fmt"
	"net/url"
	"path"
	"regexp"
	"strings"
)

// delivered is a file of the delivery that the document refers to, opened once.
type delivered struct {
	path string
	data []byte
	ok   bool
}

// dataURI is a data: URI taken apart.
type dataURI struct {
	mime string
	data []byte
}

var schemePattern = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9+.-]*:`)

// resolve turns a relative URI into a path of the delivery (glTF 2.0, section 2.8 "URIs"). What leads elsewhere is
// reported under self_contained and never opened.
func (d *document) resolve(uri, ptr string, at int64) (string, bool) {
	refuse := func(code, msg string) (string, bool) {
		d.is.error("self_contained."+code, ptr, at, msg)
		return "", false
	}
	shown := clip(uri)
	switch {
	case strings.HasPrefix(uri, "//"), strings.Contains(uri, "://"):
		return refuse("remote", fmt.Sprintf("The file %q lies on another machine and is never fetched; put it into the delivery and refer to it by its relative path.", shown))
	case strings.HasPrefix(uri, "/"), strings.HasPrefix(uri, `\`), len(uri) > 1 && uri[1] == ':', schemePattern.MatchString(uri):
		return refuse("absolute", fmt.Sprintf("The path %q is absolute and means nothing on another machine; refer to a file of the delivery by its relative path.", shown))
	}
	clean, _, _ := strings.Cut(uri, "#")
	clean, _, _ = strings.Cut(clean, "?")
	name, err := url.PathUnescape(clean)
	if err != nil || name == "" {
		d.is.error("uri.invalid", ptr, at, fmt.Sprintf("%q is no valid URI; write a relative path with percent-encoding.", shown))
		return "", false
	}
	for _, part := range strings.FieldsFunc(name, func(r rune) bool { return r == '/' || r == '\\' }) {
		if part == ".." {
			return refuse("outside", fmt.Sprintf("The path %q leads upwards with \"..\"; files must lie beside or below the one that uses them.", shown))
		}
	}
	full := path.Join(d.dir(), name)
	if strings.HasPrefix(name, "/") || !localPath(full) {
		return refuse("absolute", fmt.Sprintf("The path %q is not a relative path of the delivery; refer to a file beside this one.", shown))
	}
	return full, true
}

// open returns a file of the delivery by URI.
func (d *document) open(uri, ptr string, at int64) *delivered {
	name, ok := d.resolve(uri, ptr, at)
	if !ok {
		return &delivered{}
	}
	if got := d.read[name]; got != nil {
		return got
	}
	got := &delivered{path: name}
	d.read[name] = got
	blob, err := d.src.Open(name, d.lim.FileBytes)
	switch {
	case err == nil:
		d.s.keep(blob)
		got.data, got.ok = blob.Data, true
	case errors.Is(err, ErrNotDelivered):
		d.is.error("self_contained.missing", ptr, at, fmt.Sprintf("The file %q is not in the delivery; deliver it or take out the reference.", clip(name)))
	case errors.Is(err, ErrTooLarge):
		d.is.error("limits.file_bytes", ptr, at, fmt.Sprintf("The file %q is too large to be read; reduce it.", clip(name)))
	default:
		d.is.error("self_contained.unreadable", ptr, at, fmt.Sprintf("The file %q cannot be opened; deliver a plain file.", clip(name)))
	}
	return got
}

// parseDataURI takes a data: URI apart (RFC 2397).
func parseDataURI(uri string) (dataURI, error) {
	head, body, ok := strings.Cut(strings.TrimPrefix(uri, "data:"), ",")
	if !ok {
		return dataURI{}, errors.New("it has no comma")
	}
	mime, coded := strings.CutSuffix(head, ";base64")
	mime, _, _ = strings.Cut(mime, ";")
	if !coded {
		text, err := url.PathUnescape(body)
		return dataURI{mime, []byte(text)}, err
	}
	if strings.ContainsAny(body, "\r\n") {
		return dataURI{}, errors.New("its base64 is broken into lines")
	}
	enc := base64.StdEncoding
	if len(body)%4 != 0 {
		enc = base64.RawStdEncoding
	}
	data, err := enc.DecodeString(body)
	return dataURI{mime, data}, err
}

// buffer is one buffer's bytes, cut to its declared length.
type buffer struct {
	data   []byte
	length int64  // declared, -1 where it is not given
	at     int64  // offset of the data in file, -1 in a data URI
	path   string // the file that holds it
	ok     bool
}

func (d *document) loadBuffers() {
	var delivered int64
	for i, b := range d.each("buffers") {
		got := d.loadBuffer(i, b)
		got.length = d.intOf(b, "byteLength", -1)
		delivered += int64(len(got.data))
		d.buffers = append(d.buffers, got)
	}
	d.budget = decodeBase + decodeFactor*delivered
}

// Decoded arrays may take this many bytes for each byte of a buffer, beyond a base: small indices grow 4 times, strips
// of them 12 times. A file that asks for more is built to exhaust memory.
const (
	decodeBase   = 64 << 20
	decodeFactor = 16
)

func (d *document) loadBuffer(i, b int) buffer {
	ptr := pointer("buffers", i)
	length := d.intOf(b, "byteLength", -1)
	uriAt := d.val(b, "uri")
	var got buffer
	switch uri := d.t.string(uriAt); {
	case uriAt < 0 && d.t.get(b, "uri") >= 0:
		return got
	case uriAt < 0 && i == 0 && d.glb != nil && d.glb.bin != nil:
		got = buffer{data: d.glb.bin, at: d.glb.binAt, path: d.s.Path, ok: true}
		if extra := int64(len(got.data)) - length; length > 0 && extra > 3 {
			d.is.warn("buffer.extra_data", ptr, got.at, fmt.Sprintf("The binary chunk holds %d bytes more than the buffer declares; they are not read.", extra))
		}
	case uriAt < 0 && d.glb != nil && i == 0:
		d.is.error("buffer.missing_chunk", ptr, -1, "The buffer lies in the binary chunk and the file has none; export it again.")
		return got
	case uriAt < 0:
		return got // a buffer without data: what uses it is reported
	case strings.HasPrefix(uri, "data:"):
		parsed, err := parseDataURI(uri)
		if err != nil {
			d.is.error("uri.invalid", ptr+"/uri", d.t.offset(uriAt), fmt.Sprintf("The data URI cannot be decoded: %s; export it again.", dataFault(err)))
			return got
		}
		if parsed.mime != "application/octet-stream" && parsed.mime != "application/gltf-buffer" {
			d.is.error("buffer.media_type", ptr+"/uri", d.t.offset(uriAt), fmt.Sprintf("A buffer's data URI says %q; it must be application/octet-stream or application/gltf-buffer.", clip(parsed.mime)))
		}
		got = buffer{data: parsed.data, at: -1, path: d.s.Path, ok: true}
	default:
		file := d.open(uri, ptr+"/uri", d.t.offset(uriAt))
		got = buffer{data: file.data, path: file.path, ok: file.ok}
	}
	if !got.ok || length < 0 {
		return buffer{}
	}
	if int64(len(got.data)) < length {
		d.is.error("buffer.too_short", ptr, got.at, fmt.Sprintf("The buffer declares %d bytes and %d are there; it was cut off, export and send it again.", length, len(got.data)))
		return got
	}
	got.data = got.data[:length:length]
	return got
}

// dataFault says what a base64 error means without quoting the data.
func dataFault(err error) string {
	var corrupt base64.CorruptInputError
	if errors.As(err, &corrupt) {
		return fmt.Sprintf("its base64 is broken at character %d", int64(corrupt))
	}
	return "it is not written as RFC 2397 asks"
}

// view is one buffer view's bytes.
type view struct {
	buffer int
	data   []byte
	offset int64 // in the buffer
	length int64 // declared
	stride int64 // 0: not given
	target int64
	use    string // "index", "vertex", "image" or "other", by what uses it
	shared int    // vertex accessors on it
	ok     bool
}

func (d *document) loadViews() {
	for i, v := range d.each("bufferViews") {
		ptr := pointer("bufferViews", i)
		w := view{buffer: d.index(v, "buffer"), offset: d.intOf(v, "byteOffset", 0), length: d.intOf(v, "byteLength", -1),
			stride: d.intOf(v, "byteStride", 0), target: d.intOf(v, "target", 0)}
		if w.buffer >= 0 && w.length >= 0 {
			d.boundView(&w, v, ptr)
			d.decompress(&w, v, ptr)
		}
		if w.stride > w.length && w.length >= 0 {
			d.is.error("view.stride", ptr+"/byteStride", -1, fmt.Sprintf("The stride of %d bytes is longer than the view's %d.", w.stride, w.length))
		}
		if w.stride > 0 && w.target == 34963 {
			d.is.error("view.stride", ptr+"/byteStride", -1, "A view of indices must not have a byteStride.")
		}
		d.views = append(d.views, w)
	}
}

// boundView cuts the view's bytes out of its buffer. Offsets and lengths are at most 2^53 each, so sums do not overflow.
func (d *document) boundView(w *view, v int, ptr string) {
	b := d.buffers[w.buffer]
	if b.length >= 0 && w.offset+w.length > b.length {
		d.is.error("view.out_of_bounds", ptr, d.t.offset(v), fmt.Sprintf(
			"The view ends at byte %d of a buffer of %d; the exporter or a repacking tool cut the buffer.", w.offset+w.length, b.length))
		return
	}
	if !b.ok || w.offset+w.length > int64(len(b.data)) {
		return // the buffer was reported
	}
	w.data, w.ok = b.data[w.offset:w.offset+w.length:w.offset+w.length], true
}
