package acceptance

import (
	"math"

	"proofhouse/internal/acceptance/spatial"
	"proofhouse/internal/acceptance/topo"
)

// smallHoles are openings of so few drawn pixels that a picture may miss them.
type smallHoles struct {
	pixels []float64 // by view
	holes  []smallHole
}

type smallHole struct {
	loop   topo.Loop
	middle [3]float64
	pixels float64 // in the view that sees most of it
}

// behindRim is how far behind an opening the way out begins, as a share of its size.
const behindRim = 0.02

// smallPx is the size in drawn pixels up to which an opening is small.
const smallPx = 6

func (b *topoBody) isSmall(l *topo.Loop, tierPx float64) bool {
	return math.Sqrt(lenSq(sub(l.Hi, l.Lo)))*min(tierPx, seenMaxPx/b.sizeM()) <= smallPx
}

// smallHoles asks for the target's small openings by rays: one from its middle to the camera that meets nothing, and one
// inward that meets a back first. Its pixels are the area of the opening as the camera sees it.
func (x *topoTarget) smallHoles(b *backsSeen) smallHoles {
	out := smallHoles{pixels: make([]float64, len(b.views))}
	if len(b.views) == 0 {
		return out
	}
	tree := x.occluders()
	reach := float32(4 * x.sizeM())
	for _, l := range b.small {
		if !x.has(int(l.Edges[0] / 3)) {
			continue
		}
		o := openLoop{Loop: l}
		h := smallHole{loop: l, middle: o.middle(x.topoBody)}
		size := math.Sqrt(lenSq(sub(l.Hi, l.Lo)))
		var out2 [2][]spatial.Ray
		var at []int
		for v, d := range b.views {
			if b.poses[v] == "" && inner(l.Gap, d) > 0 {
				at = append(at, v)
				// From a little inside, so that a lid that only rounding parts from the rim closes it.
				inside := h.middle
				for k := range 3 {
					inside[k] -= float64(behindRim * size * d[k])
				}
				out2[0] = append(out2[0], x.rayFrom(inside, d, reach))
				out2[1] = append(out2[1], x.rayFrom(h.middle, [3]float64{-d[0], -d[1], -d[2]}, reach))
			}
		}
		blocked, inward := make([]bool, len(at)), make([]spatial.Hit, len(at))
		tree.Any(out2[0], blocked, 1)
		tree.Hits(out2[1], inward, 1)
		for i, v := range at {
			if blocked[i] || inward[i].Tri == spatial.Miss || !inward[i].Back || !x.mayShow(int(inward[i].Tri)) {
				continue
			}
			px := float64(float64(inner(l.Gap, b.views[v])*b.tierPx) * b.tierPx)
			out.pixels[v] += px
			h.pixels = max(h.pixels, px)
		}
		if h.pixels >= 1 {
			out.holes = append(out.holes, h)
		}
	}
	return out
}
