package chart

import (
	"math"
	"math/bits"
	"slices"
)

// Layout is a surface's UVs sorted into islands and charts.
type Layout struct {
	Island  []int32 // island of each triangle, numbered in the order of their first triangle
	Islands int
	Chart   []int32 // chart of each triangle, numbered likewise; -1 where it has no area in UV or a UV that is not finite
	Charts  int

	// Outline holds two vertices for each edge that its chart does not share with itself, sorted by chart; chart c's are
	// Outline[OutlineOf[c]:OutlineOf[c+1]]. The edge runs as its triangle does: the chart's inside is on its left where
	// the chart winds positively.
	Outline   [][2]uint32
	OutlineOf []int32
	Backwards []bool // by chart: its triangles' Cross is negative
}

// Find sorts the triangles of a surface into islands and charts. pos holds 3 floats a vertex, uv 2 a vertex, tri 3
// vertices a triangle; indices must be in range. Vertices are the same where position and UV agree to the bit, with -0
// taken as 0: splits for normals, materials or draws do not part an island. An edge used by more than two triangles
// joins all of them into one island; charts are joined by pairs, one triangle on each side of the edge, in the order of the triangles.
// A triangle without an edge of its own (all vertices the same) is its own island.
//
// Edges are bucketed by their lower end (a counting sort), and equal ones found inside a bucket, which on a mesh holds
// three on average; components are kept by union-find with the lowest triangle as root. Time is linear but for the sort
// of large buckets (a fan's centre); memory is 50 bytes a triangle and 16 to 24 a vertex on top of the surface.
func Find(pos, uv []float32, tri []uint32) Layout {
	n := len(tri) / 3
	if n == 0 {
		return Layout{Island: []int32{}, Chart: []int32{}, OutlineOf: []int32{0}}
	}
	same, vertices := weldPosUV(pos, uv)
	f := finder{tri: tri, island: roots(n), chart: roots(n), side: sidesOf(uv, tri), shared: make([]uint8, n)}
	start, ends := bucketEdges(tri, same, vertices)
	eachEdge(start, ends, f.joinEdge)
	out := Layout{}
	out.Island, out.Islands = number(f.island, nil)
	out.Chart, out.Charts = number(f.chart, f.side)
	f.outlines(&out)
	return out
}

type finder struct {
	tri           []uint32
	island, chart []int32 // union-find forests over triangles
	side          []int8  // sign of each triangle's area in UV
	shared        []uint8 // by triangle, a bit for each of its edges that its chart shares
}

// edgeEnd is one use of an edge in the bucket of its lower end. use is 8 times the triangle, plus 2 times the number
// of the edge in it, plus 1 where the triangle runs it from its lower end up: a surface has fewer than 2²⁹ triangles.
type edgeEnd struct {
	hi, use uint32
}

func (e edgeEnd) triangle() int32 { return int32(e.use >> 3) }

// corner is the edge's number in its triangle.
func (e edgeEnd) corner() int { return int(e.use >> 1 & 3) }

// left says on which side of the edge, seen from its lower end up, the triangle lies in the layout: 1 left, -1 right,
// 0 where it has no area.
func (e edgeEnd) left(side []int8) int8 {
	s := side[e.triangle()]
	if e.use&1 == 0 {
		s = -s
	}
	return s
}

func roots(n int) []int32 {
	out := make([]int32, n)
	for t := range out {
		out[t] = int32(t)
	}
	return out
}

// number gives components numbers by their first triangle; triangles of side 0 are in none where sides are given. The
// root of a component is its lowest triangle, so one pass in order is enough.
func number(parent []int32, side []int8) (of []int32, n int) {
	of = make([]int32, len(parent))
	for t := range parent {
		if side != nil && side[t] == 0 {
			of[t] = -1
			continue
		}
		if root := find(parent, int32(t)); int(root) == t {
			of[t] = int32(n)
			n++
		} else {
			of[t] = of[root]
		}
	}
	return of, n
}

// Corners returns a triangle's UVs.
func Corners(uv []float32, tri []uint32, t int) (a, b, c Vec) {
	at := func(v uint32) Vec { return Vec{float64(uv[2*v]), float64(uv[2*v+1])} }
	return at(tri[3*t]), at(tri[3*t+1]), at(tri[3*t+2])
}

