package surface

import (
	"cmp"
	"math"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spatial"
)

// skin is the game surface as one side of it: without triangles that have no area, and with only the first of two that
// lie exactly on each other facing opposite ways (a sheet modelled with both sides). It carries the pseudo-normals from which signs are told.
type skin struct {
	pos    []float32
	tri    []uint32 // kept triangles
	source []uint32 // triangle number in the game surface, of each kept one
	same   []uint32 // welded vertex numbers

	face  []vec      // unit normals of the kept triangles
	edge  [][3]vec   // pseudo-normal of the edge opposite to each corner: sum of its faces' normals
	loose [][3]uint8 // what lies beyond the edge opposite to each corner: edgeShared, edgeBorder, edgeMixed
	over  [][3]int32 // kept triangle beyond the edge opposite to each corner, -1 for none or several
	vert  []vec      // by welded vertex: angle-weighted sum of face normals
	rim   []uint8    // by welded vertex: the worst of its edges

	shell []uint32 // by kept triangle: number of its connected piece, from 0
	shut  []bool   // by shell: no border and no edge where windings disagree

	columnsOnce sync.Once
	columns     *columns
}

// What lies beyond an edge.
const (
	edgeShared uint8 = iota // other faces with the same winding
	edgeBorder              // nothing
	edgeMixed               // faces that disagree in winding: no inside can be told
)

func newSkin(pos []float32, tri []uint32) *skin {
	s := &skin{pos: pos, same: weld(pos)}
	s.keep(tri)
	n := len(s.tri) / 3
	s.edge, s.loose, s.over = make([][3]vec, n), make([][3]uint8, n), make([][3]int32, n)
	s.vert, s.rim = make([]vec, len(s.same)), make([]uint8, len(s.same))
	s.weighVertices()
	s.joinEdges()
	return s
}

func (s *skin) corner(t, k int) uint32 { return s.same[s.tri[3*t+k]] }

// keep fills tri, source and face.
func (s *skin) keep(tri []uint32) {
	seen := map[[3]uint32]int{} // sorted corners to the number of faces seen, parity of their winding in the sign
	for t := range len(tri) / 3 {
		v := [3]uint32(tri[3*t : 3*t+3])
		a, b, c := at(s.pos, v[0]), at(s.pos, v[1]), at(s.pos, v[2])
		n := cross(sub(b, a), sub(c, a))
		l := length(n)
		if !(l > 0) || math.IsInf(l, 0) {
			continue
		}
		key, even := sortCorners([3]uint32{s.same[v[0]], s.same[v[1]], s.same[v[2]]})
		way := 1
		if !even {
			way = -1
		}
		if seen[key] == -way {
			continue
		}
		seen[key] = way
		s.tri = append(s.tri, v[0], v[1], v[2])
		s.source = append(s.source, uint32(t))
		s.face = append(s.face, scale(n, 1/l))
	}
}

func sortCorners(v [3]uint32) (key [3]uint32, even bool) {
	even = true
	swap := func(i, j int) {
		if v[i] > v[j] {
			v[i], v[j] = v[j], v[i]
			even = !even
		}
	}
	swap(0, 1)
	swap(1, 2)
	swap(0, 1)
	return v, even
}

func (s *skin) weighVertices() {
	for t := range s.face {
		var p [3]vec
		for k := range 3 {
			p[k] = at(s.pos, s.tri[3*t+k])
		}
		for k := range 3 {
			e, f := unit(sub(p[(k+1)%3], p[k])), unit(sub(p[(k+2)%3], p[k]))
			angle := detmath.Acos(min(max(dot(e, f), -1), 1))
			v := s.corner(t, k)
			s.vert[v] = along(s.vert[v], angle, s.face[t])
		}
	}
}

// joinEdges pairs the triangles along their edges and numbers the shells.
func (s *skin) joinEdges() {
	type half struct {
		lo, hi uint32
		tri    int32
		corner int8 // opposite to the edge
		up     bool // runs from lo to hi
	}
	halves := make([]half, 0, len(s.tri))
	sets := newUnion(len(s.face))
	for t := range s.face {
		for k := range 3 {
			a, b := s.corner(t, (k+1)%3), s.corner(t, (k+2)%3)
			halves = append(halves, half{min(a, b), max(a, b), int32(t), int8(k), a < b})
		}
	}
	slices.SortFunc(halves, func(x, y half) int {
		return cmp.Or(cmp.Compare(x.lo, y.lo), cmp.Compare(x.hi, y.hi), cmp.Compare(x.tri, y.tri))
	})
	for i := 0; i < len(halves); {
		j, ups := i, 0
		var sum vec
		for ; j < len(halves) && halves[j].lo == halves[i].lo && halves[j].hi == halves[i].hi; j++ {
			sum = add(sum, s.face[halves[j].tri])
			sets.join(uint32(halves[i].tri), uint32(halves[j].tri))
			if halves[j].up {
				ups++
			}
		}
		state := edgeShared
		switch {
		case j-i == 1:
			state = edgeBorder
		case 2*ups != j-i:
			state = edgeMixed
		}
		for h := i; h < j; h++ {
			x := halves[h]
			s.edge[x.tri][x.corner], s.loose[x.tri][x.corner], s.over[x.tri][x.corner] = sum, state, -1
			if j-i == 2 {
				s.over[x.tri][x.corner] = halves[i+j-1-h].tri
			}
			s.rim[x.lo], s.rim[x.hi] = max(s.rim[x.lo], state), max(s.rim[x.hi], state)
		}
		i = j
	}
	s.numberShells(sets)
}

func (s *skin) numberShells(sets union) {
	s.shell = make([]uint32, len(s.face))
	number := map[uint32]uint32{}
	for t := range s.face {
		root := sets.find(uint32(t))
		k, ok := number[root]
		if !ok {
			k = uint32(len(s.shut))
			number[root] = k
			s.shut = append(s.shut, true)
		}
		s.shell[t] = k
		for c := range 3 {
			if s.loose[t][c] != edgeShared {
				s.shut[k] = false
			}
		}
	}
}

// normal returns the pseudo-normal at the place that near names, and what is beyond the edge there.
func (s *skin) normal(near *spatial.Near) (vec, uint8) {
	t := int(near.Tri)
	switch f := near.Feature; {
	case f == 0:
		return s.face[t], edgeShared
	case f <= 3:
		return s.edge[t][f-1], s.loose[t][f-1]
	default:
		v := s.corner(t, int(f-4))
		return s.vert[v], s.rim[v]
	}
}

// TurnAt is the angle, in radians, by which the surface turns at the edges of one of its triangles: the smallest
// that is above 0.02, so that on a curve it is the step from one flat side to the next and not the end of the shape. 0 for none.
func TurnAt(m Mesh, triangle int) float64 {
	s := newSkin(m.Pos, m.Tri)
	best := 0.0
	for t, source := range s.source {
		if int(source) != triangle {
			continue
		}
		for _, u := range s.sameSide(t) {
			for k := range 3 {
				if o := s.over[u][k]; o >= 0 {
					if a := detmath.Acos(min(max(dot(s.face[u], s.face[o]), -1), 1)); a > 0.02 && (best == 0 || a < best) {
						best = a
					}
				}
			}
		}
	}
	return best
}

// sameSide are triangle t and its neighbours in the same plane.
func (s *skin) sameSide(t int) []int {
	out := []int{t}
	for k := range 3 {
		if o := s.over[t][k]; o >= 0 && dot(s.face[t], s.face[o]) > 1-1e-6 {
			out = append(out, int(o))
		}
	}
	return out
}
