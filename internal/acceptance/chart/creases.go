package chart

import (
	"math"
	"math/bits"
)

// Crease is one edge of a surface that two triangles share inside one chart.
type Crease struct {
	Triangles [2]int32
	Length    float64 // of the edge, in the unit of the positions
	Cos       float64 // of the angle that makes it one: between split normals, or between the faces
}

// Creases are edges whose shading and layout do not agree. Both lists are in the order of the mesh.
type Creases struct {
	Hard  []Crease // hard in shading, and inside a chart: the layout has no seam there
	Steep []Crease // steep between its faces but soft in shading, and inside a chart
}

// FindCreases looks at every edge that two triangles share by position, one on each side. Such an edge is inside a chart
// where both its ends have the same UV to the bit and both triangles are of one chart; it is hard where the normals that
// the triangles have at either end of it are more than an angle of cosine hardCos apart, and steep where the faces are more than one of
// steepCos apart. Edges of three or more triangles, triangles without area and vertices without a normal are left out.
// nrm holds unit normals, 3 floats a vertex. Time is linear; memory is 40 bytes a triangle.
func FindCreases(pos, nrm, uv []float32, tri []uint32, chartOf []int32, hardCos, steepCos float64) Creases {
	var out Creases
	same, vertices := weldPos(pos)
	start, ends := bucketEdges(tri, same, vertices)
	c := creaser{pos, nrm, uv, tri, chartOf, hardCos, steepCos, &out}
	eachEdge(start, ends, c.edge)
	return out
}

type creaser struct {
	pos, nrm, uv      []float32
	tri               []uint32
	chart             []int32
	hardCos, steepCos float64
	out               *Creases
}

func (c *creaser) edge(uses []edgeEnd) {
	if len(uses) != 2 || uses[0].use&1 == uses[1].use&1 {
		return
	}
	s, t := uses[0].triangle(), uses[1].triangle()
	if c.chart[s] < 0 || c.chart[s] != c.chart[t] {
		return
	}
	corner := func(u edgeEnd, step int) uint32 { return c.tri[3*int(u.triangle())+(u.corner()+step)%3] }
	a, b := corner(uses[0], 0), corner(uses[0], 1)
	a2, b2 := corner(uses[1], 1), corner(uses[1], 0)
	if !c.sameUV(a, a2) || !c.sameUV(b, b2) {
		return
	}
	atA, okA := c.cosNormals(a, a2)
	atB, okB := c.cosNormals(b, b2)
	if !okA || !okB {
		return
	}
	if cos := math.Min(atA, atB); cos < c.hardCos {
		c.out.Hard = append(c.out.Hard, Crease{[2]int32{s, t}, c.length(a, b), cos})
		return
	}
	if cos, ok := c.cosFaces(s, t); ok && cos < c.steepCos {
		c.out.Steep = append(c.out.Steep, Crease{[2]int32{s, t}, c.length(a, b), cos})
	}
}

func (c *creaser) sameUV(v, w uint32) bool {
	return v == w || c.uv[2*v] == c.uv[2*w] && c.uv[2*v+1] == c.uv[2*w+1]
}

func vec3(of []float32, v uint32) [3]float64 {
	p := of[3*v : 3*v+3 : 3*v+3]
	return [3]float64{float64(p[0]), float64(p[1]), float64(p[2])}
}

func dot3(a, b [3]float64) float64 {
	return float64(a[0]*b[0]) + float64(a[1]*b[1]) + float64(a[2]*b[2])
}

func (c *creaser) cosNormals(v, w uint32) (cos float64, ok bool) {
	if v == w {
		return 1, true
	}
	n, m := vec3(c.nrm, v), vec3(c.nrm, w)
	return cosBetween(n, m)
}

// cosBetween is the cosine of the angle between two vectors; ok is false where one has no length or is not finite.
func cosBetween(n, m [3]float64) (cos float64, ok bool) {
	nn, mm := dot3(n, n), dot3(m, m)
	if !(nn > 0) || !(mm > 0) {
		return 0, false
	}
	cos = dot3(n, m) / math.Sqrt(nn) / math.Sqrt(mm)
	return cos, finite(cos)
}

func (c *creaser) cosFaces(s, t int32) (cos float64, ok bool) {
	return cosBetween(c.normal(s), c.normal(t))
}

// normal is a triangle's normal, of the length of twice its area; zero where its area is rounding (see flat).
func (c *creaser) normal(t int32) [3]float64 {
	p, q, r := vec3(c.pos, c.tri[3*t]), vec3(c.pos, c.tri[3*t+1]), vec3(c.pos, c.tri[3*t+2])
	u, v, w := minus3(q, p), minus3(r, p), minus3(r, q)
	n := [3]float64{
		float64(u[1]*v[2]) - float64(u[2]*v[1]),
		float64(u[2]*v[0]) - float64(u[0]*v[2]),
		float64(u[0]*v[1]) - float64(u[1]*v[0]),
	}
	far := 0.0
	for k := range 3 {
		far = math.Max(far, math.Max(math.Abs(p[k]), math.Max(math.Abs(q[k]), math.Abs(r[k]))))
	}
	longestSq := math.Max(dot3(u, u), math.Max(dot3(v, v), dot3(w, w)))
	height := far * flat
	if !(dot3(n, n) > float64(height*height)*longestSq) {
		return [3]float64{}
	}
	return n
}

func minus3(a, b [3]float64) [3]float64 { return [3]float64{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func (c *creaser) length(v, w uint32) float64 {
	d := minus3(vec3(c.pos, w), vec3(c.pos, v))
	return math.Sqrt(dot3(d, d))
}

// weldPos gives every vertex the number of the first vertex at the same position, renumbered densely.
func weldPos(pos []float32) (same []uint32, n int) {
	vertices := len(pos) / 3
	same = make([]uint32, vertices)
	table := make([]uint32, 1<<bits.Len(uint(vertices*2)))
	mask := uint64(len(table) - 1)
	key := func(v int) vertexKey {
		return vertexKey{keyBits(pos[3*v]), keyBits(pos[3*v+1]), keyBits(pos[3*v+2])}
	}
	for v := range vertices {
		k := key(v)
		for h := k.hash(); ; h++ {
			first := table[h&mask]
			if first == 0 {
				table[h&mask] = uint32(v) + 1
				same[v] = uint32(n)
				n++
				break
			}
			if key(int(first-1)) == k {
				same[v] = same[first-1]
				break
			}
		}
	}
	return same, n
}
