package surface

import (
	"math"
	"math/bits"
)

// offsets compares two outlines of one frame. Lengths are in cells until they are turned into millimetres.
//
// How far one outline stands outside the other is the largest distance from what the first covers to what the second
// covers: the Hausdorff distance of the two covered regions, taken each way. It is found on the first's outline, at
// samples that the first covers and the second does not (the middle of a hole has no outline nearer), and at the
// corners of features too thin to cover any sample. Regions are compared rather than border lines, so that a pinhole weighs what it is
// wide and not how far it is from the nearest edge.
type offsets struct {
	max       float64
	from, to  [2]float64
	sculptOut bool

	area    float64 // between the outlines
	lengths [2]float64
	covered float64 // by the sculpt
	run     float64
}

// window limits where offsets count: the middle of a zoomed frame.
type window struct{ x0, x1, y0, y1 float64 }

func (w window) holds(q [2]float64) bool {
	return q[0] >= w.x0 && q[0] <= w.x1 && q[1] >= w.y0 && q[1] <= w.y1
}

func (f *frame) window(margin float64) window {
	return window{margin, float64(f.w-1) - margin, margin, float64(f.h-1) - margin}
}

// stand records that the point q of one outline's surface is d outside the other.
func (o *offsets) stand(d float64, q, to [2]float64, sculpt bool) {
	if d > o.max {
		o.max, o.from, o.to, o.sculptOut = d, q, to, sculpt
	}
}

// outward measures a against b: how far each point of a's outline stands outside b, kept in out, and the largest.
func (o *offsets) outward(a, b *outline, sculpt bool, w window, out []float64) {
	for p := range a.points {
		d, to, inside := b.nearest(a.points[p])
		if inside {
			d = 0
		}
		out[p] = d
		if d > 0 && w.holds(a.points[p]) {
			o.stand(d, a.points[p], to, sculpt)
		}
	}
	for j := range a.cover.h {
		// A neighbour is at most one cell farther out, so those that cannot beat the largest are passed over.
		skip := 0
		for i := range a.cover.row {
			for m := a.cover.word[j*a.cover.row+i] &^ b.cover.word[j*a.cover.row+i]; m != 0; m &= m - 1 {
				x := i<<6 + bits.TrailingZeros64(m)
				q := [2]float64{float64(x), float64(j)}
				if x < skip || !w.holds(q) {
					continue
				}
				d, to, inside := b.nearest(q)
				if !inside {
					o.stand(d, q, to, sculpt)
					skip = x + max(int(o.max-d), 0)
				}
			}
		}
	}
}

// thin looks, in several frames at once, at what lies where neither outline has a sample near: corners of features thinner
// than a cell. other is the outline that c is measured to, masks those of emptyCells.
func thin(c *cover, frames []*frame, other []*outline, masks []*bitgrid, in []window, all []*offsets, sculpt bool) {
	c.walk(frames, anywhere, func(k int, r *area32) bool { return masks[k].any(r.cells()) }, func(k int, t *shown) {
		for _, s := range [3]*spot{t.a, t.b, t.d} {
			if v := [2]float64{s.x, s.y}; masks[k].get(int(s.fx), int(s.fy)) && in[k].holds(v) {
				if d, to, _ := other[k].nearest(v); !math.IsInf(d, 1) {
					all[k].stand(d, v, to, sculpt)
				}
			}
		}
	})
}

// emptyCells sets the cells of which no corner is covered by a or b, nor any corner of a cell beside them.
func emptyCells(mask *bitgrid, a, b *outline) {
	g := &a.cover
	mask.reset(g.w, g.h)
	for j := range g.h {
		for i := range g.row {
			var near uint64
			for y := max(j-1, 0); y <= min(j+2, g.h-1); y++ {
				k := y*g.row + i
				w := g.word[k] | b.cover.word[k]
				near |= w | w<<1 | w>>1 | w>>2
				if i > 0 {
					near |= (g.word[k-1] | b.cover.word[k-1]) >> 63
				}
				if i+1 < g.row {
					n := g.word[k+1] | b.cover.word[k+1]
					near |= n<<63 | n<<62
				}
			}
			mask.word[j*g.row+i] = ^near
		}
	}
}

