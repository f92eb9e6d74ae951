package texels

import (
	"math"
	"sync"
)

// Mask says of each texel of a map whether it is in: W × H bytes, 0 or 1, rows from the top.
type Mask struct {
	W, H int
	In   []uint8
}

// Count is the number of texels that are in.
func (m *Mask) Count() int {
	n := 0
	for _, v := range m.In {
		n += int(v)
	}
	return n
}

// Whole is a mask with every texel in.
func Whole(w, h int) *Mask {
	m := &Mask{W: w, H: h, In: make([]uint8, w*h)}
	for i := range m.In {
		m.In[i] = 1
	}
	return m
}

// onEdge is how far outside a triangle's edge, in texels, a middle still counts as inside: rounding of a float32 UV in a
// map of 16384 texels, 16384 · 2⁻²⁴, with neighbouring triangles rounded apart. Doubling it covers nothing that a person sees.
const onEdge = 0.001

// Cover marks the texels whose middles triangles cover. uv holds 2 a vertex, tri 3 vertices a triangle; indices must be
// in range. Where fold is true triangles repeat over the map by whole tiles, as a renderer reads them; else the map is
// the tile whose upper left corner is at UV tile, and what lies outside it is left out. Triangles with a UV that is not
// finite, or that span more than maxTiles tiles, cover nothing. Time is linear in triangles and covered texels.
func Cover(w, h int, uv []float32, tri []uint32, fold bool, tile [2]float64, threads int) *Mask {
	m := &Mask{W: w, H: h, In: make([]uint8, w*h)}
	strips(h, threads, func(from, to int) {
		for t := 0; t+2 < len(tri); t += 3 {
			var p [3][2]float64
			for k := range 3 {
				v := 2 * int(tri[t+k])
				p[k] = [2]float64{float64((float64(uv[v])-tile[0])*float64(w)) - 0.5, float64((float64(uv[v+1])-tile[1])*float64(h)) - 0.5}
			}
			m.triangle(p, fold, from, to)
		}
	})
	return m
}

// maxTiles bounds how many tiles one triangle of a repeating map may span before it is left out: a slip in the file.
const maxTiles = 64

func (m *Mask) triangle(p [3][2]float64, fold bool, from, to int) {
	lo := min(p[0][1], p[1][1], p[2][1])
	hi := max(p[0][1], p[1][1], p[2][1])
	left := min(p[0][0], p[1][0], p[2][0])
	right := max(p[0][0], p[1][0], p[2][0])
	if !(hi-lo <= float64(maxTiles*m.H)) || !(right-left <= float64(maxTiles*m.W)) ||
		!(math.Abs(lo) < 1e9) || !(math.Abs(left) < 1e9) {
		return
	}
	first, last := int(math.Ceil(lo-onEdge)), int(math.Floor(hi+onEdge))
	if !fold {
		first, last = max(first, from), min(last, to-1)
	}
	for y := first; y <= last; y++ {
		row := y
		if fold {
			if row = mod(y, m.H); row < from || row >= to {
				continue
			}
		}
		a, b := span(p, float64(y))
		x0, x1 := int(math.Ceil(a-onEdge)), int(math.Floor(b+onEdge))
		in := m.In[row*m.W : (row+1)*m.W]
		if !fold || x0 >= 0 && x1 < m.W {
			for x := max(x0, 0); x <= min(x1, m.W-1); x++ {
				in[x] = 1
			}
			continue
		}
		for x := x0; x <= x1 && x < x0+m.W; x++ {
			in[mod(x, m.W)] = 1
		}
	}
}

// span is where a line of constant y cuts a triangle; empty (a > b) where it does not.
func span(p [3][2]float64, y float64) (a, b float64) {
	a, b = math.Inf(1), math.Inf(-1)
	for k := range 3 {
		q, r := p[k], p[(k+1)%3]
		if q[1] > r[1] {
			q, r = r, q
		}
		if y < q[1]-onEdge || y > r[1]+onEdge {
			continue
		}
		if r[1]-q[1] < 1e-12 {
			a, b = min(a, q[0], r[0]), max(b, q[0], r[0])
			continue
		}
		t := min(1, max(0, (y-q[1])/(r[1]-q[1])))
		x := q[0] + float64(t*(r[0]-q[0]))
		a, b = min(a, x), max(b, x)
	}
	return a, b
}

func mod(a, n int) int {
	if a %= n; a < 0 {
		a += n
	}
	return a
}

// strips runs fn over [0, rows) in as many pieces as there are threads.
func strips(rows, threads int, fn func(from, to int)) {
	threads = max(1, min(threads, rows/8))
	if threads == 1 {
		fn(0, rows)
		return
	}
	var wg sync.WaitGroup
	for t := range threads {
		wg.Go(func() { fn(t*rows/threads, (t+1)*rows/threads) })
	}
	wg.Wait()
}

// summed runs fn over strips of rows and returns what each made, in order: fixed strips, so that sums do not depend on
// the number of threads.
func summed[T any](rows, threads int, fn func(from, to int) T) []T {
	const rowsEach = 64
	out := make([]T, (rows+rowsEach-1)/rowsEach)
	eachOf(len(out), threads, func(i int) { out[i] = fn(i*rowsEach, min((i+1)*rowsEach, rows)) })
	return out
}

func eachOf(n, threads int, fn func(i int)) {
	threads = max(1, min(threads, n))
	var wg sync.WaitGroup
	for t := range threads {
		wg.Go(func() {
			for i := t; i < n; i += threads {
				fn(i)
			}
		})
	}
	wg.Wait()
}
