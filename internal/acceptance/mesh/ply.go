package mesh

import (
	"encoding/binary"
	"fmt"
	"math"
	"path"
)

// plyFile is a file on its way into one primitive.
type plyFile struct {
	data  []byte
	head  plyHeader
	lim   Limits
	is    *issues
	order binary.ByteOrder
	prim  Primitive
	used  map[string]int // vertex properties by meaning: position in the element
}

func loadPLY(s *Scene, data []byte, lim Limits, is *issues) bool {
	s.Format = "ply"
	head, fault := parsePLYHeader(data)
	if fault != nil {
		is.error(fault.code, fmt.Sprintf("line %d", fault.line), -1, fault.what)
		return false
	}
	p := &plyFile{data: data, head: head, lim: lim, is: is, order: binary.LittleEndian}
	if head.format == "big" {
		p.order = binary.BigEndian
	}
	if !p.plan() {
		return false
	}
	read := p.binary
	if head.format == "ascii" {
		read = p.ascii
	}
	if !read() || !p.finish() {
		return false
	}
	identity := [16]float64{0: 1, 5: 1, 10: 1, 15: 1}
	p.prim.Mode, p.prim.Material, p.prim.Drawn, p.prim.Pointer = 4, -1, len(p.prim.Tri)/3, path.Base(s.Path)
	p.prim.bound()
	s.Nodes = []Node{{Parent: -1, Local: identity, World: identity, Pointer: path.Base(s.Path)}}
	s.Roots, s.Meshes, s.Prims, s.Draws = []int{0}, []Group{{Prims: []int{0}}}, []Primitive{p.prim}, []Draw{{}}
	return true
}

// plan checks that the header describes a mesh whose size the limits and the file's own length allow.
func (p *plyFile) plan() bool {
	fault := func(code, msg string) bool {
		p.is.error(code, "", -1, msg)
		return false
	}
	var vertices, faces *plyElement
	left := int64(len(p.data) - p.head.body)
	for i := range p.head.elements {
		e := &p.head.elements[i]
		least := e.least(p.head.format == "ascii")
		if e.count > 0 && least == 0 {
			return fault("ply.header", fmt.Sprintf("The element %q has no properties; export it again.", clip(e.name)))
		}
		if e.count*least > left+1 { // the last line may lack its break
			return fault("ply.truncated", fmt.Sprintf("The header promises %d of %q and the file has %d bytes left; it was cut off, send it again.", e.count, clip(e.name), left))
		}
		left -= e.count * least
		switch e.name {
		case "vertex":
			vertices = e
		case "face":
			faces = e
		case "tristrips":
			p.is.undecoded("ply.strips", fmt.Sprintf("line %d", e.line), -1, "The faces are stored as strips, which is not decoded here; export faces as lists.")
			return false
		}
	}
	if vertices == nil || faces == nil || vertices.count == 0 || faces.count == 0 {
		return fault("mesh.empty", "The file holds no vertices or no faces; export the mesh again.")
	}
	if vertices.count > p.lim.Vertices || faces.count > p.lim.Triangles {
		return fault("limits.triangles", fmt.Sprintf("The file has %d vertices and %d faces, %d and %d are allowed; reduce or split it.", vertices.count, faces.count, p.lim.Vertices, p.lim.Triangles))
	}
	p.used = map[string]int{"x": vertices.find("x"), "y": vertices.find("y"), "z": vertices.find("z"), "nx": vertices.find("nx"), "ny": vertices.find("ny"), "nz": vertices.find("nz"),
		"u": vertices.find("u", "s", "texture_u", "texture_s"), "v": vertices.find("v", "t", "texture_v", "texture_t")}
	list := faces.find("vertex_indices", "vertex_index")
	if p.used["x"] < 0 || p.used["y"] < 0 || p.used["z"] < 0 || list < 0 || !faces.props[list].list || faces.props[list].kind == 'f' {
		return fault("ply.header", "The header lacks x, y and z of vertices or vertex_indices of faces; export it again.")
	}
	for _, i := range p.used {
		if i >= 0 && vertices.props[i].list {
			return fault("ply.header", "A coordinate of a vertex is a list; export it again.")
		}
	}
	n := int(vertices.count)
	p.prim.Pos = make([]float32, 3*n)
	if p.used["nx"] >= 0 && p.used["ny"] >= 0 && p.used["nz"] >= 0 {
		p.prim.Nrm = make([]float32, 3*n)
	}
	if p.used["u"] >= 0 && p.used["v"] >= 0 {
		p.prim.UV = [][]float32{make([]float32, 2*n)}
	}
	return true
}

