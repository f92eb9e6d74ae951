package surface

import (
	"context"
	"fmt"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spatial"
)

// Distances sums up the distances from one surface to another, weighted by area. Millimetres.
type Distances struct {
	MaxMM, MeanMM, RMSMM, P95MM, P99MM float64

	MaxErrorMM  float64 // the true maximum is at most this much above MaxMM
	MeanErrorMM float64 // standard error of the mean, at most
	P95ErrorMM  float64 // of the 95th percentile
	Samples     int
	How         string // how it was sampled, in words
}

// Spot is one of the places that lie farthest from the other surface.
type Spot struct {
	PointMM    [3]float64
	DistanceMM float64
	Triangle   int // of the surface the point lies on
}

// Deviation is the distance between game surface and sculpt, both ways (Cignoni, Rocchini and Scopigno, Metro: measuring error
// on simplified surfaces, Computer Graphics Forum 17(2), 1998; Aspert, Santa-Cruz and Ebrahimi, MESH, ICME 2002).
type Deviation struct {
	SculptToGame, GameToSculpt Distances
	DiagonalMM                 float64
	HiddenGameShare            float64 // of the game surface, inside another of its shells and left out
	HiddenSculptShare          float64 // of the sculpt, seen from nowhere outside and left out
	HiddenSculptMaxMM          float64 // the farthest vertex of that
	OpenSculptShare            float64 // of the sculpt, facing a side declared open and left out
	Worst                      []Spot  // on the sculpt, the farthest first, at least spotGap apart
	WorstGame                  []Spot  // on the game surface
}

// gameSamples is how many points of the game surface are asked. The standard error of their mean is told with it.
const gameSamples = 200_000

// spotGap of the diagonal is how far apart two of the worst places are.
const spotGap = 1.0 / 24

const maxSpots = 10

// Deviation measures the distances both ways, once.
func (p *Pair) Deviation(ctx context.Context) (*Deviation, error) {
	p.deviationOnce.Do(func() { p.deviation, p.deviationErr = p.measureDeviation(ctx) })
	return p.deviation, p.deviationErr
}

func (p *Pair) measureDeviation(ctx context.Context) (*Deviation, error) {
	h, err := p.Heights(ctx)
	if err != nil {
		return nil, err
	}
	d := &Deviation{DiagonalMM: 1000 * p.diagonal}
	if err := p.fromSculpt(ctx, h, d); err != nil {
		return nil, err
	}
	if err := p.fromGame(ctx, d); err != nil {
		return nil, err
	}
	return d, nil
}

// distanceSums are the sums of one piece, metres and square metres.
type distanceSums struct {
	area, sum, squares float64
	hidden, open       float64 // area left out
	hiddenMax          float64
	maxD               float64
	weight             int64
	worst              Spot
}

func (s *distanceSums) merge(o *distanceSums) {
	s.area, s.sum, s.squares, s.weight = s.area+o.area, s.sum+o.sum, s.squares+o.squares, s.weight+o.weight
	s.hidden, s.open, s.hiddenMax, s.maxD = s.hidden+o.hidden, s.open+o.open, max(s.hiddenMax, o.hiddenMax), max(s.maxD, o.maxD)
}

// overSculpt sums over every sculpt triangle, the distance linear between its corners, and then what about n points
// between them say that this is wrong by.
type overSculpt struct {
	pieces []distanceSums
	sums   distanceSums
	spread *spread
	points *sculptPoints
	rest   residue
}

func (p *Pair) sumSculpt(ctx context.Context, h *Heights, n int) (*overSculpt, error) {
	count := h.on.triangles()
	area, err := h.countedArea(ctx, p.threads)
	if err != nil {
		return nil, err
	}
	o := &overSculpt{pieces: make([]distanceSums, pieces(count))}
	spreads, strips := make([]spread, p.threads), make([]strip, len(o.pieces))
	err = eachPiece(ctx, count, p.threads, func(worker, piece, first, end int) {
		a := adder{h: h, s: &o.pieces[piece], sp: &spreads[worker], strip: newStrip(piece, area/float64(n)), unitsPerArea: (1 << weightBits) / area / 3}
		if area > 0 && !math.IsInf(area, 0) {
			for t := first; t < end; t++ {
				a.add(t)
			}
		}
		strips[piece] = a.strip
	})
	if err != nil {
		return nil, err
	}
	for i := range o.pieces {
		o.sums.merge(&o.pieces[i])
	}
	for i := 1; i < len(spreads); i++ {
		spreads[0].merge(&spreads[i])
	}
	o.spread, o.points = &spreads[0], joined(strips)
	o.rest, err = o.points.ask(ctx, p)
	o.points.spreadInto(o.spread, o.sums.weight)
	return o, err
}

