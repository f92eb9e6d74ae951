package spatial

import (
	"math"

	"proofhouse/internal/acceptance/detmath"
)

// Normals tells on which side of a surface a point lies, by the pseudo-normal of the feature that is closest to it:
// J. A. Bærentzen & H. Aanæs, "Signed Distance Computation Using the Angle Weighted Pseudonormal", IEEE TVCG 11(3), 2005.
// A face has its own normal, an edge the sum of its two faces', a vertex the sum of its faces' weighted by their angles
// there. With these the sign is right wherever the surface near the closest point is closed and winds one way. Elsewhere
// it is unknown.
type Normals struct {
	pos     []float32
	tri     []uint32
	place   []uint32
	across  []int32
	vertex  []vec  // by place
	unknown []bool // by place
}

// Side is where a point lies.
type Side int8

const (
	Inside  Side = -1
	On      Side = 0
	Outside Side = 1
)

// NewNormals prepares the sides of t's surface. Vertices at equal positions are one, whatever their indices.
func NewNormals(t *Tree) *Normals {
	place, places := Weld(t.pos, 0)
	return NewNormalsWelded(t, place, places)
}

// NewNormalsWelded is NewNormals with the caller's numbering of places, as Weld gives it.
func NewNormalsWelded(t *Tree, place []uint32, places int) *Normals {
	s := &Normals{pos: t.pos, tri: t.tri, place: place}
	s.across = Across(t.tri, place, places)
	s.vertex, s.unknown = make([]vec, places), make([]bool, places)
	corners := make([]int32, places)
	first := make([]int32, places)
	for i := range len(t.tri) / 3 {
		n, flat := s.face(i)
		for k := range 3 {
			p := place[t.tri[3*i+k]]
			if corners[p] == 0 {
				first[p] = int32(3*i + k)
			}
			corners[p]++
			if s.across[3*i+(k+1)%3] < 0 || s.across[3*i+(k+2)%3] < 0 {
				s.unknown[p] = true
			}
			if !flat {
				s.vertex[p] = s.vertex[p].along(s.angle(i, k), n)
			}
		}
	}
	for p := range places {
		if corners[p] > 0 && !s.unknown[p] {
			s.unknown[p] = !s.oneFan(first[p], corners[p])
		}
	}
	return s
}

func (s *Normals) corner(i, k int) vec {
	v := int(s.tri[3*i+k])
	return vecOf([3]float32(s.pos[3*v : 3*v+3]))
}

// face gives the unit normal, or true where the triangle has no area.
func (s *Normals) face(i int) (n vec, flat bool) {
	a := s.corner(i, 0)
	n = s.corner(i, 1).sub(a).cross(s.corner(i, 2).sub(a))
	l := math.Sqrt(n.dot(n))
	if !(l > 0) || l-l != 0 {
		return vec{}, true
	}
	return vec{n.x / l, n.y / l, n.z / l}, false
}

// angle at corner k, in radians.
func (s *Normals) angle(i, k int) float64 {
	p := s.corner(i, k)
	a, b := s.corner(i, (k+1)%3).sub(p), s.corner(i, (k+2)%3).sub(p)
	c := a.cross(b)
	return detmath.Atan2(math.Sqrt(c.dot(c)), a.dot(b))
}

// oneFan walks around a place from triangle to triangle and reports whether that meets all of its corners: where two
// fans touch in a point the weighted normal means nothing.
func (s *Normals) oneFan(corner, count int32) bool {
	i, k := int(corner)/3, int(corner)%3
	p := s.place[s.tri[corner]]
	for steps := int32(1); steps <= count; steps++ {
		i = int(s.across[3*i+(k+1)%3]) // over the edge from the next corner but one to this
		if i < 0 {
			return false
		}
		for k = 0; s.place[s.tri[3*i+k]] != p; k++ {
			if k == 2 {
				return false
			}
		}
		if 3*i+k == int(corner) {
			return steps == count
		}
	}
	return false
}

// Side tells on which side of the surface p lies, near being its answer from Closest. known is false where the surface
// at the closest feature has a border, more than two faces at an edge, faces that wind against each other, or no area;
// and where near is Miss.
func (s *Normals) Side(p [3]float32, near Near) (side Side, known bool) {
	if near.Tri == Miss {
		return On, false
	}
	i := int(near.Tri)
	n, flat := s.face(i)
	from := s.corner(i, 0)
	switch f := int(near.Feature); {
	case f == 0:
	case f <= 3:
		other := s.across[3*i+f-1]
		if other < 0 {
			return On, false
		}
		m, flatToo := s.face(int(other))
		flat = flat || flatToo
		n = vec{n.x + m.x, n.y + m.y, n.z + m.z}
		from = s.corner(i, f%3) // an end of the edge: the edge is square to both normals
	default:
		at := s.place[s.tri[3*i+f-4]]
		if s.unknown[at] {
			return On, false
		}
		n, flat = s.vertex[at], false
		from = s.corner(i, f-4)
	}
	if flat {
		return On, false
	}
	switch d := vecOf(p).sub(from).dot(n); {
	case d > 0:
		return Outside, true
	case d < 0:
		return Inside, true
	}
	return On, true
}

// Across gives the neighbours of each triangle, as the function of that name does.
func (s *Normals) Across() []int32 { return s.across }
