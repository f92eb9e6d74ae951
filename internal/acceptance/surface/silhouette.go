package surface

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
)

// Silhouette compares the outlines of game surface and sculpt, without perspective, from views spread evenly over the
// half of all directions that the camera may take. The other half shows the same outlines mirrored.
type Silhouette struct {
	Views              []View  // the worst first
	MeanOffsetMM       float64 // area between the outlines over the mean of their lengths, all views together
	MaxOffsetMM        float64 // of the worst view, looked at again at ever finer steps
	MaxErrorMM         float64 // how far MaxOffsetMM may be off: half the last step
	RunOffsetMM        float64 // largest offset kept up along RunMM
	RunMM              float64
	WorstViewAreaShare float64
	StepMM             float64 // the coarsest grid used
	GapMM              float64 // gaps through a surface that are narrower may go unseen
}

const (
	viewCount   = 32  // directions
	gridCells   = 448 // across the longer side of a view at most
	leastCells  = 96
	gridMargin  = 6 // cells that stay free around
	keptViews   = 4 // with outlines, for pictures
	zoomedViews = 6 // looked at again for the exact largest offset
)

// Silhouette looks from viewCount directions within 90° of toward; runMM is how long an offset must be kept up to count as a run.
func (p *Pair) Silhouette(ctx context.Context, toward [3]float64, runMM float64) (*Silhouette, error) {
	p.silhouetteMu.Lock()
	defer p.silhouetteMu.Unlock()
	key := silhouetteKey{toward, runMM}
	if s := p.silhouettes[key]; s != nil {
		return s, nil
	}
	s, err := p.measureSilhouette(ctx, unit(toward), runMM)
	if err != nil {
		return nil, err
	}
	if p.silhouettes == nil {
		p.silhouettes, p.firstSilhouette = map[silhouetteKey]*Silhouette{}, s
	}
	p.silhouettes[key] = s
	return s, nil
}

// Views are those of the comparison of outlines that was made first, the worst first; nil where none was.
func (p *Pair) Views() []View {
	p.silhouetteMu.Lock()
	defer p.silhouetteMu.Unlock()
	if p.firstSilhouette == nil {
		return nil
	}
	return p.firstSilhouette.Views
}

type silhouetteKey struct {
	toward [3]float64
	runMM  float64
}

// directions spreads n unit vectors evenly over the half sphere about axis: the sunflower of the golden angle in equal slices (González, Measurement
// of areas on a sphere using Fibonacci and latitude-longitude lattices, 2010).
func directions(n int, axis vec) []vec {
	x := unit(cross(vec{0, 1, 0}, axis))
	if math.Abs(axis[1]) > 0.9 {
		x = unit(cross(vec{1, 0, 0}, axis))
	}
	y := cross(axis, x)
	out := make([]vec, n)
	const golden = 2.399963229728653 // radians
	for k := range out {
		h := 1 - (float64(k)+0.5)/float64(n)
		r := math.Sqrt(1 - float64(h*h))
		sin, cos := detmath.Sincos(golden * float64(k))
		out[k] = unit(along(along(scale(axis, h), r*cos, x), r*sin, y))
	}
	return out
}

// viewAxes gives right and up of a camera that looks along -toward, upright.
func viewAxes(toward vec) (right, up vec) {
	right = unit(cross(vec{0, 1, 0}, toward))
	if math.Abs(toward[1]) > 0.999 {
		right = vec{1, 0, 0}
	}
	return right, unit(cross(toward, right))
}

// silhouettes looks at one pair.
type silhouettes struct {
	p            *Pair
	game, sculpt *cover
	runMM        float64
}

// sight is one view being compared.
type sight struct {
	View
	f            frame
	game, sculpt outline
	mask         bitgrid
	out          [2][]float64 // by point of the outlines: how far outside the other
	o            offsets
	in           window
	last         float64 // metres, the finest step
}

