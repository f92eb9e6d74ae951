package acceptance

import (
	"math/bits"
	"slices"
)

// islands are the UV islands of a surface: triangles that hang together over edges whose two ends agree in position
// and in UV. Triangles that share a vertex only, or an edge on one side of a UV seam only, are apart.
type islands struct {
	Of []int32 // island of each triangle, numbered in the order of their first triangle
	N  int
}

// findIslands labels the triangles of a surface by UV island. pos holds 3 floats a vertex, uv 2 a vertex, tri 3
// vertices a triangle; indices must be in range. Vertices are the same where position and UV agree to the bit, with
// -0 taken as 0: splits for normals, materials or draws do not part an island. An edge used by more than two
// triangles joins all of them. A triangle without an edge of its own (all vertices the same) is its own island.
//
// Edges are bucketed by their lower end (a counting sort), and equal ones found inside a bucket, which on a mesh
// holds three on average; components are kept by union-find with the lowest triangle as root. Time is linear but for
// the sort of large buckets (a fan's centre); memory is 32 bytes a triangle and 16 to 24 a vertex on top of the surface.
func findIslands(pos, uv []float32, tri []uint32) islands {
	n := len(tri) / 3
	if n == 0 {
		return islands{}
	}
	same, vertices := weldPosUV(pos, uv)
	parent := joinOverEdges(same, vertices, tri)

	// The root of a component is its lowest triangle, so one pass in order numbers islands by first appearance.
	out := islands{Of: make([]int32, n)}
	for t := range parent {
		root := find(parent, int32(t))
		if int(root) == t {
			out.Of[t] = int32(out.N)
			out.N++
		} else {
			out.Of[t] = out.Of[root]
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
	for v := 0; v < vertices; v++ {
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

// edgeEnd is one use of an edge in the bucket of its lower end.
type edgeEnd struct{ hi, tri uint32 }

// sortedBucket is the bucket size from which sorting beats comparing each with each: at 16 the quadratic scan costs
// about as much as the sort's set-up. Only speed depends on it.
const sortedBucket = 16

// joinOverEdges returns a union-find forest over triangles, joined where they share an edge of welded vertices.
func joinOverEdges(same []uint32, vertices int, tri []uint32) []int32 {
	start := make([]uint32, vertices+1)
	for i := 0; i+2 < len(tri); i += 3 {
		a, b, c := same[tri[i]], same[tri[i+1]], same[tri[i+2]]
		countEdge(start, a, b)
		countEdge(start, b, c)
		countEdge(start, c, a)
	}
	var sum uint32
	for v := range start { // start[v] becomes the end of bucket v; filling from the back makes it the start
		sum += start[v]
		start[v] = sum
	}
	ends := make([]edgeEnd, sum)
	for i := len(tri) - 3; i >= 0; i -= 3 {
		a, b, c := same[tri[i]], same[tri[i+1]], same[tri[i+2]]
		t := uint32(i / 3)
		putEdge(start, ends, c, a, t)
		putEdge(start, ends, b, c, t)
		putEdge(start, ends, a, b, t)
	}
	parent := make([]int32, len(tri)/3)
	for t := range parent {
		parent[t] = int32(t)
	}
	for v := 0; v < vertices; v++ {
		joinBucket(parent, ends[start[v]:start[v+1]])
	}
	return parent
}

func countEdge(start []uint32, a, b uint32) {
	if a != b {
		start[min(a, b)]++
	}
}

func putEdge(start []uint32, ends []edgeEnd, a, b, t uint32) {
	if a == b {
		return
	}
	lo := min(a, b)
	start[lo]--
	ends[start[lo]] = edgeEnd{max(a, b), t}
}

func joinBucket(parent []int32, bucket []edgeEnd) {
	if len(bucket) > sortedBucket {
		slices.SortFunc(bucket, func(x, y edgeEnd) int { return int(int64(x.hi) - int64(y.hi)) })
		for j := 1; j < len(bucket); j++ {
			if bucket[j].hi == bucket[j-1].hi {
				join(parent, int32(bucket[j].tri), int32(bucket[j-1].tri))
			}
		}
		return
	}
	for j := 1; j < len(bucket); j++ {
		for k := j - 1; k >= 0; k-- {
			if bucket[j].hi == bucket[k].hi {
				join(parent, int32(bucket[j].tri), int32(bucket[k].tri))
				break
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
