package surface

import "math/bits"

// bitgrid is a grid of w by h bits, row after row.
type bitgrid struct {
	w, h int
	row  int // words a row
	word []uint64
	base []int32 // by word: bits set before it; see count
}

// reset empties the grid and gives it a size, keeping its memory.
func (g *bitgrid) reset(w, h int) {
	g.w, g.h, g.row = w, h, (w+63)/64
	n := g.row * h
	if cap(g.word) < n {
		g.word, g.base = make([]uint64, n), make([]int32, n)
	}
	g.word, g.base = g.word[:n], g.base[:n]
	clear(g.word)
}

func (g *bitgrid) get(x, y int) bool {
	return uint(x) < uint(g.w) && uint(y) < uint(g.h) && g.word[y*g.row+x>>6]>>(x&63)&1 != 0
}

func (g *bitgrid) set(x, y int) { g.word[y*g.row+x>>6] |= 1 << (x & 63) }

// span is the mask of the bits x0 to x1 that lie in word i of a row.
func span(x0, x1, i int) uint64 {
	m := ^uint64(0)
	if i == x0>>6 {
		m <<= x0 & 63
	}
	if i == x1>>6 {
		m &= ^uint64(0) >> (63 - x1&63)
	}
	return m
}

// fill sets bits x0 to x1 of row y; both are within the grid.
func (g *bitgrid) fill(x0, x1, y int) {
	for i := x0 >> 6; i <= x1>>6; i++ {
		g.word[y*g.row+i] |= span(x0, x1, i)
	}
}

// erase clears bits x0 to x1 of row y; both are within the grid.
func (g *bitgrid) erase(x0, x1, y int) {
	for i := x0 >> 6; i <= x1>>6; i++ {
		g.word[y*g.row+i] &^= span(x0, x1, i)
	}
}

// any says whether a bit is set in a rectangle, clipped to the grid.
func (g *bitgrid) any(x0, x1, y0, y1 int) bool {
	x0, y0, x1, y1 = max(x0, 0), max(y0, 0), min(x1, g.w-1), min(y1, g.h-1)
	if x0 > x1 || y0 > y1 {
		return false
	}
	for i := x0 >> 6; i <= x1>>6; i++ {
		m := span(x0, x1, i)
		for k := y0*g.row + i; k <= y1*g.row+i; k += g.row {
			if g.word[k]&m != 0 {
				return true
			}
		}
	}
	return false
}

// count readies rank and returns how many bits are set.
func (g *bitgrid) count() int {
	n := 0
	for i, w := range g.word {
		g.base[i] = int32(n)
		n += bits.OnesCount64(w)
	}
	return n
}

// rank is how many bits are set before x, y.
func (g *bitgrid) rank(x, y int) int {
	i := y*g.row + x>>6
	return int(g.base[i]) + bits.OnesCount64(g.word[i]&(1<<(x&63)-1))
}

// each calls f for every bit set in row y from x0 to x1, clipped to the grid.
func (g *bitgrid) each(x0, x1, y int, f func(x int)) {
	x0, x1 = max(x0, 0), min(x1, g.w-1)
	if x0 > x1 || uint(y) >= uint(g.h) {
		return
	}
	for i := x0 >> 6; i <= x1>>6; i++ {
		for m := g.word[y*g.row+i] & span(x0, x1, i); m != 0; m &= m - 1 {
			f(i<<6 + bits.TrailingZeros64(m))
		}
	}
}
