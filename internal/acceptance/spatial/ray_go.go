package spatial

// walkRayGo walks to the end, or until a leaf must be tested with care, and then reports true: it asks that of every
// leaf. It is the plain twin of the assembly.
func walkRayGo(w *rayWalk) bool {
	t := w.t
	for w.waiting > 0 {
		w.waiting--
		e := w.stack[w.waiting]
		if e.from > w.max {
			continue
		}
		if e.ref&leafBit != 0 {
			w.leaf, w.mask = e.ref&^leafBit, 0
			return true
		}
		n := &t.nodes[e.ref]
		first := w.waiting
		sx, sy, sz := w.side[0]/32&1, w.side[1]/32&1, w.side[2]/32&1
		for lane := range lanes {
			from := more(more((n.box[0][sx][lane]-w.near[0])*w.perUnit[0], (n.box[1][sy][lane]-w.near[1])*w.perUnit[1]), (n.box[2][sz][lane]-w.near[2])*w.perUnit[2])
			to := less(less((n.box[0][1-sx][lane]-w.far[0])*w.perUnit[0], (n.box[1][1-sy][lane]-w.far[1])*w.perUnit[1]), (n.box[2][1-sz][lane]-w.far[2])*w.perUnit[2])
			from, to = more(from, 0), less(to, w.max)
			if from <= to {
				w.stack[w.waiting] = waiting{n.child[lane], from}
				w.waiting++
			}
		}
		sortWaiting(w.stack[first:w.waiting])
	}
	return false
}
