package mesh

import (
	"fmt"
	"math"
	"slices"
)

// loadMeshes reads every mesh and its primitives. A primitive without sound positions or indices is left out, so that
// what is in the scene can be used without checks.
func (d *document) loadMeshes() {
	var vertices, triangles int64
	seen := map[int]bool{} // position accessors, which primitives may share
	for m, v := range d.each("meshes") {
		g := Group{Name: d.name(v)}
		targets := -1
		for p, prim := range d.t.elems(d.val(v, "primitives")) {
			ptr := fmt.Sprintf("/meshes/%d/primitives/%d", m, p)
			if d.t.kind(prim) != '{' {
				continue
			}
			n := d.t.len(d.val(prim, "targets"))
			if targets >= 0 && n != targets {
				d.is.error("mesh.targets", ptr, d.t.offset(prim), fmt.Sprintf("This primitive has %d morph targets and another one of the mesh %d.", n, targets))
			}
			targets = n
			got, pos, ok := d.loadPrimitive(prim, m, ptr)
			if !ok {
				continue
			}
			if !seen[pos] {
				seen[pos] = true
				vertices += int64(len(got.Pos) / 3)
			}
			triangles += int64(len(got.Tri) / 3)
			if vertices > d.lim.Vertices || triangles > d.lim.Triangles {
				d.is.error("limits.triangles", ptr, -1, fmt.Sprintf("The file has more than %d triangles or %d vertices; reduce or split it.", d.lim.Triangles, d.lim.Vertices))
				break
			}
			g.Prims = append(g.Prims, len(d.s.Prims))
			d.s.Prims = append(d.s.Prims, got)
		}
		if w := d.t.len(d.val(v, "weights")); w > 0 && w != max(targets, 0) {
			d.is.error("mesh.weights", pointer("meshes", m)+"/weights", d.t.offset(v), fmt.Sprintf("There are %d weights for %d morph targets.", w, max(targets, 0)))
		}
		d.morphs = append(d.morphs, max(targets, 0))
		d.s.Meshes = append(d.s.Meshes, g)
	}
}

// loadPrimitive reads one primitive; pos is its position accessor. It is not ok where it has no usable geometry.
func (d *document) loadPrimitive(prim, m int, ptr string) (p Primitive, pos int, ok bool) {
	p = Primitive{Mesh: m, Material: d.index(prim, "material"), Mode: int(d.intOf(prim, "mode", 4)), Pointer: ptr}
	attrs := d.attributes(prim, ptr)
	indices := d.val(prim, "indices")
	d.checkTargets(prim, attrs, ptr)

	pos, ok = -1, true
	vertices := int64(-1)
	for _, a := range attrs {
		fits := d.checkAttribute(a, ptr)
		if a.acc >= 0 && d.accs[a.acc].typed {
			if n := d.accs[a.acc].count; vertices >= 0 && n != vertices {
				d.is.error("mesh.attribute_counts", ptr+"/attributes/"+a.name, d.t.offset(prim), fmt.Sprintf("The attributes of one primitive must have one number of vertices; %s has %d and another one %d.", a.name, n, vertices))
				ok = false
			} else {
				vertices = n
			}
		}
		if a.base == "POSITION" && fits {
			pos = a.acc
		}
		p.HasWeights = p.HasWeights || a.base == "JOINTS" || a.base == "WEIGHTS"
		d.joints[m] = d.joints[m] || a.base == "JOINTS"
	}
	d.checkMaterialUse(p.Material, attrs, ptr)
	ix := -1
	if indices >= 0 {
		if n, whole := d.t.int(indices); whole {
			ix = int(n)
		}
		ok = d.checkIndices(ix, ptr) && ok
	} else if d.t.get(prim, "indices") >= 0 {
		ok = false
	}
	if d.t.path(prim, "attributes", "POSITION") < 0 && d.t.kind(d.t.get(prim, "attributes")) == '{' {
		d.is.warn("mesh.no_position", ptr, d.t.offset(prim), "The primitive has no positions and is not drawn; delete it.")
	}
	d.vertexData(&p, attrs, ptr)
	if !ok || pos < 0 || !d.accs[pos].ok || d.accs[pos].width != 3 {
		return p, pos, false
	}
	if n := d.accs[pos].count; n > d.lim.Vertices {
		d.is.error("limits.vertices", ptr, -1, fmt.Sprintf("The primitive has %d vertices and %d are allowed; reduce or split it.", n, d.lim.Vertices))
		return p, pos, false
	}
	if s := d.statsOf(pos); s == nil || s.bad >= 0 {
		return p, pos, false // NaN is reported with the accessor
	}
	if p.Pos = d.floats(pos); p.Pos == nil {
		return p, pos, false
	}
	if st := d.statsOf(pos); d.accs[pos].comp == compFloat {
		for c := range 3 {
			p.Min[c], p.Max[c] = float32(st.min[c]), float32(st.max[c])
		}
	} else {
		p.bound()
	}
	return p, pos, d.connect(&p, ix, ptr)
}

