package spatial

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
)

// Tree is a bounding-volume hierarchy over a triangle surface. It is immutable and safe for concurrent use.
//
// Its inner nodes have up to eight children, its leaves up to eight triangles, both laid out lane by lane (structure of
// arrays), so that one node or one leaf is eight comparisons at once. A leaf holds its triangles' corners, so that a
// query touches neither pos nor tri.
type Tree struct {
	pos []float32
	tri []uint32

	nodes  []wide
	leaves []leaf
	root   uint32 // as wide.child
	count  int    // triangles in leaves

	lo, hi [3]float32 // scaled
	grid   grid       // over lo and hi
	// Coordinates inside are multiplied by a power of two that brings the largest below one: exact, and it keeps squares
	// and products far from overflow and underflow.
	scale, unscale float32
}

const lanes = 8

// wide is an inner node: for each axis the lower and the upper bounds of its children. A child is a node's index, or a
// leaf's with leafBit. Lanes without a child have their bounds the wrong way round and noChild.
type wide struct {
	box   [3][2][lanes]float32
	child [lanes]uint32
}

// leaf has corner c's coordinate k at v[3*c+k]. The last triangle is repeated in lanes left over.
type leaf struct {
	v  [9][lanes]float32
	id [lanes]int32
}

const (
	leafBit    = 1 << 31
	noChild    = 1<<32 - 1
	noTriangle = math.MaxInt32
)

// Bytes is the memory that the tree holds beside the arrays it was built from.
func (t *Tree) Bytes() int { return len(t.nodes)*(6*4+4)*lanes + len(t.leaves)*(9*4+4)*lanes }

// Triangles is the number of triangles that answers can come from: those with finite coordinates.
func (t *Tree) Triangles() int { return t.count }

// Build makes a tree over tri's triangles. Both slices are kept and must not change; indices must lie within pos.
// threads below 1 means all cores. Triangles with a coordinate that is not finite are left out of every answer.
//
// Triangles are ordered along a Morton curve, cut into cells of at most cellSize triangles and the cells at medians into
// leaves; above the leaves the tree is built from the top by the surface area heuristic over bins (Wald, "On fast
// Construction of SAH-based Bounding Volume Hierarchies", 2007), eight children a node. Sorting first means that the
// heuristic looks at an eighth of the boxes. The tree is the same for any number of threads.
func Build(pos []float32, tri []uint32, threads int) *Tree {
	threads = cores(threads)
	t := &Tree{pos: pos, tri: tri, scale: 1, unscale: 1, root: noChild}
	order := t.places(threads)
	if len(order) == 0 {
		return t
	}
	t.count = len(order)
	spare := make([]entry, len(order))
	order = sortEntries(order, spare, threads)
	items := t.cutLeaves(order, threads)
	t.buildUpper(items, threads)
	return t
}

func cores(threads int) int {
	if threads < 1 {
		return runtime.GOMAXPROCS(0)
	}
	return threads
}

