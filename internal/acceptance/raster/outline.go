package raster

import "math"

// Path is one or more closed outlines in 24.8 fixed-point pixels, filled by the non-zero rule (turns in the same
// direction add up, and anything beyond full is full).
type Path struct {
	rings [][][2]int32
}

// Move starts a new outline.
func (p *Path) Move(x, y int32) { p.rings = append(p.rings, [][2]int32{{x, y}}) }

// LineTo adds a straight side.
func (p *Path) LineTo(x, y int32) {
	r := &p.rings[len(p.rings)-1]
	*r = append(*r, [2]int32{x, y})
}

// QuadTo adds a quadratic Bézier curve as eight straight sides: at the sizes of type the error is below a tenth of a
// pixel.
func (p *Path) QuadTo(cx, cy, x, y int32) {
	r := p.rings[len(p.rings)-1]
	from := r[len(r)-1]
	const n = 8
	for t := int64(1); t <= n; t++ {
		a, b, c := (n-t)*(n-t), 2*t*(n-t), t*t
		p.LineTo(
			int32((a*int64(from[0])+b*int64(cx)+c*int64(x))/(n*n)),
			int32((a*int64(from[1])+b*int64(cy)+c*int64(y))/(n*n)))
	}
}

// Polygon makes a path from pixel coordinates.
func Polygon(points ...[2]float64) *Path {
	p := &Path{}
	for i, q := range points {
		v := toFixed(q[0], q[1], 0)
		if v.x == outside {
			return &Path{}
		}
		if i == 0 {
			p.Move(v.x, v.y)
		} else {
			p.LineTo(v.x, v.y)
		}
	}
	return p
}

// area and cover accumulate, for each pixel of a row, how much of it lies to the right of the outline: exact area coverage
// in integers, as scan converters for type have done since the 1990s (common practice, no source).
type cells struct {
	x0, y0, w, h int
	cover, area  []int32
}

// maxPathPx bounds the box of a path: larger ones are not drawn.
const maxPathPx = 1 << 24

// FillPath fills a path.
func (k *Canvas) FillPath(p *Path, c Colour, alpha float64) {
	lo, hi := [2]int32{1<<31 - 1, 1<<31 - 1}, [2]int32{-1 << 31, -1 << 31}
	for _, r := range p.rings {
		for _, q := range r {
			for i := range 2 {
				lo[i], hi[i] = min(lo[i], q[i]), max(hi[i], q[i])
			}
		}
	}
	if lo[0] > hi[0] {
		return
	}
	f := cells{x0: int(lo[0] >> subBits), y0: int(lo[1] >> subBits)}
	f.w, f.h = int(hi[0]>>subBits)-f.x0+1, int(hi[1]>>subBits)-f.y0+1
	if f.w*f.h > maxPathPx || f.x0 >= k.W || f.y0 >= k.H || f.x0+f.w <= 0 || f.y0+f.h <= 0 {
		return
	}
	f.cover, f.area = make([]int32, f.w*f.h), make([]int32, f.w*f.h)
	for _, r := range p.rings {
		for i, q := range r {
			n := r[(i+1)%len(r)]
			f.line(int(q[0])-f.x0<<subBits, int(q[1])-f.y0<<subBits, int(n[0])-f.x0<<subBits, int(n[1])-f.y0<<subBits)
		}
	}
	for y := range f.h {
		sum := int32(0)
		for x := range f.w {
			i := y*f.w + x
			sum += f.cover[i]
			// Twice the area covered, in 1/65536 pixel: everything right of the crossings, less what lies left of them here.
			a := sum*(2*subUnit) - f.area[i]
			if a < 0 {
				a = -a
			}
			if a > 0 {
				k.Blend(f.x0+x, f.y0+y, c, float64(alpha*(float64(min(a, 2*subUnit*subUnit))/(2*subUnit*subUnit))))
			}
		}
	}
}

// line adds one side, row by row.
func (f *cells) line(x0, y0, x1, y1 int) {
	dir := int32(1)
	if y0 > y1 {
		x0, y0, x1, y1, dir = x1, y1, x0, y0, -1
	}
	for x, y := x0, y0; y < y1; {
		end := min((y>>subBits+1)<<subBits, y1)
		xe := x0 + (x1-x0)*(end-y0)/(y1-y0)
		f.row(y>>subBits, x, xe, end-y, dir)
		x, y = xe, end
	}
}

// row adds a piece of a side that stays in one row, going from xa to xb over the height dy, column by column.
func (f *cells) row(y, xa, xb, dy int, dir int32) {
	if xa > xb {
		// The order within a row does not matter to the area.
		xa, xb = xb, xa
	}
	done := 0
	for x := xa; ; {
		col := x >> subBits
		end := min((col+1)<<subBits, xb)
		part := dy
		if xb > xa {
			part = dy * (end - xa) / (xb - xa)
		}
		i := y*f.w + min(col, f.w-1)
		d := int32(part-done) * dir
		f.cover[i] += d
		f.area[i] += d * int32(x-col<<subBits+end-col<<subBits)
		done = part
		if end >= xb {
			return
		}
		x = end
	}
}

// Add adds a closed outline of pixel coordinates; one with a point that is not finite or far off is left out.
func (p *Path) Add(points [][2]float64) { p.rings = append(p.rings, Polygon(points...).rings...) }

// ClipPolygon cuts a closed outline to a box: Sutherland and Hodgman, "Reentrant polygon clipping", 1974. Where an outline
// leaves the box the cut runs along the border, which does not change what is filled within.
func ClipPolygon(points [][2]float64, loX, loY, hiX, hiY float64) [][2]float64 {
	for _, q := range points {
		if s := q[0] + q[1]; math.IsNaN(s) || math.IsInf(s, 0) {
			return nil
		}
	}
	for _, side := range [4]struct {
		axis       int
		at, inward float64
	}{{0, loX, 1}, {0, hiX, -1}, {1, loY, 1}, {1, hiY, -1}} {
		var out [][2]float64
		for i, q := range points {
			prev := points[(i+len(points)-1)%len(points)]
			dp, dq := float64((prev[side.axis]-side.at)*side.inward), float64((q[side.axis]-side.at)*side.inward)
			if (dp < 0) != (dq < 0) {
				t := dp / (dp - dq)
				cut := [2]float64{prev[0] + float64((q[0]-prev[0])*t), prev[1] + float64((q[1]-prev[1])*t)}
				cut[side.axis] = side.at
				out = append(out, cut)
			}
			if dq >= 0 {
				out = append(out, q)
			}
		}
		points = out
	}
	return points
}
