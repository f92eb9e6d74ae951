package surface

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spatial"
)

// CageKind says where projection rays start.
type CageKind string

// The kinds of cage.
const (
	CageMesh     CageKind = "mesh"     // on a delivered cage, corner by corner of the game surface
	CageAveraged CageKind = "averaged" // front along normals averaged per position, weighted by angle
	CageHard     CageKind = "hard"     // front along each face's own normal
)

// Cage is where rays start and how far they look.
type Cage struct {
	Kind            CageKind
	Pos             []float32 // CageMesh: 3 for each vertex of the game surface, in its order
	FrontMM, BackMM float64   // outward and inward reach; with CageMesh the front is the cage itself
}

// Reach is what projection rays meet. Shares are of the game surface that is baked and not inside another of its shells; they add to 1.
type Reach struct {
	HitShare, MissShare, BackfaceShare, FarShellShare float64
	P95SkewDeg                                        float64 // angle between ray and sculpt normal over the hits
	P95CurvedSkewDeg                                  float64 // the same where the game surface curves rather than breaks: see curved
	CurvedShare                                       float64 // of the hits
	StandardError                                     float64 // of the largest of the shares' complements, at most
	Samples                                           int
	StackedShare                                      float64 // of the samples, served only by another copy on the same texels
	UnbakedShare                                      float64 // of the game surface: on sets that are not baked, or without texels
	HiddenShare                                       float64 // of the game surface: inside another of its shells
	AreaEachMM2                                       float64
	Worst                                             []Miss
}

// Miss is a place that no ray serves.
type Miss struct {
	PointMM  [3]float64
	Triangle int // of the game surface
	What     Verdict
	Share    float64 // of the baked surface: what fails alike within missGap of it
}

// Verdict is how a ray came out.
type Verdict uint8

// What a ray can meet.
const (
	Served   Verdict = iota
	Nothing          // no sculpt within reach
	Backface         // the inner side of the sculpt
	FarShell         // another shell than the one that is nearest, and much farther away
)

// reachSamples is how many rays are cast. A share of 99.5 % is then told to a standard error of 0.01 %.
const reachSamples = 400_000

// farShare of the reach is how much farther than the nearest sculpt a hit on another shell must be to be somebody
// else's surface: less is what two shells that touch give along their seam.
const farShare = 0.5

// Reach casts projection rays from the cage inward, past the game surface as far as the back reach.
func (p *Pair) Reach(ctx context.Context, cage Cage) (*Reach, error) {
	p.ready()
	f := p.feet(p.feetReach)
	r := &Reach{HiddenShare: f.hiddenShare, AreaEachMM2: f.areaEachMM2}
	c := p.newCaster(cage)
	n := len(f.tri)
	state, skew := make([]Verdict, n), make([]float32, n)
	unbaked := make([]bool, n)
	err := eachPiece(ctx, n, p.threads, func(worker, _, first, end int) {
		for i := first; i < end; i++ {
			unbaked[i] = !p.baked(int(f.tri[i]))
		}
		c.cast(worker, f, first, end, state[first:end], skew[first:end])
	})
	if err != nil {
		return nil, err
	}
	stacked, err := p.serveStacks(ctx, c, f, state, skew, unbaked)
	if err != nil {
		return nil, err
	}
	r.sum(p, f, state, skew, unbaked, stacked)
	return r, nil
}

// baked says whether a triangle of the skin has texels that are baked.
func (p *Pair) baked(t int) bool {
	source := int(p.skin.source[t])
	if p.opt.SetOf != nil && p.opt.SetOf(source) < 0 {
		return false
	}
	return len(p.game.UV) == 0 || p.uvArea(source) != 0
}

func (p *Pair) uvArea(triangle int) float64 {
	a, b, c := p.uv(triangle, 0), p.uv(triangle, 1), p.uv(triangle, 2)
	return 0.5 * (float64((b[0]-a[0])*(c[1]-a[1])) - float64((b[1]-a[1])*(c[0]-a[0])))
}

func (p *Pair) uv(triangle, corner int) [2]float64 {
	v := int(p.game.Tri[3*triangle+corner])
	return [2]float64{float64(p.game.UV[2*v]), float64(p.game.UV[2*v+1])}
}

