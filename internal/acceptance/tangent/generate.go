package tangent

import "slices"

// face is one triangle with the derivatives of its surface by U and V.
type face struct {
	rep        [3]uint32 // corners that stand for its own
	source     uint32    // number of the triangle as given
	s, t       vec       // along U and V, unit length or zero
	magS, magT float32
	over       [3]int32 // face across the edge from corner k to the next, -1 for none
	group      [3]int32 // by corner, -1 for none
	preserving bool     // U and V run the same way round as seen from outside
	any        bool     // without usable derivatives: joins whatever is around it
}

// Generate makes the tangents of a mesh, 4 a corner in the order of tri: a unit vector along growing U, and -1 or 1 for the
// bitangent by glTF's convention. nrm must be of unit length. Corners for which nothing can be derived get (1, 0, 0, 1).
// Every index in tri must be within the arrays.
//
// Time is linear except at vertices that many triangles share with UVs running every which way; memory is about 150 bytes a
// triangle.
func Generate(pos, nrm, uv []float32, tri []uint32) []float32 {
	m := &welded{pos: pos, nrm: nrm, uv: uv, tri: tri}
	m.weld()
	faces, flat := m.faces()
	joinFaces(faces)
	groups, members := makeGroups(faces)
	out := make([]float32, 4*len(tri))
	for i := 0; i < len(out); i += 4 {
		out[i], out[i+3] = 1, 1
	}
	m.spread(out, faces, groups, members)
	m.fillFlat(out, faces, flat)
	return out
}

// faces lists the triangles whose corners lie in three places, in order, and the numbers of the others.
func (m *welded) faces() (faces []face, flat []uint32) {
	faces = make([]face, 0, len(m.tri)/3)
	for t := range len(m.tri) / 3 {
		f := face{rep: [3]uint32(m.rep[3*t : 3*t+3]), source: uint32(t)}
		a, b, c := m.position(f.rep[0]), m.position(f.rep[1]), m.position(f.rep[2])
		if a == b || a == c || b == c {
			flat = append(flat, uint32(t))
			continue
		}
		f.over, f.group = [3]int32{-1, -1, -1}, [3]int32{-1, -1, -1}
		f.derive(b.sub(a), c.sub(a), m.uvEdge(f.rep[0], f.rep[1]), m.uvEdge(f.rep[0], f.rep[2]))
		faces = append(faces, f)
	}
	return faces, flat
}

// uvEdge runs from a to b. V is taken as delivered; the sign in the result makes up for its pointing down.
func (m *welded) uvEdge(a, b uint32) [2]float32 {
	from, to := m.texel(a), m.texel(b)
	return [2]float32{to[0] - from[0], to[1] - from[1]}
}

// derive sets the first-order derivatives (Mikkelsen 2008, equations 18 and 19).
func (f *face) derive(d1, d2 vec, t1, t2 [2]float32) {
	area2 := float32(t1[0]*t2[1]) - float32(t1[1]*t2[0])
	s := d1.scale(t2[1]).sub(d2.scale(t1[1]))
	t := d1.scale(-t2[0]).add(d2.scale(t1[0]))
	f.preserving = area2 > 0
	f.any = true
	if !notZero(area2) {
		return
	}
	sign, abs := float32(-1), -area2
	if f.preserving {
		sign, abs = 1, area2
	}
	lengthS, lengthT := s.length(), t.length()
	if notZero(lengthS) {
		f.s = s.scale(sign / lengthS)
	}
	if notZero(lengthT) {
		f.t = t.scale(sign / lengthT)
	}
	f.magS, f.magT = lengthS/abs, lengthT/abs
	f.any = !notZero(f.magS) || !notZero(f.magT)
}

// group is the faces around one vertex that share a tangent there: members[first:end].
type group struct {
	vertex     uint32
	first, end int
	preserving bool
}

// makeGroups walks around every vertex over joined faces that agree in how their UVs wind.
func makeGroups(faces []face) (groups []group, members []int32) {
	members = make([]int32, 0, 3*len(faces))
	var waiting []int32
	for i := range faces {
		for k := range 3 {
			f := &faces[i]
			if f.any || f.group[k] >= 0 {
				continue
			}
			g := group{vertex: f.rep[k], first: len(members), preserving: f.preserving}
			number := int32(len(groups))
			waiting = append(waiting[:0], int32(i))
			for len(waiting) > 0 {
				at := waiting[len(waiting)-1]
				waiting = waiting[:len(waiting)-1]
				c, ok := faces[at].join(number, g)
				if !ok {
					continue
				}
				members = append(members, at)
				before, after := faces[at].over[(c+2)%3], faces[at].over[c]
				if before >= 0 {
					waiting = append(waiting, before)
				}
				if after >= 0 { // taken first
					waiting = append(waiting, after)
				}
			}
			g.end = len(members)
			slices.Sort(members[g.first:g.end])
			groups = append(groups, g)
		}
	}
	return groups, members
}

// join puts a face into a group and says at which corner; false where it is in one already or winds the other way.
func (f *face) join(number int32, g group) (corner int, ok bool) {
	for corner < 2 && f.rep[corner] != g.vertex {
		corner++
	}
	if f.group[corner] >= 0 {
		return corner, false
	}
	if f.any && f.group == [3]int32{-1, -1, -1} { // the first group decides for a face that does not know
		f.preserving = g.preserving
	}
	if f.preserving != g.preserving {
		return corner, false
	}
	f.group[corner] = number
	return corner, true
}
