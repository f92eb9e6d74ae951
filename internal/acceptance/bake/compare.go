package bake

import (
	"context"
	"fmt"
	"math"
	"slices"
)

// Error is how far texels of a delivered map are from ours.
type Error struct {
	Texels      int
	MeanDeg     float64
	P95Deg      float64
	ShareOver10 float64 // of the texels
}

// IslandError is one island's. Fit is what fits it better than the map as delivered, by FitMeanDeg over a sample.
type IslandError struct {
	Island     int
	Texels     int
	MeanDeg    float64
	Over10     int // texels
	Tri        int32
	Fit        Fit
	AsMeanDeg  float64 // over the sample
	FitMeanDeg float64
}

// Report is a delivered map held against ours.
type Report struct {
	All, Inside, Seams Error // Seams: texels within seamTexels of the end of their island
	Left, Right        Error // of the mirror plane
	Covered, Unserved  int   // texels of the grid; unserved ones are not compared

	// LowPassMeanDeg is the mean angle between averages over blocks of blockEdge texels.
	LowPassMeanDeg float64

	ReliefDeg          float64 // mean angle of our normals to the surface
	DeliveredReliefDeg float64

	Islands []IslandError // the worst first, by the error that they add to the whole
	Fits    []FitError    // every reading that was tried, the map as delivered first
	Best    int           // into Fits
	Ratio   float64       // how many times better the best one fits; 1 for none
	Grey    bool          // all channels are equal
	Related float64       // largest correlation of leaning directions over all readings, -1 to 1
}

const (
	seamTexels = 2  // texels from the end of an island that count as its seam
	blockEdge  = 16 // texels of the grid: a low pass to a sixteenth of the size
	leastBlock = 8  // texels in a block for its average to count
)

// Errors are counted in steps of a 256th of a degree and summed as whole numbers, so that no order of adding changes a sum.
const (
	stepsPerDeg = 256
	mostSteps   = 180 * stepsPerDeg
)

// tally counts errors.
type tally struct {
	count, sum int64
	at         [mostSteps + 1]int32 // texels by error
}

func (t *tally) add(steps int) {
	t.count++
	t.sum += int64(steps)
	t.at[steps]++
}

func (t *tally) join(o *tally) {
	t.count, t.sum = t.count+o.count, t.sum+o.sum
	for i, n := range o.at {
		t.at[i] += n
	}
}

func (t *tally) error() Error {
	e := Error{Texels: int(t.count)}
	if t.count == 0 {
		return e
	}
	e.MeanDeg = float64(t.sum) / stepsPerDeg / float64(t.count)
	var over, seen int64
	for i, n := range t.at {
		if i > 10*stepsPerDeg {
			over += int64(n)
		}
		if before := seen; before < (t.count*95+99)/100 {
			if seen += int64(n); seen >= (t.count*95+99)/100 {
				e.P95Deg = float64(i) / stepsPerDeg
			}
		}
	}
	e.ShareOver10 = float64(over) / float64(t.count)
	return e
}

func stepsOf(deg float64) int { return min(int(float64(deg*stepsPerDeg)+0.5), mostSteps) }

// comparison is the work of Compare.
type comparison struct {
	game    *Game
	m       *Map
	d       *Delivered
	left    []bool // by triangle
	islands int
	workers []counts
	blocks  []block // by block of the grid, row by row
	across  int     // blocks in a row
}

// counts are what one thread counted.
type counts struct {
	inside, seams, left, right tally
	covered, unserved          int
	relief, theirs             int64 // steps
	islandSum, islandTexels    []int64
	islandOver                 []int64
}

// block is one block's sums.
type block struct {
	texels       int
	ours, theirs vec
}

// Compare holds a delivered map against ours. mirrorX is the plane that parts left (above it) from right, in metres.
func Compare(ctx context.Context, g *Game, m *Map, d *Delivered, mirrorX float64, also Also, threads int) (*Report, error) {
	if d.W != m.Grid.FullW || d.H != m.Grid.FullH {
		return nil, fmt.Errorf("compare: the map has %d × %d pixels, the grid is made for %d × %d", d.W, d.H, m.Grid.FullW, m.Grid.FullH)
	}
	c := &comparison{game: g, m: m, d: d, left: make([]bool, g.Triangles())}
	for t := range c.left {
		x := float64(g.Pos[9*t]) + float64(g.Pos[9*t+3]) + float64(g.Pos[9*t+6])
		c.left[t] = x > float64(3*mirrorX)
		c.islands = max(c.islands, int(g.Island[t])+1)
	}
	c.across = (m.Grid.W + blockEdge - 1) / blockEdge
	strips := (m.Grid.H + blockEdge - 1) / blockEdge
	c.blocks = make([]block, c.across*strips)
	c.workers = make([]counts, threadsOf(threads))
	err := each(ctx, strips, threads, func(worker, strip int) { c.strip(&c.workers[worker], strip) })
	if err != nil {
		return nil, fmt.Errorf("compare the map: %w", err)
	}
	r := c.sum()
	if err := c.tryFits(ctx, r, also, threads); err != nil {
		return nil, fmt.Errorf("compare the map: %w", err)
	}
	return r, nil
}

