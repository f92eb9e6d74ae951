package topo

import "slices"

// findMates settles what lies on the other side of each half-edge.
//
// Half-edges are bucketed by their lesser place with a counting sort and each bucket, some six of them, is sorted by the
// greater place. 24 bytes a triangle and 4 a place of scratch.
func (s *Surface) findMates() {
	s.Mate = make([]int32, len(s.Tri))
	for h := range s.Mate {
		s.Mate[h] = Border
	}
	start := make([]uint32, s.Places+1)
	for h := range uint32(len(s.Tri)) {
		if s.State[h/3] == Live {
			start[min(s.From(h), s.To(h))]++
		}
	}
	sum := uint32(0)
	for p := range start {
		start[p], sum = sum, sum+start[p]
	}
	order := make([]uint64, sum) // greater place above, half-edge below
	for h := range uint32(len(s.Tri)) {
		if s.State[h/3] == Live {
			a, b := s.From(h), s.To(h)
			p := min(a, b)
			order[start[p]] = uint64(max(a, b))<<32 | uint64(h)
			start[p]++
		}
	}
	c := cutter{s: s}
	begin := uint32(0)
	for p := range s.Places {
		bucket := order[begin:start[p]]
		begin = start[p]
		sortSmall(bucket)
		for i := 0; i < len(bucket); {
			j := i + 1
			for j < len(bucket) && bucket[j]>>32 == bucket[i]>>32 {
				j++
			}
			c.settle(bucket[i:j])
			i = j
		}
	}
}

// sortSmall sorts by insertion where there is little to sort.
func sortSmall(keys []uint64) {
	if len(keys) > 24 {
		slices.Sort(keys)
		return
	}
	for i := 1; i < len(keys); i++ {
		k := keys[i]
		j := i
		for j > 0 && keys[j-1] > k {
			keys[j] = keys[j-1]
			j--
		}
		keys[j] = k
	}
}

// cutter settles edges.
type cutter struct {
	s     *Surface
	rest  []uint32
	pairs [][2]uint32
}

// settle is given the half-edges of one edge, in order.
func (c *cutter) settle(edge []uint64) {
	s := c.s
	s.Edges.All++
	h := uint32(edge[0])
	switch len(edge) {
	case 1:
		s.Edges.Open++
	case 2:
		s.Edges.Pairs++
		g := uint32(edge[1])
		if s.From(h) == s.From(g) {
			if label(s.Node, h/3) != label(s.Node, g/3) {
				s.Edges.Touching = append(s.Edges.Touching, h) // two sheets of different nodes, edge to edge
				return
			}
			s.Edges.Disagree = append(s.Edges.Disagree, h)
		}
		s.Mate[h], s.Mate[g] = int32(g), int32(h)
	default:
		s.Edges.Crowded++
		if c.apart(edge) {
			s.Edges.Touching = append(s.Edges.Touching, h)
			for _, p := range c.pairs {
				s.Mate[p[0]], s.Mate[p[1]] = int32(p[1]), int32(p[0])
			}
			return
		}
		s.Edges.Tangles = append(s.Edges.Tangles, h)
		for _, k := range edge {
			s.Mate[uint32(k)] = Tangled
		}
	}
}