func (p *Pair) measureSilhouette(ctx context.Context, toward vec, runMM float64) (*Silhouette, error) {
	p.ready()
	p.dropTree() // outlines need none, and it would stand beside what they need
	s := &silhouettes{p: p, runMM: runMM}
	var err error
	if s.game, err = newCover(ctx, p.skin.pos, p.skin.tri, p.threads); err != nil {
		return nil, err
	}
	if s.sculpt, err = newCover(ctx, p.sculpt.Pos, p.sculpt.Tri, p.threads); err != nil {
		return nil, err
	}
	all := make([]sight, viewCount)
	for i, d := range directions(viewCount, toward) {
		all[i].Number, all[i].Toward = i, d
	}
	// Several views at once, since reading a sculpt costs more than drawing it: one lot for each thread.
	lot := (viewCount + p.threads - 1) / p.threads
	err = each(ctx, (viewCount+lot-1)/lot, p.threads, func(_, i int) { s.look(all[i*lot : min((i+1)*lot, viewCount)]) })
	if err != nil {
		return nil, err
	}
	out := &Silhouette{RunMM: runMM}
	var area, length float64
	for i := range all {
		v, px := &all[i], all[i].f.px
		area += float64(v.o.area * px * px)
		length += float64((v.o.lengths[0] + v.o.lengths[1]) / 2 * px)
		out.WorstViewAreaShare = max(out.WorstViewAreaShare, v.AreaShare)
		out.RunOffsetMM = max(out.RunOffsetMM, v.RunOffsetMM)
		out.StepMM, out.GapMM = max(out.StepMM, 1000*px), max(out.GapMM, 1000*stride*px)
	}
	if length > 0 {
		out.MeanOffsetMM = 1000 * area / length
	}
	if err := s.refine(ctx, all, out); err != nil {
		return nil, err
	}
	order := make([]*sight, len(all))
	for i := range all {
		order[i] = &all[i]
	}
	slices.SortStableFunc(order, func(a, b *sight) int { return worseView(&a.View, &b.View) })
	for i, v := range order {
		if i < keptViews {
			v.Game, v.Sculpt = v.loops(&v.f, &v.game), v.loops(&v.f, &v.sculpt)
		}
		out.Views = append(out.Views, v.View)
	}
	return out, nil
}

// worseView orders views by the run that an eye would see, then by the largest offset.
func worseView(a, b *View) int {
	switch {
	case a.RunOffsetMM > b.RunOffsetMM:
		return -1
	case a.RunOffsetMM < b.RunOffsetMM:
		return 1
	case a.MaxOffsetMM > b.MaxOffsetMM:
		return -1
	case a.MaxOffsetMM < b.MaxOffsetMM:
		return 1
	}
	return a.Number - b.Number
}

// frameFor fits both surfaces into a grid.
func (s *silhouettes) frameFor(right, up vec) frame {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	f := newFrame(vec{}, right, up, 1, 0, 0)
	for _, c := range []*cover{s.game, s.sculpt} {
		for i := range c.large {
			var r area32
			f.rect(&c.large[i], &r)
			lo[0], hi[0] = min(lo[0], float64(r.x0)), max(hi[0], float64(r.x1))
			lo[1], hi[1] = min(lo[1], float64(r.y0)), max(hi[1], float64(r.y1))
		}
	}
	wide, high := hi[0]-lo[0], hi[1]-lo[1]
	px := max(wide, high) / (gridCells - 2*gridMargin)
	if s.p.opt.PixelMM > 0 { // no finer than half a pixel, but not coarser than leastCells make it
		px = max(px, min(s.p.opt.PixelMM/2000, max(wide, high)/leastCells))
	}
	if !(px > 0) {
		px = 1
	}
	mid := add(scale(right, (lo[0]+hi[0])/2), scale(up, (lo[1]+hi[1])/2))
	return newFrame(mid, right, up, px, ceil(wide/px)+2*gridMargin, ceil(high/px)+2*gridMargin)
}

// look compares the outlines from several directions.
func (s *silhouettes) look(lot []sight) {
	for i := range lot {
		v := &lot[i]
		v.Right, v.Up = viewAxes(v.Toward)
		v.f = s.frameFor(v.Right, v.Up)
		v.in = v.f.window(-gridCells)
	}
	s.compare(lot)
	for i := range lot {
		v := &lot[i]
		v.o.lengths = [2]float64{v.game.length(), v.sculpt.length()}
		v.o.area, v.o.covered = between(&v.game, &v.sculpt)
		if s.runMM > 0 {
			run := s.runMM / 1000 / v.f.px
			v.o.run = max(v.game.worstRun(v.out[0], run), v.sculpt.worstRun(v.out[1], run))
		}
		mm := 1000 * v.f.px
		if l := (v.o.lengths[0] + v.o.lengths[1]) / 2; l > 0 {
			v.MeanOffsetMM = v.o.area / l * mm
		}
		v.AreaShare = ratio(v.o.area, v.o.covered)
		v.RunOffsetMM, v.HalfMM = v.o.run*mm, float64(max(v.f.w, v.f.h))/2*mm
		v.CentreMM = toMM(v.f.world([2]float64{float64(v.f.w / 2), float64(v.f.h / 2)}, v.Right, v.Up))
		v.setWorst(&v.f, &v.o)
	}
}

