package mesh

import (
	"fmt"
	"path"
)

// objRun is consecutive faces of one piece that share node and material.
type objRun struct {
	piece              int
	face, faces        int // sizes[face:face+faces]
	corner, cornerEnds int // corners[corner:cornerEnds]
}

// objBucket is what becomes one primitive.
type objBucket struct {
	node, material int
	runs           []objRun
}

// build turns faces into nodes, materials and primitives. Nodes are the file's objects, or its groups where it names
// no object; a name that comes back goes on with the same node.
func (o *objFile) build(s *Scene, is *issues) bool {
	nodes, buckets, ok := o.buckets(s, is)
	if !ok {
		return false
	}
	triangles := int64(0)
	for i := range o.pieces {
		triangles += int64(len(o.pieces[i].corners) - 2*len(o.pieces[i].sizes))
	}
	if triangles > o.lim.Triangles {
		is.error("limits.triangles", "", -1, fmt.Sprintf("The file has %d triangles and %d are allowed; reduce or split it.", triangles, o.lim.Triangles))
		return false
	}
	if triangles == 0 {
		is.error("mesh.empty", "", -1, "The file holds no face that can be read; export the mesh again.")
		return false
	}
	identity := [16]float64{0: 1, 5: 1, 10: 1, 15: 1}
	for i, n := range nodes {
		s.Nodes = append(s.Nodes, Node{Name: n.name, Parent: -1, Mesh: i, Local: identity, World: identity, Pointer: n.pointer(s.Path)})
		s.Roots = append(s.Roots, i)
		s.Meshes = append(s.Meshes, Group{Name: n.name})
	}
	u := objUnify{o: o}
	direct := len(buckets) == 1 && o.direct()
	for _, b := range buckets {
		var p Primitive
		if direct {
			p = o.directPrimitive()
		} else {
			p = u.primitive(b)
		}
		p.Mesh, p.Material, p.Mode = b.node, b.material, 4
		p.Drawn = len(p.Tri) / 3
		p.Pointer = s.Nodes[b.node].Pointer
		p.bound()
		s.Meshes[b.node].Prims = append(s.Meshes[b.node].Prims, len(s.Prims))
		s.Prims = append(s.Prims, p)
	}
	for n := range s.Nodes {
		for _, p := range s.Meshes[n].Prims {
			s.Draws = append(s.Draws, Draw{Node: n, Prim: p})
		}
	}
	return true
}

type objNode struct {
	name string
	line int
}

func (n objNode) pointer(file string) string {
	if n.line == 0 {
		return path.Base(file)
	}
	return fmt.Sprintf("line %d", n.line)
}

// buckets sorts runs of faces by node and material, in order of first use.
func (o *objFile) buckets(s *Scene, is *issues) ([]objNode, []*objBucket, bool) {
	kind := byte('g')
	for i := range o.pieces {
		for _, m := range o.pieces[i].marks {
			if m.kind == 'o' {
				kind = 'o'
			}
		}
	}
	var nodes []objNode
	var all []*objBucket
	byKey := map[[2]int]*objBucket{}
	nodeOf, materialOf := map[string]int{}, map[string]int{}
	node, material := objNode{}, -1
	for i := range o.pieces {
		p := &o.pieces[i]
		face, corner := 0, 0
		emit := func(until int) {
			if until == face {
				return
			}
			r := objRun{piece: i, face: face, faces: until - face, corner: corner}
			for ; face < until; face++ {
				corner += int(p.sizes[face])
			}
			r.cornerEnds = corner
			n, known := nodeOf[node.name]
			if !known {
				n = len(nodes)
				nodeOf[node.name] = n
				nodes = append(nodes, node)
			}
			b := byKey[[2]int{n, material}]
			if b == nil {
				b = &objBucket{node: n, material: material}
				byKey[[2]int{n, material}] = b
				all = append(all, b)
			}
			b.runs = append(b.runs, r)
		}
		for _, m := range p.marks {
			emit(m.face)
			switch {
			case m.kind == kind:
				node = objNode{m.name, m.line}
			case m.kind == 'm':
				known := false
				if material, known = materialOf[m.name]; !known {
					material = len(s.Materials)
					materialOf[m.name] = material
					s.Materials = append(s.Materials, plainMaterial(m.name, fmt.Sprintf("line %d", m.line)))
				}
			}
			if len(nodes) > o.lim.Nodes || len(s.Materials) > o.lim.Nodes || len(all) > o.lim.Nodes {
				is.error("limits.nodes", fmt.Sprintf("line %d", m.line), -1, fmt.Sprintf("The file has more than %d groups or materials; join them.", o.lim.Nodes))
				return nil, nil, false
			}
		}
		emit(len(p.sizes))
	}
	return nodes, all, true
}

// plainMaterial is a material of which only the name is known.
func plainMaterial(name, ptr string) Material {
	none := TexRef{Image: -1, Scale: [2]float64{1, 1}}
	return Material{Name: name, BaseColor: [4]float64{1, 1, 1, 1}, BaseTex: none, MetalRough: none, Normal: none, Occlusion: none,
		Emissive: none, Roughness: 1, NormalScale: 1, AlphaMode: "OPAQUE", AlphaCutoff: 0.5, Pointer: ptr}
}