// mean is the mean distance, metres.
func (o *overSculpt) mean() float64 {
	mean := 0.0
	if o.sums.area > 0 {
		mean = o.sums.sum / o.sums.area
	}
	if o.rest.n > 0 {
		mean += o.rest.sum / o.rest.n
	}
	return max(mean, 0)
}

// fromSculpt measures from the sculpt to the game surface.
func (p *Pair) fromSculpt(ctx context.Context, h *Heights, d *Deviation) error {
	o, err := p.sumSculpt(ctx, h, p.feetBack)
	if err != nil {
		return err
	}
	// A standard error falls with the root of the number of points.
	if times := o.rest.meanError() / (meanErrorShare * o.mean()); times > 1 {
		if o, err = p.sumSculpt(ctx, h, int(float64(p.feetBack)*min(float64(1.1*times*times), mostPoints))); err != nil {
			return err
		}
	}
	tall, slack, err := p.tightenSculpt(ctx, h, o)
	if err != nil {
		return err
	}
	found := o.sums
	found.sum = float64(found.area * o.mean())
	if o.rest.n > 0 {
		found.squares += float64(found.area * o.rest.ofSquares / o.rest.n)
	}
	x := distancesOf(found, o.spread, tall, slack)
	x.MeanErrorMM = 1000 * o.rest.meanError()
	x.P95ErrorMM = percentileError(o.spread, 0.95, o.points.rankError(x.P95MM/1000))
	x.Samples = h.on.vertices() + len(o.points.dist)
	x.How = fmt.Sprintf("at every sculpt vertex (edges longer than %.3g mm cut) and at %d points between them, spread evenly by area, seed %d, for how the distance bends there",
		1000*h.edgeMax, len(o.points.dist), feetSeed)
	d.SculptToGame = x
	for i := range o.pieces {
		d.Worst = append(d.Worst, o.pieces[i].worst)
	}
	d.Worst = apart(d.Worst, spotGap*1000*p.diagonal)
	all := o.sums.area + o.sums.hidden + o.sums.open
	d.HiddenSculptShare, d.OpenSculptShare, d.HiddenSculptMaxMM = ratio(o.sums.hidden, all), ratio(o.sums.open, all), 1000*o.sums.hiddenMax
	return nil
}

// percentileError turns a standard error of the rank into one of the value, millimetres.
func percentileError(s *spread, share, rank float64) float64 {
	q := s.percentiles(max(share-rank, 0), min(share+rank, 1))
	return 500 * max(q[1]-q[0], 0)
}

// tightenSculpt looks for the largest distance from the sculpt between its vertices.
func (p *Pair) tightenSculpt(ctx context.Context, h *Heights, o *overSculpt) (best, slack float64, err error) {
	m := &tightener{tree: p.onGame, pos: p.skin.pos, tri: p.skin.tri, threads: p.threads, best: o.sums.maxD, slack: p.slack(o.sums.maxD)}
	m.value = func(q vec, near *spatial.Near) float64 {
		if _, state := p.signed(q, near); state&(openThere|noPlace) != 0 {
			return math.Inf(-1)
		}
		return float64(near.Dist)
	}
	m.offerPieces(h.on.triangles(), func(i int) float64 { return o.pieces[i].maxD + float64(h.longest[i]*coverShare) }, func(piece, first, end int) {
		for t := first; t < end; t++ {
			v, ok := h.counts(t)
			if !ok || (h.state[v[0]]|h.state[v[1]]|h.state[v[2]])&hidden != 0 {
				continue
			}
			if f := h.distances(v); !m.below(f, h.longest[piece]) {
				m.offer(h.candidate(v, f))
			}
		}
	})
	return m.run(ctx)
}

