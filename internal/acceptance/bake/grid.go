package bake

// Grid is which texels of a map are projected: every Step-th of each axis, from the middle of the first Step on. So the
// projected places are middles of delivered texels, whatever the step.
type Grid struct {
	FullW, FullH int // the map's own size, pixels
	Step         int
	W, H         int // texels projected
}

// NewGrid is the grid of at most most texels an edge over a map. Sizes below 1 give an empty grid.
func NewGrid(fullW, fullH, most int) Grid {
	if fullW < 1 || fullH < 1 {
		return Grid{Step: 1}
	}
	longer := max(fullW, fullH)
	step := max((longer+max(most, 1)-1)/max(most, 1), 1)
	return Grid{FullW: fullW, FullH: fullH, Step: step, W: max(fullW/step, 1), H: max(fullH/step, 1)}
}

// Pixel is the map's own pixel that a texel of the grid is the middle of.
func (g Grid) Pixel(x, y int) (px, py int) {
	return min(x*g.Step+g.Step/2, g.FullW-1), min(y*g.Step+g.Step/2, g.FullH-1)
}

// place is where a UV lies in the grid: texel middles are whole numbers.
func (g Grid) place(uv [2]float64) [2]float64 {
	half := float64(g.Step/2) + 0.5
	return [2]float64{
		(float64(uv[0]*float64(g.FullW)) - half) / float64(g.Step),
		(float64(uv[1]*float64(g.FullH)) - half) / float64(g.Step),
	}
}