// targets tells for each property of vertices where its values go.
func (p *plyFile) targets(e *plyElement) []plyTarget {
	all := make([]plyTarget, len(e.props))
	put := func(name string, to []float32, width, c int) {
		if i := p.used[name]; i >= 0 && to != nil {
			all[i] = plyTarget{to, width, c}
		}
	}
	put("x", p.prim.Pos, 3, 0)
	put("y", p.prim.Pos, 3, 1)
	put("z", p.prim.Pos, 3, 2)
	put("nx", p.prim.Nrm, 3, 0)
	put("ny", p.prim.Nrm, 3, 1)
	put("nz", p.prim.Nrm, 3, 2)
	if p.prim.UV != nil {
		put("u", p.prim.UV[0], 2, 0)
		put("v", p.prim.UV[0], 2, 1)
	}
	return all
}

// plyTarget is the array that a vertex property goes to.
type plyTarget struct {
	to       []float32
	width, c int
}

// binary reads the elements of a binary file.
func (p *plyFile) binary() bool {
	at := p.head.body
	for i := range p.head.elements {
		e := &p.head.elements[i]
		next, ok := at, true
		switch {
		case e.name == "vertex" && e.stride > 0:
			next = at + int(e.count)*e.stride
			if ok = next <= len(p.data); ok {
				p.vertices(e, p.data[at:next])
			}
		case e.name == "face":
			next, ok = p.faces(e, at)
		default:
			next, ok = p.skip(e, at)
		}
		if !ok {
			p.is.error("ply.truncated", "", int64(at), fmt.Sprintf("The file ends among its %q elements; it was cut off, send it again.", clip(e.name)))
			return false
		}
		at = next
	}
	return true
}

// value reads one binary value.
func (p *plyFile) value(q plyProperty, b []byte) float64 {
	switch {
	case q.kind == 'f' && q.size == 4:
		return float64(math.Float32frombits(p.order.Uint32(b)))
	case q.kind == 'f':
		return math.Float64frombits(p.order.Uint64(b))
	}
	return float64(p.integer(q.size, q.kind, b))
}

func (p *plyFile) integer(size int, kind byte, b []byte) int64 {
	switch {
	case size == 1 && kind == 'u':
		return int64(b[0])
	case size == 1:
		return int64(int8(b[0]))
	case size == 2 && kind == 'u':
		return int64(p.order.Uint16(b))
	case size == 2:
		return int64(int16(p.order.Uint16(b)))
	case kind == 'u':
		return int64(p.order.Uint32(b))
	}
	return int64(int32(p.order.Uint32(b)))
}

// vertices reads vertices of a fixed size.
func (p *plyFile) vertices(e *plyElement, b []byte) {
	if e.stride == 12 && p.used["x"] == 0 && p.used["y"] == 1 && p.used["z"] == 2 && p.head.format == "little" &&
		e.props[0].kind == 'f' && e.props[0].size == 4 && e.props[1].kind == 'f' && e.props[1].size == 4 && e.props[2].kind == 'f' && e.props[2].size == 4 {
		p.prim.Pos = asFloats(b)
		return
	}
	targets := p.targets(e)
	chunks(e.count, 1, func(_ int, from, to int64) {
		for i, t := range targets {
			if t.to == nil {
				continue
			}
			q, at := e.props[i], int(from)*e.stride+e.offset(i)
			for k := int(from); k < int(to); k, at = k+1, at+e.stride {
				t.to[k*t.width+t.c] = float32(p.value(q, b[at:]))
			}
		}
	})
}

// skip passes over elements that are not read; vertices with a list among their properties are read on the way.
func (p *plyFile) skip(e *plyElement, at int) (int, bool) {
	if e.stride > 0 {
		next := at + int(e.count)*e.stride
		return next, next <= len(p.data)
	}
	var targets []plyTarget
	if e.name == "vertex" {
		targets = p.targets(e)
	}
	for k := range int(e.count) {
		for i, q := range e.props {
			size := q.size
			if q.list {
				if at+q.nSize > len(p.data) {
					return at, false
				}
				n := p.integer(q.nSize, q.nKind, p.data[at:])
				if n < 0 || n > int64(len(p.data)) {
					return at, false
				}
				at += q.nSize
				size = int(n) * q.size
			}
			if at+size > len(p.data) {
				return at, false
			}
			if targets != nil && targets[i].to != nil {
				targets[i].to[k*targets[i].width+targets[i].c] = float32(p.value(q, p.data[at:]))
			}
			at += size
		}
	}
	return at, true
}

