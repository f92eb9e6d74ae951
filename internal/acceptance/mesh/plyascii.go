package mesh

import (
	"bytes"
	"fmt"
)

// ascii reads the elements of a text file, one a line. The lines are cut into pieces; a piece knows the number of its
// first line that is not blank and thereby which element it holds.
func (p *plyFile) ascii() bool {
	pieces := splitLines(p.data, p.head.body, p.head.lines+1)
	firsts := make([]int64, len(pieces)+1)
	parallel(len(pieces), func(i int) { firsts[i+1] = filledLines(p.data[pieces[i].from:pieces[i].to]) })
	for i := range pieces {
		firsts[i+1] += firsts[i]
	}
	total := int64(0)
	for _, e := range p.head.elements {
		total += e.count
	}
	if firsts[len(pieces)] < total {
		p.is.error("ply.truncated", "", int64(len(p.data)), fmt.Sprintf("The header promises %d lines and the file has %d; it was cut off, send it again.", total, firsts[len(pieces)]))
		return false
	}
	parts := make([]plyPiece, len(pieces))
	parallel(len(pieces), func(i int) {
		parts[i] = plyPiece{p: p, is: newIssues(p.is.path)}
		parts[i].read(pieces[i], firsts[i])
	})
	faces := 0
	for i := range parts {
		p.is.merge(parts[i].is)
		faces += len(parts[i].faces.tri)
	}
	p.prim.Tri = make([]uint32, 0, faces)
	p.prim.Polys = []uint8{}
	for i := range parts {
		p.prim.Tri = append(p.prim.Tri, parts[i].faces.tri...)
		p.prim.Polys = append(p.prim.Polys, parts[i].faces.sizes...)
	}
	return true
}

// filledLines counts lines that are not blank.
func filledLines(b []byte) int64 {
	n := int64(0)
	for i := 0; i < len(b); {
		nl := bytes.IndexByte(b[i:], '\n')
		if nl < 0 {
			nl = len(b) - i
		}
		for _, c := range b[i : i+nl] {
			if !blank(c) && c != '\r' {
				n++
				break
			}
		}
		i += nl + 1
	}
	return n
}

// plyPiece reads one run of lines.
type plyPiece struct {
	p     *plyFile
	is    *issues
	faces plyFaces
	poly  [maxCorners]int64
	list  int // position of the index list among a face's properties
}

func (t *plyPiece) read(span piece, number int64) {
	element, first := 0, int64(0) // the current element and the number of its first line
	elements := t.p.head.elements
	advance := func() bool {
		for element < len(elements) && number >= first+elements[element].count {
			first += elements[element].count
			element++
		}
		return element < len(elements)
	}
	sub := *t.p // reports into this piece's issues
	sub.is = t.is
	var targets []plyTarget
	if i := vertexElement(elements); i >= 0 {
		targets = t.p.targets(&elements[i])
	}
	for i := range elements {
		if elements[i].name == "face" {
			t.list = elements[i].find("vertex_indices", "vertex_index")
		}
	}
	for i, line := span.from, span.firstLine; i < span.to; line++ {
		at := i
		var text []byte
		text, i = nextLine(t.p.data[:span.to], i)
		if len(bytes.TrimSpace(text)) == 0 {
			continue
		}
		if !advance() {
			return
		}
		e := &elements[element]
		switch e.name {
		case "vertex":
			t.vertex(e, targets, text, int(number-first), line, at)
		case "face":
			t.face(&sub, e, text, int(number-first), line, at)
		}
		number++
	}
}

func vertexElement(all []plyElement) int {
	for i := range all {
		if all[i].name == "vertex" {
			return i
		}
	}
	return -1
}

func (t *plyPiece) vertex(e *plyElement, targets []plyTarget, text []byte, k, line, at int) {
	for i, q := range e.props {
		var f []byte
		f, text = field(text)
		if q.list {
			n, ok := parseInt(f)
			if !ok || n < 0 || n > int64(len(text)) {
				t.bad(f, line, at)
				return
			}
			for range n {
				_, text = field(text)
			}
			continue
		}
		if targets[i].to == nil {
			continue
		}
		x, ok := parseFloat(f)
		if !ok {
			t.bad(f, line, at)
			return
		}
		targets[i].to[k*targets[i].width+targets[i].c] = x // NaN and infinity are found at the end
	}
}

func (t *plyPiece) bad(f []byte, line, at int) {
	t.is.error("ply.number", fmt.Sprintf("line %d", line), int64(at), fmt.Sprintf("%q stands where a number belongs; export again.", clip(string(f))))
}

func (t *plyPiece) face(sub *plyFile, e *plyElement, text []byte, k, line, at int) {
	for i, q := range e.props {
		var f []byte
		f, text = field(text)
		if !q.list {
			continue
		}
		n, ok := parseInt(f)
		if !ok || n < 0 || n > int64(len(text)) {
			t.bad(f, line, at)
			return
		}
		if i == t.list && n > maxCorners {
			sub.longFace(k, int64(at))
			return
		}
		for c := range int(n) {
			f, text = field(text)
			if i != t.list {
				continue
			}
			if t.poly[c], ok = parseInt(f); !ok {
				t.bad(f, line, at)
				return
			}
		}
		if i == t.list {
			sub.face(&t.faces, t.poly[:n], k, int64(at))
		}
	}
}
