package spatial

import (
	"slices"
	"sync"
)

// Overlap lists the pairs of triangles, one of t and one of other, whose bounding boxes come within the given distance
// in metres of each other, in ascending order: candidates for whatever is to be tested of pairs. For a tree against
// itself each unordered pair is listed once, the lower index first, and no triangle with itself.
func (t *Tree) Overlap(other *Tree, within float32, threads int) [][2]int32 {
	if t.count == 0 || other.count == 0 || !(within >= 0) {
		return nil
	}
	var mu sync.Mutex
	var all []uint64
	batch(len(t.leaves), 256, threads, func(begin, end int) {
		o := overlapper{t: t, other: other, within: float64(within)}
		for i := begin; i < end; i++ {
			o.leaf(&t.leaves[i])
		}
		mu.Lock()
		defer mu.Unlock()
		all = append(all, o.pairs...)
	})
	slices.Sort(all)
	pairs := make([][2]int32, len(all))
	for i, k := range all {
		pairs[i] = [2]int32{int32(k >> 32), int32(uint32(k))}
	}
	return pairs
}

type overlapper struct {
	t, other *Tree
	within   float64
	pairs    []uint64 // t's triangle above other's
	stack    []uint32
}

// box64 is a box in metres: trees may be scaled differently.
type box64 struct{ lo, hi vec }

func (a *box64) near(b *box64, d float64) bool {
	return a.lo.x <= b.hi.x+d && b.lo.x <= a.hi.x+d && a.lo.y <= b.hi.y+d && b.lo.y <= a.hi.y+d && a.lo.z <= b.hi.z+d && b.lo.z <= a.hi.z+d
}

func (l *leaf) box64(lane int, up float64) box64 {
	a, b, c := l.corners(lane)
	lo := vec{min(a.x, b.x, c.x), min(a.y, b.y, c.y), min(a.z, b.z, c.z)}
	hi := vec{max(a.x, b.x, c.x), max(a.y, b.y, c.y), max(a.z, b.z, c.z)}
	return box64{lo.times(up), hi.times(up)}
}

func (n *wide) box64(lane int, up float64) box64 {
	lo := vec{float64(n.box[0][0][lane]), float64(n.box[1][0][lane]), float64(n.box[2][0][lane])}
	hi := vec{float64(n.box[0][1][lane]), float64(n.box[1][1][lane]), float64(n.box[2][1][lane])}
	return box64{lo.times(up), hi.times(up)}
}

func (o *overlapper) leaf(l *leaf) {
	var mine [lanes]box64
	whole := l.box64(0, float64(o.t.unscale))
	for i := range lanes {
		b := l.box64(i, float64(o.t.unscale))
		mine[i] = b
		whole.lo = vec{min(whole.lo.x, b.lo.x), min(whole.lo.y, b.lo.y), min(whole.lo.z, b.lo.z)}
		whole.hi = vec{max(whole.hi.x, b.hi.x), max(whole.hi.y, b.hi.y), max(whole.hi.z, b.hi.z)}
	}
	up := float64(o.other.unscale)
	o.stack = append(o.stack[:0], o.other.root)
	for len(o.stack) > 0 {
		ref := o.stack[len(o.stack)-1]
		o.stack = o.stack[:len(o.stack)-1]
		if ref&leafBit != 0 {
			o.pair(l, &mine, &o.other.leaves[ref&^leafBit])
			continue
		}
		n := &o.other.nodes[ref]
		for lane, c := range n.child {
			if c == noChild {
				continue
			}
			if b := n.box64(lane, up); whole.near(&b, o.within) {
				o.stack = append(o.stack, c)
			}
		}
	}
}

func (o *overlapper) pair(l *leaf, mine *[lanes]box64, m *leaf) {
	for j := range lanes {
		if m.repeats(j) {
			break
		}
		b := m.box64(j, float64(o.other.unscale))
		for i := range lanes {
			if l.repeats(i) {
				break
			}
			if o.t == o.other && l.id[i] >= m.id[j] {
				continue
			}
			if mine[i].near(&b, o.within) {
				o.pairs = append(o.pairs, uint64(l.id[i])<<32|uint64(m.id[j]))
			}
		}
	}
}
