package spatial

import "math"

// Closest answers one point each (three floats a point): the nearest point of the surface; of equally near triangles
// the lowest index. Points farther than bound (metres; +Inf for none) are Miss, as are points with a coordinate that is
// not finite. out must hold len(points)/3.
func (t *Tree) Closest(points []float32, bound float32, out []Near, threads int) {
	count := len(points) / 3
	_ = out[:count]
	batch(count, threads, func(begin, end int) {
		stack := make([]int32, 0, 128)
		for i := begin; i < end; i++ {
			out[i] = t.near([3]float32(points[3*i:3*i+3]), bound, stack)
		}
	})
}

func (t *Tree) near(point [3]float32, bound float32, stack []int32) Near {
	out := Near{Tri: Miss, Dist: float32(math.Inf(1))}
	if !finite(point[0]) || !finite(point[1]) || !finite(point[2]) || !(bound >= 0) || len(t.nodes) == 0 {
		return out
	}
	p := wide(point)
	best := float64(float64(bound) * float64(bound))
	stack = append(stack[:0], 0)
	for len(stack) > 0 {
		at := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		nd := &t.nodes[at]
		if boxSq(p, nd) > best*(1+0x1p-40) {
			continue
		}
		if nd.size == 0 {
			l, r := at+1, nd.first
			if boxSq(p, &t.nodes[l]) > boxSq(p, &t.nodes[r]) {
				l, r = r, l
			}
			stack = append(stack, r, l)
			continue
		}
		for _, i := range t.order[nd.first : nd.first+nd.size] {
			a, b, c := t.corners(i)
			d, q, f := nearTriangle(p, wide(a), wide(b), wide(c))
			if d < best || d == best && (out.Tri == Miss || i < out.Tri) {
				best = d
				out = Near{Tri: i, Feature: f, Point: [3]float32{float32(q[0]), float32(q[1]), float32(q[2])}}
				out.Dist = float32(math.Sqrt(d))
			}
		}
	}
	return out
}

func wide(p [3]float32) vec { return vec{float64(p[0]), float64(p[1]), float64(p[2])} }

func boxSq(p vec, nd *binaryNode) float64 {
	var sum float64
	for k := range 3 {
		d := max(float64(nd.lo[k])-p[k], p[k]-float64(nd.hi[k]), 0)
		sum += float64(d * d)
	}
	return sum
}
