package bake

import "proofhouse/internal/acceptance/spatial"

// reading is one way to read a delivered map. pair gives what is compared at a sample: two unit vectors in one space.
type reading struct {
	fit   Fit
	set   int
	shift [2]float64
	pair  func(i int, s *sample) (ours, theirs vec, ok bool)
}

// readings are all that need no search and no rays, the map as delivered first.
func (c *comparison) readings(also Also) []reading {
	d := c.d
	list := []reading{c.plain(AsDelivered, func(v vec) vec { return v })}
	for _, f := range []struct {
		fit  Fit
		turn func(v vec) vec
	}{
		{GreenFlipped, func(v vec) vec { return vec{v[0], -v[1], v[2]} }},
		{RedFlipped, func(v vec) vec { return vec{-v[0], v[1], v[2]} }},
		{RedGreenSwapped, func(v vec) vec { return vec{v[1], v[0], v[2]} }},
		{RedBlueSwapped, func(v vec) vec { return vec{v[2], v[1], v[0]} }},
		{Turned90, func(v vec) vec { return vec{-v[1], v[0], v[2]} }},
		{Turned180, func(v vec) vec { return vec{-v[0], -v[1], v[2]} }},
		{Turned270, func(v vec) vec { return vec{v[1], -v[0], v[2]} }},
		{SwappedNegated, func(v vec) vec { return vec{-v[1], -v[0], v[2]} }},
	} {
		list = append(list, c.plain(f.fit, f.turn))
	}
	decode, encode := curves()
	for _, f := range []struct {
		fit Fit
		by  *curve
	}{{SRGBEncoded, decode}, {SRGBDecoded, encode}} {
		list = append(list, reading{fit: f.fit, pair: func(_ int, s *sample) (vec, vec, bool) {
			return s.ours, d.vector(int(s.px), int(s.py), f.by), true
		}})
	}
	list = append(list, c.images()...)
	list = append(list, c.frames(also)...)
	for k, o := range also.Sets {
		if o == nil || o.W != d.W || o.H != d.H {
			continue
		}
		list = append(list, reading{fit: OtherSet, set: k, pair: func(_ int, s *sample) (vec, vec, bool) {
			return s.ours, o.vector(int(s.px), int(s.py), nil), true
		}})
	}
	return list
}

// plain reads the texel itself and turns its vector.
func (c *comparison) plain(fit Fit, turn func(vec) vec) reading {
	return reading{fit: fit, pair: func(_ int, s *sample) (vec, vec, bool) {
		return s.ours, turn(c.d.vector(int(s.px), int(s.py), nil)), true
	}}
}

// images read another texel: the image was turned or mirrored as a whole, with its vectors or without.
func (c *comparison) images() []reading {
	w, h := int32(c.d.W), int32(c.d.H)
	same := func(v vec) vec { return v }
	var list []reading
	add := func(fit Fit, from func(x, y int32) (int32, int32), turn func(vec) vec) {
		list = append(list, reading{fit: fit, pair: func(_ int, s *sample) (vec, vec, bool) {
			x, y := from(s.px, s.py)
			return s.ours, turn(c.d.vector(int(x), int(y), nil)), true
		}})
	}
	half := func(x, y int32) (int32, int32) { return w - 1 - x, h - 1 - y }
	down := func(x, y int32) (int32, int32) { return x, h - 1 - y }
	add(ImageTurned180, half, same)
	add(AllTurned180, half, func(v vec) vec { return vec{-v[0], -v[1], v[2]} })
	add(ImageUpsideDown, down, same)
	add(AllUpsideDown, down, func(v vec) vec { return vec{v[0], -v[1], v[2]} })
	add(ImageMirrored, func(x, y int32) (int32, int32) { return w - 1 - x, y }, same)
	if w == h {
		// The delivered image is the right one turned by 90° counter-clockwise: what belongs at (x, y) lies at (y, w-1-x).
		left := func(x, y int32) (int32, int32) { return y, w - 1 - x }
		right := func(x, y int32) (int32, int32) { return w - 1 - y, x }
		add(ImageTurned90, left, same)
		add(ImageTurned270, right, same)
		add(AllTurned90, left, func(v vec) vec { return vec{v[1], -v[0], v[2]} })
		add(AllTurned270, right, func(v vec) vec { return vec{-v[1], v[0], v[2]} })
	}
	return list
}

// shift reads the map as moved by (x, y) of its pixels to the right and down.
func (c *comparison) shift(by [2]float64) reading {
	fit := Shifted
	if max(by[0], -by[0], by[1], -by[1]) == 0.5 {
		fit = HalfTexelShifted
	}
	return reading{fit: fit, shift: by, pair: func(_ int, s *sample) (vec, vec, bool) {
		return s.ours, c.d.between(float64(s.px)-by[0], float64(s.py)-by[1]), true
	}}
}

// softened reads the map where it is, averaged over its neighbours more than any shift averages it.
func (c *comparison) softened() reading {
	return reading{fit: AsDelivered, pair: func(_ int, s *sample) (vec, vec, bool) {
		x, y := float64(s.px), float64(s.py)
		sum := add(add(c.d.between(x-0.5, y-0.5), c.d.between(x+0.5, y-0.5)), add(c.d.between(x-0.5, y+0.5), c.d.between(x+0.5, y+0.5)))
		theirs, ok := unit(sum)
		return s.ours, theirs, ok
	}}
}

