package bake

import (
	"context"
	"math"
)

// Fit names a reading of a delivered map.
type Fit string

// The readings that are tried. What each means for whoever made the map stands in brackets.
const (
	AsDelivered       Fit = "as_delivered"
	GreenFlipped      Fit = "green_flipped"
	RedFlipped        Fit = "red_flipped"
	RedGreenSwapped   Fit = "red_green_swapped"
	RedBlueSwapped    Fit = "red_blue_swapped"
	Turned90          Fit = "turned_90"         // each vector turned a quarter: the tangents ran along V
	Turned180         Fit = "turned_180"        // red and green flipped
	Turned270         Fit = "turned_270"        //
	SwappedNegated    Fit = "swapped_flipped"   // swapped, and both flipped
	SRGBEncoded       Fit = "srgb_encoded"      // saved as if it were a colour
	SRGBDecoded       Fit = "srgb_decoded"      // an sRGB curve was taken off values that had none
	ImageTurned90     Fit = "image_turned_90"   // the image was turned, the vectors not
	ImageTurned180    Fit = "image_turned_180"  //
	ImageTurned270    Fit = "image_turned_270"  //
	ImageUpsideDown   Fit = "image_upside_down" // rows in reverse
	ImageMirrored     Fit = "image_mirrored"    // columns in reverse
	AllTurned90       Fit = "all_turned_90"     // image and vectors: the UVs were turned after the bake
	AllTurned180      Fit = "all_turned_180"    //
	AllTurned270      Fit = "all_turned_270"    //
	AllUpsideDown     Fit = "all_upside_down"   // image and vectors: the bake counted V the other way
	HalfTexelShifted  Fit = "half_texel_shifted"
	Shifted           Fit = "shifted"
	ObjectSpace       Fit = "object_space"        // directions in space and not on the surface
	MirroredGreen     Fit = "mirrored_green"      // handedness ignored: green is wrong where UVs are mirrored
	MirroredRed       Fit = "mirrored_red"        // the same with red
	FaceNormals       Fit = "face_normals"        // baked onto flat faces
	SmoothNormals     Fit = "smooth_normals"      // baked onto a mesh without hard edges
	TriangleTangents  Fit = "triangle_tangents"   // tangents of each triangle for itself, not MikkTSpace
	GeneratedTangents Fit = "mikktspace_tangents" // MikkTSpace and not the delivered TANGENT
	UnpairedParts     Fit = "unpaired_parts"      // rays met other parts' sculpts
	OtherSet          Fit = "other_set"           // another texture set's map; FitError.Set says which
)

// FitError is how well a reading fits, over a sample of texels.
type FitError struct {
	Fit            Fit
	Set            int // OtherSet: index into Also.Sets
	MeanDeg        float64
	LowPassDeg     float64    // the same over blocks' averages
	ShiftPx        [2]float64 // Shifted and HalfTexelShifted: how far the map must be moved to the right and down, in its pixels
	Slope          float64    // how much of our leaning the map has, 1 for all of it: what was painted over does not change it
	correlation    float64
	islands        []fitSum
	texels, blocks int
}

// fitSum is an island's share of a sample.
type fitSum struct {
	sum   int64 // steps
	count int32
}

// otherFrame says whether a reading takes the map's vectors in another frame than the surface's own.
func (f Fit) otherFrame() bool {
	switch f {
	case ObjectSpace, MirroredGreen, MirroredRed, FaceNormals, SmoothNormals, TriangleTangents, GeneratedTangents, UnpairedParts:
		return true
	}
	return false
}

// Also is what a map is held against beside its own bake.
type Also struct {
	Tangents []float32    // MikkTSpace tangents where Game has delivered ones; nil where they are the same
	Sculpts  []*Sculpt    // all sculpts, for rays that were not kept to their part; nil leaves it out
	Sets     []*Delivered // normal maps of other texture sets, of the same size
}