// between is the area that just one of two outlines covers, and that which b covers, in square cells: exact for the
// pieces of the outlines, save in cells where both run and cross.
func between(a, b *outline) (area, covered float64) {
	g := &a.cover
	for j := range g.h - 1 {
		for i := range g.row {
			k := j*g.row + i
			edge := a.cells.word[k] | b.cells.word[k]
			for m := edge; m != 0; m &= m - 1 {
				x := i<<6 + bits.TrailingZeros64(m)
				p, q := a.shareOf(x, j), b.shareOf(x, j)
				area, covered = area+math.Abs(p-q), covered+q
			}
			// Elsewhere all corners of a cell agree. The last column of samples begins no cell.
			whole := ^edge
			if i == g.row-1 {
				whole &= 1<<((g.w-1)&63) - 1
			}
			area += float64(bits.OnesCount64((a.cover.word[k] ^ b.cover.word[k]) & whole))
			covered += float64(bits.OnesCount64(b.cover.word[k] & whole))
		}
	}
	return area, covered
}

// shareOf is how much of the cell from sample (i, j) is covered.
func (o *outline) shareOf(i, j int) float64 {
	if !o.cells.get(i, j) {
		if o.cover.get(i, j) {
			return 1
		}
		return 0
	}
	x, y := float64(i), float64(j)
	corners := [4][2]float64{{x, y}, {x + 1, y}, {x + 1, y + 1}, {x, y + 1}}
	on := [4]bool{o.cover.get(i, j), o.cover.get(i+1, j), o.cover.get(i+1, j+1), o.cover.get(i, j+1)}
	sum := 0.0
	for side := range 4 {
		if !on[side] || on[(side+1)%4] {
			continue
		}
		// From where the border leaves the cell's edge round the run of covered corners, as linkCell does.
		exit := o.points[o.side(i, j, side)]
		begin := side
		for on[begin] {
			begin = (begin + 3) % 4
		}
		enter := o.points[o.side(i, j, begin)]
		last := enter
		turn := func(p [2]float64) {
			sum += float64((float64((last[0]-x)*(p[1]-y)) - float64((last[1]-y)*(p[0]-x))) / 2)
			last = p
		}
		for k := (begin + 1) % 4; ; k = (k + 1) % 4 {
			turn(corners[k])
			if k == side {
				break
			}
		}
		turn(exit)
		turn(enter)
	}
	return sum
}

// worstRun is the largest offset that is kept up along an outline for the given length, in cells: the largest, over all stretches
// that long, of the least offset within.
func (o *outline) worstRun(offset []float64, length float64) float64 {
	best := 0.0
	for _, loop := range o.loops() {
		n := len(loop)
		closed := o.next[loop[n-1]] == loop[0]
		step := func(i int) float64 {
			a, b := o.points[loop[i%n]], o.points[loop[(i+1)%n]]
			dx, dy := a[0]-b[0], a[1]-b[1]
			return math.Sqrt(float64(dx*dx) + float64(dy*dy))
		}
		limit := n
		if closed {
			limit = 2 * n
		}
		var queue []int // of places with ascending offsets: the first is the least in the stretch
		begin, run := 0, 0.0
		for end := 0; end < limit; end++ {
			if end > 0 {
				run += step(end - 1)
			}
			v := offset[loop[end%n]]
			for len(queue) > 0 && offset[loop[queue[len(queue)-1]%n]] >= v {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, end)
			for begin < end && run-step(begin) >= length {
				run -= step(begin)
				begin++
			}
			for queue[0] < begin {
				queue = queue[1:]
			}
			if run >= length && end-begin < n {
				best = max(best, offset[loop[queue[0]%n]])
			}
		}
	}
	return best
}
