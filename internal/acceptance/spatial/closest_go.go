package spatial

// walkNearGo walks until a leaf has triangles whose boxes lie within the bound and reports true, with leaf, mask and
// boxSq set, or false at the end. It is the plain twin of the assembly: the same comparisons on the same numbers.
func walkNearGo(w *nearWalk) bool {
	t := w.t
	for w.waiting > 0 {
		w.waiting--
		e := w.stack[w.waiting]
		if e.from > w.bound {
			continue
		}
		if e.ref&leafBit != 0 {
			if w.nearLeaf(e.ref &^ leafBit) {
				return true
			}
			continue
		}
		n := &t.nodes[e.ref]
		first := w.waiting
		for lane := range lanes {
			d := outsideSq(&w.p, n.box[0][0][lane], n.box[0][1][lane], n.box[1][0][lane], n.box[1][1][lane], n.box[2][0][lane], n.box[2][1][lane])
			if d <= w.bound {
				w.stack[w.waiting] = waiting{n.child[lane], d}
				w.waiting++
			}
		}
		sortWaiting(w.stack[first:w.waiting])
	}
	return false
}

func (w *nearWalk) nearLeaf(at uint32) bool {
	l := &w.t.leaves[at]
	w.leaf, w.mask = at, 0
	for lane := range lanes {
		d := outsideSq(&w.p,
			less(less(l.v[0][lane], l.v[3][lane]), l.v[6][lane]), more(more(l.v[0][lane], l.v[3][lane]), l.v[6][lane]),
			less(less(l.v[1][lane], l.v[4][lane]), l.v[7][lane]), more(more(l.v[1][lane], l.v[4][lane]), l.v[7][lane]),
			less(less(l.v[2][lane], l.v[5][lane]), l.v[8][lane]), more(more(l.v[2][lane], l.v[5][lane]), l.v[8][lane]))
		w.boxSq[lane] = d
		if d <= w.bound {
			w.mask |= 1 << lane
		}
	}
	return w.mask != 0
}

// outsideSq is the squared distance from p to a box, in float32.
func outsideSq(p *[3]float32, x0, x1, y0, y1, z0, z1 float32) float32 {
	x := more(more(x0-p[0], p[0]-x1), 0)
	y := more(more(y0-p[1], p[1]-y1), 0)
	z := more(more(z0-p[2], p[2]-z1), 0)
	return float32(x*x) + float32(y*y) + float32(z*z)
}

// sortWaiting puts the nearest last, where it is taken first.
func sortWaiting(s []waiting) {
	for i := 1; i < len(s); i++ {
		e := s[i]
		j := i
		for j > 0 && s[j-1].from < e.from {
			s[j] = s[j-1]
			j--
		}
		s[j] = e
	}
}
