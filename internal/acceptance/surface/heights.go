package surface

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spatial"
)

// Heights is how far every sample of the sculpt lies from the game surface.
type Heights struct {
	on    *samples
	h     []float32 // metres by vertex of on: above zero outside the game surface
	state []uint8
	base  []int32 // triangle of the skin that is nearest, by vertex; spatial.Miss for none

	area    []float32 // square metres, by triangle of on; 0 where it was cut
	longest []float64 // metres, by piece of on's triangles: the longest edge
	edgeMax float64   // metres: the longest edge over which a distance is taken as linear
}

// What is known of a sample.
const (
	signUnknown uint8 = 1 << iota // nearest to a border of the game surface: h is the distance only
	openThere                     // nearest to a border that is declared open: it has no partner and is left out
	hidden                        // behind other sculpt, seen from everywhere outside
	noPlace                       // not a finite place, or nothing to measure to
)

// edgeShare of the diagonal is the longest edge of a sculpt triangle over which the distance is taken as linear.
// Halving it quarters the error on curved surfaces, four times the samples.
const edgeShare = 1.0 / 128

// Heights measures every sample of the sculpt against the game surface, once.
func (p *Pair) Heights(ctx context.Context) (*Heights, error) {
	p.heightOnce.Do(func() { p.heights, p.heightErr = p.measureHeights(ctx) })
	return p.heights, p.heightErr
}

func (p *Pair) measureHeights(ctx context.Context) (*Heights, error) {
	p.ready()
	tree := p.sculptTree()
	all := p.bounds
	if lo, hi := tree.Bounds(); tree.Triangles() > 0 {
		all.join(box{wide(lo), wide(hi)})
	}
	on, edgeMax := newSamples(tree, p.sculpt.Pos, p.sculpt.Tri, edgeShare*all.diagonal(), p.threads)
	h := &Heights{on: on, edgeMax: edgeMax, h: make([]float32, on.vertices()), state: make([]uint8, on.vertices()), base: make([]int32, on.vertices())}
	if err := h.measure(ctx, p.threads); err != nil {
		return nil, err
	}
	own := len(on.pos) / 3
	for _, part := range []struct {
		points []float32
		first  int
	}{{on.pos, 0}, {on.more, own}} {
		err := p.near(ctx, p.onGame, part.points, float32(math.Inf(1)), func(_, _, first int, near []spatial.Near) {
			for i := range near {
				v := part.first + first + i
				h.h[v], h.state[v] = p.signed(at(part.points, uint32(first+i)), &near[i])
				h.base[v] = near[i].Tri
			}
		})
		if err != nil {
			return nil, err
		}
	}
	if err := p.hide(ctx, h); err != nil {
		return nil, err
	}
	return h, nil
}

// candidate is sculpt triangle v for the search of a largest value f.
func (h *Heights) candidate(v [3]uint32, f plane) candidate {
	return candidate{
		c: [3]vec{h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2])}, f: f,
		near: [3]int32{h.base[v[0]], h.base[v[1]], h.base[v[2]]},
	}
}

// measure fills in the triangles' areas and the pieces' longest edges.
func (h *Heights) measure(ctx context.Context, threads int) error {
	n := h.on.triangles()
	h.area, h.longest = make([]float32, n), make([]float64, pieces(n))
	return eachPiece(ctx, n, threads, func(_, piece, first, end int) {
		longSq := 0.0
		for t := first; t < end; t++ {
			v, ok := h.on.corners(t)
			if !ok {
				continue
			}
			a, b, c := h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2])
			ab, ac, bc := sub(b, a), sub(c, a), sub(c, b)
			n := cross(ab, ac)
			h.area[t] = float32(math.Sqrt(dot(n, n)) / 2)
			if sq := max(dot(ab, ab), dot(ac, ac), dot(bc, bc)); sq > longSq { // false for NaN
				longSq = sq
			}
		}
		h.longest[piece] = math.Sqrt(longSq)
	})
}

// boundsOf is the box about a mesh's triangles.
func boundsOf(m Mesh) box {
	b := emptyBox()
	for _, v := range m.Tri {
		if q := at(m.Pos, v); finite(q) {
			b.add(q)
		}
	}
	return b
}

// signed gives a sculpt point its height over the nearest place of the game surface.
func (p *Pair) signed(point vec, near *spatial.Near) (float32, uint8) {
	if near.Tri == spatial.Miss {
		return 0, noPlace
	}
	d := float64(near.Dist)
	if p.declaredOpen(point, near) {
		return near.Dist, openThere
	}
	if d <= p.noise {
		return 0, 0
	}
	n, rim := p.skin.normal(near)
	if rim != edgeShared {
		return near.Dist, signUnknown
	}
	way := sub(point, wide(near.Point))
	if near.Feature == 0 { // from a corner: the foot itself is rounded
		way = sub(point, at(p.skin.pos, p.skin.tri[3*near.Tri]))
	}
	side := dot(way, n)
	switch {
	case side == 0:
		return near.Dist, signUnknown // a doubled sheet's rim, or a normal without length
	case side < 0:
		return -near.Dist, 0
	case p.skin.inOther(point, p.skin.shell[near.Tri]):
		return -near.Dist, 0 // outside the nearest shell but inside another: within the part all the same
	}
	return near.Dist, 0
}

// declaredOpen says whether a sculpt point faces a side that the part is declared to be open on: it lies in that plane
// or beyond it, and its nearest game surface is a border there or somewhere else altogether.
func (p *Pair) declaredOpen(point vec, near *spatial.Near) bool {
	for _, o := range p.open {
		if dot(point, o.Normal) < o.Offset-o.Tol {
			continue
		}
		if float64(near.Dist) > o.Tol {
			return true
		}
		if _, rim := p.skin.normal(near); rim != edgeShared && dot(wide(near.Point), o.Normal) >= o.Offset-o.Tol {
			return true
		}
	}
	return false
}
