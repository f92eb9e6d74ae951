package spatial

import "math"

// walkNearGo walks until the list of candidates is full and reports true, or to the end and reports false. It is the
// plain twin of the assembly: the same comparisons on the same numbers.
func walkNearGo(w *nearWalk) bool {
	t := w.t
	for w.waiting > 0 {
		w.waiting--
		e := w.stack[w.waiting]
		if e.from > w.bound {
			continue
		}
		if e.ref&leafBit != 0 {
			if e.ref != w.seen {
				w.nearLeaf(e.ref &^ leafBit)
			}
			if w.found == listSize {
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

// nearLeaf puts a leaf in the list if any of its triangles may lie within the bound, and tightens the bound by them.
//
// From below: for any direction u, no point of a triangle is nearer to p, measured along u, than its nearest corner is.
// u goes from p to about the closest point: where that is right the bound is the distance itself, and where float32 made
// it wrong the bound is low, never high. From above: u's length, since u ends on the triangle but for rounding.
func (w *nearWalk) nearLeaf(at uint32) {
	l := &w.t.leaves[at]
	c := &w.list[w.found]
	*c = candidate{leaf: at}
	top := inf32
	for lane := range lanes {
		below, above := w.enclose(l, lane)
		c.sq[lane] = below
		if below <= w.bound {
			c.mask |= 1 << lane
		}
		top = less(above, top)
	}
	if c.mask == 0 {
		return
	}
	w.found++
	w.bound = less(w.bound, top+underflow)
}

// slack covers the roundings of both bounds: each corner's difference from p and its product with u are wrong by at most
// 5 * 2^-24 of u's length times the corner's distance, u's length by 4 * 2^-24, u's end by 5 * 2^-24 of the farthest
// corner's distance; 16 * 2^-24 is more than any sum of them that occurs. leastSq and underflow keep squares from it.
const (
	slack     = 0x1p-20
	leastSq   = 0x1p-80
	underflow = 0x1p-120
)

// enclose gives the squared distance to a triangle from below and from above. A triangle whose box lies beyond the bound
// gives that from below.
func (w *nearWalk) enclose(l *leaf, lane int) (below, above float32) {
	a := sub3([3]float32{l.v[0][lane], l.v[1][lane], l.v[2][lane]}, w.p)
	b := sub3([3]float32{l.v[3][lane], l.v[4][lane], l.v[5][lane]}, w.p)
	c := sub3([3]float32{l.v[6][lane], l.v[7][lane], l.v[8][lane]}, w.p)
	var boxSq, spread float32
	for k := range 3 {
		lo := less(less(l.v[k][lane], l.v[3+k][lane]), l.v[6+k][lane]) - w.p[k]
		hi := w.p[k] - more(more(l.v[k][lane], l.v[3+k][lane]), l.v[6+k][lane])
		out := more(more(lo, hi), 0)
		boxSq += float32(out * out)
		spread += less(lo, hi)
	}
	var e0, e1 [3]float32
	for k := range 3 {
		e0[k], e1[k] = l.v[3+k][lane]-l.v[k][lane], l.v[6+k][lane]-l.v[k][lane]
	}
	s, t := weights(dot3(e0, e0), dot3(e0, e1), dot3(e1, e1), dot3(a, e0), dot3(a, e1))
	var u [3]float32
	for k := range 3 {
		u[k] = a[k] + float32(s*e0[k]) + float32(t*e1[k])
	}
	uu := dot3(u, u)
	length := float32(math.Sqrt(float64(uu)))
	along := less(less(dot3(a, u), dot3(b, u)), dot3(c, u))
	room := float32(slack * spread) // not positive
	below, above = more(along/length+room, 0), length-room
	below, above = float32(below*below), float32(above*above)
	if !(uu > leastSq) {
		below = 0
	}
	return more(below, boxSq), above
}

// weights gives about the weights of b and c in the point of a triangle closest to the origin, from the products of its
// edges e0 = b-a and e1 = c-a with themselves and with a: the best of the three edges' points, or the face's where that
// lies inside.
func weights(d00, d01, d11, d0, d1 float32) (s, t float32) {
	s = clamp(-d0 / d00)
	least := float32((float32(s*d00) + d0 + d0) * s)
	k := clamp(-d1 / d11)
	if f := float32((float32(k*d11) + d1 + d1) * k); f < least {
		s, t, least = 0, k, f
	}
	d22, g := (d11-d01)+(d00-d01), (d1-d0)+(d01-d00)
	k = clamp(-g / d22)
	if f := float32((float32(k*d22)+g+g)*k) + d0 + d0 + d00; f < least {
		s, t = 1-k, k
	}
	det := float32(d00*d11) - float32(d01*d01)
	fs, ft := float32(d01*d1)-float32(d11*d0), float32(d01*d0)-float32(d00*d1)
	if fs > 0 && ft > 0 && fs+ft < det {
		s, t = fs/det, ft/det
	}
	return s, t
}

// clamp brings t into [0, 1], not a number to 0.
func clamp(t float32) float32 { return less(more(t, 0), 1) }

func sub3(a, b [3]float32) [3]float32 { return [3]float32{a[0] - b[0], a[1] - b[1], a[2] - b[2]} }

func dot3(a, b [3]float32) float32 {
	return float32(a[0]*b[0]) + float32(a[1]*b[1]) + float32(a[2]*b[2])
}

// outsideSq is the squared distance from p to a box, in float32.
func outsideSq(p *[3]float32, x0, x1, y0, y1, z0, z1 float32) float32 {
	x := more(more(x0-p[0], p[0]-x1), 0)
	y := more(more(y0-p[1], p[1]-y1), 0)
	z := more(more(z0-p[2], p[2]-z1), 0)
	return float32(x*x) + float32(y*y) + float32(z*z)
}

// sortWaiting puts the nearest last, where it is taken first, and of equally near ones the lower reference.
func sortWaiting(s []waiting) {
	for i := 1; i < len(s); i++ {
		e := s[i]
		j := i
		for j > 0 && (s[j-1].from < e.from || s[j-1].from == e.from && s[j-1].ref < e.ref) {
			s[j] = s[j-1]
			j--
		}
		s[j] = e
	}
}
