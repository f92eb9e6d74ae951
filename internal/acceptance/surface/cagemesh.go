package surface

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spatial"
)

// MatchCage fits a delivered cage to the game mesh: the same triangles in the same order, pushed out. It returns the
// cage's place for every vertex of the game mesh. Vertices may be split otherwise than in the game mesh, as long as
// every corner of a position moves to one place.
func MatchCage(game, cage Mesh) (pos []float32, ok bool) {
	if len(game.Tri) != len(cage.Tri) {
		return nil, false
	}
	same, cageSame := weld(game.Pos), weld(cage.Pos)
	to := make([]int64, len(same)) // welded game vertex to welded cage vertex, plus 1
	from := make([]int64, len(cageSame))
	pos = make([]float32, len(game.Pos))
	for i, v := range game.Tri {
		g, c := same[v], cageSame[cage.Tri[i]]
		if to[g] == 0 && from[c] == 0 {
			to[g], from[c] = int64(c)+1, int64(g)+1
		}
		if to[g] != int64(c)+1 || from[c] != int64(g)+1 {
			return nil, false
		}
		copy(pos[3*v:3*v+3], cage.Pos[3*c:3*c+3])
	}
	return pos, true
}

// CageFit says how a delivered cage fits around the game mesh and the sculpt.
type CageFit struct {
	SameTopology     bool
	GameOutsideMM    float64 // how far the game surface's vertices stand outside the cage at most
	GameShare        float64 // of the game surface's vertices, outside
	SculptOutsideMM  float64
	SculptShare      float64 // of the sculpt's area, outside
	UnknownShare     float64 // of it, nearest to a border of the cage
	Crossings        int     // pairs of cage triangles that cross
	CrossingsAt      []Crossing
	WorstSculpt      []Spot
	WorstGame        []Spot
	CageTrianglesMax int
}

// FitCage measures a delivered cage.
func (p *Pair) FitCage(ctx context.Context, cage Mesh) (*CageFit, error) {
	f := &CageFit{CageTrianglesMax: cage.Triangles()}
	_, f.SameTopology = MatchCage(p.game, cage)
	around := NewPair(cage, p.sculpt, Options{Threads: p.threads, Open: p.opt.Open})
	around.shareSculpt(p)
	if around.Measurable() {
		if err := around.onlyOutside(ctx, p); err != nil {
			return nil, err
		}
		o, err := around.Outside(ctx, 0, 0)
		if err != nil {
			return nil, err
		}
		f.SculptOutsideMM, f.SculptShare, f.UnknownShare = o.MaxHeightMM, o.AreaShare, o.UnknownShare
		for _, q := range o.Patches[:min(len(o.Patches), maxSpots)] {
			f.WorstSculpt = append(f.WorstSculpt, Spot{PointMM: q.PeakMM, DistanceMM: q.HeightMM, Triangle: q.Triangle})
		}
		p.gameInCage(around, f)
	}
	all, err := Crossings(ctx, cage, p.threads)
	f.Crossings, f.CrossingsAt = len(all), all[:min(len(all), maxSpots)]
	return f, err
}

// shareSculpt spares the second tree and the second look for shells.
func (p *Pair) shareSculpt(o *Pair) {
	p.onSculpt = o.sculptTree()
	p.shellOnce.Do(func() { p.shells = o.sculptShells() })
}

// onlyOutside takes p's heights of the sculpt from o's: the same samples, areas and hidden walls. Of the vertices only those
// are asked that whole subtrees could not be shown to lie inside; the others get height 0, which is not outside. Where sides are
// declared open, every vertex has to be asked whether it faces one, and heights are left to be measured in full.
func (p *Pair) onlyOutside(ctx context.Context, o *Pair) error {
	if len(p.open) > 0 {
		return nil
	}
	from, err := o.Heights(ctx)
	if err != nil {
		return err
	}
	n := from.on.vertices()
	h := &Heights{on: from.on, edgeMax: from.edgeMax, area: from.area, longest: from.longest,
		h: make([]float32, n), state: make([]uint8, n), base: make([]int32, n)}
	for v, s := range from.state {
		h.state[v], h.base[v] = s&(hidden|noPlace), spatial.Miss
	}
	asked := p.onGame.Farther(p.sculptTree(), 0, spatial.NewNormals(p.onGame), p.threads)
	for v := len(from.on.pos) / 3; v < n; v++ { // middles of cut edges are in no tree
		asked = append(asked, uint32(v))
	}
	if err := p.ask(ctx, h, asked); err != nil {
		return err
	}
	// Where a triangle reaches outside, its other corners' depths count too: they say how much of it does.
	err = p.ask(ctx, h, h.besides(asked, p.noise))
	p.heightOnce.Do(func() { p.heights, p.heightErr = h, err })
	return err
}

// ask measures the heights of some samples.
func (p *Pair) ask(ctx context.Context, h *Heights, samples []uint32) error {
	points := make([]float32, 0, 3*len(samples))
	for _, v := range samples {
		q := narrow(h.on.point(v))
		points = append(points, q[0], q[1], q[2])
	}
	return p.near(ctx, p.onGame, points, float32(math.Inf(1)), func(_, _, first int, near []spatial.Near) {
		for i := range near {
			v := samples[first+i]
			d, state := p.signed(at(points, uint32(first+i)), &near[i])
			h.h[v], h.base[v] = d, near[i].Tri
			h.state[v] |= state
		}
	})
}

// besides lists the samples that share a triangle with one that is outside, and were not asked.
func (h *Heights) besides(asked []uint32, noise float64) []uint32 {
	done := make([]uint64, (len(h.h)+63)/64)
	mark := func(v uint32) { done[v>>6] |= 1 << (v & 63) }
	for _, v := range asked {
		mark(v)
	}
	var out []uint32
	for t := range h.on.triangles() {
		v, ok := h.on.corners(t)
		if !ok || !(float64(max(h.h[v[0]], h.h[v[1]], h.h[v[2]])) > noise) {
			continue
		}
		for _, w := range v {
			if done[w>>6]>>(w&63)&1 == 0 {
				mark(w)
				out = append(out, w)
			}
		}
	}
	return out
}

// gameInCage asks for every game vertex how far outside the cage it stands.
func (p *Pair) gameInCage(around *Pair, f *CageFit) {
	n := len(p.game.Pos) / 3
	near := make([]spatial.Near, n)
	around.onGame.Closest(p.game.Pos, float32(math.Inf(1)), near, p.threads)
	used := make([]bool, n)
	count, out := 0, 0
	for i, v := range p.game.Tri {
		if used[v] {
			continue
		}
		used[v] = true
		count++
		h, state := around.signed(at(p.game.Pos, v), &near[v])
		if state != 0 || float64(h) <= around.noise {
			continue
		}
		out++
		f.GameOutsideMM = max(f.GameOutsideMM, 1000*float64(h))
		f.WorstGame = append(f.WorstGame, Spot{PointMM: toMM(at(p.game.Pos, v)), DistanceMM: 1000 * float64(h), Triangle: i / 3})
	}
	f.GameShare = ratio(float64(out), float64(count))
	f.WorstGame = apart(f.WorstGame, spotGap*1000*p.diagonal)
}
