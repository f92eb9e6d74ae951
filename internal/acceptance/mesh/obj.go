package mesh

import (
	"bytes"
	"fmt"
	"path"
	"strings"
)

// Wavefront .obj: "v", "vt", "vn" and "f" with positive or negative indices; "o", "g" and "usemtl" become nodes and
// materials; "s", "l", "p", comments and the statements of curves are passed over. Polygons are kept in Polys.
// The format has no standard; what is read is what its common description (Wavefront, appendix B1, "Object Files")
// says of polygonal geometry.

// objFile is a file on its way into a scene.
type objFile struct {
	text   []byte
	lim    Limits
	v      []float32 // 3 a vertex
	vt     []float32 // 2 a vertex, v turned down as glTF has it
	vn     []float32 // 3 a vertex
	pieces []objPiece
}

// objPiece is what one run of lines holds.
type objPiece struct {
	piece
	v, vt, vn, faces int // lines of each, and how many come in earlier pieces
	v0, vt0, vn0     int

	sizes   []uint8
	corners []objCorner
	marks   []objMark
	issues  *issues
	libs    []string
}

// objCorner is one corner of a face: indices from 0, or -1.
type objCorner struct{ v, vt, vn int32 }

// objMark is a change of group or material before a face of the piece.
type objMark struct {
	face int
	kind byte // 'o', 'g' or 'm'
	name string
	line int
}

// maxCorners is how many corners a polygon may have: Polys counts them in a byte.
const maxCorners = 255

func loadOBJ(src Source, s *Scene, data []byte, lim Limits, is *issues) bool {
	s.Format = "obj"
	o := &objFile{text: joinLines(data), lim: lim}
	for _, p := range splitLines(o.text, 0, 1) {
		o.pieces = append(o.pieces, objPiece{piece: p, issues: newIssues(s.Path)})
	}
	parallel(len(o.pieces), func(i int) { o.count(&o.pieces[i]) })
	if !o.allocate(is) {
		return false
	}
	parallel(len(o.pieces), func(i int) { o.parse(&o.pieces[i]) })
	for i := range o.pieces {
		is.merge(o.pieces[i].issues)
	}
	o.libraries(src, s, is)
	return o.build(s, is)
}

// joinLines resolves backslashes at the ends of lines; most files have none and are not copied.
func joinLines(data []byte) []byte {
	if !bytes.Contains(data, []byte("\\\n")) && !bytes.Contains(data, []byte("\\\r\n")) {
		return data
	}
	joined := bytes.ReplaceAll(data, []byte("\\\r\n"), []byte("   "))
	return bytes.ReplaceAll(joined, []byte("\\\n"), []byte("  "))
}

// keyword tells the statement of a line: its first field, and the rest.
func keyword(line []byte) (key, rest []byte) {
	key, rest = field(line)
	if bytes.HasPrefix(key, []byte("#")) {
		return nil, nil
	}
	return key, rest
}

// count counts a piece's statements, so that arrays can be made once and negative indices resolved. It tells statements
// as parse does.
func (o *objFile) count(p *objPiece) {
	for i := p.from; i < p.to; {
		var line []byte
		line, i = nextLine(o.text[:p.to], i)
		key, _ := keyword(line)
		switch string(key) {
		case "v":
			p.v++
		case "vt":
			p.vt++
		case "vn":
			p.vn++
		case "f":
			p.faces++
		}
	}
}

func (o *objFile) allocate(is *issues) bool {
	var v, vt, vn, faces int
	for i := range o.pieces {
		p := &o.pieces[i]
		p.v0, p.vt0, p.vn0 = v, vt, vn
		v, vt, vn, faces = v+p.v, vt+p.vt, vn+p.vn, faces+p.faces
	}
	if int64(max(v, vt, vn)) > o.lim.Vertices || int64(faces) > o.lim.Triangles {
		is.error("limits.triangles", "", -1, fmt.Sprintf("The file has %d vertices and %d faces, %d and %d are allowed; reduce or split it.", v, faces, o.lim.Vertices, o.lim.Triangles))
		return false
	}
	o.v, o.vt, o.vn = make([]float32, 3*v), make([]float32, 2*vt), make([]float32, 3*vn)
	return true
}

// parse reads a piece's lines.
func (o *objFile) parse(p *objPiece) {
	p.sizes = make([]uint8, 0, p.faces)
	p.corners = make([]objCorner, 0, 3*p.faces)
	v, vt, vn := p.v0, p.vt0, p.vn0
	line := p.firstLine
	for i := p.from; i < p.to; line++ {
		at := i
		var text []byte
		text, i = nextLine(o.text[:p.to], i)
		key, rest := keyword(text)
		switch string(key) {
		case "v":
			o.numbers(p, o.v[3*v:3*v+3], rest, 3, line, at)
			v++
		case "vt":
			o.numbers(p, o.vt[2*vt:2*vt+2], rest, 1, line, at)
			o.vt[2*vt+1] = 1 - o.vt[2*vt+1] // .obj's V goes up
			vt++
		case "vn":
			o.numbers(p, o.vn[3*vn:3*vn+3], rest, 3, line, at)
			vn++
		case "f":
			o.face(p, rest, objCounts{v, vt, vn}, line, at)
		case "o", "g":
			p.marks = append(p.marks, objMark{len(p.sizes), key[0], label(rest), line})
		case "usemtl":
			p.marks = append(p.marks, objMark{len(p.sizes), 'm', label(rest), line})
		case "mtllib":
			if len(p.libs) < issuesPerCode {
				p.libs = append(p.libs, label(rest))
			}
		case "", "s", "l", "p", "vp", "mg", "lod", "bevel", "c_interp", "d_interp", "usemap", "maplib", "shadow_obj", "trace_obj":
		case "curv", "curv2", "surf", "cstype", "deg", "bmat", "step", "parm", "trim", "hole", "scrv", "sp", "end", "con", "ctech", "stech":
			p.issues.warn("obj.curves", fmt.Sprintf("line %d", line), int64(at), "Curves and curved surfaces are not read; export polygons.")
		default:
			p.issues.warn("obj.unknown_statement", fmt.Sprintf("line %d", line), int64(at), fmt.Sprintf("The statement %q is not known and not read.", clip(string(key))))
		}
	}
}