func sidesOf(uv []float32, tri []uint32) []int8 {
	out := make([]int8, len(tri)/3)
	for t := range out {
		switch area2 := Cross(Corners(uv, tri, t)); {
		case !finite(area2):
		case area2 > 0:
			out[t] = 1
		case area2 < 0:
			out[t] = -1
		}
	}
	return out
}

// weldPosUV gives every vertex the number of the first vertex with the same position and UV, renumbered densely.
func weldPosUV(pos, uv []float32) (same []uint32, n int) {
	vertices := len(uv) / 2
	same = make([]uint32, vertices)
	size := 1 << bits.Len(uint(vertices*2))
	table := make([]uint32, size) // first vertex with the key, plus 1; 0 is free
	mask := uint64(size - 1)
	for v := range vertices {
		k := posUVKey(pos, uv, v)
		h := k.hash()
		for {
			first := table[h&mask]
			if first == 0 {
				table[h&mask] = uint32(v) + 1
				same[v] = uint32(n)
				n++
				break
			}
			if posUVKey(pos, uv, int(first-1)) == k {
				same[v] = same[first-1]
				break
			}
			h++
		}
	}
	return same, n
}

// vertexKey is a position and a UV as bits, with -0 as 0.
type vertexKey [5]uint32

func posUVKey(pos, uv []float32, v int) vertexKey {
	p, q := pos[3*v:3*v+3:3*v+3], uv[2*v:2*v+2:2*v+2]
	return vertexKey{keyBits(p[0]), keyBits(p[1]), keyBits(p[2]), keyBits(q[0]), keyBits(q[1])}
}

// keyBits are the bits of a float for comparing values exactly, with -0 taken as 0: both are the same place.
func keyBits(f float32) uint32 {
	if f == 0 {
		return 0
	}
	return math.Float32bits(f)
}

// hash mixes the words by multiplying two 64-bit halves and folding the 128-bit product, which spreads the low
// mantissa bits in which neighbouring vertices differ over the whole word.
func (k vertexKey) hash() uint64 {
	const m1, m2 = 0x9E3779B97F4A7C15, 0xD6E8FEB86659FD93 // odd constants of high entropy; any such pair does
	h := fold(uint64(k[0])|uint64(k[1])<<32^m1, uint64(k[2])|uint64(k[3])<<32^m2)
	return fold(h^uint64(k[4]), m1)
}

func fold(a, b uint64) uint64 {
	hi, lo := bits.Mul64(a, b)
	return hi ^ lo
}

// bucketEdges sorts every use of an edge of two different vertices by its lower one; same numbers the vertices. Uses
// stand in the order of their triangles.
func bucketEdges(tri, same []uint32, vertices int) (start []uint32, ends []edgeEnd) {
	start = make([]uint32, vertices+1)
	count := func(a, b uint32) {
		if a != b {
			start[min(a, b)]++
		}
	}
	for i := 0; i+2 < len(tri); i += 3 {
		a, b, c := same[tri[i]], same[tri[i+1]], same[tri[i+2]]
		count(a, b)
		count(b, c)
		count(c, a)
	}
	var sum uint32
	for v := range start { // start[v] becomes the end of bucket v; filling from the back makes it the start
		sum += start[v]
		start[v] = sum
	}
	ends = make([]edgeEnd, sum)
	put := func(a, b uint32, use uint32) {
		if a == b {
			return
		}
		if a < b {
			use |= 1
		}
		lo := min(a, b)
		start[lo]--
		ends[start[lo]] = edgeEnd{max(a, b), use}
	}
	for i := len(tri) - 3; i >= 0; i -= 3 {
		a, b, c := same[tri[i]], same[tri[i+1]], same[tri[i+2]]
		t := uint32(i/3) << 3
		put(c, a, t|2<<1)
		put(b, c, t|1<<1)
		put(a, b, t)
	}
	return start, ends
}

// sortedBucket is the bucket size from which sorting beats comparing each with each: at 16 the quadratic scan costs
// about as much as the sort's set-up. Only speed depends on it.
const sortedBucket = 16

