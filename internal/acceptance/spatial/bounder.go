package spatial

import "math"

// room is what proofs leave for float64 rounding, as a share of the lengths involved.
const room = 1e-12

// bounder bounds distances from boxes to t from above.
type bounder struct {
	t    *Tree
	walk *nearWalk
	near Near
	from [3]float32
}

// at gives the distance from p, which is rounded to float32 first, in metres; back is how far that moved p.
func (b *bounder) at(p vec) (d, back float64) {
	b.from = p.narrow(1)
	moved := p.sub(vecOf(b.from))
	b.walk.find(b.from, math.Inf(1), &b.near)
	return float64(math.Sqrt(b.walk.best.distSq) * float64(b.t.unscale)), math.Sqrt(moved.dot(moved))
}

// last is the point that at asked for, and the answer.
func (b *bounder) last() ([3]float32, Near) { return b.from, b.near }

// ofCorners bounds the distance of a convex piece by its corners' distances to the triangle last found.
func (b *bounder) ofCorners(corners ...vec) float64 {
	up := float64(b.t.unscale)
	x, y, z := b.walk.at.corners(b.walk.atLane)
	top := 0.0
	for _, q := range corners {
		f := nearTriangle(vec{q.x / up, q.y / up, q.z / up}, x, y, z, math.Inf(1))
		top = max(top, f.distSq)
	}
	return float64(math.Sqrt(top) * up)
}

// lastSize is the sum of two edges of the triangle last found.
func (b *bounder) lastSize() float64 {
	if b.walk.at == nil {
		return 0
	}
	x, y, z := b.walk.at.corners(b.walk.atLane)
	e, f := y.sub(x), z.sub(x)
	return float64((math.Sqrt(e.dot(e)) + math.Sqrt(f.dot(f))) * float64(b.t.unscale))
}
