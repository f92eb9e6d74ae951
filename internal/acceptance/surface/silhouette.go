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
	gridCells   = 448 // across the longer side of a view
	gridMargin  = 6   // cells that stay free around
	keptViews   = 4   // with outlines, for pictures
	zoomedViews = 6   // looked at again for the exact largest offset
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

type silhouettes struct {
	p            *Pair
	game, sculpt *cover
	work         []viewScratch
	runMM        float64
}

type viewScratch struct {
	game, sculpt outline
	mask         bitgrid
	out          [2][]float64
}

func (p *Pair) measureSilhouette(ctx context.Context, toward vec, runMM float64) (*Silhouette, error) {
	p.ready()
	s := &silhouettes{p: p, work: make([]viewScratch, p.threads), runMM: runMM}
	var err error
	if s.game, err = newCover(ctx, p.skin.pos, p.skin.tri, p.threads); err != nil {
		return nil, err
	}
	if s.sculpt, err = newCover(ctx, p.sculpt.Pos, p.sculpt.Tri, p.threads); err != nil {
		return nil, err
	}
	dirs := directions(viewCount, toward)
	views, all, steps := make([]View, len(dirs)), make([]offsets, len(dirs)), make([]float64, len(dirs))
	err = each(ctx, len(dirs), p.threads, func(worker, i int) {
		views[i], all[i], steps[i] = s.look(&s.work[worker], i, dirs[i])
	})
	if err != nil {
		return nil, err
	}
	out := &Silhouette{RunMM: runMM}
	var area, length float64
	for i := range views {
		px := steps[i]
		area += all[i].area * px * px
		length += (all[i].lengths[0] + all[i].lengths[1]) / 2 * px
		out.WorstViewAreaShare = max(out.WorstViewAreaShare, views[i].AreaShare)
		out.RunOffsetMM = max(out.RunOffsetMM, views[i].RunOffsetMM)
		out.StepMM, out.GapMM = max(out.StepMM, 1000*px), max(out.GapMM, 1000*stride*px)
	}
	if length > 0 {
		out.MeanOffsetMM = 1000 * area / length
	}
	if err := s.refine(ctx, views, all, steps, out); err != nil {
		return nil, err
	}
	slices.SortStableFunc(views, func(a, b View) int { return worseView(&a, &b) })
	out.Views = views
	return out, s.keepOutlines(ctx, views)
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
			if c.large[i].half[0] < 0 {
				continue
			}
			x0, x1, y0, y1, _ := f.rect(&c.large[i])
			lo[0], hi[0] = min(lo[0], float64(x0)), max(hi[0], float64(x1))
			lo[1], hi[1] = min(lo[1], float64(y0)), max(hi[1], float64(y1))
		}
	}
	wide, high := hi[0]-lo[0], hi[1]-lo[1]
	px := max(wide, high) / (gridCells - 2*gridMargin)
	if !(px > 0) {
		px = 1
	}
	mid := add(scale(right, (lo[0]+hi[0])/2), scale(up, (lo[1]+hi[1])/2))
	return newFrame(mid, right, up, px, ceil(wide/px)+2*gridMargin, ceil(high/px)+2*gridMargin)
}

