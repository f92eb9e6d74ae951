package raster

import (
	"math"
	"sync/atomic"
)

// Fixed point: 8 bits below the pixel. Coordinates beyond guardPx are left out; 2^21 pixels are 2^29 units, so
// differences fit 2^30, their products 2^60 and the sum of two products an int64.
const (
	subBits = 8
	subUnit = 1 << subBits
	guardPx = 1 << 21
)

// vertex is a projected vertex: 24.8 pixel coordinates and nearness. A vertex that cannot be drawn has x = outside.
type vertex struct {
	x, y int32
	near float32
}

const outside = math.MinInt32

// Screen holds projected vertices; it is reused from one projection to the next.
type Screen struct{ v []vertex }

// Project projects all vertices of a mesh: three floats each. 12 bytes of scratch a vertex.
func (s *Screen) Project(view *View, pos []float32, threads int) {
	s.grow(len(pos) / 3)
	parallel(len(s.v), 1<<14, threads, func(first, end int) {
		r, u, b := view.Right, view.Up, view.Back
		// The eye's own coordinates are taken off after the turn: three subtractions less a vertex.
		er, eu, eb := dot(view.Eye, r), dot(view.Eye, u), dot(view.Eye, b)
		for i := first; i < end; i++ {
			p := pos[3*i : 3*i+3 : 3*i+3]
			x, y, z := float64(p[0]), float64(p[1]), float64(p[2])
			lx := float64(x*r[0]) + float64(y*r[1]) + float64(z*r[2]) - er
			ly := float64(x*u[0]) + float64(y*u[1]) + float64(z*u[2]) - eu
			near := float64(x*b[0]) + float64(y*b[1]) + float64(z*b[2]) - eb
			k := view.Scale
			if view.Perspective {
				if !(near < -nearM) {
					s.v[i].x = outside
					continue
				}
				near = -1 / near
				k *= near
			}
			s.v[i] = toFixed(view.CX+float64(lx*k), view.CY-float64(ly*k), near)
		}
	})
}

// Flat takes points that are already in pixels: two floats each, stride floats apart, mapped by p*scale + shift.
// All of them are equally near.
func (s *Screen) Flat(xy []float32, scale, shift [2]float64) {
	s.grow(len(xy) / 2)
	for i := range s.v {
		x, y := float64(xy[2*i]), float64(xy[2*i+1])
		s.v[i] = toFixed(float64(x*scale[0])+shift[0], float64(y*scale[1])+shift[1], 0)
	}
}

func (s *Screen) grow(n int) {
	if cap(s.v) < n {
		s.v = make([]vertex, n)
	}
	s.v = s.v[:n]
}

func toFixed(x, y, near float64) vertex {
	n := float32(near)
	// Written so that NaN fails; an infinite nearness would make its neighbours NaN.
	if !(x > -guardPx && x < guardPx && y > -guardPx && y < guardPx && n > -math.MaxFloat32 && n < math.MaxFloat32) {
		return vertex{x: outside}
	}
	const up = guardPx * subUnit // makes the sum positive: truncation is then rounding down
	return vertex{
		x:    int32(int64(float64(x*subUnit)+(up+0.5)) - up),
		y:    int32(int64(float64(y*subUnit)+(up+0.5)) - up),
		near: n,
	}
}

// Cull says which faces are left out.
type Cull uint8

// The ways of culling.
const (
	CullBack  Cull = iota // draw faces that run counter-clockwise on the screen
	CullFront             // draw the others
	CullNone              // draw both
)

// Job is one mesh to be drawn from projected vertices.
type Job struct {
	Screen *Screen
	Tri    []uint32 // three vertex numbers a triangle
	First  uint32   // number of the first triangle; First + triangles must stay below Empty
	Cull   Cull
	// Keep, where set, is asked for every sample: triangle number (from First on) and corner weights, right in perspective too.
	// It is for cut-outs and slow; it is called from several goroutines.
	Keep func(id uint32, w [3]float32) bool
}