// label is the name in an "o", "g" or "usemtl" line, cut to a sane length.
func label(rest []byte) string {
	const most = 1024
	name := bytes.TrimSpace(rest)
	return strings.ToValidUTF8(string(name[:min(len(name), most)]), "�")
}

// numbers reads up to len(out) numbers of which the first few must be there.
func (o *objFile) numbers(p *objPiece, out []float32, rest []byte, need, line, at int) {
	for k := range out {
		var f []byte
		f, rest = field(rest)
		if len(f) == 0 && k >= need {
			return
		}
		x, ok := parseFloat(f)
		switch {
		case !ok:
			p.issues.error("obj.number", fmt.Sprintf("line %d", line), int64(at), fmt.Sprintf("%q stands where a number belongs; export again.", clip(string(f))))
			return
		case !finite(x):
			p.issues.error("data.not_finite", fmt.Sprintf("line %d", line), int64(at), fmt.Sprintf("The number %s is NaN or infinite; clean the mesh and export again.", clip(string(f))))
			return
		}
		out[k] = x
	}
}

// objCounts is how many of each were given before a line.
type objCounts struct{ v, vt, vn int }

// face reads a polygon. One with a bad corner is reported and left out.
func (o *objFile) face(p *objPiece, rest []byte, have objCounts, line, at int) {
	first := len(p.corners)
	drop := func(code, msg string) {
		p.corners = p.corners[:first]
		p.issues.error(code, fmt.Sprintf("line %d", line), int64(at), msg)
	}
	for {
		var f []byte
		f, rest = field(rest)
		if len(f) == 0 {
			break
		}
		if len(p.corners)-first == maxCorners {
			drop("limits.polygon", fmt.Sprintf("A polygon has more than %d corners; split it.", maxCorners))
			return
		}
		c, ok := o.corner(f, have)
		if !ok {
			drop("data.index_range", fmt.Sprintf("The corner %q points at no vertex; the file has %d, %d UVs and %d normals.", clip(string(f)), len(o.v)/3, len(o.vt)/2, len(o.vn)/3))
			return
		}
		p.corners = append(p.corners, c)
	}
	n := len(p.corners) - first
	if n < 3 {
		drop("obj.short_face", fmt.Sprintf("A face has %d corners and needs 3; delete it.", n))
		return
	}
	p.sizes = append(p.sizes, uint8(n))
}

// corner reads "v", "v/vt", "v//vn" or "v/vt/vn".
func (o *objFile) corner(f []byte, have objCounts) (objCorner, bool) {
	c := objCorner{-1, -1, -1}
	for part := range 3 {
		text := f
		if i := bytes.IndexByte(f, '/'); i >= 0 {
			text, f = f[:i], f[i+1:]
		} else {
			f = nil
		}
		if len(text) > 0 || part == 0 {
			var ok bool
			switch part {
			case 0:
				c.v, ok = resolveIndex(text, have.v, len(o.v)/3)
			case 1:
				c.vt, ok = resolveIndex(text, have.vt, len(o.vt)/2)
			default:
				c.vn, ok = resolveIndex(text, have.vn, len(o.vn)/3)
			}
			if !ok {
				return c, false
			}
		}
		if f == nil {
			return c, true
		}
	}
	return c, false
}

// resolveIndex turns an index that counts from 1, or backwards from the last one given, into one from 0.
func resolveIndex(text []byte, have, total int) (int32, bool) {
	n, ok := parseInt(text)
	if !ok || n == 0 {
		return -1, false
	}
	if n < 0 {
		n += int64(have)
	} else {
		n--
	}
	return int32(n), n >= 0 && n < int64(total)
}

// libraries warns of material files that are not delivered; they are not read, a sculpt's colours are not judged.
func (o *objFile) libraries(src Source, s *Scene, is *issues) {
	for i := range o.pieces {
		for _, lib := range o.pieces[i].libs {
			name := path.Join(path.Dir(s.Path), lib)
			blob, err := src.Open(name, o.lim.FileBytes)
			if err != nil {
				is.warn("self_contained.missing", "mtllib", -1, fmt.Sprintf("The material file %q is not in the delivery; deliver it or take out the reference.", clip(lib)))
			}
			blob.Close()
		}
	}
}