// strip compares one row of blocks.
func (c *comparison) strip(w *counts, strip int) {
	if w.islandSum == nil {
		w.islandSum, w.islandTexels, w.islandOver = make([]int64, c.islands), make([]int64, c.islands), make([]int64, c.islands)
	}
	g := c.m.Grid
	for y := strip * blockEdge; y < min((strip+1)*blockEdge, g.H); y++ {
		for x := range g.W {
			i := y*g.W + x
			t := c.m.Tri[i]
			if t < 0 {
				continue
			}
			w.covered++
			if !c.m.Served(i) {
				w.unserved++
				continue
			}
			px, py := g.Pixel(x, y)
			ours, _ := unit(c.m.normal(i))
			theirs := c.d.vector(px, py, nil)
			b := &c.blocks[strip*c.across+x/blockEdge]
			b.texels++
			b.ours, b.theirs = add(b.ours, ours), add(b.theirs, theirs)
			w.count(c, i, x, y, t, ours, theirs)
		}
	}
}

func (w *counts) count(c *comparison, i, x, y int, t int32, ours, theirs vec) {
	steps := stepsOf(angle(ours, theirs))
	w.relief += int64(stepsOf(angle(ours, vec{0, 0, 1})))
	w.theirs += int64(stepsOf(angle(theirs, vec{0, 0, 1})))
	if c.nearSeam(i, x, y) {
		w.seams.add(steps)
	} else {
		w.inside.add(steps)
	}
	if c.left[t] {
		w.left.add(steps)
	} else {
		w.right.add(steps)
	}
	k := c.game.Island[t]
	w.islandSum[k] += int64(steps)
	w.islandTexels[k]++
	if steps > 10*stepsPerDeg {
		w.islandOver[k]++
	}
}

// around are the texels looked at to find the end of an island.
var around = [8][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}, {-1, -1}, {1, -1}, {-1, 1}, {1, 1}}

// nearSeam says whether a texel lies within seamTexels of another island or of none.
func (c *comparison) nearSeam(i, x, y int) bool {
	g := c.m.Grid
	own := c.game.Island[c.m.Tri[i]]
	for _, a := range around {
		px, py := x+a[0]*seamTexels, y+a[1]*seamTexels
		if px < 0 || py < 0 || px >= g.W || py >= g.H {
			return true
		}
		if t := c.m.Tri[py*g.W+px]; t < 0 || c.game.Island[t] != own {
			return true
		}
	}
	return false
}

// sum joins what the threads counted: whole numbers, so that their share of the work does not matter.
func (c *comparison) sum() *Report {
	r := &Report{}
	var all counts
	all.islandSum, all.islandTexels, all.islandOver = make([]int64, c.islands), make([]int64, c.islands), make([]int64, c.islands)
	for k := range c.workers {
		w := &c.workers[k]
		all.inside.join(&w.inside)
		all.seams.join(&w.seams)
		all.left.join(&w.left)
		all.right.join(&w.right)
		all.covered, all.unserved = all.covered+w.covered, all.unserved+w.unserved
		all.relief, all.theirs = all.relief+w.relief, all.theirs+w.theirs
		for i := range w.islandSum {
			all.islandSum[i] += w.islandSum[i]
			all.islandTexels[i] += w.islandTexels[i]
			all.islandOver[i] += w.islandOver[i]
		}
	}
	c.workers = nil
	r.Inside, r.Seams, r.Left, r.Right = all.inside.error(), all.seams.error(), all.left.error(), all.right.error()
	whole := all.inside
	whole.join(&all.seams)
	r.All = whole.error()
	r.Covered, r.Unserved = all.covered, all.unserved
	if n := float64(whole.count) * stepsPerDeg; n > 0 {
		r.ReliefDeg, r.DeliveredReliefDeg = float64(all.relief)/n, float64(all.theirs)/n
	}
	r.LowPassMeanDeg = lowPass(c.blocks)
	c.listIslands(r, &all)
	return r
}

// lowPass is the mean angle between blocks' averages, weighted by their texels.
func lowPass(blocks []block) float64 {
	var sum, texels int64
	for i := range blocks {
		b := &blocks[i]
		ours, ok := unit(b.ours)
		theirs, okToo := unit(b.theirs)
		if b.texels < leastBlock || !ok || !okToo {
			continue
		}
		sum += int64(stepsOf(angle(ours, theirs))) * int64(b.texels)
		texels += int64(b.texels)
	}
	if texels == 0 {
		return 0
	}
	return float64(sum) / stepsPerDeg / float64(texels)
}

// mostIslands is how many islands a report lists.
const mostIslands = 64

func (c *comparison) listIslands(r *Report, all *counts) {
	var order []int
	for i, n := range all.islandTexels {
		if n > 0 {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case all.islandSum[a] > all.islandSum[b]:
			return -1
		case all.islandSum[a] < all.islandSum[b]:
			return 1
		}
		return 0
	})
	order = order[:min(len(order), mostIslands)]
	first := map[int]int32{} // looked up only
	for t := len(c.game.Island) - 1; t >= 0; t-- {
		first[int(c.game.Island[t])] = int32(t)
	}
	for _, i := range order {
		n := all.islandTexels[i]
		r.Islands = append(r.Islands, IslandError{Island: i, Texels: int(n), Over10: int(all.islandOver[i]), Tri: first[i],
			MeanDeg: float64(all.islandSum[i]) / stepsPerDeg / float64(n), Fit: AsDelivered})
	}
}

// finite guards numbers that come of stored floats.
func finite(v vec) bool { return !math.IsNaN(v[0]+v[1]+v[2]) && !math.IsInf(v[0]+v[1]+v[2], 0) }