// Readings that fit this many times better, and by this much, say what went wrong. Common practice, no source.
const (
	clearRatio = 3
	clearDeg   = 1
)

// sample is a texel on which readings are tried.
type sample struct {
	px, py int32 // pixel of the delivered map
	texel  int32
	at     inTriangle
	island int32
	block  int32 // number within the sample
	ours   vec
}

const (
	mostBlocks   = 256     // blocks in a sample
	leastTexels  = 16      // served texels of a block in it
	leastSamples = 48      // texels of an island for a reading of its own
	mostFitted   = 1 << 16 // islands of a layout up to which each is tried for itself
)

// samples are the served texels of blocks spread evenly over the map.
func (c *comparison) samples() (all []sample, blocks int) {
	usable := 0
	for i := range c.blocks {
		if c.blocks[i].texels >= leastTexels {
			usable++
		}
	}
	stride := (usable + mostBlocks - 1) / mostBlocks
	g := c.m.Grid
	seen := 0
	for i := range c.blocks {
		if c.blocks[i].texels < leastTexels {
			continue
		}
		if seen++; (seen-1)%stride != 0 {
			continue
		}
		x0, y0 := i%c.across*blockEdge, i/c.across*blockEdge
		for y := y0; y < min(y0+blockEdge, g.H); y++ {
			for x := x0; x < min(x0+blockEdge, g.W); x++ {
				k := y*g.W + x
				if c.m.Tri[k] < 0 || !c.m.Served(k) {
					continue
				}
				at, ok := c.game.find(g, c.m.Tri[k], x, y)
				if !ok {
					continue
				}
				px, py := g.Pixel(x, y)
				ours, _ := unit(c.m.normal(k))
				all = append(all, sample{int32(px), int32(py), int32(k), at, c.game.Island[at.tri], int32(blocks), ours})
			}
		}
		blocks++
	}
	return all, blocks
}

// find places a texel of the grid in a triangle.
func (g *Game) find(grid Grid, t int32, x, y int) (inTriangle, bool) {
	home, folded := (&cover{grid: grid}).place(g, int(t))
	q := [2]float64{float64(x), float64(y)}
	for _, list := range [2][]placed{home, folded} {
		for _, p := range list {
			u, v := area2(p.q[0], q, p.q[2])/p.det, area2(p.q[0], p.q[1], q)/p.det
			if u >= -onEdge && v >= -onEdge && u+v <= 1+onEdge {
				return inTriangle{t, float32(u), float32(v)}, true
			}
		}
	}
	return inTriangle{}, false
}

// trial is a sample that readings are tried on.
type trial struct {
	c       *comparison
	all     []sample
	blocks  int
	islands int
}

// tryFits tries every reading and notes which fits best.
func (c *comparison) tryFits(ctx context.Context, r *Report, also Also, threads int) error {
	t := &trial{c: c, islands: c.islands}
	if t.islands > mostFitted {
		t.islands = 0
	}
	t.all, t.blocks = c.samples()
	r.Ratio, r.Grey = 1, t.grey()
	if len(t.all) == 0 {
		return nil
	}
	list := c.readings(also)
	if r.within(clearDeg) {
		list = list[:1] // nothing can fit better by that much
	}
	r.Fits = make([]FitError, len(list))
	if err := each(ctx, len(list), threads, func(_, i int) { r.Fits[i] = t.measure(list[i]) }); err != nil {
		return err
	}
	still := r.Fits[0]
	r.choose(still, 0)
	if still.MeanDeg >= clearDeg && clearRatio*r.Fits[r.Best].MeanDeg > still.MeanDeg { // dearer ones, where nothing explains it all
		// A shift by half a pixel averages neighbours, which takes grain away: it has to fit better than a map averaged in place.
		soft := t.measure(c.softened())
		still.MeanDeg, still.LowPassDeg = min(still.MeanDeg, soft.MeanDeg), min(still.LowPassDeg, soft.LowPassDeg)
		from := len(r.Fits)
		r.Fits = append(r.Fits, t.shifted(ctx, threads))
		if also.Sculpts != nil {
			r.Fits = append(r.Fits, t.measure(t.unpaired(also.Sculpts)))
		}
		r.choose(still, from)
	}
	if ctx.Err() != nil {
		return ctx.Err()
	}
	t.fitIslands(r)
	for i := range r.Fits {
		r.Fits[i].islands = nil
	}
	return nil
}

