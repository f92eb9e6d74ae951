package spatial

// The tree above the leaves, by the surface area heuristic over bins.

const (
	maxBins = 16
	// deepest bounds the depth at which the heuristic still chooses; below, ranges are halved, so that the stack of a
	// query has a bound whatever the input.
	deepest = 28
	// stackSize holds the most entries a query can have waiting: seven siblings a level, deepest levels by the heuristic and
	// at most 31 halvings, three to a level, below.
	stackSize = 7*(deepest+12) + lanes
)

// group is a run of items with its box.
type group struct {
	begin, end int
	box        box
}

// upper builds nodes into its own list; children that are left for later are in tasks.
type upper struct {
	items []item
	nodes []wide
	later int // ranges at most this long are left for later; 0 for none
	tasks []task
	bins  bins
}

type task struct {
	g          group
	depth      int
	node, lane int
	built      []wide
	root       uint32
}

func (t *Tree) buildUpper(items []item, threads int) {
	all := group{end: len(items), box: emptyBox()}
	for i := range items {
		b := items[i].box()
		all.box.add(&b)
	}
	t.lo, t.hi = all.box.lo, all.box.hi
	t.grid = newGrid(t.lo, t.hi)
	top := upper{items: items, later: max(len(items)/64, 256)}
	t.root = top.build(all, 0)
	batch(len(top.tasks), 1, threads, func(begin, _ int) {
		k := &top.tasks[begin]
		u := upper{items: items, nodes: make([]wide, 0, (k.g.end-k.g.begin)/4+1)}
		k.root = u.build(k.g, k.depth)
		k.built = u.nodes
	})
	total := len(top.nodes)
	for i := range top.tasks {
		total += len(top.tasks[i].built)
	}
	t.nodes = make([]wide, total)
	copy(t.nodes, top.nodes)
	at := uint32(len(top.nodes))
	for i := range top.tasks {
		k := &top.tasks[i]
		t.nodes[k.node].child[k.lane] = moved(k.root, at)
		for j := range k.built {
			n := &t.nodes[int(at)+j]
			*n = k.built[j]
			for l := range n.child {
				n.child[l] = moved(n.child[l], at)
			}
		}
		at += uint32(len(k.built))
		k.built = nil
	}
}

func moved(child, by uint32) uint32 {
	if child&leafBit != 0 {
		return child
	}
	return child + by
}

// build makes the node over g and all below it and returns its reference.
func (u *upper) build(g group, depth int) uint32 {
	if g.end-g.begin == 1 {
		return u.items[g.begin].leaf | leafBit
	}
	gs, n := u.children(g, depth)
	at := len(u.nodes)
	u.nodes = append(u.nodes, emptyNode)
	for i := range n {
		nd := &u.nodes[at]
		for k := range 3 {
			nd.box[k][0][i], nd.box[k][1][i] = gs[i].box.lo[k], gs[i].box.hi[k]
		}
		if size := gs[i].end - gs[i].begin; size > 1 && size <= u.later {
			u.tasks = append(u.tasks, task{g: gs[i], depth: depth + 1, node: at, lane: i})
			continue
		}
		ref := u.build(gs[i], depth+1)
		u.nodes[at].child[i] = ref
	}
	return uint32(at)
}

// children cuts g into up to eight groups. Those of more leaves than a node holds are split first, the largest surface
// before others. Smaller ones become nodes of their own, well filled, except where the lanes left over take all of a
// group's leaves, which saves that node.
func (u *upper) children(g group, depth int) (gs [lanes]group, n int) {
	gs[0], n = g, 1
	for n < lanes {
		at, size := -1, float32(-1)
		for i := range n {
			if a := gs[i].box.area(); gs[i].end-gs[i].begin > lanes && a > size {
				at, size = i, a
			}
		}
		if at < 0 {
			break
		}
		gs[at], gs[n] = u.split(gs[at], depth)
		n++
	}
	for {
		at, size := -1, float32(-1)
		for i := range n {
			c := gs[i].end - gs[i].begin
			if a := gs[i].box.area(); c > 1 && n+c-1 <= lanes && a > size {
				at, size = i, a
			}
		}
		if at < 0 {
			return gs, n
		}
		d := gs[at]
		for i := d.begin; i < d.end; i++ {
			to := at
			if i > d.begin {
				to = n
				n++
			}
			it := &u.items[i]
			gs[to] = group{i, i + 1, it.box()}
		}
	}
}

var emptyNode = func() (n wide) {
	for k := range 3 {
		for i := range lanes {
			n.box[k][0][i], n.box[k][1][i] = inf32, -inf32
		}
	}
	for i := range lanes {
		n.child[i] = noChild
	}
	return n
}()

