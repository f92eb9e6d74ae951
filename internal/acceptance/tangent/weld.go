package tangent

// welded is what tangents are made for, with its corners joined.
//
// Which of several equal corners stands for all of them, and in which order edges are looked at, decides nothing on a sound
// mesh. It does in the reference where edges are shared by more than two faces, and at the last vertex of any mesh (see
// sortEdges). So both are done as there.
type welded struct {
	pos, nrm, uv []float32
	tri          []uint32 // as given
	rep          []uint32 // by corner: the corner that stands for all with the same position, normal and UV
}

func (m *welded) position(corner uint32) vec {
	v := 3 * int(m.tri[corner])
	return vec(m.pos[v : v+3])
}

func (m *welded) normal(corner uint32) vec {
	v := 3 * int(m.tri[corner])
	return vec(m.nrm[v : v+3])
}

func (m *welded) texel(corner uint32) [2]float32 {
	v := 2 * int(m.tri[corner])
	return [2]float32(m.uv[v : v+2])
}

func (m *welded) equal(a, b uint32) bool {
	return m.position(a) == m.position(b) && m.normal(a) == m.normal(b) && m.texel(a) == m.texel(b)
}

// weldCells is how many slabs corners are sorted into along the mesh's longest axis.
const weldCells = 2048

// weld joins corners that are equal. Zero and minus zero are equal; what holds a NaN equals nothing.
func (m *welded) weld() {
	n := len(m.tri)
	m.rep = make([]uint32, n)
	if n == 0 {
		return
	}
	lo, hi := m.position(0), m.position(0)
	for c := range uint32(n) {
		m.rep[c] = c
		p := m.position(c)
		for k := range 3 {
			if lo[k] > p[k] {
				lo[k] = p[k]
			}
			if hi[k] < p[k] {
				hi[k] = p[k]
			}
		}
	}
	axis := longest(hi.sub(lo))
	cell := func(c uint32) int {
		at := float32(weldCells * ((m.position(c)[axis] - lo[axis]) / (hi[axis] - lo[axis])))
		if !(at > 0) { // a mesh of one place, and what is not a number
			return 0
		}
		return int(min(at, weldCells-1))
	}
	var first [weldCells + 1]int
	for c := range uint32(n) {
		first[cell(c)+1]++
	}
	for k := range weldCells {
		first[k+1] += first[k]
	}
	order, next := make([]uint32, n), first
	for c := range uint32(n) {
		k := cell(c)
		order[next[k]] = c
		next[k]++
	}
	for k := range weldCells {
		if first[k+1]-first[k] > 1 {
			m.merge(order[first[k]:first[k+1]])
		}
	}
}

func longest(size vec) int {
	switch {
	case size[1] > size[0] && size[1] > size[2]:
		return 1
	case size[2] > size[0]:
		return 2
	}
	return 0
}

// merge joins the equal ones among some corners. It parts them at the middle of their longest axis until each lot is of one
// place.
func (m *welded) merge(lot []uint32) {
	for {
		lo, hi := m.position(lot[0]), m.position(lot[0])
		for _, c := range lot[1:] {
			p := m.position(c)
			for k := range 3 {
				if lo[k] > p[k] {
					lo[k] = p[k]
				}
				if hi[k] < p[k] {
					hi[k] = p[k]
				}
			}
		}
		axis := longest(hi.sub(lo))
		middle := float32(0.5 * (hi[axis] + lo[axis]))
		if !(middle < hi[axis] && middle > lo[axis]) {
			m.mergePlace(lot)
			return
		}
		at := m.part(lot, axis, middle)
		if at > 1 {
			m.merge(lot[:at])
		}
		if len(lot)-at < 2 {
			return
		}
		lot = lot[at:]
	}
}

// part moves the corners below a middle to the front and says how many they are.
func (m *welded) part(lot []uint32, axis int, middle float32) int {
	below := func(i int) bool { return m.position(lot[i])[axis] < middle }
	l, r := 0, len(lot)-1
	for l < r {
		for l < r && below(l) {
			l++
		}
		for l < r && !below(r) {
			r--
		}
		if l < r {
			lot[l], lot[r] = lot[r], lot[l]
			l++
			r--
		}
	}
	if l == r && below(r) {
		l++
	}
	return l
}

// fewCorners is up to how many corners comparing each with each is quicker than a table.
const fewCorners = 32

// mergePlace joins corners of one place, the first of equal ones standing for them.
func (m *welded) mergePlace(lot []uint32) {
	if len(lot) > fewCorners {
		first := map[[8]float32]uint32{} // looked up only; equal as numbers are, so a NaN is found by nothing
		for _, c := range lot {
			p, n, t := m.position(c), m.normal(c), m.texel(c)
			key := [8]float32{p[0], p[1], p[2], n[0], n[1], n[2], t[0], t[1]}
			if k, ok := first[key]; ok {
				m.rep[c] = k
				continue
			}
			first[key] = c
		}
		return
	}
	for i, c := range lot {
		for _, k := range lot[:i] {
			if m.equal(m.rep[k], c) {
				m.rep[c] = m.rep[k]
				break
			}
		}
	}
}
