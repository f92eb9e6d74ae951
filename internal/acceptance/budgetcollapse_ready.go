package acceptance

import (
	"math"
)

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