// world is the point of a view's plane through the world's origin at which a grid place lies.
func (f *frame) world(q [2]float64, right, up vec) vec {
	return add(scale(right, (q[0]-f.x0)*f.px), scale(up, (q[1]-f.y0)*f.px))
}

// plane turns a grid place into the view's millimetres.
func (v *View) plane(f *frame, q [2]float64) [2]float64 {
	p := toMM(f.world(q, v.Right, v.Up))
	d := sub(p, v.CentreMM)
	return [2]float64{dot(d, v.Right), dot(d, v.Up)}
}

func (v *View) setWorst(f *frame, o *offsets) {
	v.MaxOffsetMM, v.SculptOut = 1000*o.max*f.px, o.sculptOut
	v.WorstFromMM, v.WorstToMM = v.plane(f, o.from), v.plane(f, o.to)
}

// compare traces the outlines of the sights and fills their offsets: the largest within the window, and those along both
// outlines.
func (s *silhouettes) compare(lot []sight) {
	n := len(lot)
	frames, game, sculpt := make([]*frame, n), make([]*outline, n), make([]*outline, n)
	for k := range lot {
		frames[k], game[k], sculpt[k] = &lot[k].f, &lot[k].game, &lot[k].sculpt
	}
	trace(s.game, frames, game)
	trace(s.sculpt, frames, sculpt)
	masks, in, all := make([]*bitgrid, n), make([]window, n), make([]*offsets, n)
	for k := range lot {
		v := &lot[k]
		v.o = offsets{}
		masks[k], in[k], all[k] = &v.mask, v.in, &v.o
		for side, pair := range [2][2]*outline{{&v.game, &v.sculpt}, {&v.sculpt, &v.game}} {
			v.out[side] = slices.Grow(v.out[side][:0], len(pair[0].points))[:len(pair[0].points)]
			clear(v.out[side])
			if len(pair[1].points) > 0 { // else there is nothing to measure to
				v.o.outward(pair[0], pair[1], side == 1, v.in, v.out[side])
			}
		}
		emptyCells(&v.mask, &v.game, &v.sculpt)
	}
	thin(s.game, frames, sculpt, masks, in, all, false)
	thin(s.sculpt, frames, game, masks, in, all, true)
}

// refine looks again, at finer steps, at where the views with the largest offsets have them, and settles the largest.
func (s *silhouettes) refine(ctx context.Context, all []sight, out *Silhouette) error {
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch a, b := all[i].MaxOffsetMM, all[j].MaxOffsetMM; {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	order = order[:min(zoomedViews, len(order))]
	err := each(ctx, len(order), s.p.threads, func(_, k int) { s.zoom(&all[order[k]]) })
	for _, i := range order {
		if all[i].MaxOffsetMM > out.MaxOffsetMM {
			out.MaxOffsetMM, out.MaxErrorMM = all[i].MaxOffsetMM, 500*all[i].last
		}
	}
	return err
}

// zoom draws the surroundings of a view's largest offset at ever finer steps until the step is a hundredth of the offset or so.
func (s *silhouettes) zoom(v *sight) {
	near := make([]sight, 1)
	w, o, px := &near[0], v.o, v.f.px
	v.last = px
	for range 4 {
		if !(o.max > 0) || o.max > 100 {
			return
		}
		// Points count in the middle of the window; around it there is room for the other outline, as far as it may be.
		half := float64(1.5*o.max) + 6 // cells
		finer := min(8, gridCells/2/half)
		if finer < 1.5 {
			return
		}
		centre := scale(v.World(v.WorstFromMM), 1e-3)
		size := 2*ceil(half*finer) + 1
		px /= finer
		w.f = newFrame(centre, v.Right, v.Up, px, size, size)
		w.in = w.f.window(float64(finer * (float64(1.4*o.max) + 2)))
		s.compare(near)
		if o = w.o; !(o.max > 0) {
			return
		}
		v.last = px
		v.setWorst(&w.f, &o)
	}
}

func (v *View) loops(f *frame, o *outline) []Loop {
	var out []Loop
	for _, run := range o.loops() {
		loop := make(Loop, len(run))
		for i, p := range run {
			loop[i] = v.plane(f, o.points[p])
		}
		out = append(out, loop)
	}
	return out
}
