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
	err := each(ctx, len(c.first)-1, threads, func(_, strip int) {
		from := strip * stripRows * grid.W
		for _, s := range c.spots(strip, nil) {
			if at := from + int(s.texel); o.Open[at] < 0 {
				o.Open[at] = g.open(sculpts, s.at, set, reach, at)
			}
		}
	})
	if err != nil {
		return nil, fmt.Errorf("occlusion: %w", err)
	}
	return o, nil
}

// open is the share of rays from the sculpt under a place that leave it; below zero where no sculpt lies there.
func (g *Game) open(sculpts []*Sculpt, p inTriangle, set []vec, reach float64, texel int) float32 {
	own := sculpts[g.Part[p.tri]]
	ray := [1]spatial.Ray{g.ray(p)}
	var hit [1]spatial.Hit
	own.tree.Hits(ray[:], hit[:], 1)
	if hit[0].Tri == spatial.Miss || hit[0].Back {
		return -1
	}
	n, ok := own.normal(&hit[0])
	if !ok {
		return -1
	}
	var from vec
	for k := range 3 {
		from[k] = float64(ray[0].Org[k]) + float64(float64(hit[0].T)*float64(ray[0].Dir[k]))
	}
	from = along(from, float64(1e-3*reach), n) // off the surface, so that it does not shade itself
	t, ok := unit(cross(n, vec{1, 0, 0}))
	if math.Abs(n[0]) > 0.9 || !ok {
		t, _ = unit(cross(n, vec{0, 1, 0}))
	}
	b := cross(n, t)
	sin, cos := detmath.Sincos(float64(texel%64) * (2 * math.Pi / 64))
	rays, stopped := make([]spatial.Ray, len(set)), make([]bool, len(set))
	for i, d := range set {
		x, y := float64(cos*d[0])-float64(sin*d[1]), float64(sin*d[0])+float64(cos*d[1])
		dir := add(add(scale(t, x), scale(b, y)), scale(n, d[2]))
		rays[i] = spatial.Ray{Org: narrow(from), Dir: narrow(dir), Max: float32(reach)}
	}
	any := make([]bool, len(set))
	for _, s := range sculpts {
		s.tree.Any(rays, any, 1)
		for i, hit := range any {
			stopped[i] = stopped[i] || hit
		}
	}
	free := 0
	for _, hit := range stopped {
		if !hit {
			free++
		}
	}
	return float32(free) / float32(len(set))
}
