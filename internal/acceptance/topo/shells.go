package topo

import "math"

// findShells numbers the connected pieces by their lowest triangle and measures each. 4 bytes a triangle of scratch.
func (s *Surface) findShells() {
	n := s.Triangles()
	u := NewUnion(n)
	for h, m := range s.Mate {
		if m > int32(h) {
			u.Join(uint32(h)/3, uint32(m)/3)
		}
	}
	s.joinTangles(u)
	s.Shell = make([]int32, n)
	for t := range n {
		s.Shell[t] = -1
		if s.State[t] != Live {
			continue
		}
		if root := u.Find(uint32(t)); int(root) == t {
			s.Shell[t] = int32(len(s.Shells))
			inf := math.Inf(1)
			s.Shells = append(s.Shells, Shell{First: t, Lo: vec{inf, inf, inf}, Hi: vec{-inf, -inf, -inf}})
		} else {
			s.Shell[t] = s.Shell[root]
		}
		s.count(t, &s.Shells[s.Shell[t]])
	}
}

// joinTangles joins all faces of an edge at which they cannot be told apart. Tangled half-edges of one edge follow each
// other by the mates of none, so they are gathered by place anew; there are few.
func (s *Surface) joinTangles(u Union) {
	if len(s.Edges.Tangles) == 0 {
		return
	}
	var keys []uint64
	for h, m := range s.Mate {
		if m == Tangled {
			keys = append(keys, uint64(min(s.From(uint32(h)), s.To(uint32(h))))<<32|uint64(h))
		}
	}
	sortSmall(keys)
	for i := 0; i < len(keys); i++ {
		h := uint32(keys[i])
		for j := i + 1; j < len(keys) && keys[j]>>32 == keys[i]>>32; j++ {
			if g := uint32(keys[j]); max(s.From(g), s.To(g)) == max(s.From(h), s.To(h)) {
				u.Join(h/3, g/3)
				break // the chain joins the rest
			}
		}
	}
}

func (s *Surface) count(t int, x *Shell) {
	a, b, c := s.Corners(t)
	for _, p := range [3]vec{a, b, c} {
		for k := range 3 {
			x.Lo[k], x.Hi[k] = min(x.Lo[k], p[k]), max(x.Hi[k], p[k])
		}
	}
	x.Triangles++
	n := cross(sub(b, a), sub(c, a))
	x.AreaM2 += float64(0.5 * length(n))
	// Divergence theorem, about the shell's first corner: far from the origin that keeps the digits.
	origin := at(s.Pos, s.Tri[3*x.First])
	x.VolumeM3 += dot(sub(a, origin), cross(sub(b, origin), sub(c, origin))) / 6
	for h := uint32(3 * t); h < uint32(3*t+3); h++ {
		switch {
		case s.Mate[h] == Border:
			x.Open++
		case s.Mate[h] == Tangled:
			x.Tangled++
		case s.Disagrees(h):
			x.Disagreeing++
		}
	}
}

// Encloses says whether a closed shell, given by its triangles, has the point inside: a ray from it goes through the
// shell an odd number of times (Jordan's theorem). Which way the shell faces does not matter.
func (s *Surface) Encloses(members []uint32, p [3]float64) bool {
	crossings := 0
	for _, t := range members {
		a, b, c := s.Corners(int(t))
		if rayUp(p, a, b, c) {
			crossings++
		}
	}
	return crossings%2 == 1
}

// rayUp says whether the ray from p along +Y meets the triangle, each edge belonging to one of its two faces only: a
// point on the ray's line counts as to the left of it, so that a closed shell is met as often as it is gone through.
func rayUp(p, a, b, c vec) bool {
	in := false
	for _, e := range [3][2]vec{{a, b}, {b, c}, {c, a}} {
		q, r := e[0], e[1]
		if (q[2] > p[2]) != (r[2] > p[2]) {
			x := q[0] + float64((r[0]-q[0])*((p[2]-q[2])/(r[2]-q[2])))
			if q[2] > r[2] { // the same value for both faces of the edge
				x = r[0] + float64((q[0]-r[0])*((p[2]-r[2])/(q[2]-r[2])))
			}
			if x > p[0] {
				in = !in
			}
		}
	}
	if !in {
		return false
	}
	n := cross(sub(b, a), sub(c, a))
	if n[1] == 0 {
		return false
	}
	y := a[1] - (float64(n[0]*(p[0]-a[0]))+float64(n[2]*(p[2]-a[2])))/n[1]
	return y > p[1]
}
