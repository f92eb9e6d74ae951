package surface

import (
	"context"
	"math"
	"slices"
)

// cover is a surface laid out for being drawn many times: boxes over 8 triangles as they lie in the file, over 64, and over 1,024
// of those by place. Whatever is drawn skips what its boxes show to be settled.
type cover struct {
	pos    []float32
	tri    []uint32
	small  []halfBox // over 8 triangles
	middle []halfBox // over 64
	order  []int32   // middle boxes along a space-filling curve
	large  []halfBox // over 16 of them in that order
}

// halfBox is a box by its middle and half sizes; empty where half[0] is below zero.
type halfBox struct{ mid, half [3]float32 }

const (
	smallTris   = 8
	middleSmall = 8
	largeMiddle = 16
)

func newCover(ctx context.Context, pos []float32, tri []uint32, threads int) (*cover, error) {
	c := &cover{pos: pos, tri: tri}
	n := len(tri) / 3
	c.small = make([]halfBox, (n+smallTris-1)/smallTris)
	c.middle = make([]halfBox, (len(c.small)+middleSmall-1)/middleSmall)
	const at1 = pieceSize / smallTris / middleSmall // middle boxes a piece
	err := each(ctx, (len(c.middle)+at1-1)/at1, threads, func(_, piece int) {
		for m := piece * at1; m < min((piece+1)*at1, len(c.middle)); m++ {
			b := emptyBox()
			for s := m * middleSmall; s < min((m+1)*middleSmall, len(c.small)); s++ {
				sb := emptyBox()
				for _, v := range tri[3*s*smallTris : min(3*(s+1)*smallTris, 3*n)] {
					if q := at(pos, v); finite(q) {
						sb.add(q)
					}
				}
				c.small[s] = halved(sb)
				b.join(sb)
			}
			c.middle[m] = halved(b)
		}
	})
	if err != nil {
		return nil, err
	}
	c.sort()
	return c, nil
}

func halved(b box) halfBox {
	if b.empty() {
		return halfBox{half: [3]float32{-1, -1, -1}}
	}
	var h halfBox
	for k := range 3 {
		h.mid[k] = float32((b.lo[k] + b.hi[k]) / 2)
		// Rounded up: the box must hold what it held.
		h.half[k] = float32(max(b.hi[k]-float64(h.mid[k]), float64(h.mid[k])-b.lo[k])) * (1 + 0x1p-20)
	}
	return h
}

// sort orders the middle boxes by the Morton code of their middles and puts large boxes over them.
func (c *cover) sort() {
	all := emptyBox()
	for _, b := range c.middle {
		if b.half[0] >= 0 {
			all.add(wide(b.mid))
		}
	}
	keys := make([]uint64, len(c.middle)) // code above, number below
	for i, b := range c.middle {
		var code uint64
		for k := range 3 {
			if size := all.hi[k] - all.lo[k]; size > 0 && b.half[0] >= 0 {
				code |= spreadBits(uint64((float64(b.mid[k])-all.lo[k])/size*1023)) << k
			}
		}
		keys[i] = code<<32 | uint64(i)
	}
	slices.Sort(keys)
	c.order = make([]int32, len(keys))
	for i, k := range keys {
		c.order[i] = int32(uint32(k))
	}
	for i := 0; i < len(c.order); i += largeMiddle {
		b := emptyBox()
		for _, m := range c.order[i:min(i+largeMiddle, len(c.order))] {
			if h := c.middle[m]; h.half[0] >= 0 {
				for k := range 3 {
					b.lo[k] = min(b.lo[k], float64(h.mid[k])-float64(h.half[k]))
					b.hi[k] = max(b.hi[k], float64(h.mid[k])+float64(h.half[k]))
				}
			}
		}
		c.large = append(c.large, halved(b))
	}
}

// spreadBits puts two zero bits behind each of ten bits.
func spreadBits(x uint64) uint64 {
	x &= 1023
	x = (x | x<<16) & 0x30000ff
	x = (x | x<<8) & 0x300f00f
	x = (x | x<<4) & 0x30c30c3
	return (x | x<<2) & 0x9249249
}

// frame maps the world onto a grid: sample (i, j) lies at right·p = (i - w/2)·px, up·p = (j - h/2)·px about mid.
type frame struct {
	w, h   int
	px     float64 // metres
	r, u   vec     // right and up over px
	x0, y0 float64

	// The same for boxes; see rect.
	r32, u32, ra, ua [3]float32
	x32, y32, pad    float32
	xMax, yMax       float32
}

