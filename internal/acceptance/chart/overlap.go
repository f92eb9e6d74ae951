package chart

import (
	"context"
	"math"
	"slices"
)

// Triangle is one triangle of a layout, in tiles, for Overlap. Its winding does not matter.
type Triangle struct {
	At        [3]Vec
	ID, Chart int32 // the caller's numbers, given back in pairs
	Stacked   bool  // its chart stands for several that lie on each other
}

// Overlaps is what lies on what in a layout. Areas are in tiles.
type Overlaps struct {
	Covered float64 // under at least one triangle
	InTile  float64 // the same, within the tile from 0 to 1
	Stacked float64 // under exactly one triangle, and that of a stacked chart
	Partial float64 // under two triangles or more
	Pairs   []Pair  // charts that lie on each other, the largest area first
	// Cut says that the layout lies on itself so often that the work was ended: Partial is then a lower bound, Covered an
	// upper one, and the other areas say nothing.
	Cut bool
}

// Pair is two charts that overlap, or one that overlaps itself.
type Pair struct {
	Charts    [2]int32 // the lower number first
	Triangles [2]int32 // of the pair of triangles that overlap most
	Area      float64  // that no third triangle had covered before
	most      float64
}

// tileBox is the tile from 0 to 1.
var tileBox = Box{0, 0, 1, 1}

// Overlap measures exactly, by clipping, what a layout covers and what it covers more than once. Triangles are taken
// along the Morton curve; each is cut by those before it into convex pieces that none of them or one of them covers, and
// what two cover is dropped: a place under several triangles is counted once with the first and once with the second.
// Where charts do not overlap nothing is ever cut, and the areas are sums over triangles.
//
// Areas are right to about 1e-15 of a tile for each piece. Time is near-linear for layouts; where
// everything lies on everything, a place is done with once two triangles cover it, and the work ends at a fixed count of steps
// (see Cut). Memory is 180 bytes a triangle.
func Overlap(ctx context.Context, triangles []Triangle) (Overlaps, error) {
	m := newMeter(triangles)
	for i := range m.tri {
		if i&4095 == 0 && ctx.Err() != nil {
			return Overlaps{}, context.Cause(ctx)
		}
		if m.steps <= 0 {
			m.cutShort(i)
			break
		}
		m.place(i)
	}
	if m.steps <= 0 && !m.out.Cut {
		m.cutShort(len(m.tri)) // the last one was given up
	}
	m.out.Pairs = merged(m.out.Pairs)
	return m.out, nil
}

// stepsEach and stepsMore bound the work: boxes visited, pairs tested and corners cut. A layout without overlap takes some
// 50 steps a triangle, eight layers of unlike islands some thousand. Only layouts that are dumped on one heap come to the
// end of it, and they fail long before.
const (
	stepsEach = 500
	stepsMore = 50_000_000
)

// pairsHeld is how many pairs of triangles are held before they are merged by chart; the half of the largest is kept, so
// that merging stays linear in what comes in.
const pairsHeld = 1 << 17

// noise bounds what rounding makes of a piece without area: corners are rounded at 2⁻⁵² of their size, so a piece of
// perimeter p has an area of up to p · size · 2⁻⁵². Doubling it drops nothing that counts: a thousand pieces of a tile's
// perimeter come to 1e-12 of a tile.
const noise = 1.0 / (1 << 51)

type meter struct {
	tree  *tree
	tri   []Triangle // along the curve, winding positively
	steps int
	out   Overlaps
	// scratch
	now, next pieces
	waiting   []int
	clip      clipper
}

// pieces are convex polygons one after the other.
type pieces struct {
	at  []Vec
	end []int32 // where each polygon's corners end in at
	by  []int32 // what covers it: a place along the curve, -1 for nothing
}

func (p *pieces) clear() { p.at, p.end, p.by = p.at[:0], p.end[:0], p.by[:0] }

func (p *pieces) polygon(k int) []Vec {
	from := int32(0)
	if k > 0 {
		from = p.end[k-1]
	}
	return p.at[from:p.end[k]]
}

func (p *pieces) add(polygon []Vec, by int32) {
	if negligible(polygon) {
		return
	}
	p.at = append(p.at, polygon...)
	p.end = append(p.end, int32(len(p.at)))
	p.by = append(p.by, by)
}

// mark and back undo what was added since.
func (p *pieces) mark() int { return len(p.end) }

func (p *pieces) back(to int) {
	corners := int32(0)
	if to > 0 {
		corners = p.end[to-1]
	}
	p.at, p.end, p.by = p.at[:corners], p.end[:to], p.by[:to]
}

// negligible says whether a polygon's area is what rounding makes of none.
func negligible(polygon []Vec) bool {
	return len(polygon) < 3 || Area(polygon) <= sizeOf(polygon)*noise
}

// sizeOf is a bound on perimeter times distance from the origin.
func sizeOf(polygon []Vec) float64 {
	b := Nothing
	for _, p := range polygon {
		b = b.With(p)
	}
	far := math.Max(math.Max(-b[0], b[2]), math.Max(-b[1], b[3]))
	return 2 * (b[2] - b[0] + b[3] - b[1]) * far
}

