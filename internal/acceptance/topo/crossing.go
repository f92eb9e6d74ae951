package topo

import (
	"context"
	"math"
)

// Crossing is a pair of triangles that run through each other, the lower index first.
type Crossing struct {
	A, B   int32
	Within bool       // both belong to one shell
	At     [3]float64 // a point of the cut, metres
}

// Crossings tests pairs of triangles, whose boxes meet, for running through each other: a part of one that is not a
// point lies on either side of the other. Touching is no crossing, whether at a corner, along an edge or face on face; nor is
// what neighbours share. Depths below the rounding of the coordinates are touching too. pairs must hold each pair once.
//
// The test is that of Guigue and Devillers, Fast and Robust Triangle-Triangle Overlap Test Using Orientation Predicates,
// Journal of Graphics Tools 8(1), 2003, with strict signs: orientations are exact, their order along the line in which the
// planes meet decides. Triangles that share a place cross only if the far edge of one goes through the other.
func (s *Surface) Crossings(ctx context.Context, pairs [][2]int32) ([]Crossing, error) {
	var out []Crossing
	for i, p := range pairs {
		if i&4095 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if s.State[p[0]] != Live || s.State[p[1]] != Live {
			continue
		}
		if x, ok := s.cross(p[0], p[1]); ok {
			x.Within = s.Shell[p[0]] == s.Shell[p[1]]
			out = append(out, x)
		}
	}
	return out, ctx.Err()
}

func (s *Surface) cross(t, u int32) (Crossing, bool) {
	i, j, shared := s.shared(t, u)
	if shared > 1 {
		return Crossing{}, false
	}
	var p, q [3]vec
	p[0], p[1], p[2] = s.Corners(int(t))
	q[0], q[1], q[2] = s.Corners(int(u))
	if !deep(p, q) || !deep(q, p) { // rounding settles most pairs, and at no great cost
		return Crossing{}, false
	}
	switch shared {
	case 0:
		if !through(p, q) {
			return Crossing{}, false
		}
	default:
		p = [3]vec{p[i], p[(i+1)%3], p[(i+2)%3]}
		q = [3]vec{q[j], q[(j+1)%3], q[(j+2)%3]}
		if !pierces(p, q) && !pierces(q, p) {
			return Crossing{}, false
		}
	}
	return Crossing{A: min(t, u), B: max(t, u), At: middle(p, q)}, true
}

// shared counts the places that two triangles share and gives the corners of the last of them.
func (s *Surface) shared(t, u int32) (i, j, n int) {
	for a := range 3 {
		for b := range 3 {
			if s.Place[s.Tri[3*int(t)+a]] == s.Place[s.Tri[3*int(u)+b]] {
				i, j = a, b
				n++
			}
		}
	}
	return i, j, n
}

// sides are the signs of q's corners against the plane of p.
func sides(p, q [3]vec) (s [3]int) {
	for k := range 3 {
		s[k] = Orient(p[0], p[1], p[2], q[k])
	}
	return s
}

// straddles says whether there are corners on both sides.
func straddles(s [3]int) bool {
	return min(s[0], s[1], s[2]) < 0 && max(s[0], s[1], s[2]) > 0
}

// through says whether triangles without a common place run through each other.
func through(p, q [3]vec) bool {
	s := sides(q, p)
	if !straddles(s) {
		return false
	}
	t := sides(p, q)
	if !straddles(t) {
		return false
	}
	p, low := alone(p, s)
	if low { // keep the first corner of p above q's plane
		q[1], q[2] = q[2], q[1]
		t[1], t[2] = t[2], t[1]
	}
	q, low = alone(q, t)
	if low {
		p[1], p[2] = p[2], p[1]
	}
	// The line in which the planes meet cuts p in [i, j] and q in [k, l]: they overlap, by more than a point, if k lies
	// before j and i before l.
	return Orient(p[0], p[1], q[0], q[1]) < 0 && Orient(p[0], p[2], q[2], q[0]) < 0
}

// alone turns a triangle's corners so that the first is alone on its side of the other's plane, and says whether that
// side is the lower one. A corner on the plane counts to the side of which there is one, so that the first never lies on it.
func alone(p [3]vec, s [3]int) ([3]vec, bool) {
	first := 0
	for k := range 3 {
		if s[k] != 0 && s[(k+1)%3] != s[k] && s[(k+2)%3] != s[k] {
			first = k
			break
		}
	}
	return [3]vec{p[first], p[(first+1)%3], p[(first+2)%3]}, s[first] < 0
}

// pierces says whether, of two triangles with a common first corner, the far edge of p goes through the part of q's
// plane between the two edges of q that meet there.
func pierces(p, q [3]vec) bool {
	a, b := Orient(q[0], q[1], q[2], p[1]), Orient(q[0], q[1], q[2], p[2])
	if a*b >= 0 {
		return false
	}
	// Where the edge comes from above (a below zero), what it goes through lies to its right: the other sign is the
	// wedge on the far side of the common corner.
	return a*Orient(p[1], p[2], q[0], q[1]) < 0 && a*Orient(p[1], p[2], q[2], q[0]) < 0
}

// noise is what a coordinate of size m may be off by, as a share of m: float32 rounds to 2^-24, each corner of either
// triangle is rounded and a plane leans by three of them. Doubling it would call cuts of up to 2 µm at one metre from the
// origin touching, instead of 1 µm.
const noise = 1.0 / (1 << 20)

// deep says whether p reaches further than rounding to both sides of q's plane.
func deep(p, q [3]vec) bool {
	n := unit(cross(sub(q[1], q[0]), sub(q[2], q[0])))
	size, lo, hi := 0.0, 0.0, 0.0
	for k := range 3 {
		d := dot(n, sub(p[k], q[0]))
		lo, hi = min(lo, d), max(hi, d)
		for i := range 3 {
			size = max(size, math.Abs(p[k][i]), math.Abs(q[k][i]))
		}
	}
	return min(-lo, hi) > size*noise
}

// middle is a point of the cut of two triangles that cross: the mean of where edges of one go through the other, or
// of the two boxes' common part where rounding hides them all.
func middle(p, q [3]vec) vec {
	var sum vec
	n := 0
	for range 2 {
		normal := cross(sub(q[1], q[0]), sub(q[2], q[0]))
		for k := range 3 {
			a, b := p[k], p[(k+1)%3]
			da, db := dot(normal, sub(a, q[0])), dot(normal, sub(b, q[0]))
			if (da < 0) == (db < 0) || da == db {
				continue
			}
			x := add(a, scale(sub(b, a), da/(da-db)))
			if inside(x, q, normal) {
				sum = add(sum, x)
				n++
			}
		}
		p, q = q, p
	}
	if n > 0 {
		return scale(sum, 1/float64(n))
	}
	for k := range 3 {
		lo := max(min(p[0][k], p[1][k], p[2][k]), min(q[0][k], q[1][k], q[2][k]))
		hi := min(max(p[0][k], p[1][k], p[2][k]), max(q[0][k], q[1][k], q[2][k]))
		sum[k] = (lo + hi) / 2
	}
	return sum
}

func inside(x vec, q [3]vec, normal vec) bool {
	for k := range 3 {
		if dot(normal, cross(sub(q[(k+1)%3], q[k]), sub(x, q[k]))) < 0 {
			return false
		}
	}
	return true
}
