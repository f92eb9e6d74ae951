package surface

import "math"

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
		most += math.Abs(mid[k] / px)
	}
	return f.boxed((most + 2*float64(max(w, h)) + 4) * 0x1p-20)
}

// boxed fills in what rect needs.
func (f frame) boxed(pad float64) frame {
	for k := range 3 {
		f.r32[k], f.u32[k] = float32(f.r[k]), float32(f.u[k])
		f.ra[k], f.ua[k] = float32(math.Abs(f.r[k])), float32(math.Abs(f.u[k]))
	}
	f.x32, f.y32, f.pad = float32(f.x0), float32(f.y0), float32(pad)
	f.xMax, f.yMax = float32(f.w-1), float32(f.h-1)
	return f
}

func (f *frame) place(p vec) (x, y float64) { return dot(p, f.r) + f.x0, dot(p, f.u) + f.y0 }

// rect is what a box covers at most, in grid units; false where it lies off the grid. It is worked out in float32 and
// padded by more than that rounds: coordinates below 2^12 cells, a dozen roundings of 2^-24.
func (f *frame) rect(b *halfBox, r *area32) bool {
	m, h := &b.mid, &b.half
	x := float32(f.r32[0]*m[0]) + float32(f.r32[1]*m[1]) + float32(f.r32[2]*m[2]) + f.x32
	y := float32(f.u32[0]*m[0]) + float32(f.u32[1]*m[1]) + float32(f.u32[2]*m[2]) + f.y32
	dx := float32(f.ra[0]*h[0]) + float32(f.ra[1]*h[1]) + float32(f.ra[2]*h[2]) + f.pad
	dy := float32(f.ua[0]*h[0]) + float32(f.ua[1]*h[1]) + float32(f.ua[2]*h[2]) + f.pad
	r.x0, r.x1, r.y0, r.y1 = x-dx, x+dx, y-dy, y+dy
	return r.x1 >= 0 && r.y1 >= 0 && r.x0 <= f.xMax && r.y0 <= f.yMax
}

// coarse is the frame of every stride-th sample.
func (f *frame) coarse() frame {
	const s = 1.0 / stride
	c := *f
	c.w, c.h, c.px = (f.w+stride-1)/stride, (f.h+stride-1)/stride, f.px*stride
	c.r, c.u, c.x0, c.y0 = scale(f.r, s), scale(f.u, s), f.x0*s, f.y0*s
	return c.boxed(float64(f.pad) * s)
}

// area32 is a rectangle in grid units.
type area32 struct{ x0, x1, y0, y1 float32 }

// samples are the first and last samples within, cells the first and last cells touched; both clipped below and left.
func (r *area32) samples() (x0, x1, y0, y1 int) {
	x0, x1, y0, y1 = r.cells()
	if float32(x0) < r.x0 {
		x0++
	}
	if float32(y0) < r.y0 {
		y0++
	}
	return x0, x1, y0, y1
}

func (r *area32) cells() (x0, x1, y0, y1 int) {
	const far = 1 << 20
	return int(max(r.x0, 0)), int(min(r.x1, far)), int(max(r.y0, 0)), int(min(r.y1, far))
}

// sieve says which triangles of a box are worth showing.
type sieve uint8

const (
	anywhere   sieve = iota
	overLine         // those whose box holds a row or a column of samples
	overSample       // those whose box holds a sample
)

