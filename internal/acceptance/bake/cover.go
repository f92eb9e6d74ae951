package bake

import (
	"math"
	"slices"
)

// stripRows is how many rows of texels one piece of work holds: at 4096 texels a row it stays within the second-level cache,
// and at 256 there are enough pieces for all threads.
const stripRows = 16

// mostTiles is how many tiles along one axis a triangle may span: more is a surface that tiles, which nobody bakes.
const mostTiles = 1

// placed is a triangle in the grid, folded into it by whole tiles. A triangle over a tile's border is placed several times.
type placed struct {
	tri int32
	q   [3][2]float64 // corners in texels of the grid
	det float64       // twice the area, signed
}

// cover says for each strip of the grid which triangles lie over it.
type cover struct {
	grid  Grid
	all   []placed
	first []int32 // by strip, into in
	in    []int32 // into all, those that need no folding before the others
}

func newCover(g *Game, grid Grid) *cover {
	c := &cover{grid: grid}
	var folded []placed
	for t := range g.Triangles() {
		if g.Part[t] < 0 {
			continue
		}
		home, others := c.place(g, t)
		c.all, folded = append(c.all, home...), append(folded, others...)
	}
	c.all = append(c.all, folded...)
	strips := (grid.H + stripRows - 1) / stripRows
	c.first = make([]int32, strips+1)
	each := func(visit func(strip, i int)) {
		for i := range c.all {
			lo, hi, ok := c.all[i].rows(grid)
			for s := lo / stripRows; ok && s <= hi/stripRows; s++ {
				visit(s, i)
			}
		}
	}
	each(func(s, _ int) { c.first[s+1]++ })
	for s := range strips {
		c.first[s+1] += c.first[s]
	}
	next := slices.Clone(c.first)
	c.in = make([]int32, c.first[strips])
	each(func(s, i int) { c.in[next[s]] = int32(i); next[s]++ })
	return c
}

// place puts a triangle into the grid: as it lies, and folded by whole tiles.
func (c *cover) place(g *Game, t int) (home, folded []placed) {
	var uv [3][2]float64
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for k := range 3 {
		uv[k] = g.uv(t, k)
		for a := range 2 {
			lo[a], hi[a] = min(lo[a], uv[k][a]), max(hi[a], uv[k][a])
		}
	}
	const far = 1 << 20 // tiles: beyond, a float32 tells no texels apart
	for a := range 2 {
		if !(hi[a]-lo[a] <= mostTiles) || !(math.Abs(lo[a]) < far) {
			return nil, nil
		}
	}
	const touch = 1e-6 // of a tile: corners on a border do not count as beyond it
	for v := math.Floor(lo[1] + touch); v <= math.Ceil(hi[1]-touch)-1; v++ {
		for u := math.Floor(lo[0] + touch); u <= math.Ceil(hi[0]-touch)-1; u++ {
			p := placed{tri: int32(t)}
			for k := range 3 {
				p.q[k] = c.grid.place([2]float64{uv[k][0] - u, uv[k][1] - v})
			}
			p.det = area2(p.q[0], p.q[1], p.q[2])
			switch {
			case p.det == 0:
			case u == 0 && v == 0:
				home = append(home, p)
			default:
				folded = append(folded, p)
			}
		}
	}
	return home, folded
}

func area2(a, b, c [2]float64) float64 {
	return float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0]))
}

// rows are the rows of the grid that a triangle can have texels in; false for none.
func (p *placed) rows(grid Grid) (lo, hi int, ok bool) {
	l := math.Ceil(min(p.q[0][1], p.q[1][1], p.q[2][1]))
	h := math.Floor(max(p.q[0][1], p.q[1][1], p.q[2][1]))
	lo, hi = int(max(l, 0)), int(min(h, float64(grid.H-1)))
	return lo, hi, lo <= hi
}

// spot is a texel of a strip and the place on the game mesh that its middle is.
type spot struct {
	texel int32 // row within the strip times the grid's width, plus column
	at    inTriangle
}

// onEdge is how far outside a triangle a texel's middle may lie and still count as in it, as a share of the triangle's extent:
// far above the rounding of its float64 weights, far below a texel. A texel on the edge between two triangles belongs to both.
const onEdge = 1e-9

// spots lists the texels of a strip by the triangles over them, in the order of the strip's triangles, mostCopies for a texel
// at most. It is scratch of one thread.
type spots struct {
	list []spot
	seen []uint8 // by texel of the strip
}

// of fills the list for a strip.
func (s *spots) of(c *cover, strip int) []spot {
	y0 := strip * stripRows
	y1 := min(y0+stripRows, c.grid.H) - 1
	left := (y1 - y0 + 1) * c.grid.W // texels that take more
	if cap(s.seen) < left {
		s.seen = make([]uint8, left)
	}
	s.seen = s.seen[:left]
	clear(s.seen)
	out := s.list[:0]
	for _, i := range c.in[c.first[strip]:c.first[strip+1]] {
		if left == 0 {
			break
		}
		p := &c.all[i]
		lo, hi, _ := p.rows(c.grid)
		for y := max(lo, y0); y <= min(hi, y1); y++ {
			l, h := p.columns(float64(y), c.grid.W)
			row := int32((y - y0) * c.grid.W)
			// Weights are linear along a row.
			for x := l; x <= h; x++ {
				q := [2]float64{float64(x), float64(y)}
				u, v := area2(p.q[0], q, p.q[2])/p.det, area2(p.q[0], p.q[1], q)/p.det
				if u >= -onEdge && v >= -onEdge && u+v <= 1+onEdge && s.seen[row+int32(x)] < mostCopies {
					out = append(out, spot{row + int32(x), inTriangle{p.tri, float32(u), float32(v)}})
					if s.seen[row+int32(x)]++; s.seen[row+int32(x)] == mostCopies {
						left--
					}
				}
			}
		}
	}
	s.list = out
	return out
}

// columns are the columns that a triangle can have in a row, one too many at each end at most.
func (p *placed) columns(y float64, width int) (lo, hi int) {
	l, h := math.Inf(1), math.Inf(-1)
	for k := range 3 {
		a, b := p.q[k], p.q[(k+1)%3]
		if a[1] > b[1] {
			a, b = b, a
		}
		if y < a[1] || y > b[1] {
			continue
		}
		if a[1] == b[1] {
			l, h = min(l, a[0], b[0]), max(h, a[0], b[0])
			continue
		}
		x := a[0] + float64((b[0]-a[0])*((y-a[1])/(b[1]-a[1])))
		l, h = min(l, x), max(h, x)
	}
	const slack = 1e-6 // texels
	lo, hi = int(max(math.Ceil(l-slack), 0)), int(min(math.Floor(h+slack), float64(width-1)))
	if !(l <= h) {
		return 0, -1
	}
	return lo, hi
}