// Draw draws a mesh into the buffer and returns how many triangles were left out because a vertex could not be
// projected or does not exist. Nothing is allocated per triangle.
//
// There are two ways to share the work, with the same result. Few triangles are large: each goroutine owns bands of
// rows, looks at every triangle and needs no locked instruction. Many triangles are small: each goroutine owns triangles and
// writes by compare-and-swap, of which there are few.
func (b *Buffer) Draw(j Job, threads int) (left int) {
	const bandRows, few = 64, 1 << 16
	n := len(j.Tri) / 3
	if threads <= 1 {
		return b.drawRange(j, 0, n, 0, b.H, false)
	}
	var out atomic.Int64
	if n <= few {
		parallel(b.H, bandRows, threads, func(first, end int) {
			l := b.drawRange(j, 0, n, first, end, false)
			if first == 0 {
				out.Store(int64(l))
			}
		})
		return int(out.Load())
	}
	parallel(n, 1<<13, threads, func(first, end int) {
		out.Add(int64(b.drawRange(j, first, end, 0, b.H, true)))
	})
	return int(out.Load())
}

// drawRange draws the triangles [first, end) into the rows [top, bottom).
func (b *Buffer) drawRange(j Job, first, end, top, bottom int, shared bool) (left int) {
	v := j.Screen.v
	n := uint32(len(v))
	limX, limTop, limY := int32(b.W-1), int32(top), int32(bottom-1)
	for t := first; t < end; t++ {
		ids := j.Tri[3*t : 3*t+3 : 3*t+3]
		if ids[0] >= n || ids[1] >= n || ids[2] >= n {
			left++
			continue
		}
		p0, p1, p2 := v[ids[0]], v[ids[1]], v[ids[2]]
		if p0.x == outside || p1.x == outside || p2.x == outside {
			left++
			continue
		}
		area := int64(p1.x-p0.x)*int64(p2.y-p0.y) - int64(p2.x-p0.x)*int64(p1.y-p0.y)
		// y runs down, so counter-clockwise on the screen is a negative area here.
		if area == 0 || area > 0 && j.Cull == CullBack || area < 0 && j.Cull == CullFront {
			continue
		}
		// Small triangles between sample columns or rows are the most frequent case of a sculpt: with all samples
		// of a pixel within it, nothing can be hit unless the box reaches over one of them.
		minX, maxX := min(p0.x, p1.x, p2.x), max(p0.x, p1.x, p2.x)
		minY, maxY := min(p0.y, p1.y, p2.y), max(p0.y, p1.y, p2.y)
		c := corners{p0: p0, p1: p1, p2: p2, area: area, key: uint64(^(j.First + uint32(t)))}
		if area < 0 {
			c.p1, c.p2, c.area, c.swapped = p2, p1, -area, true
		}
		for s, o := range b.Offsets {
			x0, x1 := max((minX-o.X+subUnit-1)>>subBits, 0), min((maxX-o.X)>>subBits, limX)
			y0, y1 := max((minY-o.Y+subUnit-1)>>subBits, limTop), min((maxY-o.Y)>>subBits, limY)
			if x0 > x1 || y0 > y1 {
				continue
			}
			layer := b.keys[s*b.W*b.H : (s+1)*b.W*b.H]
			if j.Keep == nil {
				c.fill(layer, b.W, o, x0, y0, x1, y1, shared)
			} else {
				c.fillKeep(layer, b.W, o, x0, y0, x1, y1, j.Keep)
			}
		}
	}
	return left
}

// corners is one triangle, turned so that its area is positive, with twice that area in 1/65536 square pixels.
type corners struct {
	p0, p1, p2 vertex
	area       int64
	key        uint64
	swapped    bool
}

