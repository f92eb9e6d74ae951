package surface

import (
	"math"
	"slices"
)

// outline is the border of what a surface covers in a frame, as line pieces whose ends lie exactly where the border
// crosses the lines of the grid. In between the border strays from its piece by what a cell can hold: the shape inside one cell.
type outline struct {
	f      *frame
	cover  bitgrid // samples covered
	rowGap bitgrid // bit (i, j): the border crosses row j between samples i and i+1
	colGap bitgrid // bit (i, j): the border crosses column i between samples j and j+1
	cells  bitgrid // bit (i, j): a piece runs in the cell from sample (i, j)

	points [][2]float64 // crossings: those of rows, then those of columns, in the order of their bits
	next   []int32      // the point that follows along the border, covered side to the left; -1 for none
	pieces [][2]int32   // by cell, in the order of cells' bits: up to two starts; the second -1

	rows  int // of points
	spans []gapSpan

	sorted []gapSpan // spans in the order of their gaps
	first  []int32   // by gap: its first one there
}

// gapSpan is a stretch of a gap that one triangle covers.
type gapSpan struct {
	gap    int32
	lo, hi float64
}

// trace finds the outlines of a surface in several frames. The outlines' memory is used again.
func trace(c *cover, frames []*frame, outlines []*outline) {
	grids, todo := make([]*bitgrid, len(frames)), make([]*bitgrid, len(frames))
	for k, o := range outlines {
		o.f = frames[k]
		o.cover.reset(o.f.w, o.f.h)
		grids[k], todo[k] = &o.cover, &o.cells
	}
	c.fill(frames, grids, todo)
	for _, o := range outlines {
		o.findGaps()
		o.spans = o.spans[:0]
	}
	c.walk(frames, overLine, func(k int, r *area32) bool {
		o := outlines[k]
		sx, x, sy, y := r.samples()
		cx, _, cy, _ := r.cells()
		return o.rowGap.any(cx, x, sy, y) || o.colGap.any(sx, x, cy, y)
	}, func(k int, t *shown) { outlines[k].spanGaps(t) })
	for _, o := range outlines {
		o.measureGaps()
		o.link()
	}
}

func (o *outline) findGaps() {
	g := &o.cover
	o.rowGap.reset(g.w, g.h)
	o.colGap.reset(g.w, g.h)
	last := uint64(1) << ((g.w - 1) & 63)
	for j := range g.h {
		for i := range g.row {
			w := g.word[j*g.row+i]
			right := w >> 1
			if i+1 < g.row {
				right |= g.word[j*g.row+i+1] << 63
			}
			d := w ^ right
			if i == g.row-1 {
				d &= last - 1 // no gap behind the last sample
			}
			o.rowGap.word[j*g.row+i] = d
			if j+1 < g.h {
				o.colGap.word[j*g.row+i] = w ^ g.word[(j+1)*g.row+i]
			}
		}
	}
	o.rows = o.rowGap.count()
	n := o.rows + o.colGap.count()
	o.points = slices.Grow(o.points[:0], n)[:n]
	o.next = slices.Grow(o.next[:0], n)[:n]
	for i := range o.next {
		o.next[i] = -1
	}
	for j := range g.h {
		o.rowGap.each(0, g.w-1, j, func(i int) { o.points[o.rowGap.rank(i, j)] = [2]float64{coveredEnd(i, g.get(i, j)), float64(j)} })
		o.colGap.each(0, g.w-1, j, func(i int) { o.points[o.rows+o.colGap.rank(i, j)] = [2]float64{float64(i), coveredEnd(j, g.get(i, j))} })
	}
}

// coveredEnd is the end of a gap from sample i at which its covered sample lies.
func coveredEnd(i int, first bool) float64 {
	if first {
		return float64(i)
	}
	return float64(i + 1)
}

// spanGaps notes which stretches of gaps a triangle covers.
func (o *outline) spanGaps(t *shown) {
	if t.y0 <= t.y1 && o.rowGap.any(t.fx, t.x1, t.y0, t.y1) {
		for j := max(t.y0, 0); j <= min(t.y1, o.rowGap.h-1); j++ {
			lo, hi := t.cutRow(float64(j))
			o.rowGap.each(floor(lo), floor(hi), j, func(i int) { o.note(o.rowGap.rank(i, j), 0, lo, hi, o.cover.get(i, j)) })
		}
	}
	if t.x0 <= t.x1 && o.colGap.any(t.x0, t.x1, t.fy, t.y1) {
		for i := max(t.x0, 0); i <= min(t.x1, o.colGap.w-1); i++ {
			lo, hi := t.cutColumn(float64(i))
			for j := max(floor(lo), 0); j <= min(floor(hi), o.colGap.h-1); j++ {
				if o.colGap.get(i, j) {
					o.note(o.rows+o.colGap.rank(i, j), 1, lo, hi, o.cover.get(i, j))
				}
			}
		}
	}
}