// eachEdge hands on the uses of each edge of every bucket together, in the order of their triangles. The ends are used up.
func eachEdge(start []uint32, ends []edgeEnd, visit func(uses []edgeEnd)) {
	scratch := make([]edgeEnd, sortedBucket)
	for v := range len(start) - 1 {
		eachInBucket(ends[start[v]:start[v+1]], scratch, visit)
	}
}

func eachInBucket(bucket, uses []edgeEnd, visit func(uses []edgeEnd)) {
	if len(bucket) > sortedBucket {
		slices.SortFunc(bucket, func(x, y edgeEnd) int {
			if x.hi != y.hi {
				return int(int64(x.hi) - int64(y.hi))
			}
			return int(int64(x.use) - int64(y.use))
		})
		for from := 0; from < len(bucket); {
			to := from + 1
			for to < len(bucket) && bucket[to].hi == bucket[from].hi {
				to++
			}
			visit(bucket[from:to])
			from = to
		}
		return
	}
	for j := range bucket {
		if bucket[j].hi == taken {
			continue
		}
		uses[0] = bucket[j]
		n := 1
		for k := j + 1; k < len(bucket); k++ {
			if bucket[k].hi == bucket[j].hi {
				uses[n] = bucket[k]
				n++
				bucket[k].hi = taken
			}
		}
		visit(uses[:n])
	}
}

// taken marks a use that was handled; no vertex has this number, since a surface holds fewer.
const taken = math.MaxUint32

// joinEdge joins the triangles that use one edge: all into one island, pairs from either side into one chart. The k-th
// on one side goes with the k-th on the other, so that doubled sheets stay two charts.
func (f *finder) joinEdge(uses []edgeEnd) {
	for j := 1; j < len(uses); j++ {
		join(f.island, uses[j].triangle(), uses[j-1].triangle())
	}
	f.pairUp(uses, 1)
	f.pairUp(uses, -1)
}

// pairUp joins charts over one edge among the triangles that wind one way: neighbours that wind against each other stay
// apart, since one of them is turned over in the mesh itself or lies folded onto the other.
func (f *finder) pairUp(uses []edgeEnd, winding int8) {
	next := 0 // no partner on the left before here is free
	for _, right := range uses {
		if f.side[right.triangle()] != winding || right.left(f.side) != -1 {
			continue
		}
		for next < len(uses) && (f.side[uses[next].triangle()] != winding || uses[next].left(f.side) != 1) {
			next++
		}
		if next == len(uses) {
			return
		}
		left := uses[next]
		next++
		join(f.chart, left.triangle(), right.triangle())
		f.shared[left.triangle()] |= 1 << left.corner()
		f.shared[right.triangle()] |= 1 << right.corner()
	}
}

// outlines lists the edges that no pair joined, by chart.
func (f *finder) outlines(out *Layout) {
	out.OutlineOf = make([]int32, out.Charts+1)
	out.Backwards = make([]bool, out.Charts)
	for t, c := range out.Chart {
		if c >= 0 {
			out.OutlineOf[c] += int32(3 - bits.OnesCount8(f.shared[t]))
			out.Backwards[c] = f.side[t] < 0
		}
	}
	var sum int32
	for c := range out.OutlineOf {
		sum += out.OutlineOf[c]
		out.OutlineOf[c] = sum
	}
	out.Outline = make([][2]uint32, sum)
	for t := len(out.Chart) - 1; t >= 0; t-- {
		c := out.Chart[t]
		if c < 0 {
			continue
		}
		for k := 2; k >= 0; k-- {
			if f.shared[t]&(1<<k) == 0 {
				out.OutlineOf[c]--
				out.Outline[out.OutlineOf[c]] = [2]uint32{f.tri[3*t+k], f.tri[3*t+(k+1)%3]}
			}
		}
	}
}

// find returns the root of t and halves the path to it.
func find(parent []int32, t int32) int32 {
	for parent[t] != t {
		parent[t] = parent[parent[t]]
		t = parent[t]
	}
	return t
}

// join puts two triangles into one component; the lower root stays root.
func join(parent []int32, a, b int32) {
	a, b = find(parent, a), find(parent, b)
	if a < b {
		parent[b] = a
	} else if b < a {
		parent[a] = b
	}
}
