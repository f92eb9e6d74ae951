package chart

import (
	"context"
	"math"
)

// Segment is one edge of an outline. Segments of one group are never held against each other.
type Segment struct {
	A, B  Vec
	Group int32
}

// Gap is the smallest distance from one group to any other.
type Gap struct {
	Group, Other int32 // Other is -1 where no other group is within reach
	Distance     float64
	At, To       Vec   // the closest places, on Group and on Other
	Segment      int32 // the one of Group that is closest, by its place in the input
}

// Gaps finds for each group the smallest distance to another that is under reach, exactly up to rounding: between the
// segments themselves, not their ends. Groups are numbered from 0. Segments that cross or touch are at distance 0. Ties
// go to the segment that stands first along the Morton curve.
//
// Each segment walks a tree of boxes within the smallest distance that its group has found so far, so the time is near-
// linear where reach is about the gap between neighbours. Memory is 120 bytes a segment.
func Gaps(ctx context.Context, segments []Segment, groups int, reach float64) ([]Gap, error) {
	g := newGapper(segments)
	out := make([]Gap, groups)
	for k := range out {
		out[k] = Gap{Group: int32(k), Other: -1, Distance: reach}
	}
	for i := range g.seg {
		if i&4095 == 0 && ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		g.nearest(i, &out[g.seg[i].Group])
	}
	return out, nil
}

// Least finds the smallest distance between any two groups, as one Gap; Other is -1 where there is only one group.
func Least(ctx context.Context, segments []Segment) (Gap, error) {
	g := newGapper(segments)
	best := Gap{Group: -1, Other: -1, Distance: math.Inf(1)}
	for i := range g.seg {
		if i&4095 == 0 && ctx.Err() != nil {
			return best, context.Cause(ctx)
		}
		if best.Distance == 0 {
			break
		}
		before := best.Distance
		g.nearest(i, &best)
		if best.Distance < before {
			best.Group = g.seg[i].Group
		}
	}
	return best, nil
}

type gapper struct {
	tree    *tree
	seg     []Segment // along the curve
	group   []int32   // by node: the one group that all segments below it are of, -1 where they differ
	waiting []int
}

func newGapper(segments []Segment) *gapper {
	boxes := make([]Box, len(segments))
	for i := range segments {
		boxes[i] = Nothing.With(segments[i].A).With(segments[i].B)
	}
	g := &gapper{tree: newTree(boxes), seg: make([]Segment, len(segments))}
	for k, i := range g.tree.order {
		g.seg[k] = segments[i]
	}
	const none = -2
	g.group = make([]int32, len(g.tree.nodes))
	for i := range g.group {
		g.group[i] = none
	}
	merge := func(a, b int32) int32 {
		switch {
		case a == none || a == b:
			return b
		case b == none:
			return a
		}
		return -1
	}
	for k := range g.seg {
		i := g.tree.leaves + k/leafItems
		g.group[i] = merge(g.group[i], g.seg[k].Group)
	}
	for i := g.tree.leaves - 1; i > 0; i-- {
		g.group[i] = merge(g.group[2*i], g.group[2*i+1])
	}
	return g
}

// nearest lowers best to the closest segment of another group, if one is closer than best is already.
func (g *gapper) nearest(i int, best *Gap) {
	s := &g.seg[i]
	box := g.tree.boxes[i]
	g.waiting = append(g.waiting[:0], 1)
	for len(g.waiting) > 0 {
		node := g.waiting[len(g.waiting)-1]
		g.waiting = g.waiting[:len(g.waiting)-1]
		if g.group[node] == s.Group || !within(g.tree.nodes[node], box, best.Distance) {
			continue
		}
		from, to, ok := g.tree.leaf(node)
		if !ok {
			near, far := 2*node, 2*node+1
			if apartSq(g.tree.nodes[far], box) < apartSq(g.tree.nodes[near], box) {
				near, far = far, near
			}
			g.waiting = append(g.waiting, far, near)
			continue
		}
		for j := from; j < to; j++ {
			o := &g.seg[j]
			if o.Group == s.Group || !within(g.tree.boxes[j], box, best.Distance) {
				continue
			}
			if d, at, to := Distance(s.A, s.B, o.A, o.B); d < best.Distance {
				best.Distance, best.Other, best.At, best.To, best.Segment = d, o.Group, at, to, g.tree.order[i]
			}
		}
	}
}

// within says whether boxes are closer than a distance.
func within(a, b Box, distance float64) bool { return apartSq(a, b) < float64(distance*distance) }

// apartSq is the squared distance between two boxes. The box of nothing is infinitely far away.
func apartSq(a, b Box) float64 {
	dx := math.Max(0, math.Max(a[0]-b[2], b[0]-a[2]))
	dy := math.Max(0, math.Max(a[1]-b[3], b[1]-a[3]))
	return float64(dx*dx) + float64(dy*dy)
}

// Distance is the smallest distance between two segments, and the places where it is. Either may be a point.
func Distance(a, b, c, d Vec) (distance float64, on, to Vec) {
	if p, ok := crossing(a, b, c, d); ok {
		return 0, p, p
	}
	distance = math.Inf(1)
	try := func(p, from, end Vec, swap bool) {
		q := nearestOn(p, from, end)
		if l := lengthOf(minus(q, p)); l < distance {
			distance, on, to = l, p, q
			if swap {
				on, to = q, p
			}
		}
	}
	try(a, c, d, false)
	try(b, c, d, false)
	try(c, a, b, true)
	try(d, a, b, true)
	return distance, on, to
}

// crossing says whether two segments cross in their insides, and where. Ends that touch are found by their distance.
func crossing(a, b, c, d Vec) (Vec, bool) {
	s, t := Cross(c, d, a), Cross(c, d, b)
	if !(s > 0 && t < 0 || s < 0 && t > 0) {
		return Vec{}, false
	}
	u, v := Cross(a, b, c), Cross(a, b, d)
	if !(u > 0 && v < 0 || u < 0 && v > 0) {
		return Vec{}, false
	}
	return between(a, b, s, t), true
}

// nearestOn is the place on a segment that is closest to p.
func nearestOn(p, a, b Vec) Vec {
	e := minus(b, a)
	ee := dot(e, e)
	if !(ee > 0) {
		return a
	}
	t := math.Max(0, math.Min(1, dot(minus(p, a), e)/ee))
	if t == 1 {
		return b
	}
	return Vec{a[0] + float64(t*e[0]), a[1] + float64(t*e[1])}
}
