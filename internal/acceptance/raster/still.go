package raster

import "math"

// Backdrop is the paper behind a still: pale and warm, a little darker towards the corners.
func Backdrop(x, y, w, h int) [3]float32 {
	dx, dy := (float64(x)+0.5)/float64(w)-0.5, (float64(y)+0.5)/float64(h)-0.45
	d := float64(dx*dx) + float64(dy*dy)
	g := float32(0.74 - float64(0.34*min(d, 0.5)))
	return [3]float32{g, g * 0.985, g * 0.955}
}

// exposure is how bright a white matt surface is that faces the soft box.
const exposure = 1.1

// clayColour is the matt warm grey of clay stills, in linear light.
var clayColour = [3]float32{0.44, 0.42, 0.395}

// Wanted says which stills are wanted.
type Wanted struct {
	Lit, Clay bool
	Floor     bool    // with the shadow on the floor
	Scratch   *Buffer // memory to draw in, 32 bytes a pixel; nil: new memory
}

// Shoot draws stills that share prop, view and rig: first the one with materials, then, where wanted, the one in clay, for little
// more than the price of one. Either may be left out.
func Shoot(p *Prop, view View, rig *Rig, want Wanted, threads int) (litPic, clayPic *Canvas) {
	lit, clay := want.Lit, want.Clay
	s := shot{prop: p, view: view, rig: rig, floor: want.Floor, solid: want.Scratch}
	if s.solid == nil {
		s.solid = &Buffer{}
	}
	s.expose(threads)
	if lit {
		litPic = NewCanvas(view.W, view.H, Colour{})
	}
	if clay {
		clayPic = NewCanvas(view.W, view.H, Colour{})
	}
	s.shadeFloor(threads)
	const tile = 16 * blockPx
	parallelTiles(view.W, view.H, tile, threads, func(x0, y0, x1, y1 int) {
		var bl block
		for y := y0; y < y1; y += blockPx {
			for x := x0; x < x1; x += blockPx {
				bl.n, bl.m = 0, 0
				for k := range blockPx * blockPx {
					if x, y := x+k%blockPx, y+k/blockPx; x < x1 && y < y1 {
						s.put(&bl, x, y, litPic, clayPic)
					}
				}
			}
		}
	})
	return litPic, clayPic
}

// put colours one pixel of both stills.
func (s *shot) put(bl *block, x, y int, litPic, clayPic *Canvas) {
	l, c := s.pixel(bl, x, y, litPic != nil, clayPic != nil)
	if litPic != nil {
		litPic.Set(x, y, FromLinear(l))
	}
	if clayPic != nil {
		clayPic.Set(x, y, FromLinear(c))
	}
}

// shot holds what the pixels of a still read.
type shot struct {
	prop  *Prop
	view  View
	rig   *Rig
	floor bool

	solid, glass *Buffer // glass is nil where nothing blends

	grid         []float32 // light on the floor at every floorStep-th pixel, row by row
	gridW, gridH int
}

// floorStep is how many pixels lie between the points at which the floor's light is computed.
const floorStep = 6

// expose draws the prop into the visibility buffers.
func (s *shot) expose(threads int) {
	s.solid.Reset(s.view.W, s.view.H, Four)
	var scr Screen
	scr.Project(&s.view, s.prop.Pos, threads)
	for _, pc := range s.prop.Pieces {
		j := Job{Screen: &scr, Tri: s.prop.Tri[3*pc.First : 3*pc.End], First: uint32(pc.First)}
		if pc.Material.TwoSided {
			j.Cull = CullNone
		}
		switch {
		case pc.Material.Alpha == Blend:
			if s.glass == nil {
				s.glass = NewBuffer(s.view.W, s.view.H, Four)
			}
			s.glass.Draw(j, threads)
			continue
		case pc.Material.Alpha == Mask && pc.Material.Base.Texture != nil:
			m := pc.Material
			j.Keep = func(id uint32, w [3]float32) bool {
				i, _, _, _ := s.prop.corners(int(id))
				uv := s.prop.uvAt(i, Vec{float64(w[0]), float64(w[1]), float64(w[2])})
				return m.Base.read(uv, [2][2]float64{})[3]*m.Opacity >= m.Cutoff
			}
		}
		s.solid.Draw(j, threads)
	}
}

// blockPx is the side of the blocks of pixels that share light, about half a pixel of a lamp's map. With 3 the shadows of
// small bolts show steps.
const blockPx = 2

// block keeps what the pixels of a block share: light is soft and UV steps hardly change. Light is summed anew where the
// surface lies farther off than the lamps' maps can tell or turns away; a UV step is found once for each triangle.
type block struct {
	n, m  int
	lit   [blockPx * blockPx * 4]litPoint // one for every sample at most
	steps [blockPx * blockPx * 4]uvStep
}

type litPoint struct {
	at Vec
	in light
}

type uvStep struct {
	tri int
	d   [2][2]float64
}

// sameLight is the least cosine between normals that share one sum of light: 18°.
const sameLight = 0.95

