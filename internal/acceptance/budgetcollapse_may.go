package acceptance

import (
	"math"
	"slices"
)

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
