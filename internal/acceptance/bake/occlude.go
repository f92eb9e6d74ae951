package bake

import (
	"context"
	"fmt"
	"math"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spatial"
)

// Occlusion is how open the sculpt lies, by texel of a grid: 0 shut in, 1 open; below zero where nothing was baked.
type Occlusion struct {
	Grid
	Open []float32
}

// Values16 is the occlusion in 16 bits; white where nothing was baked.
func (o *Occlusion) Values16() []uint16 {
	out := make([]uint16, len(o.Open))
	for i, v := range o.Open {
		if out[i] = quantized(float64(v)); v < 0 {
			out[i] = math.MaxUint16
		}
	}
	return out
}

// Image is the map's normals in 16 bits as a contract has them stored: straight up where nothing was served.
func (m *Map) Image(greenDown bool) []uint16 {
	out := make([]uint16, len(m.Normal))
	copy(out, m.Normal)
	for i := range m.Tri {
		if !m.Served(i) {
			out[3*i], out[3*i+1], out[3*i+2] = math.MaxUint16/2+1, math.MaxUint16/2+1, math.MaxUint16
		} else if greenDown {
			out[3*i+1] = math.MaxUint16 - out[3*i+1]
		}
	}
	return out
}

// directions are the fixed rays of a hemisphere over +Z, thick where a surface takes most light: the points of a spiral by the
// golden angle on the disc, lifted onto the sphere, so that each stands for the same light (Malley's method).
func directions(n int) []vec {
	const golden = 2.399963229728653 // radians: π·(3 − √5)
	out := make([]vec, n)
	for i := range out {
		r := math.Sqrt((float64(i) + 0.5) / float64(n))
		s, c := detmath.Sincos(float64(golden * float64(i)))
		out[i] = vec{r * c, r * s, math.Sqrt(max(1-float64(r*r), 0))}
	}
	return out
}

// Occlude casts rays from where each texel's own ray met the sculpt, and counts those that meet any sculpt within reach metres.
// The same directions serve every texel, turned about its normal by a fixed sequence.
func Occlude(ctx context.Context, g *Game, sculpts []*Sculpt, grid Grid, rays int, reach float64, threads int) (*Occlusion, error) {
	o := &Occlusion{Grid: grid, Open: make([]float32, grid.W*grid.H)}
	for i := range o.Open {
		o.Open[i] = -1
	}
	c := newCover(g, grid)
	set := directions(rays)
	workers := make([]occluder, threadsOf(threads))
	err := each(ctx, len(c.first)-1, threads, func(worker, strip int) {
		w := &workers[worker]
		w.game, w.sculpts, w.set, w.reach = g, sculpts, set, reach
		list := w.over.of(c, strip)
		for i := 0; i < len(list); i += occludedAtOnce {
			w.open(list[i:min(i+occludedAtOnce, len(list))], strip*stripRows*grid.W, o.Open)
		}
	})
	if err != nil {
		return nil, fmt.Errorf("occlusion: %w", err)
	}
	return o, nil
}

// occludedAtOnce is how many texels' rays are cast together: rays of one batch are put in order along a curve.
const occludedAtOnce = 256

// occluder casts the rays of some texels at a time.
type occluder struct {
	game    *Game
	sculpts []*Sculpt
	set     []vec
	reach   float64

	over         spots
	own          []spatial.Ray
	hits         []spatial.Hit
	texels       []int
	rays         []spatial.Ray
	stopped, any []bool
}

// open writes for each texel the share of rays from the sculpt under it that leave it. The first triangle over a texel under
// which its part's sculpt lies speaks for it.
func (w *occluder) open(spots []spot, from int, out []float32) {
	w.own, w.texels, w.rays = w.own[:0], w.texels[:0], w.rays[:0]
	for _, s := range spots {
		w.own = append(w.own, w.game.ray(s.at))
	}
	if cap(w.hits) < len(spots) {
		w.hits = make([]spatial.Hit, occludedAtOnce)
	}
	hits := w.hits[:len(spots)]
	for i := 0; i < len(spots); {
		part, j := w.game.Part[spots[i].at.tri], i+1
		for j < len(spots) && w.game.Part[spots[j].at.tri] == part {
			j++
		}
		w.sculpts[part].tree.Hits(w.own[i:j], hits[i:j], 1)
		i = j
	}
	for i, s := range spots {
		at := from + int(s.texel)
		if out[at] < 0 && w.lift(&w.own[i], &hits[i], w.sculpts[w.game.Part[s.at.tri]], at) {
			out[at] = 0 // taken; filled in below
		}
	}
	w.shoot(out)
}

// lift adds the rays over the place that a texel's own ray met.
func (w *occluder) lift(own *spatial.Ray, hit *spatial.Hit, on *Sculpt, texel int) bool {
	if hit.Tri == spatial.Miss || hit.Back {
		return false
	}
	n, ok := on.normal(hit)
	if !ok {
		return false
	}
	var from vec
	for k := range 3 {
		from[k] = float64(own.Org[k]) + float64(float64(hit.T)*float64(own.Dir[k]))
	}
	from = along(from, float64(1e-3*w.reach), n) // off the surface, so that it does not shade itself
	t, ok := unit(cross(n, vec{1, 0, 0}))
	if math.Abs(n[0]) > 0.9 || !ok {
		t, _ = unit(cross(n, vec{0, 1, 0}))
	}
	b := cross(n, t)
	sin, cos := detmath.Sincos(float64(texel%64) * (2 * math.Pi / 64))
	for _, d := range w.set {
		x, y := float64(cos*d[0])-float64(sin*d[1]), float64(sin*d[0])+float64(cos*d[1])
		dir := add(add(scale(t, x), scale(b, y)), scale(n, d[2]))
		w.rays = append(w.rays, spatial.Ray{Org: narrow(from), Dir: narrow(dir), Max: float32(w.reach)})
	}
	w.texels = append(w.texels, texel)
	return true
}

// shoot casts the rays that were added and writes the shares.
func (w *occluder) shoot(out []float32) {
	if cap(w.any) < len(w.rays) {
		w.any, w.stopped = make([]bool, len(w.rays)), make([]bool, len(w.rays))
	}
	any, stopped := w.any[:len(w.rays)], w.stopped[:len(w.rays)]
	clear(stopped)
	for _, s := range w.sculpts {
		s.tree.Any(w.rays, any, 1)
		for i, hit := range any {
			stopped[i] = stopped[i] || hit
		}
	}
	n := len(w.set)
	for k, texel := range w.texels {
		free := 0
		for _, hit := range stopped[k*n : (k+1)*n] {
			if !hit {
				free++
			}
		}
		out[texel] = float32(free) / float32(n)
	}
}
