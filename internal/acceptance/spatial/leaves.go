package spatial

import (
	"math"
	"math/bits"
	"slices"
	"sort"
)

// cellSize is the largest number of triangles in a cell of the curve that is cut into leaves at medians. Cells nearer to
// the leaves' size leave more lanes empty; larger ones cost time. Measured on four million triangles.
const cellSize = 64

// cell is a run of the sorted order whose places share a prefix.
type cell struct{ begin, end, firstLeaf int }

// item is a leaf as the upper tree sees it: the lower bounds and the upper ones negated, so that both grow by minima.
type item struct {
	lo   [3]float32
	leaf uint32
	neg  [3]float32
	_    uint32
}

func (it *item) box() box {
	return box{it.lo, [3]float32{-it.neg[0], -it.neg[1], -it.neg[2]}}
}

func leavesFor(n int) int { return (n + lanes - 1) / lanes }

// cutLeaves fills the tree's leaves from the sorted order.
func (t *Tree) cutLeaves(order []entry, threads int) []item {
	cells := cutCells(order)
	last := cells[len(cells)-1]
	n := last.firstLeaf + leavesFor(last.end-last.begin)
	t.leaves = make([]leaf, n)
	items := make([]item, n)
	batch(len(cells), 256, threads, func(begin, end int) {
		c := cutter{t: t, items: items}
		for _, cl := range cells[begin:end] {
			c.load(order[cl.begin:cl.end])
			c.split(c.keys, cl.firstLeaf)
		}
	})
	return items
}

// cutCells splits the order at the highest bit in which places differ until a cell is small or all places are one.
func cutCells(order []entry) []cell {
	cells := make([]cell, 0, len(order)/(cellSize/2)+1)
	leaf := 0
	var cut func(begin, end int)
	cut = func(begin, end int) {
		differ := (order[begin] ^ order[end-1]) >> 32
		if end-begin <= cellSize || differ == 0 {
			cells = append(cells, cell{begin, end, leaf})
			leaf += leavesFor(end - begin)
			return
		}
		bit := entry(1) << (32 + bits.Len64(differ) - 1)
		mid := begin + sort.Search(end-begin, func(i int) bool { return order[begin+i]&bit != 0 })
		cut(begin, mid)
		cut(mid, end)
	}
	cut(0, len(order))
	return cells
}

// cutter is scratch for one cell.
type cutter struct {
	t     *Tree
	items []item
	ids   []int32
	at    [][9]float32
	mid   [][4]float32 // three times the centroid
	keys  []uint64     // a sortable coordinate above, an index into the others below
}

func (c *cutter) load(cell []entry) {
	n := len(cell)
	if n > cap(c.ids) {
		c.ids, c.at = make([]int32, n), make([][9]float32, n)
		c.mid, c.keys = make([][4]float32, n), make([]uint64, n)
	}
	c.ids, c.at, c.mid, c.keys = c.ids[:n], c.at[:n], c.mid[:n], c.keys[:n]
	s := c.t.scale
	for j, e := range cell {
		i := int(uint32(e))
		c.ids[j] = int32(i)
		c.keys[j] = uint64(j)
		a := &c.at[j]
		p, q, r := c.t.triangle(i)
		a[0], a[1], a[2] = float32(p[0]*s), float32(p[1]*s), float32(p[2]*s)
		a[3], a[4], a[5] = float32(q[0]*s), float32(q[1]*s), float32(q[2]*s)
		a[6], a[7], a[8] = float32(r[0]*s), float32(r[1]*s), float32(r[2]*s)
		c.mid[j] = [4]float32{a[0] + a[3] + a[6], a[1] + a[4] + a[7], a[2] + a[5] + a[8]}
	}
}

// split halves part at the median of its longest axis, so that all leaves but the last are full.
func (c *cutter) split(part []uint64, firstLeaf int) {
	if len(part) <= lanes {
		c.write(part, firstLeaf)
		return
	}
	axis := longest(spanOf(c.mid, part))
	for i, k := range part {
		j := uint32(k)
		part[i] = uint64(sortable(c.mid[j][axis]))<<32 | uint64(j)
	}
	left := (leavesFor(len(part)) + 1) / 2
	pick(part, left*lanes)
	c.split(part[:left*lanes], firstLeaf)
	c.split(part[left*lanes:], firstLeaf+left)
}

func (c *cutter) write(part []uint64, at int) {
	l := &c.t.leaves[at]
	for lane, k := range part {
		lane &= lanes - 1
		j := uint32(k)
		v := &c.at[j]
		l.v[0][lane], l.v[1][lane], l.v[2][lane] = v[0], v[1], v[2]
		l.v[3][lane], l.v[4][lane], l.v[5][lane] = v[3], v[4], v[5]
		l.v[6][lane], l.v[7][lane], l.v[8][lane] = v[6], v[7], v[8]
		l.id[lane] = c.ids[j]
	}
	for lane := len(part); lane < lanes; lane++ {
		for i := range 9 {
			l.v[i][lane] = l.v[i][lane-1]
		}
		l.id[lane] = l.id[lane-1]
	}
	boundLeaf(l, &c.items[at])
	c.items[at].leaf = uint32(at)
}

// longest is the axis along which a box (lower bounds, then upper ones negated, in fours) is widest.
func longest(s [8]float32) int {
	x, y, z := -s[4]-s[0], -s[5]-s[1], -s[6]-s[2]
	switch {
	case x >= y && x >= z:
		return 0
	case y >= z:
		return 1
	}
	return 2
}

// sortable maps floats to integers in the same order.
func sortable(x float32) uint32 {
	b := math.Float32bits(x)
	return b ^ (uint32(int32(b)>>31) | 1<<31)
}

// pick moves the k least keys to the front (Hoare's selection). Keys differ, so that which ones those are does not
// depend on the order given.
func pick(a []uint64, k int) {
	rounds := 4 * bits.Len(uint(len(a)))
	for len(a) > 1 && k > 0 && k < len(a) {
		if rounds--; rounds < 0 { // an input made to defeat the choice of pivots
			slices.Sort(a)
			return
		}
		x, y, z := a[0], a[len(a)/2], a[len(a)-1]
		pivot := max(min(x, y), min(max(x, y), z))
		i, j := 0, len(a)-1
		for i <= j {
			for a[i] < pivot {
				i++
			}
			for a[j] > pivot {
				j--
			}
			if i <= j {
				a[i], a[j] = a[j], a[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			a = a[:j+1]
		case k >= i:
			a, k = a[i:], k-i
		default:
			return
		}
	}
}