// faces reads polygons. Space for one triangle a face is made first and grows with what is read, so a file cannot claim
// more than it holds.
func (p *plyFile) faces(e *plyElement, at int) (int, bool) {
	list := e.find("vertex_indices", "vertex_index")
	if len(e.props) == 1 && p.triangleFaces(e, at) {
		return at + int(e.count)*(e.props[0].nSize+3*e.props[0].size), true
	}
	f := plyFaces{tri: make([]uint32, 0, 3*e.count), sizes: make([]uint8, 0, e.count)}
	var poly [maxCorners]int64
	for k := range int(e.count) {
		for i, q := range e.props {
			if !q.list {
				at += q.size
				continue
			}
			if at+q.nSize > len(p.data) {
				return at, false
			}
			n := p.integer(q.nSize, q.nKind, p.data[at:])
			at += q.nSize
			if n < 0 || n > int64(len(p.data)-at)/int64(q.size) {
				return at, false
			}
			if i == list && n <= maxCorners {
				for c := range int(n) {
					poly[c] = p.integer(q.size, q.kind, p.data[at+c*q.size:])
				}
				p.face(&f, poly[:n], k, int64(at))
			} else if i == list {
				p.longFace(k, int64(at))
			}
			at += int(n) * q.size
		}
		if at > len(p.data) {
			return at, false
		}
	}
	p.prim.Tri, p.prim.Polys = f.tri, f.sizes
	return at, true
}

// plyFaces gathers polygons as their fans.
type plyFaces struct {
	tri   []uint32
	sizes []uint8
}

func (p *plyFile) longFace(k int, at int64) {
	p.is.error("limits.polygon", fmt.Sprintf("face %d", k), at, fmt.Sprintf("A polygon has more than %d corners; split it.", maxCorners))
}

// face appends one polygon, or reports it.
func (p *plyFile) face(f *plyFaces, poly []int64, k int, at int64) {
	if len(poly) < 3 {
		p.is.error("ply.short_face", fmt.Sprintf("face %d", k), at, fmt.Sprintf("A face has %d corners and needs 3; delete it.", len(poly)))
		return
	}
	n := int64(len(p.prim.Pos) / 3)
	for _, i := range poly {
		if i < 0 || i >= n {
			p.is.error("data.index_range", fmt.Sprintf("face %d", k), at, fmt.Sprintf("Face %d points at vertex %d and there are %d; export again.", k, i, n))
			return
		}
	}
	for c := 2; c < len(poly); c++ {
		f.tri = append(f.tri, uint32(poly[0]), uint32(poly[c-1]), uint32(poly[c]))
	}
	f.sizes = append(f.sizes, uint8(len(poly)))
}

// triangleFaces reads the usual case in parallel: one list a face, a byte that says 3, indices of four bytes. It returns
// false, and has read nothing, where any face is otherwise.
func (p *plyFile) triangleFaces(e *plyElement, at int) bool {
	q := e.props[0]
	const size = 13
	if q.nSize != 1 || q.size != 4 || int64(len(p.data)-at) < size*e.count {
		return false
	}
	b := p.data[at:]
	tri := make([]uint32, 3*e.count)
	n := uint32(len(p.prim.Pos) / 3)
	good := make([]bool, maxThreads)
	pieces := chunks(e.count, 1, func(piece int, from, to int64) {
		for k := from; k < to; k++ {
			f := b[size*k : size*k+size]
			i, j, l := p.order.Uint32(f[1:]), p.order.Uint32(f[5:]), p.order.Uint32(f[9:])
			if f[0] != 3 || i >= n || j >= n || l >= n {
				return
			}
			tri[3*k], tri[3*k+1], tri[3*k+2] = i, j, l
		}
		good[piece] = true
	})
	for _, ok := range good[:pieces] {
		if !ok {
			return false
		}
	}
	p.prim.Tri = tri
	return true
}

// finish checks the values and fills Polys where every face was a triangle.
func (p *plyFile) finish() bool {
	if p.prim.Polys == nil {
		p.prim.Polys = make([]uint8, len(p.prim.Tri)/3)
		for i := range p.prim.Polys {
			p.prim.Polys[i] = 3
		}
	}
	for _, a := range []struct {
		what   string
		values *[]float32
		width  int
	}{{"positions", &p.prim.Pos, 3}, {"normals", &p.prim.Nrm, 3}} {
		if s := floatStats(*a.values, a.width); s.bad >= 0 {
			p.is.error("data.not_finite", fmt.Sprintf("vertex %d", s.bad/3), -1, fmt.Sprintf("%d values of %s are NaN or infinite, the first at vertex %d; clean the mesh and export again.", s.badCount, a.what, s.bad/3))
			if a.what == "positions" {
				return false
			}
			*a.values = nil
		}
	}
	if p.prim.UV != nil {
		if s := floatStats(p.prim.UV[0], 2); s.bad >= 0 {
			p.is.error("data.not_finite", fmt.Sprintf("vertex %d", s.bad/2), -1, fmt.Sprintf("%d values of UVs are NaN or infinite; clean the mesh and export again.", s.badCount))
			p.prim.UV = nil
		} else {
			for i := 1; i < len(p.prim.UV[0]); i += 2 {
				p.prim.UV[0][i] = 1 - p.prim.UV[0][i] // .ply's V goes up
			}
		}
	}
	if len(p.prim.Tri) == 0 {
		p.is.error("mesh.empty", "", -1, "The file holds no face that can be read; export the mesh again.")
		return false
	}
	return true
}