// direct tells whether every corner has one index for position, UV and normal, so that the file's own vertices are the
// primitive's: usual for sculpts.
func (o *objFile) direct() bool {
	n := len(o.v) / 3
	first := objCorner{}
	for i := range o.pieces {
		if len(o.pieces[i].corners) > 0 {
			first = o.pieces[i].corners[0]
			break
		}
	}
	useT, useN := first.vt >= 0, first.vn >= 0
	if useT && len(o.vt)/2 != n || useN && len(o.vn)/3 != n {
		return false
	}
	same := make([]bool, len(o.pieces))
	parallel(len(o.pieces), func(i int) {
		for _, c := range o.pieces[i].corners {
			if useT != (c.vt >= 0) || useN != (c.vn >= 0) || useT && c.vt != c.v || useN && c.vn != c.v {
				return
			}
		}
		same[i] = true
	})
	for _, ok := range same {
		if !ok {
			return false
		}
	}
	if !useT {
		o.vt = nil
	}
	if !useN {
		o.vn = nil
	}
	return true
}

// directPrimitive uses the file's arrays as they are.
func (o *objFile) directPrimitive() Primitive {
	faces, triangles := make([]int, len(o.pieces)+1), make([]int, len(o.pieces)+1)
	for i := range o.pieces {
		p := &o.pieces[i]
		faces[i+1] = faces[i] + len(p.sizes)
		triangles[i+1] = triangles[i] + len(p.corners) - 2*len(p.sizes)
	}
	p := Primitive{Pos: o.v, Nrm: o.vn, Tri: make([]uint32, 3*triangles[len(o.pieces)]), Polys: make([]uint8, faces[len(o.pieces)])}
	if o.vt != nil {
		p.UV = [][]float32{o.vt}
	}
	parallel(len(o.pieces), func(i int) {
		piece := &o.pieces[i]
		copy(p.Polys[faces[i]:], piece.sizes)
		t, c := 3*triangles[i], 0
		for _, n := range piece.sizes {
			for k := 2; k < int(n); k++ {
				p.Tri[t] = uint32(piece.corners[c].v)
				p.Tri[t+1] = uint32(piece.corners[c+k-1].v)
				p.Tri[t+2] = uint32(piece.corners[c+k].v)
				t += 3
			}
			c += int(n)
		}
	})
	return p
}

// objUnify makes vertices out of corners: one for each combination of position, UV and normal in a primitive. The
// combinations of a position hang in a short chain at it.
type objUnify struct {
	o    *objFile
	head []int32 // by position: its first vertex, -1
	next []int32 // by vertex: the next one of its position, -1
	keys []objCorner
}

func (u *objUnify) primitive(b *objBucket) Primitive {
	if u.head == nil {
		u.head = make([]int32, len(u.o.v)/3)
		for i := range u.head {
			u.head[i] = -1
		}
	}
	u.next, u.keys = u.next[:0], u.keys[:0]
	var p Primitive
	var face []uint32
	for _, r := range b.runs {
		piece := &u.o.pieces[r.piece]
		c := r.corner
		for _, n := range piece.sizes[r.face : r.face+r.faces] {
			face = face[:0]
			for _, corner := range piece.corners[c : c+int(n)] {
				face = append(face, u.vertex(corner))
			}
			for k := 2; k < len(face); k++ {
				p.Tri = append(p.Tri, face[0], face[k-1], face[k])
			}
			p.Polys = append(p.Polys, n)
			c += int(n)
		}
	}
	u.fill(&p)
	for _, k := range u.keys {
		u.head[k.v] = -1
	}
	return p
}

func (u *objUnify) vertex(c objCorner) uint32 {
	for i := u.head[c.v]; i >= 0; i = u.next[i] {
		if u.keys[i] == c {
			return uint32(i)
		}
	}
	i := int32(len(u.keys))
	u.keys = append(u.keys, c)
	u.next = append(u.next, u.head[c.v])
	u.head[c.v] = i
	return uint32(i)
}

// fill copies the vertices' values. A corner without UV or normal among others that have one gets zeros.
func (u *objUnify) fill(p *Primitive) {
	var useT, useN bool
	for _, k := range u.keys {
		useT = useT || k.vt >= 0
		useN = useN || k.vn >= 0
	}
	p.Pos, p.Place = make([]float32, 0, 3*len(u.keys)), make([]uint32, 0, len(u.keys))
	for _, k := range u.keys {
		p.Place = append(p.Place, uint32(k.v))
		p.Pos = append(p.Pos, u.o.v[3*k.v:3*k.v+3]...)
	}
	if useT {
		uv := make([]float32, 2*len(u.keys))
		for i, k := range u.keys {
			if k.vt >= 0 {
				copy(uv[2*i:2*i+2], u.o.vt[2*k.vt:])
			}
		}
		p.UV = [][]float32{uv}
	}
	if useN {
		p.Nrm = make([]float32, 3*len(u.keys))
		for i, k := range u.keys {
			if k.vn >= 0 {
				copy(p.Nrm[3*i:3*i+3], u.o.vn[3*k.vn:])
			}
		}
	}
}