// within says whether the whole and each listed island are within an angle on average.
func (r *Report) within(deg float64) bool {
	for _, e := range r.Islands {
		if e.MeanDeg >= deg {
			return false
		}
	}
	return r.All.MeanDeg < deg && r.LowPassMeanDeg < deg
}

// choose looks among the readings from one on for one that fits better than all before. still stands for the map as
// delivered where the reading is a shift.
func (r *Report) choose(still FitError, from int) {
	for i := from; i < len(r.Fits); i++ {
		f, as := &r.Fits[i], &r.Fits[0]
		if f.Fit == Shifted || f.Fit == HalfTexelShifted {
			as = &still
		}
		r.Related = max(r.Related, f.correlation)
		ratio := better(as, f, r.ReliefDeg)
		if ratio > r.Ratio || ratio == r.Ratio && ratio > 1 && f.MeanDeg < r.Fits[r.Best].MeanDeg {
			r.Best, r.Ratio = i, ratio
		}
	}
}

// A map that has at most littleRelief of our leaning as delivered and at least mostRelief in another reading was meant that
// way, however much was painted over it. Free choice, halves apart: a right map has all of it, one with a wrong sign none.
const (
	littleRelief = 0.35
	mostRelief   = 0.7
)

// better is how many times better f fits than the map as delivered: at full detail, over averages, or by the relief it has,
// whichever says more.
func better(as, f *FitError, reliefDeg float64) float64 {
	const floor = 0.05 // degrees: below, rounding is compared with rounding
	ratio := 1.0
	for _, pair := range [2][2]float64{{as.MeanDeg, f.MeanDeg}, {as.LowPassDeg, f.LowPassDeg}} {
		if pair[0]-pair[1] >= clearDeg {
			ratio = max(ratio, pair[0]/max(pair[1], floor))
		}
	}
	// Readings in another frame lean all over by themselves, as rounded edges do: only those in our own are told by relief.
	if reliefDeg >= clearDeg && as.Slope <= littleRelief && f.Slope >= mostRelief && f.MeanDeg < as.MeanDeg && !f.Fit.otherFrame() {
		ratio = max(ratio, clearRatio)
	}
	return ratio
}

// measure tries one reading.
func (t *trial) measure(read reading) FitError {
	f := FitError{Fit: read.fit, Set: read.set, ShiftPx: read.shift, islands: make([]fitSum, t.islands)}
	sums := make([]block, t.blocks)
	var sum int64
	var product, oursSq, theirsSq float64
	for i := range t.all {
		s := &t.all[i]
		ours, theirs, ok := read.pair(i, s)
		if !ok || !finite(theirs) {
			continue
		}
		steps := stepsOf(angle(ours, theirs))
		sum += int64(steps)
		f.texels++
		if t.islands > 0 {
			f.islands[s.island].sum += int64(steps)
			f.islands[s.island].count++
		}
		b := &sums[s.block]
		b.texels++
		b.ours, b.theirs = add(b.ours, ours), add(b.theirs, theirs)
		product += float64(ours[0]*theirs[0]) + float64(ours[1]*theirs[1])
		oursSq += float64(ours[0]*ours[0]) + float64(ours[1]*ours[1])
		theirsSq += float64(theirs[0]*theirs[0]) + float64(theirs[1]*theirs[1])
	}
	if f.texels > 0 {
		f.MeanDeg = float64(sum) / stepsPerDeg / float64(f.texels)
		f.LowPassDeg = lowPass(sums)
	}
	if oursSq > 0 {
		f.Slope = product / oursSq
	}
	if oursSq > 0 && theirsSq > 0 {
		f.correlation = product / math.Sqrt(float64(oursSq*theirsSq))
	}
	return f
}