// touching is how far apart, in cells, two covered stretches may end and still be one: edges are cut at the same place
// for both their triangles, this is for the ends of edges.
const touching = 1e-9

// note notes that a triangle covers lo to hi of the line on which a gap lies. What is covered from the gap's covered end on is kept in its
// point; what does not join that yet is kept for measureGaps.
func (o *outline) note(gap, axis int, lo, hi float64, up bool) {
	if !grow(&o.points[gap][axis], lo, hi, up) {
		o.spans = append(o.spans, gapSpan{int32(gap), lo, hi})
	}
}

// grow extends what is covered up to (or, not up, down to) reach by lo to hi, and says whether the two join.
func grow(reach *float64, lo, hi float64, up bool) bool {
	if up {
		if lo > *reach+touching {
			return false
		}
		*reach = max(*reach, hi)
		return true
	}
	if hi < *reach-touching {
		return false
	}
	*reach = min(*reach, lo)
	return true
}

// measureGaps joins the stretches that are left and cuts the crossings off at their gaps' ends. The order of a gap's stretches
// does not matter: they are gone through until none joins any more.
func (o *outline) measureGaps() {
	o.sortSpans()
	finish := func(gap, axis, from int, up bool) {
		spans := o.sorted[o.first[gap]:o.first[gap+1]]
		reach := &o.points[gap][axis]
		for again := true; again; {
			before := *reach
			for _, s := range spans {
				grow(reach, s.lo, s.hi, up)
			}
			again = *reach != before
		}
		*reach = min(max(*reach, float64(from)), float64(from+1))
	}
	for j := range o.rowGap.h {
		o.rowGap.each(0, o.rowGap.w-1, j, func(i int) { finish(o.rowGap.rank(i, j), 0, i, o.cover.get(i, j)) })
	}
	for j := range o.colGap.h {
		o.colGap.each(0, o.colGap.w-1, j, func(i int) { finish(o.rows+o.colGap.rank(i, j), 1, j, o.cover.get(i, j)) })
	}
}

// sortSpans puts the stretches in the order of their gaps, by counting.
func (o *outline) sortSpans() {
	o.first = slices.Grow(o.first[:0], len(o.points)+1)[:len(o.points)+1]
	clear(o.first)
	for _, s := range o.spans {
		o.first[s.gap]++
	}
	sum := int32(0)
	for i, n := range o.first {
		sum += n
		o.first[i] = sum // where the gap ends; counted down below to where it begins
	}
	o.sorted = slices.Grow(o.sorted[:0], len(o.spans))[:len(o.spans)]
	for _, s := range o.spans {
		o.first[s.gap]--
		o.sorted[o.first[s.gap]] = s
	}
}

// link joins the crossings of each cell into pieces with the covered side to the left.
func (o *outline) link() {
	g := &o.cover
	o.cells.reset(g.w, g.h)
	for j := range g.h {
		mark := func(x, y int) {
			if x >= 0 && y >= 0 && x < g.w-1 && y < g.h-1 {
				o.cells.set(x, y)
			}
		}
		o.rowGap.each(0, g.w-1, j, func(i int) { mark(i, j); mark(i, j-1) })
		o.colGap.each(0, g.w-1, j, func(i int) { mark(i, j); mark(i-1, j) })
	}
	n := o.cells.count()
	o.pieces = slices.Grow(o.pieces[:0], n)[:n]
	for j := range g.h {
		o.cells.each(0, g.w-1, j, func(i int) { o.pieces[o.cells.rank(i, j)] = o.linkCell(i, j) })
	}
}

// linkCell goes round a cell counter-clockwise: each run of covered corners is cut off from where it ends back to where it began.
func (o *outline) linkCell(i, j int) [2]int32 {
	corner := [4]bool{o.cover.get(i, j), o.cover.get(i+1, j), o.cover.get(i+1, j+1), o.cover.get(i, j+1)}
	out := [2]int32{-1, -1}
	count := 0
	for side := range 4 {
		if !corner[side] || corner[(side+1)%4] {
			continue
		}
		begin := side // walk back to the side where this run begins
		for corner[begin] {
			begin = (begin + 3) % 4
		}
		from := o.side(i, j, side)
		o.next[from] = o.side(i, j, begin)
		out[count] = from
		count++
	}
	return out
}