// bound fills the bounds of the positions.
func (p *Primitive) bound() {
	s := floatStats(p.Pos, 3)
	for c := range 3 {
		p.Min[c], p.Max[c] = float32(s.min[c]), float32(s.max[c])
	}
}

// vertexData fills the other attributes that fit and are finite.
func (d *document) vertexData(p *Primitive, attrs []attribute, ptr string) {
	for _, a := range attrs {
		if a.acc < 0 || !d.accs[a.acc].ok {
			continue
		}
		s, known := semantics[a.base]
		if !known || !slices.Contains(s.types, d.accs[a.acc].typ) {
			continue
		}
		if st := d.statsOf(a.acc); st == nil || st.bad >= 0 {
			continue
		}
		at := ptr + "/attributes/" + a.name
		switch {
		case a.base == "NORMAL":
			p.Nrm = d.floats(a.acc)
			d.checkUnit(p.Nrm, 3, a.acc, at)
		case a.base == "TANGENT":
			p.Tan = d.floats(a.acc)
			d.checkUnit(p.Tan, 4, a.acc, at)
		case a.base == "TEXCOORD":
			for len(p.UV) <= a.n && a.n < 16 {
				p.UV = append(p.UV, nil)
			}
			if a.n < 16 {
				p.UV[a.n] = d.floats(a.acc)
			}
		case a.base == "WEIGHTS":
			if st := d.statsOf(a.acc); slices.Max(st.max) > 0 {
				p.Influences = max(p.Influences, 4*(a.n+1))
			}
		case a.base == "COLOR":
			d.checkClamped(a.acc, at)
			if a.n == 0 {
				p.Col = fourWide(d.floats(a.acc), d.accs[a.acc].width)
			}
		}
	}
	d.checkInfluences(attrs, p.Mesh, ptr)
	for len(p.UV) > 0 && p.UV[len(p.UV)-1] == nil {
		p.UV = p.UV[:len(p.UV)-1]
	}
}

// fourWide adds an alpha of 1 to colours of three components.
func fourWide(v []float32, width int) []float32 {
	if width == 4 || v == nil {
		return v
	}
	out := make([]float32, 0, len(v)/3*4)
	for i := 0; i < len(v); i += 3 {
		out = append(out, v[i], v[i+1], v[i+2], 1)
	}
	return out
}

// checkIndices checks the index accessor's format.
func (d *document) checkIndices(i int, ptr string) bool {
	ptr += "/indices"
	if i < 0 || !d.accs[i].typed {
		d.is.error("mesh.index_format", ptr, -1, "The indices have no type that glTF knows; export them again.")
		return false
	}
	a := &d.accs[i]
	d.useAs(i, "index", ptr)
	if a.typ != "SCALAR" || a.norm || a.comp != compUByte && a.comp != compUShort && a.comp != compUInt {
		d.is.error("mesh.index_format", ptr, -1, fmt.Sprintf("Indices cannot be %s of %s; export them as unsigned integers.", a.typ, a.describe()))
		return false
	}
	return a.ok
}

// connect fills Tri and Drawn from indices or from the order of vertices.
func (d *document) connect(p *Primitive, ix int, ptr string) bool {
	vertices := len(p.Pos) / 3
	count := int64(vertices)
	if ix >= 0 {
		s := d.statsOf(ix)
		if s == nil || !d.indexRange(ix, int64(s.max[0]), int64(vertices), ptr) {
			return false
		}
		count = d.accs[ix].count
	}
	if !fullPrimitives(p.Mode, count) {
		d.is.warn("mesh.incomplete", ptr, -1, fmt.Sprintf("%d vertices or indices do not make whole primitives of mode %d; the rest is not drawn.", count, p.Mode))
	}
	if p.Mode < 4 {
		return true
	}
	list := p.Mode == 4
	p.Drawn = int(count / 3)
	if !list {
		p.Drawn = int(max(count-2, 0))
	}
	if int64(p.Drawn) > d.lim.Triangles {
		d.is.error("limits.triangles", ptr, -1, fmt.Sprintf("The primitive has %d triangles and %d are allowed; reduce or split it.", p.Drawn, d.lim.Triangles))
		return false
	}
	order := d.uints(ix)
	if ix >= 0 && order == nil {
		return false
	}
	if list && ix >= 0 {
		p.Tri = order[:3*p.Drawn]
		return true
	}
	if !d.take(12*int64(p.Drawn), ptr) {
		return false
	}
	at := func(i int) uint32 { return uint32(i) }
	if ix >= 0 {
		at = func(i int) uint32 { return order[i] }
	}
	p.Tri = toList(p.Mode, int(count), at)
	return true
}

