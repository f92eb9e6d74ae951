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

// layout scales every island's UV by the same pixels per metre and packs their boxes in rows, tallest first, gap pixels
// apart and half a gap from the border.
func layout(parts []part, offset float64, sizePx int, pxPerM, gap float64) ([]placed, error) {
	var all []placed
	for i, p := range parts {
		for _, is := range p.shape.game(offset) {
			all = append(all, placed{is, i})
		}
	}
	type rect struct{ x0, y0, w, h float64 }
	boxes := make([]rect, len(all))
	order := make([]int, len(all))
	for i, is := range all {
		lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
		for _, uv := range is.uv {
			for k := range 2 {
				lo[k], hi[k] = math.Min(lo[k], uv[k]), math.Max(hi[k], uv[k])
			}
		}
		boxes[i] = rect{lo[0], lo[1], (hi[0] - lo[0]) * pxPerM, (hi[1] - lo[1]) * pxPerM}
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return boxes[order[a]].h > boxes[order[b]].h })
	x, y, row := gap, gap, 0.0
	for _, i := range order {
		b := boxes[i]
		if x+b.w+gap > float64(sizePx) {
			x, y, row = gap, y+row+gap, 0
		}
		if x+b.w+gap > float64(sizePx) || y+b.h+gap > float64(sizePx) {
			return nil, fmt.Errorf("the islands do not fit %d px at %.0f px/m", sizePx, pxPerM)
		}
		for v, uv := range all[i].uv {
			all[i].uv[v] = [2]float64{
				(x + (uv[0]-b.x0)*pxPerM) / float64(sizePx),
				(y + (uv[1]-b.y0)*pxPerM) / float64(sizePx),
			}
		}
		x, row = x+b.w+gap, math.Max(row, b.h)
	}
	return all, nil
}