func newFrame(mid, right, up vec, px float64, w, h int) frame {
	f := frame{w: w, h: h, px: px, r: scale(right, 1/px), u: scale(up, 1/px)}
	f.x0, f.y0 = float64(w/2)-dot(mid, f.r), float64(h/2)-dot(mid, f.u)
	var most float64
	for k := range 3 {
		f.r32[k], f.u32[k] = float32(f.r[k]), float32(f.u[k])
		f.ra[k], f.ua[k] = float32(math.Abs(f.r[k])), float32(math.Abs(f.u[k]))
		most += math.Abs(mid[k] / px)
	}
	f.x32, f.y32 = float32(f.x0), float32(f.y0)
	f.pad = float32((most + 2*float64(max(w, h)) + 4) * 0x1p-20)
	f.xMax, f.yMax = float32(w-1), float32(h-1)
	return f
}

func (f *frame) place(p vec) (x, y float64) { return dot(p, f.r) + f.x0, dot(p, f.u) + f.y0 }

// rect is what a box covers at most, in grid units; false where it lies off the grid. It is worked out in float32 and
// padded by more than that rounds: coordinates below 2^12 cells, a dozen roundings of 2^-24.
func (f *frame) rect(b *halfBox) (x0, x1, y0, y1 float32, ok bool) {
	if b.half[0] < 0 {
		return 0, 0, 0, 0, false
	}
	m, h := &b.mid, &b.half
	x := float32(f.r32[0]*m[0]) + float32(f.r32[1]*m[1]) + float32(f.r32[2]*m[2]) + f.x32
	y := float32(f.u32[0]*m[0]) + float32(f.u32[1]*m[1]) + float32(f.u32[2]*m[2]) + f.y32
	dx := float32(f.ra[0]*h[0]) + float32(f.ra[1]*h[1]) + float32(f.ra[2]*h[2]) + f.pad
	dy := float32(f.ua[0]*h[0]) + float32(f.ua[1]*h[1]) + float32(f.ua[2]*h[2]) + f.pad
	x0, x1, y0, y1 = x-dx, x+dx, y-dy, y+dy
	return x0, x1, y0, y1, x1 >= 0 && y1 >= 0 && x0 <= f.xMax && y0 <= f.yMax
}

// reach is a rectangle of samples or cells.
type reach struct{ x0, x1, y0, y1 int }

// samples are those within a rectangle; cells those that it touches. Both are clipped to the grid below and left.
func samplesIn(x0, x1, y0, y1 float32) reach {
	r := cellsOf(x0, x1, y0, y1)
	if float32(r.x0) < x0 {
		r.x0++
	}
	if float32(r.y0) < y0 {
		r.y0++
	}
	return r
}

func cellsOf(x0, x1, y0, y1 float32) reach {
	const far = 1 << 20
	return reach{int(max(x0, 0)), int(min(x1, far)), int(max(y0, 0)), int(min(y1, far))}
}

// walk calls draw for every triangle in a box that asks says is worth it, at each of the three sizes of box.
func (c *cover) walk(f *frame, ask func(samples, cells reach) bool, draw func(a, b, d [2]float64)) {
	want := func(b *halfBox) bool {
		x0, x1, y0, y1, ok := f.rect(b)
		return ok && ask(samplesIn(x0, x1, y0, y1), cellsOf(x0, x1, y0, y1))
	}
	n := len(c.tri) / 3
	var cache placeCache
	for l := range c.large {
		if !want(&c.large[l]) {
			continue
		}
		for _, m := range c.order[l*largeMiddle : min((l+1)*largeMiddle, len(c.order))] {
			if !want(&c.middle[m]) {
				continue
			}
			for s := int(m) * middleSmall; s < min((int(m)+1)*middleSmall, len(c.small)); s++ {
				if !want(&c.small[s]) {
					continue
				}
				for t := s * smallTris; t < min((s+1)*smallTris, n); t++ {
					draw(cache.place(f, c.pos, c.tri[3*t]), cache.place(f, c.pos, c.tri[3*t+1]), cache.place(f, c.pos, c.tri[3*t+2]))
				}
			}
		}
	}
}