// counts gives a triangle's corners and whether its distances count: seen from outside and not facing a declared opening.
func (h *Heights) counts(t int) ([3]uint32, bool) {
	v, ok := h.on.corners(t)
	if !ok {
		return v, false
	}
	s0, s1, s2 := h.state[v[0]], h.state[v[1]], h.state[v[2]]
	return v, (s0|s1|s2)&(noPlace|openThere) == 0 && s0&s1&s2&hidden == 0
}

func (h *Heights) distances(v [3]uint32) plane {
	return plane{math.Abs(float64(h.h[v[0]])), math.Abs(float64(h.h[v[1]])), math.Abs(float64(h.h[v[2]]))}
}

// countedArea is how much of the sculpt counts, square metres: weights and points are dealt out by it.
func (h *Heights) countedArea(ctx context.Context, threads int) (float64, error) {
	parts := make([]float64, pieces(h.on.triangles()))
	err := eachPiece(ctx, h.on.triangles(), threads, func(_, piece, first, end int) {
		for t := first; t < end; t++ {
			if _, ok := h.counts(t); ok {
				parts[piece] += float64(h.area[t])
			}
		}
	})
	total := 0.0
	for _, a := range parts {
		total += a
	}
	return total, err
}

// adder adds the triangles of one piece of work.
type adder struct {
	h            *Heights
	s            *distanceSums
	sp           *spread
	strip        strip
	unitsPerArea float64
}

func (x *adder) add(t int) {
	h, s := x.h, x.s
	v, ok := h.on.corners(t)
	if !ok {
		return
	}
	s0, s1, s2 := h.state[v[0]], h.state[v[1]], h.state[v[2]]
	any := s0 | s1 | s2
	if any&noPlace != 0 {
		return
	}
	size := float64(h.area[t])
	f := h.distances(v)
	switch {
	case s0&s1&s2&hidden != 0:
		s.hidden += size
		s.hiddenMax = max(s.hiddenMax, f[0], f[1], f[2])
		return
	case any&openThere != 0:
		s.open += size
		return
	}
	s.area += size
	s.sum += float64(size * (f[0] + f[1] + f[2]) / 3)
	// The mean square of what is linear over a triangle.
	s.squares += float64(size * (float64(f[0]*f[0]) + float64(f[1]*f[1]) + float64(f[2]*f[2]) + float64(f[0]*f[1]) + float64(f[1]*f[2]) + float64(f[2]*f[0])) / 6)
	weight := int64(float64(size * x.unitsPerArea))
	s.weight += 3 * weight
	for k := range 3 {
		x.sp.add(float32(f[k]), weight)
		if f[k] > s.maxD && h.state[v[k]]&hidden == 0 {
			s.maxD = f[k]
			s.worst = Spot{PointMM: toMM(h.on.point(v[k])), DistanceMM: 1000 * f[k], Triangle: h.on.source(t)}
		}
	}
	if x.strip.done += size; x.strip.next < x.strip.done {
		x.strip.put(h.on.point(v[0]), h.on.point(v[1]), h.on.point(v[2]), f)
	}
}

func distancesOf(s distanceSums, sp *spread, tall, slack float64) Distances {
	out := Distances{MaxMM: 1000 * tall, MaxErrorMM: 1000 * slack}
	if s.area > 0 {
		out.MeanMM, out.RMSMM = 1000*s.sum/s.area, 1000*math.Sqrt(max(s.squares/s.area, 0))
	}
	p := sp.percentiles(0.95, 0.99)
	out.P95MM, out.P99MM = 1000*p[0], 1000*p[1]
	return out
}

// apart keeps the farthest places that are at least gap from each other.
func apart(spots []Spot, gapMM float64) []Spot {
	slices.SortStableFunc(spots, func(a, b Spot) int {
		switch {
		case a.DistanceMM > b.DistanceMM:
			return -1
		case a.DistanceMM < b.DistanceMM:
			return 1
		}
		return a.Triangle - b.Triangle
	})
	var kept []Spot
	for _, s := range spots {
		if len(kept) == maxSpots || s.DistanceMM <= 0 {
			break
		}
		free := true
		for _, k := range kept {
			if length(sub(s.PointMM, k.PointMM)) < gapMM {
				free = false
				break
			}
		}
		if free {
			kept = append(kept, s)
		}
	}
	return kept
}

