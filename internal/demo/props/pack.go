package props

import "math"

// rect is an axis-aligned rectangle of pixels.
type rect struct{ x, y, w, h float64 }

// holds says whether a rectangle lies within another.
func (r rect) holds(o rect) bool {
	return o.x >= r.x && o.y >= r.y && o.x+o.w <= r.x+r.w && o.y+o.h <= r.y+r.h
}

// packed is where a box was put: its corner, and whether it was turned a quarter.
type packed struct {
	x, y   float64
	turned bool
}

// pack puts boxes into a square without overlap, in the order given, each where it leaves the least of the free
// rectangle's shorter side (maximal free rectangles: Jylänki, "A Thousand Ways to Pack the Bin", 2010, section 2.1). It
// says false where one does not fit.
func pack(boxes [][2]float64, order []int, size float64) ([]packed, bool) {
	free := []rect{{0, 0, size, size}}
	out := make([]packed, len(boxes))
	for _, b := range order {
		best, put, turned := math.Inf(1), rect{}, false
		for _, f := range free {
			for _, t := range [2]bool{false, true} {
				w, h := boxes[b][0], boxes[b][1]
				if t {
					w, h = h, w
				}
				if left := math.Min(f.w-w, f.h-h); left >= 0 && left < best {
					best, put, turned = left, rect{f.x, f.y, w, h}, t
				}
			}
		}
		if math.IsInf(best, 1) {
			return nil, false
		}
		out[b] = packed{put.x, put.y, turned}
		free = without(free, put)
	}
	return out, true
}

// without cuts a rectangle out of the free ones and drops those that lie within another.
func without(free []rect, put rect) []rect {
	var cut []rect
	for _, f := range free {
		if put.x >= f.x+f.w || put.x+put.w <= f.x || put.y >= f.y+f.h || put.y+put.h <= f.y {
			cut = append(cut, f)
			continue
		}
		for _, part := range [4]rect{
			{f.x, f.y, put.x - f.x, f.h}, {put.x + put.w, f.y, f.x + f.w - put.x - put.w, f.h},
			{f.x, f.y, f.w, put.y - f.y}, {f.x, put.y + put.h, f.w, f.y + f.h - put.y - put.h},
		} {
			if part.w > 0 && part.h > 0 {
				cut = append(cut, part)
			}
		}
	}
	var out []rect
	for i, a := range cut {
		inside := false
		for j, b := range cut {
			if i != j && b.holds(a) && (!a.holds(b) || j < i) {
				inside = true
				break
			}
		}
		if !inside {
			out = append(out, a)
		}
	}
	return out
}
