package tangent

import (
	"slices"

	"proofhouse/internal/acceptance/detmath"
)

// manyMembers is the size from which a group is taken whole: looking at every pair in it would cost too much, and only faces
// whose derivatives point in exactly opposite directions would come apart.
const manyMembers = 512

// spread writes the tangent of every group to the corners that it holds.
func (m *welded) spread(out []float32, faces []face, groups []group, members []int32) {
	var sub []int32
	for _, g := range groups {
		all := members[g.first:g.end]
		n := m.normal(g.vertex)
		if len(all) > manyMembers || agree(faces, all, n) {
			t := m.mean(faces, all, g.vertex)
			for _, i := range all {
				faces[i].write(out, g, t)
			}
			continue
		}
		// The reference's angular threshold of 180 degrees parts only what is exactly opposed.
		var have [][]int32
		var means []vec
		for _, i := range all {
			sub = sub[:0]
			s, t := faces[i].s.along(n), faces[i].t.along(n)
			for _, j := range all {
				f := &faces[j]
				if i == j || f.any || faces[i].any || s.dot(f.s.along(n)) > -1 && t.dot(f.t.along(n)) > -1 {
					sub = append(sub, j)
				}
			}
			k := slices.IndexFunc(have, func(h []int32) bool { return slices.Equal(h, sub) })
			if k < 0 {
				k = len(have)
				have, means = append(have, slices.Clone(sub)), append(means, m.mean(faces, sub, g.vertex))
			}
			faces[i].write(out, g, means[k])
		}
	}
}

// agree says whether all of a group's derivatives lie within a right angle of the first one's, so that no two are opposed.
func agree(faces []face, all []int32, n vec) bool {
	const slightly = 1e-3 // far above the rounding of a float32 product of unit vectors
	s, t := faces[all[0]].s.along(n), faces[all[0]].t.along(n)
	for _, i := range all[1:] {
		if faces[i].any || s.dot(faces[i].s.along(n)) < slightly || t.dot(faces[i].t.along(n)) < slightly {
			return false
		}
	}
	return true
}

// mean is the tangent of some faces around a vertex: their own, weighted by their angles there.
func (m *welded) mean(faces []face, members []int32, vertex uint32) vec {
	var sum vec
	n := m.normal(vertex)
	for _, i := range members {
		f := &faces[i]
		if f.any {
			continue
		}
		k := f.corner(vertex)
		p := m.position(vertex)
		a := m.position(f.rep[(k+2)%3]).sub(p).along(n)
		b := m.position(f.rep[(k+1)%3]).sub(p).along(n)
		cos := min(max(a.dot(b), -1), 1)
		sum = sum.add(f.s.along(n).scale(float32(detmath.Acos(float64(cos)))))
	}
	return sum.unit()
}

func (f *face) corner(vertex uint32) int {
	k := 0
	for k < 2 && f.rep[k] != vertex {
		k++
	}
	return k
}

func (f *face) write(out []float32, g group, t vec) {
	at := 4 * (3*int(f.source) + f.corner(g.vertex))
	out[at], out[at+1], out[at+2], out[at+3] = t[0], t[1], t[2], 1
	if g.preserving { // V points down in glTF and up in the reference
		out[at+3] = -1
	}
}

// fillFlat gives the corners of triangles without three places what the first sound corner at the same vertex has.
func (m *welded) fillFlat(out []float32, faces []face, flat []uint32) {
	if len(flat) == 0 {
		return
	}
	first := map[uint32]int{} // looked up only
	for i := range faces {
		for k, v := range faces[i].rep {
			if _, ok := first[v]; !ok {
				first[v] = 3*int(faces[i].source) + k
			}
		}
	}
	for _, t := range flat {
		for k := range 3 {
			to := 3*int(t) + k
			if from, ok := first[m.rep[to]]; ok {
				copy(out[4*to:4*to+4], out[4*from:4*from+4])
			}
		}
	}
}