// edge is the line from a to b as a function that is positive on the inner side: value at the first sample, change by a pixel
// to the right and down, and 1 where the fill rule gives the edge's own points to the neighbour.
func edge(a, b vertex, x, y int64) (e, dx, dy, bias int64) {
	ex, ey := int64(b.x-a.x), int64(b.y-a.y)
	e = ex*(y-int64(a.y)) - ey*(x-int64(a.x))
	if !(ey < 0 || ey == 0 && ex > 0) { // neither a left nor a top edge
		bias = 1
	}
	return e - bias, -ey << subBits, ex << subBits, bias
}

func (c *corners) fill(layer []uint64, w int, o Offset, x0, y0, x1, y1 int32, shared bool) {
	sx, sy := int64(x0)<<subBits+int64(o.X), int64(y0)<<subBits+int64(o.Y)
	e0, dx0, dy0, _ := edge(c.p1, c.p2, sx, sy)
	e1, dx1, dy1, b1 := edge(c.p2, c.p0, sx, sy)
	e2, dx2, dy2, b2 := edge(c.p0, c.p1, sx, sy)
	inv := 1 / float64(c.area)
	near := float64(c.p0.near)
	n1, n2 := (float64(c.p1.near)-near)*inv, (float64(c.p2.near)-near)*inv
	for y := y0; y <= y1; y++ {
		row := layer[int(y)*w+int(x0) : int(y)*w+int(x1)+1]
		a0, a1, a2 := e0, e1, e2
		entered := false
		for i := range row {
			if a0|a1|a2 >= 0 {
				entered = true
				z := near + float64(float64(a1+b1)*n1) + float64(float64(a2+b2)*n2)
				key := uint64(keyOf(float32(z)))<<32 | c.key
				if shared {
					raise(&row[i], key)
				} else if key > row[i] {
					row[i] = key
				}
			} else if entered {
				break // a triangle has one span in a row
			}
			a0, a1, a2 = a0+dx0, a1+dx1, a2+dx2
		}
		e0, e1, e2 = e0+dy0, e1+dy1, e2+dy2
	}
}

func (c *corners) fillKeep(layer []uint64, w int, o Offset, x0, y0, x1, y1 int32, keep func(uint32, [3]float32) bool) {
	sx, sy := int64(x0)<<subBits+int64(o.X), int64(y0)<<subBits+int64(o.Y)
	inv := 1 / float64(c.area)
	near := [3]float64{float64(c.p0.near), float64(c.p1.near), float64(c.p2.near)}
	id := ^uint32(c.key)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			px, py := sx+int64(x-x0)<<subBits, sy+int64(y-y0)<<subBits
			e0, _, _, b0 := edge(c.p1, c.p2, px, py)
			e1, _, _, b1 := edge(c.p2, c.p0, px, py)
			e2, _, _, b2 := edge(c.p0, c.p1, px, py)
			if e0|e1|e2 < 0 {
				continue
			}
			f := [3]float64{float64(e0+b0) * inv, float64(e1+b1) * inv, float64(e2+b2) * inv}
			z := near[0] + float64(f[1]*(near[1]-near[0])) + float64(f[2]*(near[2]-near[0]))
			// Where nearness is 1/distance, screen weights times it are in proportion to the true weights.
			if near[0] > 0 && near[1] > 0 && near[2] > 0 {
				g := [3]float64{float64(f[0] * near[0]), float64(f[1] * near[1]), float64(f[2] * near[2])}
				s := 1 / (g[0] + g[1] + g[2])
				f = [3]float64{g[0] * s, g[1] * s, g[2] * s}
			}
			if c.swapped {
				f[1], f[2] = f[2], f[1]
			}
			if keep(id, [3]float32{float32(f[0]), float32(f[1]), float32(f[2])}) {
				raise(&layer[int(y)*w+int(x)], uint64(keyOf(float32(z)))<<32|c.key)
			}
		}
	}
}

// raise sets *at to the larger of itself and key, safely among goroutines. A maximum does not depend on the order.
func raise(at *uint64, key uint64) {
	for {
		old := atomic.LoadUint64(at)
		if key <= old || atomic.CompareAndSwapUint64(at, old, key) {
			return
		}
	}
}
