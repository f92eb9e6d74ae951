package bake

import (
	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spatial"
)

// Sculpt is the dense surface of one part.
type Sculpt struct {
	pos, nrm []float32
	tri      []uint32
	tree     *spatial.Tree
	made     bool // some normals were not delivered and are our own
}

// NewSculpt readies a sculpt for rays. nrm holds 3 a vertex; a vertex whose normal is zero was delivered without one and
// gets the mean of its faces' normals, weighted by their angles there. The arrays are kept and not changed.
func NewSculpt(pos, nrm []float32, tri []uint32, threads int) *Sculpt {
	s := &Sculpt{pos: pos, nrm: nrm, tri: tri, tree: spatial.Build(pos, tri, threads)}
	if len(nrm) == len(pos) {
		for i := 0; i < len(nrm); i += 3 {
			if nrm[i] == 0 && nrm[i+1] == 0 && nrm[i+2] == 0 {
				s.made = true
				break
			}
		}
	} else {
		s.made, s.nrm = true, make([]float32, len(pos))
	}
	if s.made {
		s.nrm = filled(pos, s.nrm, tri)
	}
	return s
}

// Triangles returns how many triangles rays can meet.
func (s *Sculpt) Triangles() int { return s.tree.Triangles() }

// MadeNormals says whether any normal of the sculpt is our own.
func (s *Sculpt) MadeNormals() bool { return s.made }

// filled is nrm with smooth normals where it has none.
func filled(pos, nrm []float32, tri []uint32) []float32 {
	smooth := AveragedNormals(pos, tri)
	out := make([]float32, len(pos))
	copy(out, nrm)
	for i := 0; i < len(out); i += 3 {
		if out[i] == 0 && out[i+1] == 0 && out[i+2] == 0 {
			copy(out[i:i+3], smooth[i:i+3])
		}
	}
	return out
}

// AveragedNormals are unit normals averaged over all faces that meet at a vertex's position, weighted by their angles there;
// zero where no face with an area does.
func AveragedNormals(pos []float32, tri []uint32) []float32 {
	place, places := spatial.Weld(pos, 0)
	sum := make([]vec, places)
	for t := 0; t+2 < len(tri); t += 3 {
		var p, e [3]vec
		for k := range 3 {
			p[k] = at(pos, int(tri[t+k]))
		}
		n, ok := unit(cross(sub(p[1], p[0]), sub(p[2], p[0])))
		if !ok {
			continue
		}
		for k := range 3 {
			e[k], _ = unit(sub(p[(k+1)%3], p[k]))
		}
		for k := range 3 {
			w := detmath.Acos(min(max(-dot(e[k], e[(k+2)%3]), -1), 1))
			i := place[tri[t+k]]
			sum[i] = along(sum[i], w, n)
		}
	}
	out := make([]float32, len(pos))
	for v, i := range place {
		if n, ok := unit(sum[i]); ok {
			q := narrow(n)
			copy(out[3*v:3*v+3], q[:])
		}
	}
	return out
}

// sharpCos is the cosine of 60°: a face that leans farther from the averaged normal of its corner ends in an edge there that
// was meant sharp, and keeps its own. Only for normals that were not delivered. Free choice: a fillet of four facets, the
// coarsest that a sculpt makes, leans 22.5° at most.
const sharpCos = 0.5

// normal is the sculpt's unit normal at a hit; false where there is none.
func (s *Sculpt) normal(h *spatial.Hit) (vec, bool) {
	v := s.tri[3*h.Tri : 3*h.Tri+3 : 3*h.Tri+3]
	a, b, c := at(s.nrm, int(v[0])), at(s.nrm, int(v[1])), at(s.nrm, int(v[2]))
	if s.made {
		p := at(s.pos, int(v[0]))
		n, ok := unit(cross(sub(at(s.pos, int(v[1])), p), sub(at(s.pos, int(v[2])), p)))
		if !ok {
			return n, false
		}
		for _, q := range []*vec{&a, &b, &c} {
			if dot(*q, n) < sharpCos {
				*q = n
			}
		}
	}
	return unit(blend(a, b, c, float64(h.U), float64(h.V)))
}
