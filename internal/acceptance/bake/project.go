package bake

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spatial"
)

// Map is what the sculpt gives, by texel of a grid, row by row.
type Map struct {
	Grid   Grid
	Normal []uint16 // 3 a texel: x, y and z from -1 to 1 as 0 to 65535; all 0 where nothing served the texel
	Tri    []int32  // triangle of the game mesh that stands for the texel; -1 where there is none

	// Place is where the ray met the sculpt, 3 a texel, over Lo to Hi as 0 to 65535. Nil unless asked for.
	Place  []uint16
	Lo, Hi [3]float64
}

// BytesPerTexel is what a Map without places holds of each texel.
const BytesPerTexel = 3*2 + 4

// Options of a projection.
type Options struct {
	Threads int  // below 1 means all cores; never changes a result
	Places  bool // whether to keep where rays met the sculpt
}

// mostCopies is how many copies on one texel are tried until one is served.
const mostCopies = 64

// Project bakes the sculpts' normals for the texels of a grid. Game's arrays and the sculpts are only read.
func Project(ctx context.Context, g *Game, sculpts []*Sculpt, grid Grid, opt Options) (*Map, error) {
	n := grid.W * grid.H
	m := &Map{Grid: grid, Normal: make([]uint16, 3*n), Tri: make([]int32, n)}
	if opt.Places {
		m.Place = make([]uint16, 3*n)
		m.Lo, m.Hi = bounds(sculpts)
	}
	c := newCover(g, grid)
	workers := make([]caster, threadsOf(opt.Threads))
	err := each(ctx, len(c.first)-1, opt.Threads, func(worker, strip int) {
		w := &workers[worker]
		w.game, w.sculpts, w.out = g, sculpts, m
		w.strip(c, strip)
	})
	if err != nil {
		return nil, fmt.Errorf("project the sculpt: %w", err)
	}
	return m, nil
}

// bounds is the box of all vertices of the sculpts.
func bounds(sculpts []*Sculpt) (lo, hi [3]float64) {
	first := true
	for _, s := range sculpts {
		for i := 0; i+2 < len(s.pos); i += 3 {
			for k := range 3 {
				x := float64(s.pos[i+k])
				if x-x != 0 {
					continue
				}
				if first {
					lo[k], hi[k] = x, x
				}
				lo[k], hi[k] = min(lo[k], x), max(hi[k], x)
			}
			first = false
		}
	}
	return lo, hi
}

// caster casts the rays of one strip at a time.
type caster struct {
	game    *Game
	sculpts []*Sculpt
	out     *Map

	over              spots
	spots, now, later []spot
	rays              []spatial.Ray
	hits              []spatial.Hit
	served            []bool
	wave              []uint8
}

// strip bakes one strip: first the first triangle over each texel, then the copies of those that were not served.
func (w *caster) strip(c *cover, strip int) {
	from := strip * stripRows * c.grid.W
	n := min(stripRows, c.grid.H-strip*stripRows) * c.grid.W
	if cap(w.served) < n {
		w.served, w.wave = make([]bool, n), make([]uint8, n)
	}
	w.served, w.wave = w.served[:n], w.wave[:n]
	clear(w.served)
	for i := range n {
		w.out.Tri[from+i] = -1
	}
	w.spots = append(w.spots[:0], w.over.of(c, strip)...)
	for copyNumber := 0; len(w.spots) > 0 && copyNumber < mostCopies; copyNumber++ {
		clear(w.wave)
		w.now, w.later = w.now[:0], w.later[:0]
		for _, s := range w.spots {
			switch {
			case w.served[s.texel]:
			case w.wave[s.texel] == 0:
				w.wave[s.texel] = 1
				w.now = append(w.now, s)
			default:
				w.later = append(w.later, s)
			}
		}
		w.cast(from, copyNumber == 0)
		w.spots, w.later = w.later, w.spots
	}
}

// cast casts the rays of w.now. first says that each texel's triangle is to be noted whether it is served or not.
func (w *caster) cast(from int, first bool) {
	if cap(w.rays) < len(w.now) {
		w.rays, w.hits = make([]spatial.Ray, len(w.now)), make([]spatial.Hit, len(w.now))
	}
	rays, hits := w.rays[:len(w.now)], w.hits[:len(w.now)]
	for i, s := range w.now {
		rays[i] = w.game.ray(s.at)
		if first {
			w.out.Tri[from+int(s.texel)] = s.at.tri
		}
	}
	for i := 0; i < len(w.now); {
		part, j := w.game.Part[w.now[i].at.tri], i+1
		for j < len(w.now) && w.game.Part[w.now[j].at.tri] == part {
			j++
		}
		w.sculpts[part].tree.Hits(rays[i:j], hits[i:j], 1)
		for k := i; k < j; k++ {
			w.keep(from, w.now[k], &rays[k], &hits[k], w.sculpts[part])
		}
		i = j
	}
}

// ray starts on the cage over a place and runs through it.
func (g *Game) ray(p inTriangle) spatial.Ray {
	foot, out := p.blend(g.Pos), p.blend(g.Reach)
	reach := length(out)
	dir, ok := unit(out)
	if !ok { // the cage lies on the surface
		if dir, ok = unit(p.blend(g.Nrm)); !ok {
			return spatial.Ray{Max: -1}
		}
	}
	return spatial.Ray{Org: narrow(add(foot, out)), Dir: narrow(scale(dir, -1)), Max: float32(reach + float64(g.Back[p.tri]))}
}

// keep writes what a ray met into the map.
func (w *caster) keep(from int, s spot, r *spatial.Ray, h *spatial.Hit, on *Sculpt) {
	if h.Tri == spatial.Miss || h.Back {
		return
	}
	n, ok := on.normal(h)
	if !ok {
		return
	}
	local, ok := w.game.frame(s.at, w.game.Tan).local(n)
	if !ok {
		return
	}
	i := from + int(s.texel)
	w.served[s.texel] = true
	w.out.Tri[i] = s.at.tri
	for k := range 3 {
		w.out.Normal[3*i+k] = quantized((local[k] + 1) / 2)
	}
	if w.out.Place != nil {
		for k := range 3 {
			x := float64(r.Org[k]) + float64(float64(h.T)*float64(r.Dir[k]))
			w.out.Place[3*i+k] = quantized((x - w.out.Lo[k]) / (w.out.Hi[k] - w.out.Lo[k]))
		}
	}
}

// quantized is a value from 0 to 1 in 16 bits; what is not a number is 0.
func quantized(x float64) uint16 {
	if !(x > 0) {
		return 0
	}
	return uint16(float64(min(x, 1)*65535) + 0.5)
}

// Served says whether a texel was served.
func (m *Map) Served(i int) bool {
	return m.Normal[3*i]|m.Normal[3*i+1]|m.Normal[3*i+2] != 0
}

// normal is a texel's vector, of unit length but for its rounding.
func (m *Map) normal(i int) vec {
	n := m.Normal[3*i : 3*i+3 : 3*i+3]
	return vec{signed16(n[0]), signed16(n[1]), signed16(n[2])}
}

func signed16(v uint16) float64 { return float64(float64(v)*(2.0/65535)) - 1 }
