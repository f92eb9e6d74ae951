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

// walk shows a surface to several frames at once: draw is called for every frame and triangle in a box that ask says is
// worth it, at each of the three sizes of box. Boxes and vertices are read once for all frames.
func (c *cover) walk(frames []*frame, ask func(k int, samples, cells reach) bool, draw func(k int, a, b, d [2]float64)) {
	all, inLarge, inMiddle, inSmall := make([]int32, len(frames)), make([]int32, 0, len(frames)), make([]int32, 0, len(frames)), make([]int32, 0, len(frames))
	for k := range all {
		all[k] = int32(k)
	}
	wanted := func(from, to []int32, b *halfBox) []int32 {
		to = to[:0]
		for _, k := range from {
			if x0, x1, y0, y1, ok := frames[k].rect(b); ok && ask(int(k), samplesIn(x0, x1, y0, y1), cellsOf(x0, x1, y0, y1)) {
				to = append(to, k)
			}
		}
		return to
	}
	var pack smallPack
	for l := range c.large {
		if inLarge = wanted(all, inLarge, &c.large[l]); len(inLarge) == 0 {
			continue
		}
		for _, m := range c.order[l*largeMiddle : min((l+1)*largeMiddle, len(c.order))] {
			if inMiddle = wanted(inLarge, inMiddle, &c.middle[m]); len(inMiddle) == 0 {
				continue
			}
			for s := int(m) * middleSmall; s < min((int(m)+1)*middleSmall, len(c.small)); s++ {
				if inSmall = wanted(inMiddle, inSmall, &c.small[s]); len(inSmall) == 0 {
					continue
				}
				pack.load(c, s)
				for _, k := range inSmall {
					pack.show(frames[k], int(k), draw)
				}
			}
		}
	}
}

// smallPack is the triangles of a small box with each vertex once.
type smallPack struct {
	triangles, vertices int
	corner              [3 * smallTris]uint8 // of vertex
	number              [3 * smallTris]uint32
	at                  [3 * smallTris]vec
	place               [3 * smallTris][2]float64
}

func (p *smallPack) load(c *cover, s int) {
	tri := c.tri[3*s*smallTris : min(3*(s+1)*smallTris, len(c.tri)/3*3)]
	p.triangles, p.vertices = len(tri)/3, 0
	for i, v := range tri {
		k := 0
		for k < p.vertices && p.number[k] != v {
			k++
		}
		if k == p.vertices {
			p.number[k], p.at[k] = v, at(c.pos, v)
			p.vertices++
		}
		p.corner[i] = uint8(k)
	}
}

func (p *smallPack) show(f *frame, k int, draw func(k int, a, b, d [2]float64)) {
	for i := range p.vertices {
		p.place[i][0], p.place[i][1] = f.place(p.at[i])
	}
	for t := range p.triangles {
		draw(k, p.place[p.corner[3*t]], p.place[p.corner[3*t+1]], p.place[p.corner[3*t+2]])
	}
}

// floor and ceil keep coordinates within what an int and the grid can hold.
func floor(x float64) int { return int(math.Floor(min(max(x, -4), 1<<20))) }
func ceil(x float64) int  { return int(math.Ceil(min(max(x, -4), 1<<20))) }

// stride is how many cells apart the samples lie that are looked at first. Where those all around a place are covered,
// so is what lies between: gaps through a surface that are narrower than stride cells may go unseen.
const stride = 3

// fill sets, in each frame's grid, the bit of every sample that the surface covers; todo is working space.
func (c *cover) fill(frames []*frame, grids, todo []*bitgrid) {
	for k, f := range frames {
		todo[k].reset(f.w, f.h)
		for j := 0; j < f.h; j += stride {
			for i := 0; i < f.w; i += stride {
				todo[k].set(i, j)
			}
		}
	}
	c.fillWanted(frames, grids, todo)
	for k := range frames {
		betweenStrides(grids[k], todo[k])
	}
	c.fillWanted(frames, grids, todo)
}

// betweenStrides fills what lies within covered samples of the first look, and leaves in todo what is still to be looked at.
func betweenStrides(g, todo *bitgrid) {
	clear(todo.word)
	coarse := func(i, j int) bool { return g.get(i*stride, j*stride) }
	for j := 0; j*stride < g.h; j++ {
		run := 0 // coarse columns up to i whose four samples from j-1 to j+2 are covered
		for i := -1; i*stride < g.w+2*stride; i++ {
			if coarse(i, j-1) && coarse(i, j) && coarse(i, j+1) && coarse(i, j+2) {
				run++
			} else {
				run = 0
			}
			// The block from coarse column i-2 is within if columns i-3 to i are.
			x0, x1 := (i-2)*stride, min((i-1)*stride, g.w)-1
			if x0 < 0 || x0 > x1 {
				continue
			}
			to := todo
			if run >= 4 {
				to = g
			}
			for y := j * stride; y < min((j+1)*stride, g.h); y++ {
				to.fill(x0, x1, y)
			}
		}
	}
	for k := range todo.word {
		todo.word[k] &^= g.word[k]
	}
}

// fillWanted looks for what covers the samples of todo, and moves those it finds covered to the grids.
func (c *cover) fillWanted(frames []*frame, grids, todo []*bitgrid) {
	c.walk(frames, func(k int, s, _ reach) bool { return todo[k].any(s.x0, s.x1, s.y0, s.y1) }, func(k int, a, b, d [2]float64) {
		// Most triangles of a sculpt are smaller than a cell and lie over no sample.
		g, want := grids[k], todo[k]
		j0, j1 := max(ceil(min(a[1], b[1], d[1])), 0), min(floor(max(a[1], b[1], d[1])), g.h-1)
		if j0 > j1 {
			return
		}
		i0, i1 := ceil(min(a[0], b[0], d[0])), floor(max(a[0], b[0], d[0]))
		if i0 > i1 || j0 == j1 && i0 == i1 && !want.get(i0, j0) {
			return
		}
		for j := j0; j <= j1; j++ {
			lo, hi := cutAt(a, b, d, 1, float64(j))
			if i, k := max(ceil(lo), 0), min(floor(hi), g.w-1); i <= k {
				g.fill(i, k, j)
				want.erase(i, k, j)
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