// sum turns the rays' outcomes into shares.
func (r *Reach) sum(p *Pair, f *feet, state []Verdict, skew []float32, unbaked []bool, stacked int) {
	var count [4]int
	var angles, smooth spread
	bends := p.skin.curved()
	onCurves, served := 0, 0
	for i := range state {
		if unbaked[i] {
			continue
		}
		r.Samples++
		count[state[i]]++
		if state[i] == Served && skew[i] >= 0 {
			angles.add(skew[i], 1)
			served++
			if bends[f.tri[i]] {
				smooth.add(skew[i], 1)
				onCurves++
			}
		}
	}
	if all := len(state); all > 0 {
		r.UnbakedShare = float64(all-r.Samples) / float64(all)
	}
	if r.Samples == 0 {
		return
	}
	n := float64(r.Samples)
	// Each share from its own count: one minus the others can come out a rounding below zero.
	r.HitShare, r.MissShare = float64(count[Served])/n, float64(count[Nothing])/n
	r.BackfaceShare, r.FarShellShare = float64(count[Backface])/n, float64(count[FarShell])/n
	r.StackedShare = float64(stacked) / n
	r.StandardError = math.Sqrt(max(float64(r.HitShare*(1-r.HitShare)), 1/n) / n)
	r.P95SkewDeg, r.P95CurvedSkewDeg = angles.percentiles(0.95)[0], smooth.percentiles(0.95)[0]
	r.CurvedShare = ratio(float64(onCurves), float64(served))
	r.places(p, f, state, unbaked)
}

// breakCos is the cosine of 40°: a face that leans farther from the averaged normal of one of its corners ends in a
// hard edge there. Averaged directions lean at hard edges by nature (45° at a square one), whatever the care taken; skew says something of
// how the surface is built only where it curves. Common practice, no source.
const breakCos = 0.766

// curved says for every triangle whether the surface curves at all its corners, and breaks at none.
func (s *skin) curved() []bool {
	out := make([]bool, len(s.face))
	for t := range out {
		out[t] = true
		for k := range 3 {
			out[t] = out[t] && dot(s.face[t], unit(s.vert[s.corner(t, k)])) >= breakCos
		}
	}
	return out
}

// missGap of the diagonal is how far apart the places named are.
const missGap = 1.0 / 16

// places gathers unserved feet into clusters, greedily in the order of the surface, and keeps the largest.
func (r *Reach) places(p *Pair, f *feet, state []Verdict, unbaked []bool) {
	gap := missGap * p.diagonal
	type cluster struct {
		at    vec
		first int
		count int
	}
	var all []cluster
	const most = 400 // clusters looked at: enough for any surface at this gap
	for i := range state {
		if state[i] == Served || unbaked[i] {
			continue
		}
		q := at(f.pos, uint32(i))
		found := false
		for k := range all {
			if d := sub(all[k].at, q); dot(d, d) < gap*gap && state[all[k].first] == state[i] {
				all[k].count++
				found = true
				break
			}
		}
		if !found && len(all) < most {
			all = append(all, cluster{q, i, 1})
		}
	}
	for len(r.Worst) < maxSpots {
		best := -1
		for k := range all {
			if all[k].count > 0 && (best < 0 || all[k].count > all[best].count) {
				best = k
			}
		}
		if best < 0 {
			return
		}
		c := all[best]
		r.Worst = append(r.Worst, Miss{PointMM: toMM(c.at), Triangle: int(p.skin.source[f.tri[c.first]]), What: state[c.first], Share: float64(c.count) / float64(r.Samples)})
		all[best].count = 0
	}
}

// caster casts the rays of one cage.
type caster struct {
	p     *Pair
	cage  Cage
	tree  *spatial.Tree
	front float64 // metres
	back  float64
	units []vec // by welded vertex: averaged normals of unit length
	work  []castScratch
}

type castScratch struct {
	rays  []spatial.Ray
	hits  []spatial.Hit
	front []float64 // metres from the ray's start to its foot
	near  []spatial.Near
	ask   []int
}

func (p *Pair) newCaster(cage Cage) *caster {
	c := &caster{p: p, cage: cage, tree: p.sculptTree(), front: cage.FrontMM / 1000, back: cage.BackMM / 1000}
	c.work = make([]castScratch, p.threads)
	if cage.Kind != CageHard {
		c.units = make([]vec, len(p.skin.vert))
		for v := range c.units {
			c.units[v] = unit(p.skin.vert[v])
		}
	}
	return c
}

