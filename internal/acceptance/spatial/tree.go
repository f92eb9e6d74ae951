package spatial

import (
	"math"
	"runtime"
	"sort"
	"sync"
	"sync/atomic"
)

// Tree is a bounding-volume hierarchy over a triangle surface. It is immutable and safe for concurrent use.
type Tree struct {
	pos   []float32
	tri   []uint32
	nodes []binaryNode
	order []int32
}

type binaryNode struct {
	lo, hi      [3]float32
	first, size int32 // of order where size > 0, else first is the right child and the left one follows
}

const leafSize = 4

// Build makes a tree over tri's triangles. Both slices are kept and must not change. threads below 1 means all cores.
// Triangles with a coordinate that is not finite are left out of every answer.
func Build(pos []float32, tri []uint32, threads int) *Tree {
	t := &Tree{pos: pos, tri: tri}
	n := len(tri) / 3
	mid := make([][3]float32, n)
	for i := range n {
		a, b, c := t.corners(int32(i))
		ok := true
		for k := range 3 {
			lo, hi := min(a[k], b[k], c[k]), max(a[k], b[k], c[k])
			ok = ok && finite(a[k]) && finite(b[k]) && finite(c[k])
			mid[i][k] = lo/2 + hi/2
		}
		if ok {
			t.order = append(t.order, int32(i))
		}
	}
	if len(t.order) > 0 {
		t.split(0, len(t.order), mid)
	}
	return t
}

func (t *Tree) corners(i int32) (a, b, c [3]float32) {
	v := t.tri[3*int(i) : 3*int(i)+3]
	at := func(v uint32) [3]float32 { return [3]float32(t.pos[3*int(v) : 3*int(v)+3]) }
	return at(v[0]), at(v[1]), at(v[2])
}

func (t *Tree) split(first, end int, mid [][3]float32) {
	at := len(t.nodes)
	inf := float32(math.Inf(1))
	nd := binaryNode{lo: [3]float32{inf, inf, inf}, hi: [3]float32{-inf, -inf, -inf}}
	for _, i := range t.order[first:end] {
		a, b, c := t.corners(i)
		for k := range 3 {
			nd.lo[k], nd.hi[k] = min(nd.lo[k], a[k], b[k], c[k]), max(nd.hi[k], a[k], b[k], c[k])
		}
	}
	if end-first <= leafSize {
		nd.first, nd.size = int32(first), int32(end-first)
		t.nodes = append(t.nodes, nd)
		return
	}
	t.nodes = append(t.nodes, nd)
	axis := 0
	for k := range 3 {
		if nd.hi[k]-nd.lo[k] > nd.hi[axis]-nd.lo[axis] {
			axis = k
		}
	}
	part := t.order[first:end]
	sort.Slice(part, func(i, j int) bool {
		x, y := mid[part[i]][axis], mid[part[j]][axis]
		return x < y || x == y && part[i] < part[j]
	})
	half := (first + end) / 2
	t.split(first, half, mid)
	t.nodes[at].first = int32(len(t.nodes))
	t.split(half, end, mid)
}

// batch calls f over chunks of count on as many threads as asked.
func batch(count, threads int, f func(begin, end int)) {
	const chunk = 1024
	if threads < 1 {
		threads = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range threads {
		wg.Go(func() {
			for {
				b := int(next.Add(chunk)) - chunk
				if b >= count {
					return
				}
				f(b, min(b+chunk, count))
			}
		})
	}
	wg.Wait()
}
