package surface

import (
	"context"
	"slices"
)

// cover is a surface laid out for being drawn many times: boxes over runs of up to 8 triangles as they lie in the file, put in
// order along a space-filling curve, boxes over 8 of those and over 16 of those again. Whatever is drawn skips what its boxes
// show to be settled. Triangles with a corner that is not finite are left out.
type cover struct {
	pos    []float32
	tri    []uint32
	small  []halfBox
	first  []uint32 // by small box: its first triangle
	count  []uint8  // and how many
	middle []halfBox
	large  []halfBox
}

// halfBox is a box by its middle and half sizes.
type halfBox struct{ mid, half [3]float32 }

const (
	smallTris   = 8
	middleSmall = 8
	largeMiddle = 16
)

// jump is how many times the largest triangle of a run its box may measure: beyond that the file went on somewhere else.
// Eight neighbours in a strip measure four to five.
const jump = 6

func newCover(ctx context.Context, pos []float32, tri []uint32, threads int) (*cover, error) {
	n := len(tri) / 3
	parts := make([]cover, pieces(n))
	err := eachPiece(ctx, n, threads, func(_, piece, first, end int) {
		c := &parts[piece]
		c.pos, c.tri = pos, tri
		c.group(first, end)
	})
	if err != nil {
		return nil, err
	}
	flat := &cover{}
	for i := range parts {
		flat.small, flat.first, flat.count = append(flat.small, parts[i].small...), append(flat.first, parts[i].first...), append(flat.count, parts[i].count...)
		parts[i] = cover{}
	}
	c := flat.sorted()
	c.pos, c.tri = pos, tri
	c.middle = over(c.small, middleSmall)
	c.large = over(c.middle, largeMiddle)
	return c, nil
}

// group cuts triangles [first, end) into runs.
func (c *cover) group(first, end int) {
	n := (end - first) / 4
	c.small, c.first, c.count = make([]halfBox, 0, n), make([]uint32, 0, n), make([]uint8, 0, n)
	var run corners
	from, count, mostSq := first, 0, float32(0)
	flush := func() {
		if count > 0 {
			c.small, c.first, c.count = append(c.small, run.halved()), append(c.first, uint32(from)), append(c.count, uint8(count))
		}
		count, mostSq = 0, 0
	}
	for t := first; t < end; t++ {
		v := c.tri[3*t : 3*t+3]
		p, q, r := c.pos[3*v[0]:3*v[0]+3], c.pos[3*v[1]:3*v[1]+3], c.pos[3*v[2]:3*v[2]+3]
		var b corners
		sum := float32(0)
		for k := range 3 {
			b.lo[k], b.hi[k] = min(p[k], q[k], r[k]), max(p[k], q[k], r[k])
			sum += p[k] - p[k] + (q[k] - q[k]) + (r[k] - r[k])
		}
		if sum != 0 { // NaN: a corner is not finite
			flush()
			continue
		}
		sizeSq := b.sizeSq()
		if count > 0 {
			joined := run
			for k := range 3 {
				joined.lo[k], joined.hi[k] = min(run.lo[k], b.lo[k]), max(run.hi[k], b.hi[k])
			}
			if count == smallTris || joined.sizeSq() > jump*jump*max(mostSq, sizeSq) {
				flush()
			} else {
				b = joined
			}
		}
		if count == 0 {
			from = t
		}
		run, mostSq = b, max(mostSq, sizeSq)
		count++
	}
	flush()
}

// corners are the lowest and highest corner of a box, as stored.
type corners struct{ lo, hi [3]float32 }

func (c *corners) sizeSq() float32 {
	x, y, z := c.hi[0]-c.lo[0], c.hi[1]-c.lo[1], c.hi[2]-c.lo[2]
	return float32(x*x) + float32(y*y) + float32(z*z)
}

func (c *corners) halved() halfBox { return halved(box{wide(c.lo), wide(c.hi)}) }

func halved(b box) halfBox {
	var h halfBox
	for k := range 3 {
		h.mid[k] = float32((b.lo[k] + b.hi[k]) / 2)
		// Rounded up: the box must hold what it held.
		h.half[k] = float32(max(b.hi[k]-float64(h.mid[k]), float64(h.mid[k])-b.lo[k])) * (1 + 0x1p-20)
	}
	return h
}

// sorted is c with its small boxes in the order of the Morton codes of their middles.
func (c *cover) sorted() *cover {
	all := emptyBox()
	for i := range c.small {
		all.add(wide(c.small[i].mid))
	}
	keys := make([]uint64, len(c.small)) // code above, number below
	for i := range c.small {
		var code uint64
		for k := range 3 {
			if size := all.hi[k] - all.lo[k]; size > 0 {
				code |= spreadBits(uint64((float64(c.small[i].mid[k])-all.lo[k])/size*1023)) << k
			}
		}
		keys[i] = code<<32 | uint64(i)
	}
	slices.Sort(keys)
	s := &cover{small: make([]halfBox, len(keys)), first: make([]uint32, len(keys)), count: make([]uint8, len(keys))}
	for i, k := range keys {
		o := uint32(k)
		s.small[i], s.first[i], s.count[i] = c.small[o], c.first[o], c.count[o]
	}
	return s
}

// over puts a box over every n boxes.
func over(boxes []halfBox, n int) []halfBox {
	out := make([]halfBox, 0, (len(boxes)+n-1)/n)
	for i := 0; i < len(boxes); i += n {
		b := emptyBox()
		for _, h := range boxes[i:min(i+n, len(boxes))] {
			for k := range 3 {
				b.lo[k] = min(b.lo[k], float64(h.mid[k])-float64(h.half[k]))
				b.hi[k] = max(b.hi[k], float64(h.mid[k])+float64(h.half[k]))
			}
		}
		out = append(out, halved(b))
	}
	return out
}

// spreadBits puts two zero bits behind each of ten bits.
func spreadBits(x uint64) uint64 {
	x &= 1023
	x = (x | x<<16) & 0x30000ff
	x = (x | x<<8) & 0x300f00f
	x = (x | x<<4) & 0x30c30c3
	return (x | x<<2) & 0x9249249
}
