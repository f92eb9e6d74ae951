package surface

import "math"

// weld numbers the vertices so that those at exactly the same place share a number: that of the first of them. Zero
// and minus zero are one place. A vertex that is not finite keeps its own number. No tolerance: moving a vertex by one
// unit in the last place parts it.
func weld(pos []float32) []uint32 {
	n := len(pos) / 3
	same := make([]uint32, n)
	w := newWelder(pos, n)
	for i := range n {
		same[i] = w.first(uint32(i))
	}
	return same
}

// welder is an open-addressing hash from place to the first vertex there.
type welder struct {
	pos   []float32
	slots []uint32 // vertex + 1, 0 for empty
	mask  uint32
}

func newWelder(pos []float32, expect int) *welder {
	size := 16
	for size < 2*expect {
		size *= 2
	}
	return &welder{pos: pos, slots: make([]uint32, size), mask: uint32(size - 1)}
}

func (w *welder) first(v uint32) uint32 {
	s, o := w.slot(v)
	if o == 0 {
		if s != noSlot {
			w.slots[s] = v + 1
		}
		return v
	}
	return o - 1
}

// find returns the first vertex at v's place, if one was met there.
func (w *welder) find(v uint32) (uint32, bool) {
	_, o := w.slot(v)
	return o - 1, o != 0
}

const noSlot = math.MaxUint32

// slot is where v's place is kept or would be, and the vertex kept there, plus 1; noSlot for what is not finite.
func (w *welder) slot(v uint32) (slot, vertex uint32) {
	p := [3]float32(w.pos[3*int(v) : 3*int(v)+3])
	h := uint64(0x9e3779b97f4a7c15)
	for _, c := range p {
		if c-c != 0 {
			return noSlot, 0
		}
		h = (h ^ uint64(math.Float32bits(c+0))) * 0xff51afd7ed558ccd // +0 turns minus zero into zero
		h ^= h >> 32
	}
	for s := uint32(h) & w.mask; ; s = (s + 1) & w.mask {
		o := w.slots[s]
		if o == 0 {
			return s, 0
		}
		if q := w.pos[3*int(o-1) : 3*int(o-1)+3]; q[0] == p[0] && q[1] == p[1] && q[2] == p[2] {
			return s, o
		}
	}
}

// union is a disjoint-set forest over vertex numbers; the root of a set is its lowest member.
type union []uint32

func newUnion(n int) union {
	u := make(union, n)
	for i := range u {
		u[i] = uint32(i)
	}
	return u
}

func (u union) find(v uint32) uint32 {
	for u[v] != v {
		u[v] = u[u[v]]
		v = u[v]
	}
	return v
}

func (u union) join(a, b uint32) {
	a, b = u.find(a), u.find(b)
	switch {
	case a < b:
		u[b] = a
	case b < a:
		u[a] = b
	}
}
