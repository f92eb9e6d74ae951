package props

import (
	"fmt"
	"math"
	"sort"
)

// part is one named piece of a prop, with its own node in the game file and in the sculpt file.
type part struct {
	name   string
	shape  shape
	relief relief
	paint  paint
	edge   float64 // of the sculpt's faces, metres
	place  vec     // the node's translation
}

// placed is an island with its place in the texture: UV in 0–1.
type placed struct {
	island
	part int
}

// layout is where each island of a prop lies in the texture, the same for every LOD.
type layout struct {
	sizePx, pxPerM, gap float64
	lows, boxes         [][2]float64 // of LOD 0's islands: the low corner in metres, and the box with its gap in pixels
	at                  []packed
}

// layOut scales every island's UV by the same pixels per metre and packs their boxes, gap pixels apart and half a gap from
// the border. Boxes go in by their area, the sum of their sides, their longer side or their shorter side, largest first: the first order that fits
// is taken.
func layOut(parts []part, offset float64, sizePx int, pxPerM, gap float64) (layout, error) {
	l := layout{sizePx: float64(sizePx), pxPerM: pxPerM, gap: gap}
	for _, p := range parts {
		for _, is := range p.shape.game(offset, 0) {
			lo, hi := is.uvBox()
			l.lows = append(l.lows, lo)
			l.boxes = append(l.boxes, [2]float64{(hi[0]-lo[0])*pxPerM + gap, (hi[1]-lo[1])*pxPerM + gap})
		}
	}
	for _, size := range []func(b [2]float64) float64{
		func(b [2]float64) float64 { return b[0] * b[1] },
		func(b [2]float64) float64 { return b[0] + b[1] },
		func(b [2]float64) float64 { return math.Max(b[0], b[1]) },
		func(b [2]float64) float64 { return math.Min(b[0], b[1]) },
	} {
		order := make([]int, len(l.boxes))
		for i := range order {
			order[i] = i
		}
		sort.SliceStable(order, func(a, b int) bool { return size(l.boxes[order[a]]) > size(l.boxes[order[b]]) })
		if at, ok := pack(l.boxes, order, l.sizePx); ok {
			l.at = at
			return l, nil
		}
	}
	return l, fmt.Errorf("the islands do not fit %d px at %.0f px/m", sizePx, pxPerM)
}

// place gives the islands of a LOD, their UV in 0–1.
func (l layout) place(parts []part, offset float64, lod int) []placed {
	var all []placed
	for k, p := range parts {
		for _, is := range p.shape.game(offset, lod) {
			i := len(all)
			for v, uv := range is.uv {
				x, y := (uv[0]-l.lows[i][0])*l.pxPerM, (uv[1]-l.lows[i][1])*l.pxPerM
				if l.at[i].turned {
					x, y = l.boxes[i][1]-l.gap-y, x
				}
				is.uv[v] = [2]float64{(l.at[i].x + l.gap/2 + x) / l.sizePx, (l.at[i].y + l.gap/2 + y) / l.sizePx}
			}
			all = append(all, placed{is, k})
		}
	}
	return all
}

// uvBox is the box of an island's UV.
func (is island) uvBox() (lo, hi [2]float64) {
	lo, hi = [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, uv := range is.uv {
		for k := range 2 {
			lo[k], hi[k] = math.Min(lo[k], uv[k]), math.Max(hi[k], uv[k])
		}
	}
	return lo, hi
}
