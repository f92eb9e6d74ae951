package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spatial"
)

// collapser takes edges out of a mesh for as long as the surface stays within a tolerance, and counts. It moves one end of
// an edge onto the other (half-edge collapse), what is flat first; the cost is the sum of the squared distances of the
// point that stays from all planes that met in the points that went (Garland & Heckbert, "Surface Simplification Using
// Quadric Error Metrics", SIGGRAPH 1997). A sum is never less than its largest part, so no plane is farther than the
// tolerance, and the count is on the careful side.
//
// Edges that are borders, hard, or UV seams only get shorter along themselves. What a texture or a shading would show is
// no less a change: an edge stays where the UV or the normal in the place of the point that went would be another. So does
// one that guides the bake: where projection starts along averaged normals, a loop beside a hard corner keeps them straight
// over the face behind it.
type collapser struct {
	sf     *mesh.Surface
	ranges []mesh.Range
	draw   []int32 // by triangle
	texel  []float64
	limit  float64 // metres

	normal []([3]float64)
	area   []float64
	dead   []bool
	went   []bool // dead because it could go
	solid  int    // triangles with an area
	gone   int

	at     [][3]float64 // by place
	lean   [][3]float64 // by place: the averaged normal, along which projection starts; nothing where none does
	corner []uint32     // place by corner
	across []int32
	hard   []bool   // by edge, opposite to its corner: border, hard or seam
	wedge  []uint32 // by corner: those that share a point's UV and normal
	attr   []uint32 // by wedge: a vertex that has them
	around [][]int32
	q      []quadric
}

// newCollapser readies a mesh. texels are the sizes of a texel in UV, baked the draws that are baked along averaged normals.
func newCollapser(sf *mesh.Surface, ranges []mesh.Range, texels map[drawKey]float64, baked map[drawKey]bool, limit float64) *collapser {
	n := sf.Triangles()
	place, places := spatial.Weld(sf.Pos, 0)
	c := &collapser{sf: sf, ranges: ranges, draw: drawOf(sf, ranges), limit: limit,
		normal: make([][3]float64, n), area: make([]float64, n), dead: make([]bool, n), went: make([]bool, n),
		at: make([][3]float64, places), corner: make([]uint32, 3*n), around: make([][]int32, places), lean: make([][3]float64, places), q: make([]quadric, places)}
	for _, g := range ranges {
		v := texels[keyOf(g)]
		if v == 0 {
			v = 1.0 / 1024
		}
		c.texel = append(c.texel, v)
	}
	for v, p := range place {
		c.at[p] = point(sf.Pos, uint32(v))
	}
	counts := make([]int32, places)
	for t := range n {
		a, b, d := corners(sf, t)
		c.area[t] = worldArea(a, b, d)
		if c.dead[t] = !(c.area[t] > 0) || c.draw[t] < 0; c.dead[t] {
			continue
		}
		c.solid++
		u := cross(sub(b, a), sub(d, a))
		l := math.Sqrt(lenSq(u))
		c.normal[t] = [3]float64{u[0] / l, u[1] / l, u[2] / l}
		for k := range 3 {
			p := place[sf.Tri[3*t+k]]
			c.corner[3*t+k] = p
			counts[p]++
			if baked[keyOf(ranges[c.draw[t]])] {
				for i := range 3 {
					c.lean[p][i] += u[i] // as long as twice the area
				}
			}
		}
	}
	for p, n := range c.lean {
		if l := math.Sqrt(lenSq(n)); l > 0 {
			c.lean[p] = [3]float64{n[0] / l, n[1] / l, n[2] / l}
		}
	}
	c.across = spatial.Across(sf.Tri, place, places)
	backing := make([]int32, 3*c.solid)
	for p := range c.around {
		c.around[p], backing = backing[:0:counts[p]], backing[counts[p]:]
	}
	for t := range n {
		if !c.dead[t] {
			for k := range 3 {
				p := c.corner[3*t+k]
				c.around[p] = append(c.around[p], int32(t))
			}
		}
	}
	c.findHard()
	c.findWedges()
	c.findPlanes()
	return c
}

// run takes out what can go: what is flat first, so that flats do not use up what curves allow, then the rest.
func (c *collapser) run(ctx context.Context) error {
	whole := c.limit
	defer func() { c.limit = whole }()
	for _, part := range [2]float64{0x1p-10, 1} {
		c.limit = whole * part
		if err := c.pass(ctx); err != nil {
			return err
		}
	}
	return nil
}

