package surface

// columns answers whether a point lies inside a closed shell of the game surface: it counts, with sign, the faces that
// a ray along +X from the point leaves through. Every face on the ray counts, however close two are, so shells that
// touch are told right. A point on an edge's shadow belongs to one side by a half-open rule, the same for both faces of the edge.
type columns struct {
	s      *skin
	boxes  []box      // by shell
	near   [][]uint32 // by shell: the closed shells whose boxes overlap its own
	cells  [][]int32  // triangles by cell of the y, z plane
	lo     [2]float64
	step   [2]float64
	across int
}

// inOther says whether point lies inside a closed shell other than own.
func (s *skin) inOther(point vec, own uint32) bool {
	if len(s.shut) < 2 {
		return false
	}
	s.columnsOnce.Do(func() { s.columns = newColumns(s) })
	return s.columns.inside(point, own)
}

func newColumns(s *skin) *columns {
	c := &columns{s: s, boxes: make([]box, len(s.shut)), near: make([][]uint32, len(s.shut)), across: 128}
	for i := range c.boxes {
		c.boxes[i] = emptyBox()
	}
	all := emptyBox()
	for t := range s.face {
		for k := range 3 {
			p := at(s.pos, s.tri[3*t+k])
			c.boxes[s.shell[t]].add(p)
			all.add(p)
		}
	}
	for i := range c.boxes {
		for j := range c.boxes {
			if i != j && s.shut[j] && c.boxes[i].overlaps(c.boxes[j]) {
				c.near[i] = append(c.near[i], uint32(j))
			}
		}
	}
	for k := range 2 {
		c.lo[k] = all.lo[k+1]
		c.step[k] = (all.hi[k+1] - all.lo[k+1]) / float64(c.across)
	}
	c.cells = make([][]int32, c.across*c.across)
	for t := range s.face {
		if !s.shut[s.shell[t]] {
			continue
		}
		b := emptyBox()
		for k := range 3 {
			b.add(at(s.pos, s.tri[3*t+k]))
		}
		for y := c.cell(0, b.lo[1]); y <= c.cell(0, b.hi[1]); y++ {
			for z := c.cell(1, b.lo[2]); z <= c.cell(1, b.hi[2]); z++ {
				c.cells[y*c.across+z] = append(c.cells[y*c.across+z], int32(t))
			}
		}
	}
	return c
}

func (c *columns) cell(k int, x float64) int {
	if !(c.step[k] > 0) {
		return 0
	}
	return min(max(int((x-c.lo[k])/c.step[k]), 0), c.across-1)
}

func (c *columns) inside(p vec, own uint32) bool {
	for _, shell := range c.near[own] {
		if c.boxes[shell].holds(p) && c.winding(p, shell) > 0 {
			return true
		}
	}
	return false
}

// winding counts the faces of one shell beyond p along +X: out through one counts up, in down.
func (c *columns) winding(p vec, shell uint32) int {
	count := 0
	for _, t := range c.cells[c.cell(0, p[1])*c.across+c.cell(1, p[2])] {
		if c.s.shell[t] != shell {
			continue
		}
		var v [3]vec
		for k := range 3 {
			v[k] = at(c.s.pos, c.s.tri[3*int(t)+k])
		}
		turn := 0
		for k := range 3 {
			turn += crossing(p, v[k], v[(k+1)%3])
		}
		n := c.s.face[t]
		// Beyond along +X: the plane's x at p is above p's.
		if turn != 0 && n[0] != 0 && dot(sub(v[0], p), n)/n[0] > 0 {
			count += turn
		}
	}
	return count
}

// crossing says which way the edge a-b passes the half line from p along +Y in the (y, z) plane: +1, -1 or not at all.
// Edges are taken from their lower end, so that both faces of an edge are told the same.
func crossing(p, a, b vec) int {
	sign := 1
	if a[2] > b[2] {
		a, b, sign = b, a, -1
	}
	if !(a[2] <= p[2] && p[2] < b[2]) {
		return 0
	}
	if turn := float64((b[1]-a[1])*(p[2]-a[2])) - float64((p[1]-a[1])*(b[2]-a[2])); turn > 0 {
		return sign
	}
	return 0
}
