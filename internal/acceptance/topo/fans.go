package topo

import "slices"

// Bowtie is a place at which fans of faces meet that hang together by that place alone.
type Bowtie struct {
	Place   uint32
	Corners []uint32 // one of each fan
}

// findFans finds the places where more than one fan of faces meets. Fans of different shells that the file does not
// join by index only touch; so do those at the end of an edge along which shells touch. Places on tangled edges are
// told by those. 24 bytes a triangle and 8 a place.
func (s *Surface) findFans() {
	s.gatherCorners()
	u := NewUnion(len(s.Tri))
	for h, m := range s.Mate {
		if m <= int32(h) {
			continue
		}
		g := uint32(m)
		a, b := g, Next(g)
		if s.Place[s.Tri[a]] != s.From(uint32(h)) {
			a, b = b, a
		}
		u.Join(uint32(h), a)
		u.Join(Next(uint32(h)), b)
	}
	fans := make([]uint16, s.Places)
	for c := range uint32(len(s.Tri)) {
		if s.State[c/3] == Live && u[c] == c {
			if p := s.Place[s.Tri[c]]; fans[p] < 1<<15 {
				fans[p]++
			}
		}
	}
	for _, told := range [2][]uint32{s.Edges.Touching, s.Edges.Tangles} {
		for _, h := range told {
			fans[s.From(h)], fans[s.To(h)] = 0, 0
		}
	}
	for p, n := range fans {
		if n < 2 {
			continue
		}
		var roots []uint32
		for _, c := range s.CornersAt(uint32(p)) {
			if u[c] == c {
				roots = append(roots, c)
			}
		}
		if s.tied(u, uint32(p), roots) {
			s.Bowties = append(s.Bowties, Bowtie{uint32(p), roots})
		} else {
			s.TouchAt = append(s.TouchAt, uint32(p))
		}
	}
}

// gatherCorners sorts the corners of live triangles by place.
func (s *Surface) gatherCorners() {
	s.cornerAt = make([]uint32, s.Places+1)
	for c, v := range s.Tri {
		if s.State[c/3] == Live {
			s.cornerAt[s.Place[v]+1]++
		}
	}
	for p := range s.Places {
		s.cornerAt[p+1] += s.cornerAt[p]
	}
	s.corner = make([]uint32, s.cornerAt[s.Places])
	fill := slices.Clone(s.cornerAt[:s.Places])
	for c, v := range s.Tri {
		if s.State[c/3] == Live {
			p := s.Place[v]
			s.corner[fill[p]] = uint32(c)
			fill[p]++
		}
	}
}

// CornersAt lists the corners of live triangles at a place, ascending.
func (s *Surface) CornersAt(place uint32) []uint32 {
	return s.corner[s.cornerAt[place]:s.cornerAt[place+1]]
}

// tied says whether fans at a place hang together: some two of them belong to one shell, or share a vertex of the file.
func (s *Surface) tied(u Union, place uint32, roots []uint32) bool {
	for i, c := range roots {
		for _, d := range roots[i+1:] {
			if s.Shell[c/3] == s.Shell[d/3] {
				return true
			}
		}
	}
	type use struct{ index, fan uint32 }
	var uses []use
	for _, c := range s.CornersAt(place) {
		uses = append(uses, use{s.index(s.Tri[c]), u.Find(c)})
	}
	slices.SortFunc(uses, func(a, b use) int { return int(int64(a.index) - int64(b.index)) })
	for i := 1; i < len(uses); i++ {
		if uses[i].index == uses[i-1].index && uses[i].fan != uses[i-1].fan {
			return true
		}
	}
	return false
}
