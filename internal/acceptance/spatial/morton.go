package spatial

import "sync"

// Order along a Morton (Z-order) curve: G. M. Morton, "A computer oriented geodetic data base", IBM, 1966. Neighbours
// on the curve are mostly neighbours in space, so that a tree's leaves are close together in memory and so that
// consecutive queries walk the same nodes.

// curveBits is the resolution of the curve along each axis: three times ten bits fit the upper half of an entry.
const curveBits = 10

// An entry is a place on the curve in the upper 32 bits and an index in the lower 32.
type entry = uint64

// grid maps positions to places on the curve. Positions outside are clamped to its border.
type grid struct {
	lo    [3]float32
	scale float32 // cells per unit of length, the same along each axis
}

func newGrid(lo, hi [3]float32) grid {
	b := box{lo, hi}
	g := grid{lo: lo}
	if widest := b.widest(); widest > 0 {
		g.scale = (1<<curveBits - 0.5) / widest
	}
	if !finite(g.scale) {
		g.scale = 0
	}
	return g
}

func (g *grid) place(x, y, z float32) uint32 {
	return spread(g.cell(x, 0))<<2 | spread(g.cell(y, 1))<<1 | spread(g.cell(z, 2))
}

func (g *grid) cell(x float32, axis int) uint32 {
	c := (x - g.lo[axis]) * g.scale
	if !(c > 0) {
		return 0
	}
	if c >= 1<<curveBits {
		return 1<<curveBits - 1
	}
	return uint32(int32(c))
}

// spread puts two zero bits between each of the ten lowest bits.
func spread(x uint32) uint32 {
	x = (x | x<<16) & 0x030000FF
	x = (x | x<<8) & 0x0300F00F
	x = (x | x<<4) & 0x030C30C3
	return (x | x<<2) & 0x09249249
}

// sortEntries sorts by place, and by the order given among equal places, which makes the result independent of the
// number of threads: a radix sort from the least significant digit. spare must be as long; one of the two is returned.
func sortEntries(a, spare []entry, threads int) []entry {
	const digits = 1 << curveBits
	parts := threads
	if len(a) < 1<<14 {
		parts = 1
	}
	counts := make([][digits]int32, parts)
	part := func(i int) (int, int) { return len(a) * i / parts, len(a) * (i + 1) / parts }
	for shift := 32; shift < 32+3*curveBits; shift += curveBits {
		each(parts, func(i int) {
			c := &counts[i]
			*c = [digits]int32{}
			b, e := part(i)
			for _, x := range a[b:e] {
				c[x>>shift&(digits-1)]++
			}
		})
		var sum int32
		for d := range digits {
			for i := range parts {
				counts[i][d], sum = sum, sum+counts[i][d]
			}
		}
		each(parts, func(i int) {
			c := &counts[i]
			b, e := part(i)
			for _, x := range a[b:e] {
				d := x >> shift & (digits - 1)
				spare[c[d]] = x
				c[d]++
			}
		})
		a, spare = spare, a
	}
	return a
}

// each calls f(0) to f(n-1), all at once.
func each(n int, f func(i int)) {
	if n == 1 {
		f(0)
		return
	}
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() { f(i) })
	}
	wg.Wait()
}
