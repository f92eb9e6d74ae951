package mesh

import (
	"bytes"
	"fmt"
	"strings"
)

// The .ply format by its author's description: Greg Turk, "The PLY Polygon File Format", 1994.

// plyProperty is one property of an element.
type plyProperty struct {
	name  string
	size  int  // bytes of a value in a binary file
	kind  byte // 'i' signed, 'u' unsigned, 'f' floating
	list  bool
	nSize int // of a list's count
	nKind byte
}

// plyElement is one element of the header.
type plyElement struct {
	name   string
	count  int64
	props  []plyProperty
	line   int
	stride int // bytes in a binary file; 0 where it has a list
}

type plyHeader struct {
	format   string // "ascii", "little" or "big"
	elements []plyElement
	body     int // where the data begin
	lines    int // of the header
}

const (
	plyHeaderBytes   = 64 << 10
	plyMaxElements   = 64
	plyMaxProperties = 256
)

var plyTypes = map[string]plyProperty{
	"char": {size: 1, kind: 'i'}, "int8": {size: 1, kind: 'i'}, "uchar": {size: 1, kind: 'u'}, "uint8": {size: 1, kind: 'u'},
	"short": {size: 2, kind: 'i'}, "int16": {size: 2, kind: 'i'}, "ushort": {size: 2, kind: 'u'}, "uint16": {size: 2, kind: 'u'},
	"int": {size: 4, kind: 'i'}, "int32": {size: 4, kind: 'i'}, "uint": {size: 4, kind: 'u'}, "uint32": {size: 4, kind: 'u'},
	"float": {size: 4, kind: 'f'}, "float32": {size: 4, kind: 'f'}, "double": {size: 8, kind: 'f'}, "float64": {size: 8, kind: 'f'},
}

// plyFault is a header that cannot be read.
type plyFault struct {
	code string
	line int
	what string
}

func parsePLYHeader(data []byte) (plyHeader, *plyFault) {
	var h plyHeader
	head := data[:min(len(data), plyHeaderBytes)]
	if !bytes.HasPrefix(head, []byte("ply\n")) && !bytes.HasPrefix(head, []byte("ply\r")) {
		return h, &plyFault{"container.magic", 1, "The file does not begin with \"ply\"; export it again."}
	}
	for at := 0; ; {
		if bytes.IndexByte(head[at:], '\n') < 0 {
			return h, &plyFault{"ply.header", h.lines + 1, fmt.Sprintf("The header does not end within %d bytes; export it again.", plyHeaderBytes)}
		}
		var line []byte
		line, at = nextLine(head, at)
		h.lines++
		f := strings.Fields(string(line))
		if len(f) == 0 || h.lines == 1 || f[0] == "comment" || f[0] == "obj_info" {
			continue
		}
		if f[0] == "end_header" {
			h.body = at
			break
		}
		if what := h.statement(f); what != "" {
			return h, &plyFault{"ply.header", h.lines, what}
		}
	}
	if h.format == "" {
		return h, &plyFault{"ply.header", h.lines, "The header names no format; export it again."}
	}
	for i := range h.elements {
		h.elements[i].measure()
	}
	return h, nil
}

// statement reads one header line and returns what is wrong with it.
func (h *plyHeader) statement(f []string) string {
	switch f[0] {
	case "format":
		names := map[string]string{"ascii": "ascii", "binary_little_endian": "little", "binary_big_endian": "big"}
		if len(f) != 3 || names[f[1]] == "" || f[2] != "1.0" {
			return "The format line names neither ascii nor a binary format of version 1.0; export it again."
		}
		h.format = names[f[1]]
	case "element":
		if len(f) != 3 {
			return "An element line must be name and number; export it again."
		}
		n, ok := parseInt([]byte(f[2]))
		if !ok || n < 0 {
			return fmt.Sprintf("The element %q counts %q; export it again.", clip(f[1]), clip(f[2]))
		}
		if len(h.elements) == plyMaxElements {
			return fmt.Sprintf("The header has more than %d elements; export it again.", plyMaxElements)
		}
		h.elements = append(h.elements, plyElement{name: f[1], count: n, line: h.lines})
	case "property":
		if len(h.elements) == 0 {
			return "A property comes before any element; export it again."
		}
		e := &h.elements[len(h.elements)-1]
		p, ok := plyPropertyOf(f)
		if !ok || len(e.props) == plyMaxProperties {
			return fmt.Sprintf("The property %q cannot be read; export it again.", clip(strings.Join(f[1:], " ")))
		}
		e.props = append(e.props, p)
	default:
		return fmt.Sprintf("The header line %q is not known; export it again.", clip(strings.Join(f, " ")))
	}
	return ""
}

func plyPropertyOf(f []string) (plyProperty, bool) {
	if len(f) == 5 && f[1] == "list" {
		n, p := plyTypes[f[2]], plyTypes[f[3]]
		p.name, p.list, p.nSize, p.nKind = f[4], true, n.size, n.kind
		return p, n.size > 0 && n.kind != 'f' && p.size > 0
	}
	if len(f) != 3 {
		return plyProperty{}, false
	}
	p := plyTypes[f[1]]
	p.name = f[2]
	return p, p.size > 0
}

func (e *plyElement) measure() {
	for _, p := range e.props {
		if p.list {
			e.stride = 0
			return
		}
		e.stride += p.size
	}
}

// least returns how many bytes an element takes at least.
func (e *plyElement) least(ascii bool) int64 {
	n := 0
	for _, q := range e.props {
		switch {
		case ascii:
			n += 2
		case q.list:
			n += q.nSize
		default:
			n += q.size
		}
	}
	return int64(n)
}

// find returns the position of the first property with one of these names, or -1.
func (e *plyElement) find(names ...string) int {
	for i, p := range e.props {
		for _, n := range names {
			if p.name == n {
				return i
			}
		}
	}
	return -1
}

// offset returns where property i begins in a binary element without lists.
func (e *plyElement) offset(i int) int {
	at := 0
	for _, p := range e.props[:i] {
		at += p.size
	}
	return at
}
