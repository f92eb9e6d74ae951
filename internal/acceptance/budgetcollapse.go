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

// quadric is a symmetric 4×4 matrix of squared distances from planes.
type quadric [10]float64

func (q *quadric) plane(n [3]float64, d float64) {
	v := [4]float64{n[0], n[1], n[2], d}
	k := 0
	for i := range 4 {
		for j := i; j < 4; j++ {
			q[k] += float64(v[i] * v[j])
			k++
		}
	}
}

func (q *quadric) add(o *quadric) {
	for k := range q {
		q[k] += o[k]
	}
}

// at is the sum of the squared distances of a point, relative to which the planes were written down.
func (q *quadric) at(p [3]float64) float64 {
	x, y, z := p[0], p[1], p[2]
	sum := float64(q[0]*x*x) + float64(2*q[1]*x*y) + float64(2*q[2]*x*z) + float64(2*q[3]*x)
	sum += float64(q[4]*y*y) + float64(2*q[5]*y*z) + float64(2*q[6]*y)
	sum += float64(q[7]*z*z) + float64(2*q[8]*z) + q[9]
	return max(sum, 0)
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

// findHard marks the edges that only get shorter.
func (c *collapser) findHard() {
	c.hard = make([]bool, len(c.across))
	for e, other := range c.across {
		t := e / 3
		if c.dead[t] {
			continue
		}
		if other < 0 || c.dead[other] || c.draw[t] != c.draw[other] {
			c.hard[e] = true
			continue
		}
		k := e % 3
		if c.ranges[c.draw[t]].NoNormals { // shaded flat
			c.hard[e] = dot(c.normal[t], c.normal[other]) < hardCosine
		}
		for _, i := range [2]int{(k + 1) % 3, (k + 2) % 3} {
			v, w := c.sf.Tri[3*t+i], c.vertexAt(int(other), c.corner[3*t+i])
			if c.turned(v, w, t) || c.shifted(v, w, t) {
				c.hard[e] = true
			}
		}
	}
}

// vertexAt is the vertex of a triangle at a place.
func (c *collapser) vertexAt(t int, place uint32) uint32 {
	for k := range 3 {
		if c.corner[3*t+k] == place {
			return c.sf.Tri[3*t+k]
		}
	}
	return c.sf.Tri[3*t]
}

func (c *collapser) nrm(v uint32) [3]float64 {
	return [3]float64{float64(c.sf.Nrm[3*v]), float64(c.sf.Nrm[3*v+1]), float64(c.sf.Nrm[3*v+2])}
}

func (c *collapser) uv(v uint32) [2]float64 {
	return [2]float64{float64(c.sf.UV[2*v]), float64(c.sf.UV[2*v+1])}
}

func (c *collapser) turned(v, w uint32, t int) bool {
	return !c.ranges[c.draw[t]].NoNormals && dot(c.nrm(v), c.nrm(w)) < hardCosine
}

func (c *collapser) shifted(v, w uint32, t int) bool {
	if c.ranges[c.draw[t]].NoUV {
		return false
	}
	a, b := c.uv(v), c.uv(w)
	return !(math.Abs(a[0]-b[0])+math.Abs(a[1]-b[1]) <= c.texel[c.draw[t]]/16)
}

// findWedges joins the corners of a place over edges that are not hard.
func (c *collapser) findWedges() {
	parent := make([]int32, len(c.corner))
	for i := range parent {
		parent[i] = int32(i)
	}
	for e, other := range c.across {
		t := e / 3
		if c.dead[t] || c.hard[e] || int(other) < t {
			continue
		}
		for _, i := range [2]int{(e%3 + 1) % 3, (e%3 + 2) % 3} {
			for k := range 3 {
				if c.corner[3*int(other)+k] == c.corner[3*t+i] {
					joinCorners(parent, int32(3*t+i), 3*other+int32(k))
				}
			}
		}
	}
	c.wedge, c.attr = make([]uint32, len(c.corner)), make([]uint32, len(c.corner))
	for i := range c.wedge {
		c.wedge[i] = uint32(rootOf(parent, int32(i)))
		c.attr[i] = c.sf.Tri[i]
	}
}

// rootOf returns the lowest corner of those that are joined, and halves the way to it.
func rootOf(parent []int32, i int32) int32 {
	for parent[i] != i {
		parent[i] = parent[parent[i]]
		i = parent[i]
	}
	return i
}

func joinCorners(parent []int32, a, b int32) {
	if a, b = rootOf(parent, a), rootOf(parent, b); a < b {
		parent[b] = a
	} else {
		parent[a] = b
	}
}

// findPlanes writes down the planes that meet in each place, and for hard edges those that stand on their triangles.
func (c *collapser) findPlanes() {
	for t := range c.dead {
		if c.dead[t] {
			continue
		}
		n, p := c.normal[t], c.at[c.corner[3*t]]
		for k := range 3 {
			c.q[c.corner[3*t+k]].plane(n, -dot(n, p))
		}
		for k := range 3 {
			if !c.hard[3*t+k] {
				continue
			}
			a, b := c.corner[3*t+(k+1)%3], c.corner[3*t+(k+2)%3]
			m := cross(n, sub(c.at[b], c.at[a]))
			if l := math.Sqrt(lenSq(m)); l > 0 {
				m = [3]float64{m[0] / l, m[1] / l, m[2] / l}
				c.q[a].plane(m, -dot(m, c.at[a]))
				c.q[b].plane(m, -dot(m, c.at[a]))
			}
		}
	}
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

// may says whether a point may go onto another: a point inside a flat anywhere, one on a hard line along that line.
func (c *collapser) may(from, to uint32) bool {
	u, ok := c.use(from, to)
	if !ok || !(len(u.hardAt) == 0 || len(u.hardAt) == 2 && u.isHard) {
		return false
	}
	wedges, ok := c.wedgesAfter(from, to, u.of)
	if !ok || !c.linked(from, to, len(u.of)) {
		return false
	}
	inside := false
	for _, t := range c.around[from] {
		if slices.Contains(u.of, t) {
			continue
		}
		now, fits := c.moved(int(t), from, to, wedges)
		if !fits {
			return false
		}
		inside = inside || now
	}
	if len(u.hardAt) == 2 {
		along := u.hardAt[0]
		if along == to {
			along = u.hardAt[1]
		}
		return c.straight(from, to, along, wedges)
	}
	return inside
}

// wedgesAfter tells which of the other end's wedges takes the place of each of the point's own.
func (c *collapser) wedgesAfter(from, to uint32, of []int32) (pairs [][2]uint32, ok bool) {
	for _, t := range of {
		var a, b uint32
		for k := range 3 {
			switch i := 3*int(t) + k; c.corner[i] {
			case from:
				a = c.wedge[i]
			case to:
				b = c.wedge[i]
			}
		}
		pairs = append(pairs, [2]uint32{a, b})
	}
	for _, t := range c.around[from] {
		if _, known := after(pairs, c.wedgeAt(int(t), from)); !known {
			return nil, false
		}
	}
	return pairs, true
}

func (c *collapser) wedgeAt(t int, place uint32) uint32 {
	for k := range 3 {
		if c.corner[3*t+k] == place {
			return c.wedge[3*t+k]
		}
	}
	return 0
}

func after(pairs [][2]uint32, wedge uint32) (uint32, bool) {
	for _, p := range pairs {
		if p[0] == wedge {
			return p[1], true
		}
	}
	return 0, false
}

// linked holds the link condition (Dey, Edelsbrunner, Guha & Nekhayev 1999): the two ends have no neighbours in common
// but those across their triangles, so that nothing folds onto itself.
func (c *collapser) linked(from, to uint32, triangles int) bool {
	common := 0
	var seen [64]uint32
	list := seen[:0]
	for _, t := range c.around[from] {
		for k := range 3 {
			if p := c.corner[3*int(t)+k]; p != from && p != to && !slices.Contains(list, p) {
				list = append(list, p)
			}
		}
	}
	var counted [64]uint32
	done := counted[:0]
	for _, t := range c.around[to] {
		for k := range 3 {
			p := c.corner[3*int(t)+k]
			if p != from && p != to && !slices.Contains(done, p) && slices.Contains(list, p) {
				done = append(done, p)
				common++
			}
		}
	}
	return common == triangles
}

// shadeCosine is that of 3 degrees: how far the shading may turn where a point went.
const shadeCosine = 0.99862953475457387

// moved looks at a triangle as it would be: whether it keeps its side, and whether it is the one in which the point lay;
// then its UV and normal there must be the point's own.
func (c *collapser) moved(t int, from, to uint32, wedges [][2]uint32) (inside, fits bool) {
	var p [3][3]float64
	var w, at [3]uint32
	k0 := 0
	for k := range 3 {
		at[k] = c.corner[3*t+k]
		p[k], w[k] = c.at[at[k]], c.wedge[3*t+k]
		if at[k] == from {
			at[k], p[k], k0 = to, c.at[to], k
			w[k], _ = after(wedges, c.wedge[3*t+k])
		}
	}
	n := cross(sub(p[1], p[0]), sub(p[2], p[0]))
	l := math.Sqrt(lenSq(n))
	if !(l > 0) || dot(n, c.normal[t]) < 0.5*l {
		return false, false
	}
	q := c.at[from]
	var share [3]float64
	for k := range 3 {
		share[k] = dot(cross(sub(p[(k+1)%3], q), sub(p[(k+2)%3], q)), n) / (l * l)
		if share[k] < -1e-9 {
			return false, true
		}
	}
	return true, c.leansAlike(from, at[:], share[:]) && c.alike(c.attr[c.wedge[3*t+k0]], t, w[:], share[:])
}

// leanCosine is that of 5 degrees: how far the direction of projection may turn where a point went, a quarter of what is
// allowed of its skew near the camera.
const leanCosine = 0.99619469809174555

// leansAlike says whether a mix of places has the averaged normal of one.
func (c *collapser) leansAlike(p uint32, places []uint32, share []float64) bool {
	if c.lean[p] == [3]float64{} {
		return true
	}
	var n [3]float64
	for i, q := range places {
		for k := range 3 {
			n[k] += float64(share[i] * c.lean[q][k])
		}
	}
	return dot(n, c.lean[p]) >= leanCosine*math.Sqrt(lenSq(n))
}

// alike says whether a mix of wedges looks as a vertex does.
func (c *collapser) alike(v uint32, t int, w []uint32, share []float64) bool {
	var n [3]float64
	var uv [2]float64
	for i := range w {
		m, x := c.nrm(c.attr[w[i]]), c.uv(c.attr[w[i]])
		for k := range 3 {
			n[k] += float64(share[i] * m[k])
		}
		for k := range 2 {
			uv[k] += float64(share[i] * x[k])
		}
	}
	g := &c.ranges[c.draw[t]]
	if !g.NoNormals && !(dot(n, c.nrm(v)) >= shadeCosine*math.Sqrt(lenSq(n))) {
		return false
	}
	x := c.uv(v)
	return g.NoUV || math.Abs(uv[0]-x[0])+math.Abs(uv[1]-x[1]) <= c.texel[c.draw[t]]
}

// straight holds UVs and normals along a hard line, on each side: the point that goes must look as one on the way between
// its neighbours.
func (c *collapser) straight(from, to, along uint32, wedges [][2]uint32) bool {
	a, b := sub(c.at[to], c.at[along]), sub(c.at[from], c.at[along])
	f := dot(a, b) / lenSq(a)
	if !(f > 0 && f < 1) || !c.leansAlike(from, []uint32{to, along}, []float64{f, 1 - f}) {
		return false
	}
	for _, t := range c.around[from] {
		if !c.has(int(t), along) {
			continue
		}
		own := c.wedgeAt(int(t), from)
		w, _ := after(wedges, own)
		if !c.alike(c.attr[own], int(t), []uint32{w, c.wedgeAt(int(t), along)}, []float64{f, 1 - f}) {
			return false
		}
	}
	return true
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
