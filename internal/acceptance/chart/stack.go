package chart

import (
	"math"
	"slices"
)

// Outlines are the outlines of charts in texels, folded into their tile. Chart c has Edges[First[c]:First[c+1]].
type Outlines struct {
	Edges []([2]Vec)
	First []int32
	Area  []float64 // by chart, positive
	Tile  []int32   // by chart: charts of different tiles never lie on each other
}

// Charts returns how many there are.
func (o *Outlines) Charts() int { return len(o.First) - 1 }

func (o *Outlines) of(c int32) [][2]Vec { return o.Edges[o.First[c]:o.First[c+1]] }

// widthShare keeps slim charts apart that lie side by side: outlines count as one within the tolerance, but at most
// within this share of the chart's mean width (twice its area over its perimeter).
const widthShare = 0.25

// comparedInCell bounds how many charts of nearly the same box but another outline one chart is held against: copies are
// found before, and more than this in one place is a heap that overlaps anyhow.
const comparedInCell = 64

// Stacks finds charts that lie on each other: outlines within a tolerance of each other everywhere, both ways, mirrored
// or not, however each is cut into edges and triangles. It returns for each chart the first chart of its stack, which is
// the chart itself where it is the first or lies on none. Every chart of a stack is held against its first, so that a row of small
// steps does not become one stack.
//
// Charts whose boxes agree within the tolerance are found by hashing the four sides of the box into cells of twice the
// tolerance and looking into the two cells that may hold each side. Then the outlines are compared exactly: an edge is on an
// outline where capsules of the tolerance about the outline's edges cover it, the Hausdorff distance of two polylines.
// Time is linear in the number of edges for charts with outlines of the usual shape; memory is 200 bytes a chart and 40 an edge.
func Stacks(o *Outlines, tolerance float64) []int32 {
	n := o.Charts()
	out := make([]int32, n)
	s := stacker{o: o, box: make([]Box, n), perimeter: make([]float64, n), sorted: make([]bool, n),
		edges: make([]int32, len(o.Edges)), reach: make([]float64, len(o.Edges)), cells: make(map[boxCell]int32, n), next: make([]int32, n)}
	for c := range int32(n) {
		out[c] = c
		s.measure(c)
		if !(o.Area[c] > 0) || !finite(s.perimeter[c]) {
			continue
		}
		if first := s.match(c, tolerance); first >= 0 {
			out[c] = first
			continue
		}
		s.insert(c, tolerance)
	}
	return out
}

type stacker struct {
	o         *Outlines
	box       []Box
	perimeter []float64
	// Each chart's edges by their least x, and the most x of that edge and all before it; made when first needed.
	sorted []bool
	edges  []int32
	reach  []float64
	cells  map[boxCell]int32 // the first chart whose box lies in a cell
	next   []int32           // the next chart of the same cell, -1 for none
	covers []interval
}

// boxCell is a tile and the cells that the four sides of a box lie in.
type boxCell [5]int32

func (s *stacker) measure(c int32) {
	b, p := Nothing, 0.0
	for _, e := range s.o.of(c) {
		b = b.With(e[0]).With(e[1])
		p += lengthOf(minus(e[1], e[0]))
	}
	s.box[c], s.perimeter[c] = b, p
}

// cellOf is the cell of a side, and the neighbour on the nearer side of it: a side within half a cell of x is in one of
// them. Cells past the range of int32 fall together, which costs time alone.
func cellOf(x, cell float64) (own, other int32) {
	f := x / cell
	q := math.Floor(f)
	other32 := q + 1
	if f-q < 0.5 {
		other32 = q - 1
	}
	bound := func(v float64) int32 { return int32(math.Max(-1<<30, math.Min(1<<30, v))) }
	return bound(q), bound(other32)
}

func (s *stacker) insert(c int32, tolerance float64) {
	key := boxCell{s.o.Tile[c]}
	for k, x := range s.box[c] {
		key[k+1], _ = cellOf(x, 2*tolerance)
	}
	s.next[c] = -1
	if first, ok := s.cells[key]; ok {
		s.next[c] = s.next[first]
		s.next[first] = c
		return
	}
	s.cells[key] = c
}

// match finds the lowest chart that c lies on, or -1.
func (s *stacker) match(c int32, tolerance float64) int32 {
	var own, other [4]int32
	for k, x := range s.box[c] {
		own[k], other[k] = cellOf(x, 2*tolerance)
	}
	for choice := range 16 {
		key := boxCell{s.o.Tile[c]}
		for k := range 4 {
			key[k+1] = own[k]
			if choice>>k&1 == 1 {
				key[k+1] = other[k]
			}
		}
		first, ok := s.cells[key]
		if !ok {
			continue
		}
		for tries := 0; first >= 0 && tries < comparedInCell; tries++ {
			if s.congruent(c, first, tolerance) {
				return first
			}
			first = s.next[first]
		}
	}
	return -1
}

