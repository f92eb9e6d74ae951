package topo

import "math"

// maxFaces on one edge are tried to be told apart; more never are.
const maxFaces = 32

// apart tries to tell the faces on an edge apart as sheets that only touch: node by node, then by what the file joins by
// index, then by winding, then by material. It leaves the pairs in c.pairs; what is in none is a border.
//
// By winding: the faces around the edge are paired across the solid that they bound, as the radial-edge structure orders
// them (Weiler, The Radial Edge Structure, in: Geometric Modeling for CAD Applications, 1988). What the file joins by index
// at both ends is joined, and never told apart, unless it is a sheet doubled with its faces the other way round.
func (c *cutter) apart(edge []uint64) bool {
	if len(edge) > maxFaces {
		return false
	}
	c.pairs = c.pairs[:0]
	var done [maxFaces]bool
	for i := range edge {
		if done[i] {
			continue
		}
		c.rest = c.rest[:0]
		node := label(c.s.Node, uint32(edge[i])/3)
		for j := i; j < len(edge); j++ {
			if h := uint32(edge[j]); label(c.s.Node, h/3) == node {
				done[j] = true
				c.rest = append(c.rest, h)
			}
		}
		if !c.within(len(c.rest) == len(edge)) {
			return false
		}
	}
	return true
}

// within tells the faces of one node apart, which are in c.rest; whole says that these are all.
func (c *cutter) within(whole bool) bool {
	found := len(c.pairs)
	if joined, ok := c.byIndex(); joined {
		return false
	} else if ok {
		return true
	}
	if len(c.rest) == 1 {
		return !whole || len(c.pairs) > found
	}
	return c.byWinding() || c.byDraw()
}

// opposed says whether two half-edges of one edge run against each other, as those of a consistent sheet do.
func (c *cutter) opposed(h, g uint32) bool { return c.s.From(h) != c.s.From(g) }

// joined says whether two faces share both ends of their edge by index.
func (c *cutter) joined(h, g uint32) bool {
	s := c.s
	a, b := s.index(s.Tri[h]), s.index(s.Tri[Next(h)])
	d, e := s.index(s.Tri[g]), s.index(s.Tri[Next(g)])
	return a == d && b == e || a == e && b == d
}

// byIndex takes out of c.rest the pairs that the file joins. joined is true where it joins three or more.
func (c *cutter) byIndex() (joined, ok bool) {
	kept := c.rest[:0:0]
	var gone [maxFaces]bool
	for i, h := range c.rest {
		if gone[i] {
			continue
		}
		with, partner, others := 0, 0, false
		for j := range c.rest {
			if j != i && !gone[j] && c.joined(h, c.rest[j]) {
				with++
				partner = j
				others = others || !c.doubled(c.rest[j])
			}
		}
		switch {
		case with == 1 && partner > i && c.opposed(h, c.rest[partner]):
			c.pairs = append(c.pairs, [2]uint32{h, c.rest[partner]})
			gone[i], gone[partner] = true, true
		case with > 1 && (others || !c.doubled(h)):
			return true, false
		default:
			kept = append(kept, h)
		}
	}
	c.rest = append(c.rest[:0], kept...)
	return false, len(c.rest) == 0
}

// doubled says whether a half-edge's triangle lies on another that faces the other way.
func (c *cutter) doubled(h uint32) bool {
	s := c.s
	if s.Twin[h/3] >= 0 {
		return true
	}
	// The earlier of two twins does not know the later one: it lies on the same edge.
	third := s.Place[s.Tri[Next(Next(h))]]
	for _, g := range c.rest {
		if g != h && s.Place[s.Tri[Next(Next(g))]] == third {
			return true
		}
	}
	return false
}

// sameAngle is how close two faces around an edge are taken as lying on each other, in the measure of turn.
const sameAngle = 1e-5

// straight is how far from going straight on a sheet may turn where it is crossed, in the measure of turn: some 30°.
const straight = 0.35