func newMeter(triangles []Triangle) *meter {
	m := &meter{steps: stepsMore + stepsEach*len(triangles)}
	kept := make([]int32, 0, len(triangles))
	boxes := make([]Box, 0, len(triangles))
	for i := range triangles {
		a := &triangles[i].At
		if area2 := Cross(a[0], a[1], a[2]); area2 != 0 && finite(area2) {
			kept = append(kept, int32(i))
			boxes = append(boxes, Nothing.With(a[0]).With(a[1]).With(a[2]))
		}
	}
	m.tree = newTree(boxes)
	m.tri = make([]Triangle, len(kept))
	for k, i := range m.tree.order {
		t := triangles[kept[i]]
		if Cross(t.At[0], t.At[1], t.At[2]) < 0 {
			t.At[1], t.At[2] = t.At[2], t.At[1]
		}
		m.tri[k] = t
	}
	return m
}

// cutShort ends the work before triangle i. What is not measured may cover as much as all of it has, within the box of all.
func (m *meter) cutShort(i int) {
	m.out.Cut = true
	for k := max(i-1, 0); k < len(m.tri); k++ { // the one before may have been given up half way
		m.out.Covered += Area(m.tri[k].At[:])
	}
	b := m.tree.nodes[1]
	m.out.Covered = min(m.out.Covered, float64((b[2]-b[0])*(b[3]-b[1])))
}

// place adds triangle i to what the ones before it cover.
func (m *meter) place(i int) {
	t := &m.tri[i]
	box := m.tree.boxes[i]
	m.now.clear()
	touched := false
	m.waiting = append(m.waiting[:0], 1)
	for len(m.waiting) > 0 {
		node := m.waiting[len(m.waiting)-1]
		m.waiting = m.waiting[:len(m.waiting)-1]
		m.steps--
		if !m.tree.nodes[node].shares(box) || m.tree.first(node) >= i {
			continue
		}
		from, to, ok := m.tree.leaf(node)
		if !ok {
			m.waiting = append(m.waiting, 2*node+1, 2*node)
			continue
		}
		for j := from; j < min(to, i); j++ {
			m.steps--
			if !m.tree.boxes[j].shares(box) || !overlap(&t.At, &m.tri[j].At) {
				continue
			}
			if !touched {
				touched = true
				m.now.add(t.At[:], -1)
			}
			m.cover(int32(j))
			if len(m.now.end) == 0 || m.steps <= 0 {
				return
			}
		}
	}
	if touched {
		m.tally(i)
		return
	}
	m.count(t.At[:], t.Stacked)
}

// cover lays triangle j over the pieces.
func (m *meter) cover(j int32) {
	q := m.tri[j].At[:]
	m.next.clear()
	for k := range m.now.end {
		p, by := m.now.polygon(k), m.now.by[k]
		m.steps -= 3 * len(p)
		if partsFrom(q, p) {
			m.next.add(p, by)
			continue
		}
		before := m.next.mark()
		rest := p
		for e := range 3 {
			// Two buffers in turn: rest is in one of them while the next cut is written to the other.
			buffer := &m.clip.x
			if e%2 == 1 {
				buffer = &m.clip.y
			}
			*buffer, m.clip.off = cut(rest, q[e], q[(e+1)%3], (*buffer)[:0], m.clip.off[:0])
			m.next.add(m.clip.off, by)
			rest = *buffer
		}
		if negligible(rest) { // it only passed by a corner: the piece stays whole
			m.next.back(before)
			m.next.add(p, by)
			continue
		}
		if by < 0 {
			m.next.add(rest, j)
		}
	}
	m.now, m.next = m.next, m.now
}

// tally counts the pieces of triangle i.
func (m *meter) tally(i int) {
	t := &m.tri[i]
	for k, by := range m.now.by {
		p := m.now.polygon(k)
		if by < 0 {
			m.count(p, t.Stacked)
			continue
		}
		area := Area(p)
		other := &m.tri[by]
		m.out.Partial += area
		if other.Stacked {
			m.out.Stacked -= area // what was under one is now under two
		}
		m.out.Pairs = append(m.out.Pairs, pairOf(t, other, area))
	}
	if len(m.out.Pairs) > pairsHeld {
		m.out.Pairs = merged(m.out.Pairs)
		m.out.Pairs = m.out.Pairs[:min(len(m.out.Pairs), pairsHeld/2)]
	}
}

// count adds what nothing covered before.
func (m *meter) count(p []Vec, stacked bool) {
	area := Area(p)
	m.out.Covered += area
	if stacked {
		m.out.Stacked += area
	}
	b := Nothing
	for _, v := range p {
		b = b.With(v)
	}
	if b[0] < 0 || b[1] < 0 || b[2] > 1 || b[3] > 1 {
		area = m.clip.areaIn(p, tileBox)
	}
	m.out.InTile += area
}

func pairOf(t, u *Triangle, area float64) Pair {
	if u.Chart < t.Chart || u.Chart == t.Chart && u.ID < t.ID {
		t, u = u, t
	}
	return Pair{Charts: [2]int32{t.Chart, u.Chart}, Triangles: [2]int32{t.ID, u.ID}, Area: area, most: area}
}

// merged adds up pairs of triangles by their charts and puts the largest first.
func merged(pairs []Pair) []Pair {
	slices.SortStableFunc(pairs, func(a, b Pair) int { return slices.Compare(a.Charts[:], b.Charts[:]) })
	out := pairs[:0]
	for _, p := range pairs {
		if n := len(out); n > 0 && out[n-1].Charts == p.Charts {
			last := &out[n-1]
			last.Area += p.Area
			if p.most > last.most {
				last.most, last.Triangles = p.most, p.Triangles
			}
			continue
		}
		out = append(out, p)
	}
	slices.SortStableFunc(out, func(a, b Pair) int {
		switch {
		case a.Area > b.Area:
			return -1
		case a.Area < b.Area:
			return 1
		}
		return 0
	})
	return out
}