// light finds or sums the light at a point.
func (s *shot) light(b *block, p, normal Vec) *light {
	for i := range b.n {
		k := &b.lit[i]
		if q := sub(p, k.at); dot(q, q) < float64(s.rig.bias*s.rig.bias) && dot(normal, k.in.normal) > sameLight {
			return &k.in
		}
	}
	if b.n == len(b.lit) {
		b.n--
	}
	k := &b.lit[b.n]
	b.n++
	k.at, k.in = p, s.rig.At(p, normal)
	return &k.in
}

// pixel mixes what the samples of a pixel see. Each triangle is shaded once a pixel, in the middle of its samples.
func (s *shot) pixel(bl *block, x, y int, lit, clay bool) (l, c [3]float32) {
	back := s.behind(x, y)
	n := len(s.solid.Offsets)
	l, c = s.layer(bl, s.solid, nil, x, y, lit, clay, back, back)
	if s.glass == nil {
		return l, c
	}
	for k := range n {
		if s.glass.keys[(k*s.glass.H+y)*s.glass.W+x] != 0 {
			return s.layer(bl, s.glass, s.solid, x, y, lit, clay, l, c)
		}
	}
	return l, c
}

// layer shades the samples of one buffer over what lies behind; samples that the mask buffer covers are skipped.
func (s *shot) layer(bl *block, b, mask *Buffer, x, y int, lit, clay bool, overL, overC [3]float32) (l, c [3]float32) {
	var ids [8]uint32
	n := len(b.Offsets)
	for k := range n {
		at := (k*b.H+y)*b.W + x
		key := b.keys[at]
		if mask != nil && mask.keys[at] > key {
			key = 0
		}
		ids[k] = ^uint32(key)
		if key == 0 {
			ids[k] = Empty
		}
	}
	if all := ids[0]; n == 4 && all == ids[1] && all == ids[2] && all == ids[3] {
		if all == Empty {
			return overL, overC
		}
		pl, pc, alpha := s.shade(bl, int(all), float64(x)+0.5, float64(y)+0.5, lit, clay)
		if alpha == 1 {
			return pl, pc
		}
	}
	share := 1 / float32(n)
	for k := range n {
		id := ids[k]
		if id == Empty {
			for i := range 3 {
				l[i] += float32(overL[i] * share)
				c[i] += float32(overC[i] * share)
			}
			continue
		}
		seen := false
		count, sx, sy := 0, 0, 0
		for m := range n {
			if ids[m] == id {
				seen = seen || m < k
				count++
				sx, sy = sx+int(b.Offsets[m].X), sy+int(b.Offsets[m].Y)
			}
		}
		if seen {
			continue
		}
		px := float64(x) + float64(sx)/float64(count*subUnit)
		py := float64(y) + float64(sy)/float64(count*subUnit)
		pl, pc, alpha := s.shade(bl, int(id), px, py, lit, clay)
		w := float32(count) * share
		for i := range 3 {
			l[i] += float32((float32(pl[i]*alpha) + float32(overL[i]*(1-alpha))) * w)
			c[i] += float32((float32(pc[i]*alpha) + float32(overC[i]*(1-alpha))) * w)
		}
	}
	return l, c
}

// shade is the colour of a triangle at a picture point, with materials and in clay, both ready to be shown.
func (s *shot) shade(bl *block, tri int, px, py float64, lit, clay bool) (l, c [3]float32, alpha float32) {
	idx, a, b, d := s.prop.corners(tri)
	w, _ := s.view.Weights(a, b, d, px, py)
	w = inside(w)
	m := s.prop.piece(tri).Material
	p := addScaled(addScaled(scale(a, w[0]), b, w[1]), d, w[2])
	_, dir := s.view.Ray(px, py)
	toEye := scale(unit(dir), -1)

	face := cross(sub(b, a), sub(d, a)) // not of unit length: only its side counts, unless the mesh has no normals
	flat := s.smooth(idx, w, face)
	if dot(face, toEye) < 0 {
		flat = scale(flat, -1)
	}
	in := s.light(bl, p, flat)
	if clay {
		e := float64(in.on(flat) * exposure)
		for i := range 3 {
			c[i] = shoulder(float32(float64(clayColour[i]) * e))
		}
	}
	if !lit {
		return l, c, 1
	}
	var step [2][2]float64
	if s.mapped(m) {
		step = s.stepIn(bl, tri, idx, a, b, d, w, px, py)
	}
	t := s.read(m, idx, a, b, d, w, step, flat)
	e := in.on(t.fine) * t.ao * exposure
	refl, fres := s.mirror(toEye, t, *in)
	for i := range 3 {
		base := float64(t.base[i])
		f0 := mix(0.04, base, t.metal)
		f := f0 + float64((max(1-t.rough, f0)-f0)*fres)
		diffuse := base * (1 - t.metal) * e * (1 - f)
		l[i] = shoulder(float32(float64(diffuse) + float64(f*refl) + float64(t.glow[i])))
	}
	alpha = 1
	if m.Alpha == Blend {
		alpha = float32(max(float64(t.alpha), float64(0.5*fres)))
	}
	return l, c, alpha
}