// grey says whether the map's channels are equal, as in a picture of heights.
func (t *trial) grey() bool {
	d := t.c.d
	if d.Channels < 2 {
		return true
	}
	if d.Channels < 3 || d.Z < 0 {
		return false
	}
	const near, most = 3.0 / 255, 0.02 // compression; texels that differ by more
	coloured := 0
	for i := range t.all {
		px, py := int(t.all[i].px), int(t.all[i].py)
		r, g, b := d.value(px, py, 0), d.value(px, py, 1), d.value(px, py, 2)
		if math.Abs(r-g) > near || math.Abs(g-b) > near {
			coloured++
		}
	}
	return len(t.all) > 0 && float64(coloured) <= float64(most*float64(len(t.all)))
}

// fitIslands says of each listed island what fits it better than the map as delivered.
func (t *trial) fitIslands(r *Report) {
	as := &r.Fits[0]
	for k := range r.Islands {
		if t.islands == 0 {
			return
		}
		e := &r.Islands[k]
		own := as.islands[e.Island]
		if own.count < leastSamples {
			continue
		}
		e.AsMeanDeg = mean(own)
		e.FitMeanDeg = e.AsMeanDeg
		for i := 1; i < len(r.Fits); i++ {
			o := r.Fits[i].islands[e.Island]
			if o.count != own.count {
				continue
			}
			if m := mean(o); m < e.FitMeanDeg && e.AsMeanDeg >= clearRatio*m && e.AsMeanDeg-m >= clearDeg {
				e.Fit, e.FitMeanDeg = r.Fits[i].Fit, m
			}
		}
	}
}

func mean(s fitSum) float64 { return float64(s.sum) / stepsPerDeg / float64(s.count) }

// mostShifted is how many texels a shift is tried on: some 150 shifts are, and a mean over two thousand tells them apart.
const mostShifted = 2048

// shifted looks for the shift of the whole map that fits best: over whole pixels nearby, over larger steps along the axes,
// and in half pixels around the best of those.
func (t *trial) shifted(ctx context.Context, threads int) FitError {
	few := &trial{c: t.c, blocks: t.blocks, islands: t.islands}
	stride := (len(t.all) + mostShifted - 1) / mostShifted
	for i := 0; i < len(t.all); i += stride {
		few.all = append(few.all, t.all[i])
	}
	best, bestDeg := [2]float64{}, math.Inf(1)
	try := func(list [][2]float64) {
		got := make([]FitError, len(list))
		if each(ctx, len(list), threads, func(_, i int) { got[i] = few.measure(t.c.shift(list[i])) }) != nil {
			return
		}
		for i, f := range got {
			if f.MeanDeg < bestDeg {
				best, bestDeg = list[i], f.MeanDeg
			}
		}
	}
	var first [][2]float64
	for y := -4.0; y <= 4; y++ {
		for x := -4.0; x <= 4; x++ {
			first = append(first, [2]float64{x, y})
		}
	}
	for far := 8.0; far <= 64; far *= 2 {
		first = append(first, [2]float64{far, 0}, [2]float64{-far, 0}, [2]float64{0, far}, [2]float64{0, -far})
	}
	try(first)
	for _, step := range [2]float64{1, 0.5} {
		for range 4 {
			from := best
			var round [][2]float64
			for y := -1.0; y <= 1; y++ {
				for x := -1.0; x <= 1; x++ {
					round = append(round, [2]float64{from[0] + float64(step*x), from[1] + float64(step*y)})
				}
			}
			if try(round); best == from {
				break
			}
		}
	}
	return t.measure(t.c.shift(best))
}
