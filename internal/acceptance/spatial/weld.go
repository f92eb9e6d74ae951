package spatial

import (
	"math"
	"math/bits"
)

// Weld numbers positions: vertices at one place get one number. places counts them; numbers follow the order of first
// appearance.
//
// With a tolerance of zero two vertices share a place where their coordinates are equal (0 and -0 are). With one, in
// metres, a vertex joins the earliest place whose first vertex lies within it; so no vertex moves by more than the
// tolerance, and chains of near vertices do not creep together. Coordinates that are not finite make a place of their own.
func Weld(pos []float32, tolerance float32) (of []uint32, places int) {
	if tolerance > 0 && finite(tolerance) {
		return weldWithin(pos, tolerance)
	}
	n := len(pos) / 3
	of = make([]uint32, n)
	table := make([]uint32, tableSize(n)) // first vertex of a place, plus one
	first := make([]uint32, 0, n)
	for v := range n {
		p := pos[3*v : 3*v+3 : 3*v+3]
		if !finite(p[0]) || !finite(p[1]) || !finite(p[2]) { // equals nothing, so it is not looked up either
			first = append(first, uint32(v))
			of[v] = uint32(len(first) - 1)
			continue
		}
		h := hash3(bitsOf(p[0]), bitsOf(p[1]), bitsOf(p[2]))
		for at := h & uint64(len(table)-1); ; at = (at + 1) & uint64(len(table)-1) {
			k := table[at]
			if k == 0 {
				first = append(first, uint32(v))
				table[at] = uint32(len(first))
				of[v] = uint32(len(first) - 1)
				break
			}
			q := pos[3*first[k-1] : 3*first[k-1]+3]
			if p[0] == q[0] && p[1] == q[1] && p[2] == q[2] {
				of[v] = k - 1
				break
			}
		}
	}
	return of, len(first)
}

func tableSize(n int) int { return 1 << bits.Len(uint(2*n)) }

// bitsOf gives 0 and -0 the same bits.
func bitsOf(x float32) uint64 {
	if x == 0 {
		return 0
	}
	return uint64(math.Float32bits(x))
}

// hash3 mixes as splitmix64's finaliser does (Steele, Lea & Flood 2014).
func hash3(a, b, c uint64) uint64 {
	h := a*0x9e3779b97f4a7c15 ^ b*0xbf58476d1ce4e5b9 ^ c*0x94d049bb133111eb
	h = (h ^ h>>30) * 0xbf58476d1ce4e5b9
	h = (h ^ h>>27) * 0x94d049bb133111eb
	return h ^ h>>31
}

// cellsWide is the width of the hash grid's cells in tolerances. Wider ones hold more places, narrower ones mean that more
// cells are within reach of a vertex: at four, three or four of them.
const cellsWide = 4

// welder is a hash grid; places of one cell are chained.
type welder struct {
	table []uint32 // place plus one
	next  []uint32 // place plus one
	cells [][3]int64
	first [][3]float32
}

func weldWithin(pos []float32, tolerance float32) (of []uint32, places int) {
	n := len(pos) / 3
	of = make([]uint32, n)
	w := welder{table: make([]uint32, tableSize(n))}
	within := float64(tolerance) * float64(tolerance)
	size := cellsWide * float64(tolerance)
	for v := range n {
		p := [3]float32(pos[3*v : 3*v+3])
		best := uint32(math.MaxUint32)
		c, fine := cellOf(p, 0, size)
		if fine {
			lo, _ := cellOf(p, -float64(tolerance), size)
			hi, _ := cellOf(p, float64(tolerance), size)
			for x := lo[0]; x <= hi[0]; x++ {
				for y := lo[1]; y <= hi[1]; y++ {
					for z := lo[2]; z <= hi[2]; z++ {
						best = min(best, w.near([3]int64{x, y, z}, p, within))
					}
				}
			}
		}
		if best == math.MaxUint32 {
			best = w.add(c, p, fine)
		}
		of[v] = best
	}
	return of, len(w.first)
}

// cellOf is the cell of p moved along all axes. It reports false for coordinates that are not finite or beyond what cells
// can be counted to.
func cellOf(p [3]float32, by, size float64) (c [3]int64, fine bool) {
	for k := range 3 {
		x := math.Floor((float64(p[k]) + by) / size)
		if !(math.Abs(x) < 1<<52) {
			return c, false
		}
		c[k] = int64(x)
	}
	return c, true
}

func (w *welder) slot(c [3]int64) uint64 {
	return hash3(uint64(c[0]), uint64(c[1]), uint64(c[2])) & uint64(len(w.table)-1)
}

// near gives the earliest place of a cell within the squared distance of p.
func (w *welder) near(c [3]int64, p [3]float32, withinSq float64) uint32 {
	best := uint32(math.MaxUint32)
	for k := w.table[w.slot(c)]; k != 0; k = w.next[k-1] {
		if w.cells[k-1] != c {
			continue
		}
		d := vecOf(w.first[k-1]).sub(vecOf(p))
		if d.dot(d) <= withinSq {
			best = min(best, k-1)
		}
	}
	return best
}

func (w *welder) add(c [3]int64, p [3]float32, fine bool) uint32 {
	at := uint32(len(w.first))
	w.first, w.cells = append(w.first, p), append(w.cells, c)
	w.next = append(w.next, 0)
	if fine {
		s := w.slot(c)
		w.next[at], w.table[s] = w.table[s], at+1
	}
	return at
}