// frames read the texel's vector in other tangent spaces; what is compared are directions in space.
func (c *comparison) frames(also Also) []reading {
	g := c.game
	var list []reading
	add := func(fit Fit, frameAt func(s *sample) (frame, bool)) {
		list = append(list, reading{fit: fit, pair: func(_ int, s *sample) (vec, vec, bool) {
			f, ok := frameAt(s)
			if !ok {
				return vec{}, vec{}, false
			}
			own := g.frame(s.at, g.Tan)
			// Compared as seen from our frame, so that directions that lean can be correlated.
			theirs, ok := own.local(f.world(c.d.vector(int(s.px), int(s.py), nil)))
			return s.ours, theirs, ok
		}})
	}
	add(FaceNormals, func(s *sample) (frame, bool) {
		n, ok := g.faceNormal(s.at.tri)
		return g.over(s.at.tri, n, g.alongU(s.at.tri)), ok
	})
	smooth := g.smooth()
	add(SmoothNormals, func(s *sample) (frame, bool) {
		n := s.at.blend(smooth)
		return g.over(s.at.tri, n, g.frame(s.at, g.Tan).t), true
	})
	add(TriangleTangents, func(s *sample) (frame, bool) {
		n, ok := unit(s.at.blend(g.Nrm))
		return g.over(s.at.tri, n, g.alongU(s.at.tri)), ok
	})
	if also.Tangents != nil {
		add(GeneratedTangents, func(s *sample) (frame, bool) { return g.frame(s.at, also.Tangents), true })
	}
	if g.mirrored() {
		add(MirroredGreen, func(s *sample) (frame, bool) {
			f := g.frame(s.at, g.Tan)
			if g.Tan[12*int(s.at.tri)+3] < 0 {
				f.b = scale(f.b, -1)
			}
			return f, true
		})
		add(MirroredRed, func(s *sample) (frame, bool) {
			f := g.frame(s.at, g.Tan)
			if g.Tan[12*int(s.at.tri)+3] < 0 {
				f.t = scale(f.t, -1)
			}
			return f, true
		})
	}
	axes := frame{vec{1, 0, 0}, vec{0, 1, 0}, vec{0, 0, 1}}
	if c.d.GreenDown { // a direction in space knows no green
		axes.b = vec{0, -1, 0}
	}
	add(ObjectSpace, func(*sample) (frame, bool) { return axes, true })
	return list
}

// mirrored says whether UVs run both ways round on the mesh.
func (g *Game) mirrored() bool {
	one, other := false, false
	for i := 3; i < len(g.Tan); i += 12 {
		one, other = one || g.Tan[i] > 0, other || g.Tan[i] < 0
	}
	return one && other
}

func (g *Game) faceNormal(t int32) (vec, bool) {
	i := 3 * int(t)
	a := at(g.Pos, i)
	return unit(cross(sub(at(g.Pos, i+1), a), sub(at(g.Pos, i+2), a)))
}

// alongU is the direction in which U grows on a triangle (Mikkelsen 2008, equation 18); zero where it has no UV area.
func (g *Game) alongU(t int32) vec {
	i := 3 * int(t)
	a, b, c := g.uv(int(t), 0), g.uv(int(t), 1), g.uv(int(t), 2)
	d1, d2 := sub(at(g.Pos, i+1), at(g.Pos, i)), sub(at(g.Pos, i+2), at(g.Pos, i))
	s := along(scale(d1, c[1]-a[1]), -(b[1] - a[1]), d2)
	if area2(a, b, c) < 0 {
		s = scale(s, -1)
	}
	return s
}

// over is a frame over a normal with a tangent laid into its plane, the triangle's own way round.
func (g *Game) over(tri int32, n, t vec) frame {
	n, _ = unit(n)
	t, _ = unit(along(t, -dot(n, t), n))
	return frame{t, scale(cross(n, t), float64(g.Tan[12*int(tri)+3])), n}
}

// smooth are normals averaged over all hard edges, 3 a corner.
func (g *Game) smooth() []float32 {
	tri := make([]uint32, len(g.Pos)/3)
	for i := range tri {
		tri[i] = uint32(i)
	}
	return AveragedNormals(g.Pos, tri)
}

// unpaired reads what rays would have met if they had not been kept to their own part.
func (t *trial) unpaired(sculpts []*Sculpt) reading {
	c := t.c
	met := make([]vec, len(t.all))
	differs := make([]bool, len(t.all))
	rays := make([]spatial.Ray, len(t.all))
	own := make([]float32, len(t.all))
	hits := make([]spatial.Hit, len(t.all))
	for i := range t.all {
		rays[i] = c.game.ray(t.all[i].at)
	}
	best := make([]float32, len(t.all))
	for k, s := range sculpts {
		s.tree.Hits(rays, hits, 1)
		for i := range hits {
			if int(c.game.Part[t.all[i].at.tri]) == k && hits[i].Tri != spatial.Miss {
				own[i] = hits[i].T
			}
		}
	}
	copy(best, own)
	for k, s := range sculpts {
		s.tree.Hits(rays, hits, 1)
		for i := range hits {
			h := &hits[i]
			if int(c.game.Part[t.all[i].at.tri]) == k || h.Tri == spatial.Miss || h.Back || h.T >= best[i] {
				continue
			}
			n, ok := s.normal(h)
			if !ok {
				continue
			}
			if n, ok = c.game.frame(t.all[i].at, c.game.Tan).local(n); ok {
				best[i], met[i], differs[i] = h.T, n, true
			}
		}
	}
	return reading{fit: UnpairedParts, pair: func(i int, s *sample) (vec, vec, bool) {
		theirs := c.d.vector(int(s.px), int(s.py), nil)
		if differs[i] {
			return met[i], theirs, true
		}
		return s.ours, theirs, true
	}}
}