// congruent says whether the outlines of two charts are within the tolerance of each other.
func (s *stacker) congruent(a, b int32, tolerance float64) bool {
	o := s.o
	longer := math.Max(s.perimeter[a], s.perimeter[b])
	h := math.Min(tolerance, widthShare*2*math.Min(o.Area[a], o.Area[b])/longer)
	for k := range 4 {
		if math.Abs(s.box[a][k]-s.box[b][k]) > h {
			return false
		}
	}
	// An outline moved by at most h sweeps at most its length times h, and a disc of h at each end of it.
	if math.Abs(o.Area[a]-o.Area[b]) > float64(longer*h)+float64(math.Pi*h*h) {
		return false
	}
	s.sort(a)
	s.sort(b)
	return s.covered(a, b, h) && s.covered(b, a, h)
}

func (s *stacker) sort(c int32) {
	if s.sorted[c] {
		return
	}
	s.sorted[c] = true
	from, to := s.o.First[c], s.o.First[c+1]
	own := s.edges[from:to]
	for k := range own {
		own[k] = from + int32(k)
	}
	leftOf := func(e int32) float64 { return math.Min(s.o.Edges[e][0][0], s.o.Edges[e][1][0]) }
	slices.SortStableFunc(own, func(x, y int32) int {
		switch l, r := leftOf(x), leftOf(y); {
		case l < r:
			return -1
		case l > r:
			return 1
		}
		return 0
	})
	most := math.Inf(-1)
	for k, e := range own {
		most = math.Max(most, math.Max(s.o.Edges[e][0][0], s.o.Edges[e][1][0]))
		s.reach[from+int32(k)] = most
	}
}

// covered says whether every edge of a lies within h of b's outline.
func (s *stacker) covered(a, b int32, h float64) bool {
	from, to := s.o.First[b], s.o.First[b+1]
	edges, reach := s.edges[from:to], s.reach[from:to]
	for _, e := range s.o.of(a) {
		lo, hi := math.Min(e[0][0], e[1][0])-h, math.Max(e[0][0], e[1][0])+h
		loY, hiY := math.Min(e[0][1], e[1][1])-h, math.Max(e[0][1], e[1][1])+h
		k, _ := slices.BinarySearch(reach, lo) // reach grows: edges before k end left of e
		s.covers = s.covers[:0]
		for ; k < len(edges); k++ {
			o := s.o.Edges[edges[k]]
			if math.Min(o[0][0], o[1][0]) > hi {
				break
			}
			if math.Min(o[0][1], o[1][1]) > hiY || math.Max(o[0][1], o[1][1]) < loY {
				continue
			}
			if i := inCapsule(e, o, h); i[0] <= i[1] {
				s.covers = append(s.covers, i)
			}
		}
		if !coverAll(s.covers) {
			return false
		}
	}
	return true
}

// interval is a range of the parameter along a segment, 0 to 1.
type interval [2]float64

var emptyInterval = interval{math.Inf(1), math.Inf(-1)}

// joint is what two steps of an edge may leave uncovered through rounding: its parameter is known to 2⁻⁵⁰ or so, and a
// millionth of an edge is far below the tolerance on any map.
const joint = 1e-6

func coverAll(list []interval) bool {
	slices.SortFunc(list, func(a, b interval) int {
		switch {
		case a[0] < b[0]:
			return -1
		case a[0] > b[0]:
			return 1
		}
		return 0
	})
	to := 0.0
	for _, i := range list {
		if i[0] > to+joint {
			return false
		}
		to = math.Max(to, i[1])
	}
	return to >= 1-joint
}

// inCapsule is the part of segment s within h of segment o. A capsule is convex, so it is one interval: from the least
// to the most of those in the discs about o's ends and in the rectangle between them.
func inCapsule(s, o [2]Vec, h float64) interval {
	d, along := minus(s[1], s[0]), minus(o[1], o[0])
	out := inDisc(s[0], d, o[0], h).hull(inDisc(s[0], d, o[1], h))
	length := lengthOf(along)
	if !(length > 0) {
		return out
	}
	from := minus(s[0], o[0])
	// Along o: 0 to length; across it: -h to h.
	r := linear(dot(from, along)/length, dot(d, along)/length, 0, length, interval{0, 1})
	r = linear(cross2(along, from)/length, cross2(along, d)/length, -h, h, r)
	return out.hull(r)
}

func (i interval) hull(o interval) interval {
	if i[0] > i[1] {
		return o
	}
	if o[0] > o[1] {
		return i
	}
	return interval{math.Min(i[0], o[0]), math.Max(i[1], o[1])}
}

// linear is the part of an interval in which at + t·step lies between lo and hi.
func linear(at, step, lo, hi float64, in interval) interval {
	if step == 0 {
		if at < lo || at > hi {
			return emptyInterval
		}
		return in
	}
	a, b := (lo-at)/step, (hi-at)/step
	if a > b {
		a, b = b, a
	}
	return interval{math.Max(in[0], a), math.Min(in[1], b)}
}

// inDisc is the part of a segment from a along d within r of c.
func inDisc(a, d, c Vec, r float64) interval {
	f := minus(a, c)
	dd, fd, ff := dot(d, d), dot(f, d), dot(f, f)-float64(r*r)
	if !(dd > 0) {
		if ff <= 0 {
			return interval{0, 1}
		}
		return emptyInterval
	}
	root := float64(fd*fd) - float64(dd*ff)
	if root < 0 {
		return emptyInterval
	}
	root = math.Sqrt(root)
	out := interval{math.Max(0, (-fd-root)/dd), math.Min(1, (-fd+root)/dd)}
	if out[0] > out[1] {
		return emptyInterval
	}
	return out
}