// bins counts and bounds items by the middle of their boxes, along each axis. A bin's box is laid out as an item's.
type bins struct {
	span  [3][maxBins][8]float32
	count [3][maxBins]int32
}

// binning maps twice the middle of a box to a bin.
type binning struct {
	lo    [4]float32
	scale [4]float32
	last  [4]int32 // the last bin
}

func (m *binning) bin(it *item, axis int) int {
	return int(min(int32((it.lo[axis]-it.neg[axis]-m.lo[axis])*m.scale[axis]), m.last[axis]))
}

// split cuts g, of at least two items, in two.
func (u *upper) split(g group, depth int) (left, right group) {
	items := u.items[g.begin:g.end]
	if depth < deepest {
		if m, ok := binningOf(items); ok {
			b := &u.bins
			b.clear()
			fillBins(b, &m, items)
			if axis, at := b.best(&m); at > 0 {
				mid := partition(items, &m, axis, at)
				left = group{g.begin, g.begin + mid, b.union(axis, 0, at)}
				right = group{g.begin + mid, g.end, b.union(axis, at, int(m.last[0])+1)}
				return left, right
			}
		}
	}
	mid := len(items) / 2
	return bounded(u.items, g.begin, g.begin+mid), bounded(u.items, g.begin+mid, g.end)
}

func bounded(items []item, begin, end int) group {
	g := group{begin, end, emptyBox()}
	for i := begin; i < end; i++ {
		b := items[i].box()
		g.box.add(&b)
	}
	return g
}

func binningOf(items []item) (m binning, ok bool) {
	s := spanOfMiddles(items)
	n := min(maxBins, 4+len(items)/20)
	for k := range 3 {
		m.lo[k], m.last[k] = s[k], int32(n-1)
		if w := -s[4+k] - s[k]; w > 0x1p-100 {
			m.scale[k] = float32(n) * 0.999999 / w
			ok = true
		}
	}
	return m, ok
}

func (b *bins) clear() {
	for k := range 3 {
		for i := range maxBins {
			b.span[k][i] = emptySpan
			b.count[k][i] = 0
		}
	}
}

var emptySpan = [8]float32{inf32, inf32, inf32, inf32, inf32, inf32, inf32, inf32}

// best gives the axis and the first bin of the right side with the least sum of area times count; at is 0 where every
// item falls into one bin on every axis.
func (b *bins) best(m *binning) (axis, at int) {
	least := inf32
	n := int(m.last[0]) + 1
	for k := range 3 {
		if m.scale[k] == 0 {
			continue
		}
		var rightCost [maxBins]float32
		acc, c := emptySpan, int32(0)
		for i := n - 1; i > 0; i-- {
			rightCost[i] = inf32
			if b.count[k][i] > 0 {
				grow(&acc, &b.span[k][i])
				c += b.count[k][i]
			}
			if c > 0 {
				rightCost[i] = float32(halfArea(&acc) * float32(c))
			}
		}
		acc, c = emptySpan, 0
		for i := 1; i < n; i++ {
			if b.count[k][i-1] > 0 {
				grow(&acc, &b.span[k][i-1])
				c += b.count[k][i-1]
			}
			if c == 0 {
				continue
			}
			if cost := float32(halfArea(&acc)*float32(c)) + rightCost[i]; cost < least {
				least, axis, at = cost, k, i
			}
		}
	}
	return axis, at
}

func grow(a, b *[8]float32) {
	a[0], a[1], a[2] = less(b[0], a[0]), less(b[1], a[1]), less(b[2], a[2])
	a[4], a[5], a[6] = less(b[4], a[4]), less(b[5], a[5]), less(b[6], a[6])
}

func halfArea(s *[8]float32) float32 {
	x, y, z := -s[4]-s[0], -s[5]-s[1], -s[6]-s[2]
	return float32(x*y) + float32(y*z) + float32(z*x)
}

func (b *bins) union(axis, begin, end int) box {
	s := emptySpan
	for i := begin; i < end; i++ {
		grow(&s, &b.span[axis][i])
	}
	return box{[3]float32(s[0:3]), [3]float32{-s[4], -s[5], -s[6]}}
}

func partition(items []item, m *binning, axis, at int) int {
	i, j := 0, len(items)-1
	for {
		for i <= j && m.bin(&items[i], axis) < at {
			i++
		}
		for i <= j && m.bin(&items[j], axis) >= at {
			j--
		}
		if i > j {
			return i
		}
		items[i], items[j] = items[j], items[i]
		i++
		j--
	}
}