// byWinding pairs what is in c.rest.
func (c *cutter) byWinding() bool {
	n := len(c.rest)
	if n%2 != 0 {
		return false
	}
	var angle [maxFaces]float64
	a, b := c.s.Ends(c.rest[0])
	if c.s.From(c.rest[0]) > c.s.To(c.rest[0]) {
		a, b = b, a
	}
	axis := unit(sub(b, a))
	var x vec
	against := 0
	for i, h := range c.rest {
		u := sub(at(c.s.Pos, c.s.Tri[Next(Next(h))]), a)
		u = sub(u, scale(axis, dot(u, axis)))
		if i == 0 {
			x = unit(u)
		}
		angle[i] = turn(dot(u, x), dot(u, cross(axis, x)))
		if c.down(h) {
			against++
		}
	}
	return 2*against == n && (c.radial(&angle) || c.crossed(&angle))
}

// down says whether a half-edge runs from the greater place to the lesser.
func (c *cutter) down(h uint32) bool { return c.s.From(h) > c.s.To(h) }

// turn grows with the angle of (x, y) from 0 to 4.
func turn(x, y float64) float64 {
	size := math.Abs(x) + math.Abs(y)
	if !(size > 0) {
		return 0
	}
	p := y / size
	switch {
	case x < 0:
		return 2 - p
	case y < 0:
		return 4 + p
	}
	return p
}

// ahead is the way from one angle on to another, above 0 and at most 4.
func ahead(from, to float64) float64 {
	d := to - from
	if d <= sameAngle {
		d += 4
	}
	if d <= sameAngle {
		d += 4
	}
	return d
}

// radial pairs faces across the solid between them. Seen along the edge from its lesser place, the solid of a face whose
// half-edge runs down lies at greater angles, that of one that runs up at lesser ones.
func (c *cutter) radial(angle *[maxFaces]float64) bool {
	found := len(c.pairs)
	for i, h := range c.rest {
		if !c.down(h) {
			continue
		}
		best, near := -1, 9.0
		for j := range c.rest {
			if d := ahead(angle[i], angle[j]); j != i && (d < near-sameAngle || d < near+sameAngle && !c.down(c.rest[j])) {
				best, near = j, min(d, near)
			}
		}
		if best < 0 || c.down(c.rest[best]) {
			c.pairs = c.pairs[:found]
			return false
		}
		c.pairs = append(c.pairs, [2]uint32{h, c.rest[best]})
	}
	return c.clean(found)
}

// crossed pairs faces that go straight on: sheets that cross along an edge.
func (c *cutter) crossed(angle *[maxFaces]float64) bool {
	found := len(c.pairs)
	for i, h := range c.rest {
		if !c.down(h) {
			continue
		}
		best, off := -1, straight
		for j, g := range c.rest {
			if d := math.Abs(ahead(angle[i], angle[j]) - 2); !c.down(g) && d < off {
				best, off = j, d
			}
		}
		if best < 0 {
			c.pairs = c.pairs[:found]
			return false
		}
		c.pairs = append(c.pairs, [2]uint32{h, c.rest[best]})
	}
	return c.clean(found)
}

// clean says whether the pairs from found on hold each face once and part nothing that the file joins.
func (c *cutter) clean(found int) bool {
	all := c.pairs[found:]
	for i, p := range all {
		for _, q := range all[i+1:] {
			if p[0] == q[0] || p[1] == q[1] {
				c.pairs = c.pairs[:found]
				return false
			}
			for _, h := range p {
				for _, g := range q {
					if c.joined(h, g) && !(c.doubled(h) && c.doubled(g)) {
						c.pairs = c.pairs[:found]
						return false
					}
				}
			}
		}
	}
	return true
}

// byDraw tells what is in c.rest apart by material.
func (c *cutter) byDraw() bool {
	found := len(c.pairs)
	var gone [maxFaces]bool
	kinds := 0
	for i, h := range c.rest {
		if gone[i] {
			continue
		}
		kinds++
		n, partner := 1, h
		for j := i + 1; j < len(c.rest); j++ {
			if g := c.rest[j]; label(c.s.Draw, g/3) == label(c.s.Draw, h/3) {
				gone[j] = true
				n++
				partner = g
			} else if c.joined(h, g) {
				n = maxFaces
			}
		}
		if n > 2 || n == 2 && !c.opposed(h, partner) {
			c.pairs = c.pairs[:found]
			return false
		}
		if n == 2 {
			c.pairs = append(c.pairs, [2]uint32{h, partner})
		}
	}
	if len(c.pairs) == found {
		return false // sheets of as many materials, joined like a Y
	}
	return kinds > 1
}