// pass tries every point, and those beside a point that went again, until none can go.
func (c *collapser) pass(ctx context.Context) error {
	list, waits := make([]uint32, 0, len(c.at)), make([]bool, len(c.at))
	for p := range c.at {
		list, waits[p] = append(list, uint32(p)), true
	}
	for i := 0; i < len(list); i++ {
		if i%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		from := list[i]
		waits[from] = false
		to, ok := c.best(from)
		if !ok {
			continue
		}
		c.take(from, to)
		for _, t := range c.around[to] {
			for k := range 3 {
				if p := c.corner[3*int(t)+k]; !waits[p] {
					list, waits[p] = append(list, p), true
				}
			}
		}
	}
	return nil
}

// best is the neighbour onto which a point may go at the least cost.
func (c *collapser) best(from uint32) (to uint32, ok bool) {
	limitSq := c.limit * c.limit
	least := math.Inf(1)
	for _, t := range c.around[from] {
		for k := range 3 {
			p := c.corner[3*int(t)+k]
			if p == from || ok && p == to {
				continue
			}
			if cost := c.q[from].at(c.at[p]); cost <= limitSq && (cost < least || cost == least && p < to) && c.may(from, p) {
				to, least, ok = p, cost, true
			}
		}
	}
	return to, ok
}

// edgeUse are the triangles of an edge, two at most, and the hard edges at its first end.
type edgeUse struct {
	of     []int32
	isHard bool
	hardAt []uint32 // places at the other ends of hard edges at from
}

func (c *collapser) use(from, to uint32) (u edgeUse, ok bool) {
	for _, t := range c.around[from] {
		for k := range 3 {
			if c.corner[3*t+int32(k)] == from || !c.hard[3*int(t)+k] {
				continue
			}
			// The edge opposite to k has from at one of its ends.
			other := c.corner[3*int(t)+(k+1)%3]
			if other == from {
				other = c.corner[3*int(t)+(k+2)%3]
			}
			if !slices.Contains(u.hardAt, other) {
				u.hardAt = append(u.hardAt, other)
			}
			u.isHard = u.isHard || other == to
		}
		if c.has(int(t), to) {
			u.of = append(u.of, t)
		}
	}
	return u, len(u.of) == 1 && u.isHard || len(u.of) == 2
}

func (c *collapser) has(t int, place uint32) bool {
	return c.corner[3*t] == place || c.corner[3*t+1] == place || c.corner[3*t+2] == place
}

// take moves a point onto another.
func (c *collapser) take(from, to uint32) {
	u, _ := c.use(from, to)
	wedges, _ := c.wedgesAfter(from, to, u.of)
	for _, t := range u.of {
		c.handOn(int(t), from, to)
		c.dead[t], c.went[t] = true, true
		c.gone++
	}
	for _, t := range u.of { // out of the lists of all its places
		for k := range 3 {
			p := c.corner[3*int(t)+k]
			c.around[p] = slices.DeleteFunc(c.around[p], func(o int32) bool { return o == t })
		}
	}
	for _, t := range c.around[from] {
		for k := range 3 {
			if i := 3*int(t) + k; c.corner[i] == from {
				c.corner[i] = to
				c.wedge[i], _ = after(wedges, c.wedge[i])
			}
		}
		a, b, d := c.at[c.corner[3*t]], c.at[c.corner[3*t+1]], c.at[c.corner[3*t+2]]
		n := cross(sub(b, a), sub(d, a))
		if l := math.Sqrt(lenSq(n)); l > 0 {
			c.normal[t] = [3]float64{n[0] / l, n[1] / l, n[2] / l}
		}
	}
	c.around[to] = append(c.around[to], c.around[from]...)
	c.around[from] = nil
	c.q[to].add(&c.q[from])
}

// handOn hands what is hard about a triangle's two other edges to the triangle beyond: the two edges become one.
func (c *collapser) handOn(t int, from, to uint32) {
	for k := range 3 {
		third := c.corner[3*t+k]
		if third == from || third == to {
			continue
		}
		isHard := false
		for i := range 3 {
			if c.corner[3*t+i] == from || c.corner[3*t+i] == to {
				isHard = isHard || c.hard[3*t+i] // the edges from the third corner
			}
		}
		if !isHard {
			return
		}
		for _, end := range [2]uint32{from, to} {
			for _, o := range c.around[end] {
				if int(o) == t || !c.has(int(o), third) {
					continue
				}
				for i := range 3 {
					if p := c.corner[3*int(o)+i]; p != end && p != third {
						c.hard[3*int(o)+i] = true
					}
				}
			}
		}
	}
}