// batch calls f over chunks of count on as many threads as asked.
func batch(count, chunk, threads int, f func(begin, end int)) {
	threads = min(cores(threads), (count+chunk-1)/chunk)
	if threads <= 1 {
		for b := 0; b < count; b += chunk {
			f(b, min(b+chunk, count))
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range threads {
		wg.Go(func() {
			for {
				b := int(next.Add(int64(chunk))) - chunk
				if b >= count {
					return
				}
				f(b, min(b+chunk, count))
			}
		})
	}
	wg.Wait()
}

// box is an axis-parallel box; the empty one has its bounds the wrong way round.
type box struct{ lo, hi [3]float32 }

var inf32 = float32(math.Inf(1))

func emptyBox() box {
	return box{[3]float32{inf32, inf32, inf32}, [3]float32{-inf32, -inf32, -inf32}}
}

func (b *box) add(c *box) {
	for k := range 3 {
		b.lo[k], b.hi[k] = less(c.lo[k], b.lo[k]), more(c.hi[k], b.hi[k])
	}
}

func (b *box) addPoint(x, y, z float32) {
	b.lo[0], b.hi[0] = less(x, b.lo[0]), more(x, b.hi[0])
	b.lo[1], b.hi[1] = less(y, b.lo[1]), more(y, b.hi[1])
	b.lo[2], b.hi[2] = less(z, b.lo[2]), more(z, b.hi[2])
}

// area is half the surface.
func (b *box) area() float32 {
	x, y, z := b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2]
	return float32(x*y) + float32(y*z) + float32(z*x)
}

// less and more are minimum and maximum without the care for NaN and signed zeros that the built-in ones take.
func less(a, b float32) float32 {
	if a < b {
		return a
	}
	return b
}

func more(a, b float32) float32 {
	if a > b {
		return a
	}
	return b
}

// places gives each usable triangle its place on the curve by its centroid, and sets the tree's scale.
func (t *Tree) places(threads int) (order []entry) {
	bounds, allFinite := t.vertexBounds(threads)
	order = make([]entry, len(t.tri)/3)
	for range 2 {
		g := newGrid(bounds.lo, bounds.hi)
		used := t.fillPlaces(order, g, allFinite, threads)
		// Vertices far off that no triangle uses would make the grid coarse: once more without them.
		if used.widest() > 1<<curveBits/4 {
			break
		}
		bounds = t.usedBounds(order)
	}
	if !allFinite {
		order = slices.DeleteFunc(order, func(e entry) bool { return e == badPlace })
	}
	var top float32
	for k := range 3 {
		top = more(top, more(abs32(bounds.lo[k]), abs32(bounds.hi[k])))
	}
	if len(order) > 0 && top > 0 {
		_, e := math.Frexp(float64(top))
		e = max(min(e, 126), -126)
		t.scale, t.unscale = float32(math.Ldexp(1, -e)), float32(math.Ldexp(1, e))
	}
	return order
}

const badPlace = entry(math.MaxUint64)

func (b *box) widest() float32 { return max(b.hi[0]-b.lo[0], b.hi[1]-b.lo[1], b.hi[2]-b.lo[2], 0) }

// vertexBounds is the box of all finite vertices.
func (t *Tree) vertexBounds(threads int) (box, bool) {
	n := len(t.pos) / 3
	var mu sync.Mutex
	all, fine := emptyBox(), true
	batch(n, 1<<16, threads, func(begin, end int) {
		b, ok := emptyBox(), true
		for i := begin; i < end; i++ {
			p := t.pos[3*i : 3*i+3 : 3*i+3]
			x, y, z := p[0], p[1], p[2]
			if finite(x) && finite(y) && finite(z) {
				b.addPoint(x, y, z)
			} else {
				ok = false
			}
		}
		mu.Lock()
		defer mu.Unlock()
		all.add(&b)
		fine = fine && ok
	})
	return all, fine
}

// cells is the part of a grid that is used.
type cells struct{ lo, hi [3]uint32 }

func (c *cells) widest() uint32 { return max(c.hi[0]-c.lo[0], c.hi[1]-c.lo[1], c.hi[2]-c.lo[2]) }

func (c *cells) add(d *cells) {
	for k := range 3 {
		c.lo[k], c.hi[k] = min(c.lo[k], d.lo[k]), max(c.hi[k], d.hi[k])
	}
}

// noCells is the empty part. Its width is the whole grid's, since no triangles need no finer one.
var noCells = cells{lo: [3]uint32{1 << curveBits, 1 << curveBits, 1 << curveBits}}

// fillPlaces returns the part of the grid that the triangles use.
func (t *Tree) fillPlaces(order []entry, g grid, allFinite bool, threads int) cells {
	var mu sync.Mutex
	all := noCells
	batch(len(order), 1<<14, threads, func(begin, end int) {
		used := noCells
		for i := begin; i < end; i++ {
			p, q, r := t.triangle(i)
			if !allFinite && !(finite(p[0]) && finite(p[1]) && finite(p[2]) && finite(q[0]) && finite(q[1]) && finite(q[2]) &&
				finite(r[0]) && finite(r[1]) && finite(r[2])) {
				order[i] = badPlace
				continue
			}
			x := g.cell(third(p[0], q[0], r[0]), 0)
			y := g.cell(third(p[1], q[1], r[1]), 1)
			z := g.cell(third(p[2], q[2], r[2]), 2)
			used.lo[0], used.hi[0] = min(used.lo[0], x), max(used.hi[0], x)
			used.lo[1], used.hi[1] = min(used.lo[1], y), max(used.hi[1], y)
			used.lo[2], used.hi[2] = min(used.lo[2], z), max(used.hi[2], z)
			order[i] = entry(spread(x)<<2|spread(y)<<1|spread(z))<<32 | entry(i)
		}
		mu.Lock()
		defer mu.Unlock()
		all.add(&used)
	})
	return all
}

// third is the mean of three, without overflow.
func third(a, b, c float32) float32 {
	return float32(a*(1./3)) + float32(b*(1./3)) + float32(c*(1./3))
}

func (t *Tree) triangle(i int) (p, q, r *[3]float32) {
	v := t.tri[3*i : 3*i+3 : 3*i+3]
	return (*[3]float32)(t.pos[3*int(v[0]):]), (*[3]float32)(t.pos[3*int(v[1]):]), (*[3]float32)(t.pos[3*int(v[2]):])
}

// usedBounds is the box of the placed triangles.
func (t *Tree) usedBounds(order []entry) box {
	b := emptyBox()
	for _, e := range order {
		if e != badPlace {
			p, q, r := t.triangle(int(uint32(e)))
			b.addPoint(p[0], p[1], p[2])
			b.addPoint(q[0], q[1], q[2])
			b.addPoint(r[0], r[1], r[2])
		}
	}
	return b
}
