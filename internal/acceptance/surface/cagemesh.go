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