// placeCache keeps the places of vertices lately used: neighbours share most of theirs.
type placeCache struct {
	vertex [64]uint32 // plus 1
	at     [64][2]float64
}

func (c *placeCache) place(f *frame, pos []float32, v uint32) [2]float64 {
	slot := v & 63
	if c.vertex[slot] != v+1 {
		c.vertex[slot] = v + 1
		c.at[slot][0], c.at[slot][1] = f.place(at(pos, v))
	}
	return c.at[slot]
}

// floor and ceil keep coordinates within what an int and the grid can hold.
func floor(x float64) int { return int(math.Floor(min(max(x, -4), 1<<20))) }
func ceil(x float64) int  { return int(math.Ceil(min(max(x, -4), 1<<20))) }

// stride is how many cells apart the samples lie that are looked at first. Where those all around a place are covered,
// so is what lies between: gaps through a surface that are narrower than stride cells may go unseen.
const stride = 3

// fill sets the bit of every sample that the surface covers, seen along the frame's axis; todo is working space.
func (c *cover) fill(f *frame, g, todo *bitgrid) {
	todo.reset(f.w, f.h)
	for j := 0; j < f.h; j += stride {
		for i := 0; i < f.w; i += stride {
			todo.set(i, j)
		}
	}
	c.fillWanted(f, g, todo)
	clear(todo.word)
	coarse := func(i, j int) bool { return g.get(i*stride, j*stride) }
	for j := 0; j*stride < f.h; j++ {
		run := 0 // coarse columns behind i whose four samples from j-1 to j+2 are covered
		for i := -1; i*stride < f.w+2*stride; i++ {
			if coarse(i, j-1) && coarse(i, j) && coarse(i, j+1) && coarse(i, j+2) {
				run++
			} else {
				run = 0
			}
			// The block from coarse column i-2 is within if columns i-3 to i are.
			x0, x1 := (i-2)*stride, min((i-1)*stride, f.w)-1
			if x0 < 0 || x0 > x1 {
				continue
			}
			to := todo
			if run >= 4 {
				to = g
			}
			for y := j * stride; y < min((j+1)*stride, f.h); y++ {
				to.fill(x0, x1, y)
			}
		}
	}
	for k := range todo.word {
		todo.word[k] &^= g.word[k]
	}
	c.fillWanted(f, g, todo)
}

// fillWanted looks for what covers the samples of todo, and moves those it finds covered to g.
func (c *cover) fillWanted(f *frame, g, todo *bitgrid) {
	c.walk(f, func(s, _ reach) bool { return todo.any(s.x0, s.x1, s.y0, s.y1) }, func(a, b, d [2]float64) {
		// Most triangles of a sculpt are smaller than a cell and lie over no sample.
		j0, j1 := max(ceil(min(a[1], b[1], d[1])), 0), min(floor(max(a[1], b[1], d[1])), g.h-1)
		if j0 > j1 {
			return
		}
		i0, i1 := ceil(min(a[0], b[0], d[0])), floor(max(a[0], b[0], d[0]))
		if i0 > i1 || j0 == j1 && i0 == i1 && !todo.get(i0, j0) {
			return
		}
		for j := j0; j <= j1; j++ {
			lo, hi := cutAt(a, b, d, 1, float64(j))
			if i, k := max(ceil(lo), 0), min(floor(hi), g.w-1); i <= k {
				g.fill(i, k, j)
				todo.erase(i, k, j)
			}
		}
	})
}

// cutAt is where the line on which coordinate axis is v cuts a triangle: lo > hi for nowhere. An edge is taken from its
// lower end, so that both triangles of an edge are cut at the same place.
func cutAt(a, b, d [2]float64, axis int, v float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, e := range [3][2][2]float64{{a, b}, {b, d}, {d, a}} {
		p, q := e[0], e[1]
		if p[axis] > q[axis] || p[axis] == q[axis] && p[1-axis] > q[1-axis] {
			p, q = q, p
		}
		if !(p[axis] <= v && v <= q[axis]) {
			continue
		}
		if p[axis] == q[axis] {
			lo, hi = min(lo, p[1-axis]), max(hi, q[1-axis])
			continue
		}
		x := p[1-axis] + float64((v-p[axis])*((q[1-axis]-p[1-axis])/(q[axis]-p[axis])))
		lo, hi = min(lo, x), max(hi, x)
	}
	return lo, hi
}