// look compares the outlines from one direction.
func (s *silhouettes) look(w *viewScratch, number int, toward vec) (View, offsets, float64) {
	right, up := viewAxes(toward)
	f := s.frameFor(right, up)
	v := View{Number: number, Toward: toward, Right: right, Up: up}
	s.trace(w, &f)
	var o offsets
	s.compare(w, &f, f.window(-gridCells), &o)
	o.lengths = [2]float64{w.game.length(), w.sculpt.length()}
	o.area, o.covered = between(&w.game, &w.sculpt)
	if s.runMM > 0 {
		run := s.runMM / 1000 / f.px
		o.run = max(w.game.worstRun(w.out[0], run), w.sculpt.worstRun(w.out[1], run))
	}
	mm := 1000 * f.px
	if l := (o.lengths[0] + o.lengths[1]) / 2; l > 0 {
		v.MeanOffsetMM = o.area / l * mm
	}
	v.AreaShare = ratio(o.area, o.covered)
	v.RunOffsetMM, v.HalfMM = o.run*mm, float64(max(f.w, f.h))/2*mm
	v.CentreMM = toMM(f.world([2]float64{float64(f.w / 2), float64(f.h / 2)}, right, up))
	v.setWorst(&f, &o)
	return v, o, f.px
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

func (s *silhouettes) trace(w *viewScratch, f *frame) {
	w.game.trace(s.game, f)
	w.sculpt.trace(s.sculpt, f)
}

// compare fills o with the largest offset within the window and w.out with those along both outlines.
func (s *silhouettes) compare(w *viewScratch, f *frame, in window, o *offsets) {
	for k, pair := range [2][2]*outline{{&w.game, &w.sculpt}, {&w.sculpt, &w.game}} {
		a, b := pair[0], pair[1]
		w.out[k] = slices.Grow(w.out[k][:0], len(a.points))[:len(a.points)]
		clear(w.out[k])
		if len(b.points) == 0 {
			continue // nothing to measure to
		}
		o.outward(a, b, k == 1, in, w.out[k])
	}
	if len(w.game.points) > 0 && len(w.sculpt.points) > 0 {
		emptyCells(&w.mask, &w.game, &w.sculpt)
		o.thin(s.game, &w.game, &w.sculpt, false, in, &w.mask)
		o.thin(s.sculpt, &w.sculpt, &w.game, true, in, &w.mask)
	}
}

// refine looks again, at finer steps, at where the views with the largest offsets have them, and settles the largest.
func (s *silhouettes) refine(ctx context.Context, views []View, all []offsets, steps []float64, out *Silhouette) error {
	order := make([]int, len(views))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch a, b := views[i].MaxOffsetMM, views[j].MaxOffsetMM; {
		case a > b:
			return -1
		case a < b:
			return 1
		}
		return 0
	})
	order = order[:min(zoomedViews, len(order))]
	last := make([]float64, len(views))
	err := each(ctx, len(order), s.p.threads, func(worker, k int) {
		i := order[k]
		last[i] = s.zoom(&s.work[worker], &views[i], all[i], steps[i])
	})
	for _, i := range order {
		if views[i].MaxOffsetMM > out.MaxOffsetMM {
			out.MaxOffsetMM, out.MaxErrorMM = views[i].MaxOffsetMM, 500*last[i]
		}
	}
	return err
}

// zoom draws the surroundings of a view's largest offset at ever finer steps until the step is a hundredth of the
// offset, and returns the last step in metres.
func (s *silhouettes) zoom(w *viewScratch, v *View, o offsets, px float64) float64 {
	for range 4 {
		if !(o.max > 0) || o.max > 100 {
			break
		}
		// Points count in the middle of the window; around it there is room for the other outline, as far as it may be.
		half := 1.5*o.max + 6 // cells
		finer := min(8, float64(gridCells)/2/half)
		if finer < 1.5 {
			break
		}
		centre := scale(add(add(scale(v.CentreMM, 1), scale(v.Right, v.WorstFromMM[0])), scale(v.Up, v.WorstFromMM[1])), 1e-3)
		size := 2*ceil(half*finer) + 1
		px /= finer
		f := newFrame(centre, v.Right, v.Up, px, size, size)
		s.trace(w, &f)
		if len(w.game.points) == 0 || len(w.sculpt.points) == 0 {
			break
		}
		middle := f.window(finer * (1.4*o.max + 2))
		o = offsets{}
		s.compare(w, &f, middle, &o)
		if !(o.max > 0) {
			break
		}
		v.setWorst(&f, &o)
	}
	return px
}

// keepOutlines traces the worst views again for their pictures.
func (s *silhouettes) keepOutlines(ctx context.Context, views []View) error {
	kept := views[:min(keptViews, len(views))]
	return each(ctx, len(kept), s.p.threads, func(worker, i int) {
		w, v := &s.work[worker], &kept[i]
		f := s.frameFor(v.Right, v.Up)
		s.trace(w, &f)
		v.Game, v.Sculpt = v.loops(&f, &w.game), v.loops(&f, &w.sculpt)
	})
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