// fullPrimitives tells whether n vertices make whole primitives (points, lines, line loops and strips, triangles,
// strips and fans).
func fullPrimitives(mode int, n int64) bool {
	switch mode {
	case 1:
		return n > 0 && n%2 == 0
	case 2, 3:
		return n >= 2
	case 4:
		return n > 0 && n%3 == 0
	case 5, 6:
		return n >= 3
	}
	return n > 0
}

// toList turns an order of n vertices into a triangle list: strips as p(i) = v(i), v(i+1+i%2), v(i+2-i%2), fans as
// p(i) = v(i+1), v(i+2), v(0) (glTF 2.0, section 3.7.2.1). Joints of strips and fans, triangles with a repeated
// index, are there to move on without drawing and are left out; lists keep theirs.
func toList(mode, n int, at func(int) uint32) []uint32 {
	if mode == 4 {
		tri := make([]uint32, n/3*3)
		for i := range tri {
			tri[i] = at(i)
		}
		return tri
	}
	tri := make([]uint32, 0, 3*max(n-2, 0))
	for i := 0; i+2 < n; i++ {
		a, b, c := at(i), at(i+1+i%2), at(i+2-i%2)
		if mode == 6 {
			a, b, c = at(i+1), at(i+2), at(0)
		}
		if a != b && b != c && c != a {
			tri = append(tri, a, b, c)
		}
	}
	return tri
}

// indexRange checks that no index passes the last vertex or is the restart value (section 3.7.2.1).
func (d *document) indexRange(ix int, largest, vertices int64, ptr string) bool {
	a := &d.accs[ix]
	restart := int64(math.MaxUint8)
	switch a.comp {
	case compUShort:
		restart = math.MaxUint16
	case compUInt:
		restart = math.MaxUint32
	}
	if largest < vertices && largest != restart {
		return true
	}
	at := int64(0)
	for k, v := range d.uints(ix) {
		if int64(v) == largest {
			at = int64(k)
			break
		}
	}
	code, msg := "data.index_range", fmt.Sprintf("Index %d is %d and the primitive has %d vertices; export again.", at, largest, vertices)
	if largest == restart {
		code, msg = "data.index_restart", fmt.Sprintf("Index %d is %d, which glTF reserves; split the strip into primitives.", at, largest)
	}
	d.is.error(code, ptr+"/indices", d.dataOffset(a, at), msg)
	return false
}

// checkTargets checks morph targets: their attributes exist in the primitive and have as many elements.
func (d *document) checkTargets(prim int, attrs []attribute, ptr string) {
	base := map[string]int{}
	for _, a := range attrs {
		base[a.name] = a.acc
	}
	for t, target := range d.t.elems(d.val(prim, "targets")) {
		for k := range d.t.keys(target) {
			name := d.t.string(k)
			at := fmt.Sprintf("%s/targets/%d/%s", ptr, t, name)
			n, whole := d.t.int(k + 1)
			if !whole || d.bad[k+1] || n >= int64(len(d.accs)) {
				continue
			}
			b, there := base[name]
			if !there && name != "" && name[0] != '_' {
				d.is.error("mesh.target_attribute", at, d.t.offset(k), "The morph target moves an attribute that the primitive has not.")
				continue
			}
			d.checkTargetFormat(name, int(n), at)
			if there && b >= 0 && d.accs[n].typed && d.accs[b].typed && d.accs[n].count != d.accs[b].count {
				d.is.error("mesh.target_count", at, d.t.offset(k), fmt.Sprintf("The morph target has %d elements and the attribute %d.", d.accs[n].count, d.accs[b].count))
			}
		}
	}
}

// checkTargetFormat checks the accessor of one attribute of a morph target: displacements of a tangent have three
// components, the rest are as the attribute itself (section 3.7.2.2).
func (d *document) checkTargetFormat(name string, i int, ptr string) {
	a := &d.accs[i]
	base, _ := splitSemantic(name)
	want, known := semantics[base]
	if base == "TANGENT" {
		want.types = []string{"VEC3"}
	}
	if known && !d.fits(a, want) {
		d.is.error("mesh.attribute_format", ptr, d.t.offset(a.at), fmt.Sprintf("%s of a morph target cannot be stored so; export it as floats.", name))
	}
	if base == "POSITION" && (d.val(a.at, "min") < 0 || d.val(a.at, "max") < 0) {
		d.is.error("mesh.position_bounds", ptr, d.t.offset(a.at), "Positions must declare \"min\" and \"max\"; the exporter left them out.")
	}
	if a.typed {
		d.useAs(i, "vertex", ptr)
	}
}