// walk shows a surface to several frames at once: draw is called for every frame and triangle in a box that ask says is
// worth it, at each of the three sizes of box. Boxes and vertices are read once for all frames.
func (c *cover) walk(frames []*frame, which sieve, ask func(k int, r *area32) bool, draw func(k int, t *shown)) {
	all, inLarge, inMiddle, inSmall := make([]int32, len(frames)), make([]int32, 0, len(frames)), make([]int32, 0, len(frames)), make([]int32, 0, len(frames))
	for k := range all {
		all[k] = int32(k)
	}
	var r area32
	wanted := func(from, to []int32, b *halfBox) []int32 {
		to = to[:0]
		for _, k := range from {
			if frames[k].rect(b, &r) && ask(int(k), &r) {
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
		for m := l * largeMiddle; m < min((l+1)*largeMiddle, len(c.middle)); m++ {
			if inMiddle = wanted(inLarge, inMiddle, &c.middle[m]); len(inMiddle) == 0 {
				continue
			}
			for s := m * middleSmall; s < min((m+1)*middleSmall, len(c.small)); s++ {
				if inSmall = wanted(inMiddle, inSmall, &c.small[s]); len(inSmall) == 0 {
					continue
				}
				pack.load(c, s)
				for _, k := range inSmall {
					pack.place(frames[k])
					pack.show(int(k), which, draw)
				}
			}
		}
	}
}

// spot is a vertex on the grid, with its coordinates rounded down and up.
type spot struct {
	x, y           float64
	fx, fy, cx, cy int32
}

// rounded gives x rounded down and up. What lies farther off the grid than far is off it all the same.
func rounded(x float64) (down, up int32) {
	const far = 1 << 30
	if x < -far { // no built-in min and max, which take care of NaN and signed zeros and cost more than the rounding
		x = -far
	} else if x > far {
		x = far
	}
	down = int32(x)
	if float64(down) > x {
		down--
	}
	up = down
	if float64(up) < x {
		up++
	}
	return down, up
}

// shown is a triangle on the grid. Samples x0 to x1 and y0 to y1 lie within its box, and it touches cells fx to x1 and fy to y1.
type shown struct {
	a, b, d                *spot
	x0, x1, y0, y1, fx, fy int
}

// smallPack is the triangles of a small box with each vertex once.
type smallPack struct {
	triangles, vertices int
	corner              [3 * smallTris]uint8 // of vertex
	number              [3 * smallTris]uint32
	at                  [3 * smallTris]vec
	spot                [3 * smallTris]spot
	tri                 shown
}

func (p *smallPack) load(c *cover, s int) {
	tri := c.tri[3*c.first[s] : 3*(c.first[s]+uint32(c.count[s]))]
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

// place puts the vertices on a frame's grid, as frame.place does.
func (p *smallPack) place(f *frame) {
	r0, r1, r2, u0, u1, u2, x0, y0 := f.r[0], f.r[1], f.r[2], f.u[0], f.u[1], f.u[2], f.x0, f.y0
	for i := range p.at[:p.vertices] {
		q, s := &p.at[i], &p.spot[i]
		s.x = float64(q[0]*r0) + float64(q[1]*r1) + float64(q[2]*r2) + x0
		s.y = float64(q[0]*u0) + float64(q[1]*u1) + float64(q[2]*u2) + y0
		s.fx, s.cx = rounded(s.x)
		s.fy, s.cy = rounded(s.y)
	}
}

// show draws the triangles that are worth it.
func (p *smallPack) show(k int, which sieve, draw func(k int, t *shown)) {
	t := &p.tri
	for i := 0; i < 3*p.triangles; i += 3 {
		a, b, d := &p.spot[p.corner[i]], &p.spot[p.corner[i+1]], &p.spot[p.corner[i+2]]
		x0, x1 := min(a.cx, b.cx, d.cx), max(a.fx, b.fx, d.fx)
		if which == overSample && x0 > x1 {
			continue
		}
		y0, y1 := min(a.cy, b.cy, d.cy), max(a.fy, b.fy, d.fy)
		// Most triangles of a sculpt are smaller than a cell and lie over no sample.
		if y0 > y1 && (which == overSample || which == overLine && x0 > x1) {
			continue
		}
		t.a, t.b, t.d = a, b, d
		t.x0, t.y0, t.x1, t.y1 = int(x0), int(y0), int(x1), int(y1)
		t.fx, t.fy = int(min(a.fx, b.fx, d.fx)), int(min(a.fy, b.fy, d.fy))
		draw(k, t)
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
	n := len(frames)
	rough, coarse := make([]frame, n), make([]*frame, n)
	seen, unseen := make([]bitgrid, n), make([]bitgrid, n)
	seenAt, unseenAt := make([]*bitgrid, n), make([]*bitgrid, n)
	for k, f := range frames {
		rough[k] = f.coarse()
		coarse[k], seenAt[k], unseenAt[k] = &rough[k], &seen[k], &unseen[k]
		seen[k].reset(rough[k].w, rough[k].h)
		unseen[k].reset(rough[k].w, rough[k].h)
		for j := range rough[k].h {
			unseen[k].fill(0, rough[k].w-1, j)
		}
	}
	c.fillWanted(coarse, seenAt, unseenAt)
	for k, f := range frames {
		todo[k].reset(f.w, f.h)
		betweenStrides(&seen[k], grids[k], todo[k])
	}
	c.fillWanted(frames, grids, todo)
}

// betweenStrides fills what lies within covered samples of the first look, and leaves in todo what is still to be looked at.
func betweenStrides(seen, g, todo *bitgrid) {
	for j := 0; j*stride < g.h; j++ {
		run := 0 // coarse columns up to i whose four samples from j-1 to j+2 are covered
		for i := -1; i*stride < g.w+2*stride; i++ {
			if seen.get(i, j-1) && seen.get(i, j) && seen.get(i, j+1) && seen.get(i, j+2) {
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
}

// fillWanted looks for what covers the samples of todo, and moves those it finds covered to the grids.
func (c *cover) fillWanted(frames []*frame, grids, todo []*bitgrid) {
	c.walk(frames, overSample, func(k int, r *area32) bool { return todo[k].any(r.samples()) }, func(k int, t *shown) {
		g, want := grids[k], todo[k]
		if t.y0 == t.y1 && t.x0 == t.x1 && !want.get(t.x0, t.y0) {
			return
		}
		for j := max(t.y0, 0); j <= min(t.y1, g.h-1); j++ {
			lo, hi := t.cutRow(float64(j))
			if i, k := max(ceil(lo), 0), min(floor(hi), g.w-1); i <= k {
				g.fill(i, k, j)
				want.erase(i, k, j)
			}
		}
	})
}

// cutRow is where row y cuts a triangle, cutColumn where column x does: lo > hi for nowhere.
func (t *shown) cutRow(y float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	lo, hi = cutEdge(t.a.y, t.a.x, t.b.y, t.b.x, y, lo, hi)
	lo, hi = cutEdge(t.b.y, t.b.x, t.d.y, t.d.x, y, lo, hi)
	return cutEdge(t.d.y, t.d.x, t.a.y, t.a.x, y, lo, hi)
}

func (t *shown) cutColumn(x float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	lo, hi = cutEdge(t.a.x, t.a.y, t.b.x, t.b.y, x, lo, hi)
	lo, hi = cutEdge(t.b.x, t.b.y, t.d.x, t.d.y, x, lo, hi)
	return cutEdge(t.d.x, t.d.y, t.a.x, t.a.y, x, lo, hi)
}

// cutEdge widens lo to hi by where the edge from (p, s) to (q, t) has its first coordinate at v. An edge is taken from its
// lower end, so that both triangles of an edge are cut at the same place.
func cutEdge(p, s, q, t, v, lo, hi float64) (float64, float64) {
	if p > q || p == q && s > t {
		p, s, q, t = q, t, p, s
	}
	switch {
	case p > v || v > q:
		return lo, hi
	case p == q:
		return lower(lo, s), higher(hi, t)
	}
	x := s + float64((v-p)*((t-s)/(q-p)))
	return lower(lo, x), higher(hi, x)
}

// lower and higher are minimum and maximum without the care for NaN and signed zeros that the built-in ones take.
func lower(a, b float64) float64 {
	if b < a {
		return b
	}
	return a
}

func higher(a, b float64) float64 {
	if b > a {
		return b
	}
	return a
}
