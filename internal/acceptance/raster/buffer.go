package raster

import (
	"math"
	"sync"
	"sync/atomic"
)

// Empty is the triangle number of a sample that nothing covers.
const Empty = math.MaxUint32

// Offset is the place of a sample in its pixel, in 1/256 pixel from the pixel's upper left corner.
type Offset struct{ X, Y int32 }

// Sample patterns. Four and Eight place one sample in each row and each column of a 4x4 and an 8x8 grid, so that
// edges near to upright and level still show four and eight steps.
var (
	One   = []Offset{{128, 128}}
	Four  = []Offset{{96, 32}, {224, 96}, {32, 160}, {160, 224}}
	Eight = []Offset{{144, 16}, {48, 48}, {240, 80}, {112, 112}, {208, 144}, {16, 176}, {176, 208}, {80, 240}}
)

// Buffer remembers for every sample of every pixel which triangle is nearest there, and how near.
type Buffer struct {
	W, H    int
	Offsets []Offset

	// keys holds one layer of W*H for each sample: nearness in the upper half, the complement of the triangle's
	// number in the lower, so that the nearest, and of equals the lowest, is the largest key. Zero is empty.
	keys []uint64
}

// NewBuffer makes an empty buffer. Offsets must be one of the patterns or lie within the pixel.
func NewBuffer(w, h int, offsets []Offset) *Buffer {
	b := &Buffer{}
	b.Reset(w, h, offsets)
	return b
}

// Reset empties the buffer and gives it a new size, keeping its memory where that is enough.
func (b *Buffer) Reset(w, h int, offsets []Offset) {
	w, h = max(w, 0), max(h, 0)
	n := w * h * len(offsets)
	if cap(b.keys) < n {
		b.keys = make([]uint64, n)
	} else {
		b.keys = b.keys[:n]
		clear(b.keys)
	}
	b.W, b.H, b.Offsets = w, h, offsets
}

// At returns the number of the triangle that a sample sees, Empty for none, and how near it is (-Inf for none).
func (b *Buffer) At(sample, x, y int) (id uint32, near float32) {
	key := b.keys[(sample*b.H+y)*b.W+x]
	if key == 0 {
		return Empty, float32(math.Inf(-1))
	}
	return ^uint32(key), nearOf(uint32(key >> 32))
}

// keyOf maps a nearness to an integer of the same order. It is never 0.
func keyOf(near float32) uint32 {
	bits := math.Float32bits(near)
	if bits&0x80000000 != 0 {
		return ^bits
	}
	return bits | 0x80000000
}

func nearOf(key uint32) float32 {
	if key&0x80000000 != 0 {
		return math.Float32frombits(key &^ 0x80000000)
	}
	return math.Float32frombits(^key)
}

// parallel calls work for consecutive pieces of [0, n) of at most size, on the given number of goroutines.
func parallel(n, size, threads int, work func(first, end int)) {
	if n <= 0 {
		return
	}
	pieces := (n + size - 1) / size
	threads = min(max(threads, 1), pieces)
	if threads == 1 {
		work(0, n)
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range threads {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= pieces {
					return
				}
				work(i*size, min((i+1)*size, n))
			}
		})
	}
	wg.Wait()
}

// parallelTiles calls work for square tiles of a w by h grid. Tiles keep what neighbouring pixels read close together
// in the processor's caches: rows of a whole picture would run through every lamp's map again and again.
func parallelTiles(w, h, side, threads int, work func(x0, y0, x1, y1 int)) {
	across := (w + side - 1) / side
	down := (h + side - 1) / side
	parallel(across*down, 1, threads, func(first, end int) {
		for i := first; i < end; i++ {
			x, y := i%across*side, i/across*side
			work(x, y, min(x+side, w), min(y+side, h))
		}
	})
}