// ray starts on the cage over a foot and runs through it.
func (c *caster) ray(t uint32, foot vec, w [2]float32) (spatial.Ray, float64) {
	s := c.p.skin
	blend := func(f func(k int) vec) vec {
		u, v := float64(w[0]), float64(w[1])
		return along(along(scale(f(0), 1-u-v), u, f(1)), v, f(2))
	}
	n := s.face[t]
	if c.cage.Kind != CageHard {
		n = blend(func(k int) vec { return c.units[s.corner(int(t), k)] })
	}
	start, reach := along(foot, c.front, n), c.front
	if c.cage.Kind == CageMesh {
		source := s.source[t]
		start = blend(func(k int) vec { return at(c.cage.Pos, c.p.game.Tri[3*int(source)+k]) })
		if d := sub(start, foot); length(d) > c.p.noise {
			n, reach = d, length(d)
		} else {
			start, reach = foot, 0
		}
	} else {
		reach = c.front * length(n)
	}
	d := scale(unit(n), -1)
	return spatial.Ray{Org: narrow(start), Dir: narrow(d), Max: float32(reach + c.back)}, reach
}

// cast judges the feet [first, end).
func (c *caster) cast(worker int, f *feet, first, end int, state []Verdict, skew []float32) {
	w := &c.work[worker]
	n := end - first
	if cap(w.rays) < n {
		size := max(n, pieceSize)
		w.rays, w.hits, w.front, w.near = make([]spatial.Ray, size), make([]spatial.Hit, size), make([]float64, size), make([]spatial.Near, size)
	}
	rays, hits := w.rays[:n], w.hits[:n]
	for i := range rays {
		rays[i], w.front[i] = c.ray(f.tri[first+i], at(f.pos, uint32(first+i)), f.weight[first+i])
	}
	c.tree.Hits(rays, hits, 1)
	w.ask = w.ask[:0]
	several := c.p.sculptShells().count > 1
	for i := range hits {
		switch h := &hits[i]; {
		case h.Tri == spatial.Miss:
			state[i] = Nothing
		case h.Back:
			state[i] = Backface
		default:
			state[i] = Served
			skew[i] = c.skew(h.Tri, &rays[i])
			if several && math.Abs(float64(h.T)-w.front[i]) > farShare*min(max(w.front[i], c.p.noise), max(c.back, c.p.noise)) {
				w.ask = append(w.ask, i)
			}
		}
	}
	c.judgeFar(w, f, first, state)
}

// judgeFar asks which shell is nearest to the feet whose ray hit something rather far off.
func (c *caster) judgeFar(w *castScratch, f *feet, first int, state []Verdict) {
	if len(w.ask) == 0 {
		return
	}
	points := make([]float32, 0, 3*len(w.ask))
	for _, i := range w.ask {
		points = append(points, f.pos[3*(first+i):3*(first+i)+3]...)
	}
	near := w.near[:len(w.ask)]
	c.tree.Closest(points, float32(math.Inf(1)), near, 1)
	shells := c.p.sculptShells()
	for k, i := range w.ask {
		if near[k].Tri == spatial.Miss {
			continue
		}
		depth := float64(w.hits[i].T) - w.front[i]
		reach := w.front[i]
		if depth > 0 {
			reach = c.back
		}
		hit, close := c.p.sculpt.Tri[3*w.hits[i].Tri], c.p.sculpt.Tri[3*near[k].Tri]
		if shells.of[hit] != shells.of[close] && math.Abs(depth)-float64(near[k].Dist) > farShare*reach {
			state[i] = FarShell
		}
	}
}

const degrees = 57.29577951308232 // in a radian

// skew is the angle between a ray, looked at backwards, and the sculpt's normal, in degrees; below zero where the
// triangle has no normal.
func (c *caster) skew(t int32, r *spatial.Ray) float32 {
	v := c.p.sculpt.Tri[3*t : 3*t+3]
	a := at(c.p.sculpt.Pos, v[0])
	n := cross(sub(at(c.p.sculpt.Pos, v[1]), a), sub(at(c.p.sculpt.Pos, v[2]), a))
	l := length(n)
	if !(l > 0) {
		return -1
	}
	return float32(degrees * detmath.Acos(min(max(-dot(n, wide(r.Dir))/l, -1), 1)))
}