// stepIn is the UV's step on a triangle, found once in a block.
func (s *shot) stepIn(bl *block, tri int, idx [3]uint32, a, b, c, w Vec, px, py float64) [2][2]float64 {
	for i := range bl.m {
		if bl.steps[i].tri == tri {
			return bl.steps[i].d
		}
	}
	if bl.m == len(bl.steps) {
		bl.m--
	}
	k := &bl.steps[bl.m]
	bl.m++
	k.tri, k.d = tri, s.step(idx, a, b, c, w, px, py)
	return k.d
}

// smooth is the interpolated normal, or the face's where the mesh has none.
func (s *shot) smooth(i [3]uint32, w Vec, face Vec) Vec {
	if s.prop.Nrm == nil {
		return unit(face)
	}
	n := addScaled(addScaled(scale(vecAt(s.prop.Nrm, i[0]), w[0]), vecAt(s.prop.Nrm, i[1]), w[1]), vecAt(s.prop.Nrm, i[2]), w[2])
	if n = unit(n); n == (Vec{}) || n[0] != n[0] {
		return unit(face)
	}
	return n
}

// inside pulls weights back into the triangle: a sample's middle may lie a hair outside.
func inside(w Vec) Vec {
	for i := range w {
		w[i] = max(w[i], 0)
	}
	sum := w[0] + w[1] + w[2]
	if !(sum > 0) || math.IsInf(sum, 0) {
		return Vec{1, 0, 0}
	}
	return scale(w, 1/sum)
}

// mirror is what the surface reflects and how much more of it at grazing angles (Schlick, "An inexpensive BRDF model for
// physically-based rendering", 1994).
func (s *shot) mirror(toEye Vec, t texels, in light) (radiance, fresnel float64) {
	nv := max(dot(t.fine, toEye), 0.001)
	r := sub(scale(t.fine, float64(2*dot(t.fine, toEye))), toEye)
	g := 1 - min(nv, 1)
	g2 := g * g
	return s.rig.reflects(r, t.rough, in.key, float64(in.open*t.ao)), g2 * g2 * g
}

// shoulder keeps values up to knee and bends brighter ones softly towards 1, so that highlights keep their shape.
func shoulder(v float32) float32 {
	const knee = 0.75
	if v <= knee {
		return v
	}
	x := float32((v - knee) / (1 - knee))
	return knee + float32((1-knee)*(x/(1+x)))
}

// shadeFloor computes the light on the floor on a coarse grid: it is soft everywhere.
func (s *shot) shadeFloor(threads int) {
	s.gridW, s.gridH = s.view.W/floorStep+2, s.view.H/floorStep+2
	s.grid = make([]float32, s.gridW*s.gridH)
	parallelTiles(s.gridW, s.gridH, 16, threads, func(x0, y0, x1, y1 int) {
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				s.grid[y*s.gridW+x] = s.floorAt(float64(x*floorStep), float64(y*floorStep))
			}
		}
	})
	// Each lamp's shadow has an edge of its own; three passes over three neighbours melt them into one.
	for range 3 {
		blur(s.grid, s.gridW, s.gridH, 1, s.gridW)
		blur(s.grid, s.gridH, s.gridW, s.gridW, 1)
	}
}

// blur takes the weighted mean (1:2:1) along lines of n values, step apart; lines start lineStep apart.
func blur(v []float32, n, lines, step, lineStep int) {
	for l := range lines {
		at := l * lineStep
		prev := v[at]
		for i := range n {
			here := v[at+i*step]
			next := here
			if i+1 < n {
				next = v[at+(i+1)*step]
			}
			v[at+i*step] = (prev + float32(2*here) + next) / 4
			prev = here
		}
	}
}

// floorAt is the share of light on the floor seen at a picture point; 1 where no floor is seen.
func (s *shot) floorAt(x, y float64) float32 {
	if !s.floor {
		return 1
	}
	org, dir := s.view.Ray(x, y)
	if !(dir[1] < -1e-6) {
		return 1
	}
	t := (s.rig.floor - org[1]) / dir[1]
	if !(t > 0) {
		return 1
	}
	p := addScaled(org, dir, t)
	p[1] = s.rig.floor
	return float32(s.rig.OnFloor(p))
}

// behind is the backdrop with the floor's shadow.
func (s *shot) behind(x, y int) [3]float32 {
	c := Backdrop(x, y, s.view.W, s.view.H)
	gx, gy := float32(x)+0.5, float32(y)+0.5
	ix, iy := x/floorStep, y/floorStep
	tx, ty := gx/floorStep-float32(ix), gy/floorStep-float32(iy)
	g := s.grid[iy*s.gridW+ix:]
	top := g[0] + float32((g[1]-g[0])*tx)
	low := g[s.gridW] + float32((g[s.gridW+1]-g[s.gridW])*tx)
	k := top + float32((low-top)*ty)
	// Shadows on the paper keep some of its own colour.
	k = 0.12 + float32(0.88*k)
	return [3]float32{c[0] * k, c[1] * k, c[2] * k}
}