// fromGame asks stratified samples of the game surface, equal in area.
func (p *Pair) fromGame(ctx context.Context, d *Deviation) error {
	feet := p.feet(p.feetBack)
	d.HiddenGameShare = feet.hiddenShare
	n := len(feet.tri)
	if n == 0 {
		return nil
	}
	tree := p.sculptTree()
	sums, spreads := make([]distanceSums, pieces(n)), make([]spread, p.threads)
	err := p.near(ctx, tree, feet.pos, float32(math.Inf(1)), func(worker, piece, first int, near []spatial.Near) {
		s := &sums[piece]
		for i := range near {
			if near[i].Tri == spatial.Miss {
				continue
			}
			x := float64(near[i].Dist)
			s.area++
			s.sum += x
			s.squares += float64(x * x)
			spreads[worker].add(near[i].Dist, 1)
			if x > s.maxD {
				s.maxD = x
				s.worst = Spot{PointMM: toMM(at(feet.pos, uint32(first+i))), DistanceMM: 1000 * x, Triangle: int(p.skin.source[feet.tri[first+i]])}
			}
		}
	})
	if err != nil {
		return err
	}
	var s distanceSums
	for i := range sums {
		s.merge(&sums[i])
		d.WorstGame = append(d.WorstGame, sums[i].worst)
	}
	for i := 1; i < len(spreads); i++ {
		spreads[0].merge(&spreads[i])
	}
	tall, slack, err := p.tightenGame(ctx, tree, s.maxD)
	if err != nil {
		return err
	}
	d.GameToSculpt = distancesOf(s, &spreads[0], tall, slack)
	d.GameToSculpt.Samples = n
	if s.area > 1 {
		mean := s.sum / s.area
		d.GameToSculpt.MeanErrorMM = 1000 * math.Sqrt(max(s.squares/s.area-float64(mean*mean), 0)/s.area)
		d.GameToSculpt.P95ErrorMM = percentileError(&spreads[0], 0.95, math.Sqrt(0.95*0.05/s.area))
	}
	d.GameToSculpt.How = fmt.Sprintf("%d samples, one for each %.3g mm² of game surface, stratified by area, seed %d", n, feet.areaEachMM2, feetSeed)
	d.WorstGame = apart(d.WorstGame, spotGap*1000*p.diagonal)
	return nil
}

// tightenGame looks for the largest distance from the game surface between the samples, from its corners down.
func (p *Pair) tightenGame(ctx context.Context, tree *spatial.Tree, tall float64) (float64, float64, error) {
	heat, err := p.Heat(ctx)
	if err != nil {
		return 0, 0, err
	}
	out := make([]bool, len(p.skin.face)) // faces inside another shell, wholly or in part: not looked at
	for t := range p.skin.face {
		for k := range 3 {
			out[t] = out[t] || p.skin.inOther(at(p.skin.pos, p.skin.tri[3*t+k]), p.skin.shell[t])
		}
	}
	d := func(v uint32) float64 { return math.Abs(float64(heat.HeightMM[v])) / 1000 }
	for i := 0; i < len(heat.Tri); i += 3 {
		if out[heat.skinFace[i/3]] {
			continue
		}
		for _, v := range heat.Tri[i : i+3] {
			if x := d(v); x > tall {
				tall = x
			}
		}
	}
	m := &tightener{tree: tree, pos: p.sculpt.Pos, tri: p.sculpt.Tri, threads: p.threads, best: tall, slack: p.slack(tall)}
	m.value = func(_ vec, near *spatial.Near) float64 {
		if near.Tri == spatial.Miss {
			return math.Inf(-1)
		}
		return float64(near.Dist)
	}
	n := len(heat.Tri) / 3
	m.offerPieces(n, func(int) float64 { return math.Inf(1) }, func(_, first, end int) {
		for i := first; i < end; i++ {
			v := heat.Tri[3*i : 3*i+3]
			if out[heat.skinFace[i]] {
				continue
			}
			m.offer(candidate{
				c: [3]vec{at(heat.Pos, v[0]), at(heat.Pos, v[1]), at(heat.Pos, v[2])}, f: plane{d(v[0]), d(v[1]), d(v[2])},
				near: [3]int32{heat.base[v[0]], heat.base[v[1]], heat.base[v[2]]},
			})
		}
	})
	return m.run(ctx)
}
