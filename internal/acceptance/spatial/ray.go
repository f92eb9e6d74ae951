package spatial

import "math"

// Hits answers one ray each: the nearest hit, watertight; of equally near ones that of the lowest triangle index.
// out must be as long as rays. A ray with a coordinate that is not finite, without length or with Max below zero or
// NaN misses.
func (t *Tree) Hits(rays []Ray, out []Hit, threads int) {
	_ = out[:len(rays)]
	batch(len(rays), threads, func(begin, end int) {
		stack := make([]int32, 0, 128)
		for i := begin; i < end; i++ {
			out[i] = t.hit(&rays[i], stack)
		}
	})
}

func (t *Tree) hit(r *Ray, stack []int32) Hit {
	best := Hit{Tri: Miss}
	s, ok := newShear(r)
	if !ok || len(t.nodes) == 0 {
		return best
	}
	stack = append(stack[:0], 0)
	for len(stack) > 0 {
		at := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		nd := &t.nodes[at]
		if !crosses(r, nd, s.max) {
			continue
		}
		if nd.size == 0 {
			stack = append(stack, nd.first, at+1)
			continue
		}
		for _, i := range t.order[nd.first : nd.first+nd.size] {
			a, b, c := t.corners(i)
			d, u, v, back, ok := s.meet(&a, &b, &c)
			if ok && (best.Tri == Miss || d < best.T || d == best.T && i < best.Tri) {
				best = Hit{Tri: i, T: d, U: u, V: v, Back: back}
				s.max = d
			}
		}
	}
	return best
}

// crosses errs on the side of true by some float32 roundings of the largest distance met.
func crosses(r *Ray, nd *binaryNode, far float32) bool {
	var reach float64
	for k := range 3 {
		reach = max(reach, math.Abs(float64(nd.lo[k])-float64(r.Org[k])), math.Abs(float64(nd.hi[k])-float64(r.Org[k])))
	}
	pad := reach * 0x1p-19
	t0, t1 := 0.0, float64(far)*(1+0x1p-20)
	for k := range 3 {
		lo, hi := float64(nd.lo[k])-float64(r.Org[k])-pad, float64(nd.hi[k])-float64(r.Org[k])+pad
		d := float64(r.Dir[k])
		if d == 0 {
			if lo > 0 || hi < 0 {
				return false
			}
			continue
		}
		a, b := lo/d, hi/d
		if a > b {
			a, b = b, a
		}
		t0, t1 = max(t0, a), min(t1, b)
	}
	return t0 <= t1
}