// side is the number of the crossing on a cell's lower, right, upper or left edge.
func (o *outline) side(i, j, side int) int32 {
	switch side {
	case 0:
		return int32(o.rowGap.rank(i, j))
	case 1:
		return int32(o.rows + o.colGap.rank(i+1, j))
	case 2:
		return int32(o.rowGap.rank(i, j+1))
	}
	return int32(o.rows + o.colGap.rank(i, j))
}

// nearest is the distance from q to the outline in cells, the nearest point, and whether q lies on the covered side.
// Cells are searched in growing squares about q's; +Inf where there is no outline.
func (o *outline) nearest(q [2]float64) (d float64, at [2]float64, inside bool) {
	best, lean := math.Inf(1), 0.0
	ci, cj := min(max(floor(q[0]), 0), o.cells.w-1), min(max(floor(q[1]), 0), o.cells.h-1)
	off := max(0, float64(ci)-q[0], q[0]-float64(ci+1), float64(cj)-q[1], q[1]-float64(cj+1)) // q may lie off the grid
	visit := func(i, j int) {
		for _, start := range o.pieces[o.cells.rank(i, j)] {
			if start < 0 {
				continue
			}
			a, b := o.points[start], o.points[o.next[start]]
			sq, p, side := toPiece(q, a, b)
			if sq < best*(1-1e-12) || sq <= best*(1+1e-12) && math.Abs(side) > math.Abs(lean) {
				best, at, lean = min(sq, best), p, side
			}
		}
	}
	size := max(o.cells.w, o.cells.h)
	for r := 0; r <= size; r++ {
		if clear := float64(r) - 1 - off; clear > 0 && clear*clear > best {
			break
		}
		for _, j := range [2]int{cj - r, cj + r} {
			o.cells.each(ci-r, ci+r, j, func(i int) { visit(i, j) })
			if r == 0 {
				break
			}
		}
		for _, i := range [2]int{ci - r, ci + r} {
			if r == 0 || uint(i) >= uint(o.cells.w) {
				continue
			}
			for j := max(cj-r+1, 0); j <= min(cj+r-1, o.cells.h-1); j++ {
				if o.cells.get(i, j) {
					visit(i, j)
				}
			}
		}
	}
	return math.Sqrt(best), at, lean > 0
}

// toPiece is the squared distance from q to a-b, the nearest point, and the sine of how far left of a-b q lies as seen from there.
func toPiece(q, a, b [2]float64) (sq float64, p [2]float64, side float64) {
	ex, ey := b[0]-a[0], b[1]-a[1]
	wx, wy := q[0]-a[0], q[1]-a[1]
	l := float64(ex*ex) + float64(ey*ey)
	t := 0.0
	if l > 0 {
		t = min(max((float64(wx*ex)+float64(wy*ey))/l, 0), 1)
	}
	p = [2]float64{a[0] + float64(t*ex), a[1] + float64(t*ey)}
	dx, dy := q[0]-p[0], q[1]-p[1]
	sq = float64(dx*dx) + float64(dy*dy)
	if l > 0 && sq > 0 {
		side = (float64(ex*dy) - float64(ey*dx)) / math.Sqrt(float64(l*sq))
	}
	return sq, p, side
}

// loops are the outline's closed borders, as point numbers; a border cut off by the frame is an open run, given too.
func (o *outline) loops() [][]int32 {
	var all [][]int32
	seen := make([]bool, len(o.next))
	before := make([]bool, len(o.next)) // some point leads here
	for _, n := range o.next {
		if n >= 0 {
			before[n] = true
		}
	}
	follow := func(start int) {
		var run []int32
		for p := int32(start); p >= 0 && !seen[p]; p = o.next[p] {
			seen[p] = true
			run = append(run, p)
		}
		if len(run) > 1 {
			all = append(all, run)
		}
	}
	for p := range o.next {
		if !before[p] {
			follow(p)
		}
	}
	for p := range o.next {
		if !seen[p] {
			follow(p)
		}
	}
	return all
}

func (o *outline) length() float64 {
	sum := 0.0
	for p, n := range o.next {
		if n >= 0 {
			dx, dy := o.points[p][0]-o.points[n][0], o.points[p][1]-o.points[n][1]
			sum += math.Sqrt(float64(dx*dx) + float64(dy*dy))
		}
	}
	return sum
}
