package topo

import (
	"cmp"
	"slices"
)

// findTwins finds triangles over the same three places. Those that run the same way round as one before them are set
// aside; the first that runs the other way stays live and knows its twin. Before another is the one of the lower node, of
// one node of the lower material: what stays decides to which node the sheet belongs, and the order in a file must not.
//
// Triangles are bucketed by their lowest place with a counting sort; buckets hold two on average. 12 bytes a triangle
// and 4 a place of scratch.
func (s *Surface) findTwins() {
	n := s.Triangles()
	s.Twin = make([]int32, n)
	start := make([]uint32, s.Places+1)
	for t := range n {
		s.Twin[t] = -1
		if s.State[t] == Live {
			start[s.sorted(uint32(t))[0]]++
		}
	}
	sum := uint32(0)
	for p := range start {
		start[p], sum = sum, sum+start[p]
	}
	order := make([]uint32, sum)
	for t := range n {
		if s.State[t] == Live {
			p := s.sorted(uint32(t))[0]
			order[start[p]] = uint32(t)
			start[p]++
		}
	}
	begin := uint32(0)
	for p := range s.Places {
		if bucket := order[begin:start[p]]; len(bucket) > 1 {
			s.twinsOf(bucket)
		}
		begin = start[p]
	}
	s.oneIndexEach()
}

// sorted are a triangle's places in ascending order.
func (s *Surface) sorted(t uint32) [3]uint32 {
	a, b, c := s.Place[s.Tri[3*t]], s.Place[s.Tri[3*t+1]], s.Place[s.Tri[3*t+2]]
	if a > b {
		a, b = b, a
	}
	if b > c {
		b, c = c, b
	}
	if a > b {
		a, b = b, a
	}
	return [3]uint32{a, b, c}
}

// fewTriangles is the size of a bucket from which sorting beats comparing each with each. Only speed depends on it.
const fewTriangles = 16

func (s *Surface) twinsOf(bucket []uint32) {
	if len(bucket) > fewTriangles {
		slices.SortFunc(bucket, func(a, b uint32) int {
			p, q := s.sorted(a), s.sorted(b)
			for k := 1; k < 3; k++ {
				if p[k] != q[k] {
					return int(p[k]) - int(q[k])
				}
			}
			return int(a) - int(b)
		})
		for i := 0; i < len(bucket); {
			j := i + 1
			for j < len(bucket) && s.sorted(bucket[j]) == s.sorted(bucket[i]) {
				j++
			}
			s.settleTwins(bucket[i:j])
			i = j
		}
		return
	}
	var same [fewTriangles]uint32
	for i, t := range bucket {
		if s.State[t] != Live || s.Twin[t] >= 0 {
			continue
		}
		n := 1
		same[0] = t
		for _, u := range bucket[i+1:] {
			if s.State[u] == Live && s.Twin[u] < 0 && s.sorted(u) == s.sorted(t) {
				same[n] = u
				n++
			}
		}
		s.settleTwins(same[:n])
	}
}

// settleTwins is given all triangles over three places, in order.
func (s *Surface) settleTwins(all []uint32) {
	if len(all) < 2 {
		return
	}
	slices.SortStableFunc(all, func(a, b uint32) int {
		return cmp.Or(cmp.Compare(label(s.Node, a), label(s.Node, b)), cmp.Compare(label(s.Draw, a), label(s.Draw, b)))
	})
	first, other := all[0], all[0]
	for _, t := range all[1:] {
		s.Twin[t] = int32(first)
		switch {
		case s.turns(t) == s.turns(first):
			s.setAside(t, first)
		case other != first:
			s.setAside(t, other)
		default:
			other = t
		}
	}
}

// setAside leaves a triangle out beside an equal one that stays. Of one node, what the file joins to either is joined to
// the one that stays: which of the two that is must not matter.
func (s *Surface) setAside(t, stays uint32) {
	s.State[t] = Again
	if label(s.Node, t) != label(s.Node, stays) {
		return
	}
	for a := 3 * t; a < 3*t+3; a++ {
		for b := 3 * stays; b < 3*stays+3; b++ {
			if v, w := s.index(s.Tri[a]), s.index(s.Tri[b]); v != w && s.Place[s.Tri[a]] == s.Place[s.Tri[b]] {
				s.joinIndices(v, w)
			}
		}
	}
}

// joinIndices makes one of two of the file's indices. Few files hold equal triangles of different vertices: until one does,
// the file's own indices serve.
func (s *Surface) joinIndices(v, w uint32) {
	if s.one == nil {
		most := uint32(0)
		for v := range s.Place {
			most = max(most, s.index(uint32(v)))
		}
		s.one = NewUnion(int(most) + 1)
	}
	s.one.Join(v, w)
}

// oneIndexEach settles joined indices, so that they are only read from here on.
func (s *Surface) oneIndexEach() {
	if s.one == nil {
		return
	}
	index := make([]uint32, len(s.Place))
	for v := range index {
		index[v] = s.one.Find(s.index(uint32(v)))
	}
	s.Index, s.one = index, nil
}

// turns says whether a triangle runs up through its sorted places.
func (s *Surface) turns(t uint32) bool {
	p := s.sorted(t)
	for k := range uint32(3) {
		if s.Place[s.Tri[3*t+k]] == p[0] {
			return s.Place[s.Tri[3*t+(k+1)%3]] == p[1]
		}
	}
	return false
}
