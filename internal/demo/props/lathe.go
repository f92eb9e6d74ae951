package props

import "math"

// ring is one corner of a lathe's profile. The profile runs from the bottom on the axis outward and up to the top on the
// axis. hard corners are seams with split normals; the sculpt rounds them where they are convex.
type ring struct {
	r, y float64
	hard bool
}

// lathe is a profile turned about the Y axis through (x, z).
type lathe struct {
	profile []ring
	sides   int
	round   float64 // radius of the sculpt's rounded corners, metres
	x, z    float64
}

func (l lathe) game(offset float64, lod int) []island {
	// The polygon is drawn around the circle, not inside it, so that its faces touch the circle from outside. Further LODs
	// lie half outside and half inside: from afar that is nearer to the outline.
	around, flat := 1/math.Cos(math.Pi/float64(l.sides)), 1/math.Cos(math.Pi/float64(l.sides))
	if lod == 0 {
		l.profile = l.supported()
	} else {
		l.sides = l.fewer(lod)
		around, flat = (1+1/math.Cos(math.Pi/float64(l.sides)))/2, 1 // in the texture the disc stays within LOD 0's
	}
	miter := l.miters()
	var out []island
	for from := 0; from < len(l.profile)-1; {
		to := from + 1
		for to < len(l.profile)-1 && !l.profile[to].hard {
			to++
		}
		for _, arc := range l.arcs(from, to) {
			out = append(out, l.band(from, to, arc, miter, offset, around, flat))
		}
		from = to
	}
	return out
}

// fewer is how many sides a further LOD has: three quarters of LOD 0's, then three tenths, in fours, so that strips are cut at
// the same places.
func (l lathe) fewer(lod int) int {
	share := 0.75
	if lod > 1 {
		share = 0.3
	}
	return 4 * max(1, int(math.Round(share*float64(l.sides)/4)))
}

// supportM is how far from a hard corner a supporting edge loop runs: it keeps the averaged cage directions of the corner
// from reaching across the whole face.
const supportM = 0.012

// supported adds a loop beside each hard corner, on segments long enough for it.
func (l lathe) supported() []ring {
	out := []ring{l.profile[0]}
	for i := 1; i < len(l.profile); i++ {
		a, b := l.profile[i-1], l.profile[i]
		d := math.Hypot(b.r-a.r, b.y-a.y)
		between := func(t float64) ring { return ring{r: a.r + (b.r-a.r)*t, y: a.y + (b.y-a.y)*t} }
		near := math.Min(supportM, d/5)
		if a.hard && near > 0.002 {
			out = append(out, between(near/d))
		}
		if b.hard && near > 0.002 {
			out = append(out, between(1-near/d))
		}
		out = append(out, b)
	}
	return out
}

// miters returns for each corner the vector by which it moves when every segment moves out by one.
func (l lathe) miters() [][2]float64 {
	n := len(l.profile)
	normal := func(i int) [2]float64 {
		a, b := l.profile[i], l.profile[i+1]
		dr, dy := b.r-a.r, b.y-a.y
		d := math.Hypot(dr, dy)
		return [2]float64{dy / d, -dr / d}
	}
	out := make([][2]float64, n)
	for i := range out {
		switch i {
		case 0:
			out[i] = [2]float64{0, normal(0)[1]}
		case n - 1:
			out[i] = [2]float64{0, normal(n - 2)[1]}
		default:
			a, b := normal(i-1), normal(i)
			k := 1 / (1 + a[0]*b[0] + a[1]*b[1])
			out[i] = [2]float64{(a[0] + b[0]) * k, (a[1] + b[1]) * k}
		}
	}
	return out
}

// stripM is how long a strip around a lathe may be before it is cut: longer ones waste the texture.
const stripM = 0.8

// arcs are the first and last side of each island of the band between two hard corners.
func (l lathe) arcs(from, to int) [][2]int {
	_, meanR := l.along(from, to)
	n := 1
	if l.profile[from].r > 0 && l.profile[to].r > 0 {
		for ; n < 4 && 2*math.Pi*meanR/float64(n) > stripM; n *= 2 {
		}
	}
	var out [][2]int
	for k := range n {
		out = append(out, [2]int{l.sides * k / n, l.sides * (k + 1) / n})
	}
	return out
}

// along is the length along the profile at each of a band's corners, and the band's mean radius.
func (l lathe) along(from, to int) (lengths []float64, meanR float64) {
	lengths = make([]float64, to-from+1)
	for i := from; i < to; i++ {
		a, b := l.profile[i], l.profile[i+1]
		d := math.Hypot(b.r-a.r, b.y-a.y)
		lengths[i-from+1] = lengths[i-from] + d
		meanR += d * (a.r + b.r) / 2
	}
	return lengths, meanR / lengths[to-from]
}

// band is an island between two hard corners: a strip over some of the sides, or a disc where one end lies on the axis.
func (l lathe) band(from, to int, arc [2]int, miter [][2]float64, offset, around, flat float64) island {
	var is island
	along, meanR := l.along(from, to)
	length := along[to-from]
	disc := l.profile[from].r == 0 || l.profile[to].r == 0
	top := l.profile[to].r == 0
	for j := from; j <= to; j++ {
		for i := arc[0]; i <= arc[1]; i++ {
			turn := 2 * math.Pi * float64(i%l.sides) / float64(l.sides)
			sin, cos := math.Sincos(turn)
			r := (l.profile[j].r + miter[j][0]*offset) * around
			if l.profile[j].r == 0 {
				r = 0
			}
			is.pos = append(is.pos, vec{l.x + r*cos, l.profile[j].y + miter[j][1]*offset, l.z + r*sin})
			nr, ny := l.bandNormal(from, to, j)
			is.nrm = append(is.nrm, vec{nr * cos, ny, nr * sin}.unit())
			switch s := along[j-from]; {
			case disc && top: // seen from above: +X right, +Z down
				is.uv = append(is.uv, [2]float64{(length - s) * cos * flat, (length - s) * sin * flat})
			case disc: // seen from below: +X right, +Z up
				is.uv = append(is.uv, [2]float64{s * cos * flat, -s * sin * flat})
			default:
				is.uv = append(is.uv, [2]float64{-2 * math.Pi * meanR * float64(i) / float64(l.sides), -s})
			}
		}
	}
	w := uint32(arc[1] - arc[0] + 1)
	for j := 0; j < to-from; j++ {
		for i := range arc[1] - arc[0] {
			a := uint32(j)*w + uint32(i)
			b, c, d := a+1, a+w, a+w+1
			if l.profile[from+j].r > 0 {
				is.tri = append(is.tri, b, a, c)
			}
			if l.profile[from+j+1].r > 0 {
				is.tri = append(is.tri, b, c, d)
			}
		}
	}
	return is.compact()
}

// compact drops vertices that no triangle uses and joins those that agree in everything: the two ends of a disc's rings and
// the many corners on the axis.
func (is island) compact() island {
	type whole struct {
		pos, nrm vec
		uv       [2]float64
	}
	to := map[whole]uint32{}
	var out island
	for _, v := range is.tri {
		key := whole{is.pos[v], is.nrm[v], is.uv[v]}
		n, ok := to[key]
		if !ok {
			n = uint32(len(out.pos))
			to[key] = n
			out.pos, out.nrm, out.uv = append(out.pos, is.pos[v]), append(out.nrm, is.nrm[v]), append(out.uv, is.uv[v])
		}
		out.tri = append(out.tri, n)
	}
	return out
}

// bandNormal is the profile normal at corner j as the band from..to sees it: smooth inside, its own at the ends.
func (l lathe) bandNormal(from, to, j int) (r, y float64) {
	add := func(i int) {
		a, b := l.profile[i], l.profile[i+1]
		d := math.Hypot(b.r-a.r, b.y-a.y)
		r += (b.y - a.y) / d
		y -= (b.r - a.r) / d
	}
	if j > from {
		add(j - 1)
	}
	if j < to {
		add(j)
	}
	if l.profile[j].r == 0 {
		r = 0
	}
	return r, y
}

func (l lathe) sculpt(edge float64, rel relief) sculptMesh {
	prof := resample(l.rounded(edge), edge)
	maxR := 0.0
	for _, p := range prof {
		maxR = math.Max(maxR, p.r)
	}
	sides := int(math.Ceil(2 * math.Pi * maxR / edge))
	dense := lathe{profile: prof}
	miter := dense.miters()
	var m sculptMesh
	point := func(j, i int) vec {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(sides))
		p := vec{l.x + prof[j].r*cos, prof[j].y, l.z + prof[j].r*sin}
		n := vec{miter[j][0] * cos, miter[j][1], miter[j][0] * sin}.unit()
		return p.add(n.mul(rel(p)))
	}
	last := len(prof) - 1
	m.pos = append(m.pos, point(0, 0))
	for j := 1; j < last; j++ {
		for i := 0; i < sides; i++ {
			m.pos = append(m.pos, point(j, i))
		}
	}
	m.pos = append(m.pos, point(last, 0))
	at := func(j, i int) uint32 { return uint32(1 + (j-1)*sides + i%sides) }
	end := uint32(len(m.pos) - 1)
	for i := 0; i < sides; i++ {
		m.tri = append(m.tri, 0, at(1, i), at(1, i+1))
		for j := 1; j < last-1; j++ {
			m.tri = append(m.tri, at(j, i+1), at(j, i), at(j+1, i), at(j, i+1), at(j+1, i), at(j+1, i+1))
		}
		m.tri = append(m.tri, at(last-1, i+1), at(last-1, i), end)
	}
	return m
}

// rounded replaces each convex hard corner by an arc. Concave corners stay: rounding them would stand proud.
func (l lathe) rounded(edge float64) []ring {
	out := []ring{l.profile[0]}
	for i := 1; i < len(l.profile)-1; i++ {
		a, b, c := l.profile[i-1], l.profile[i], l.profile[i+1]
		d1, d2 := math.Hypot(b.r-a.r, b.y-a.y), math.Hypot(c.r-b.r, c.y-b.y)
		u := [2]float64{(b.r - a.r) / d1, (b.y - a.y) / d1}
		w := [2]float64{(c.r - b.r) / d2, (c.y - b.y) / d2}
		turn := math.Atan2(u[0]*w[1]-u[1]*w[0], u[0]*w[0]+u[1]*w[1])
		if !b.hard || turn < 0.05 {
			out = append(out, b)
			continue
		}
		t := math.Min(l.round*math.Tan(turn/2), 0.45*math.Min(d1, d2))
		radius := t / math.Tan(turn/2)
		start := [2]float64{b.r - u[0]*t, b.y - u[1]*t}
		centre := [2]float64{start[0] - u[1]*radius, start[1] + u[0]*radius}
		steps := int(math.Max(3, math.Ceil(radius*turn/edge)))
		for s := 0; s <= steps; s++ {
			sin, cos := math.Sincos(turn * float64(s) / float64(steps))
			// The arm from the centre to the start, turned.
			ar, ay := start[0]-centre[0], start[1]-centre[1]
			out = append(out, ring{r: centre[0] + ar*cos - ay*sin, y: centre[1] + ar*sin + ay*cos})
		}
	}
	return append(out, l.profile[len(l.profile)-1])
}

// resample puts corners at most edge apart along a profile.
func resample(p []ring, edge float64) []ring {
	out := []ring{p[0]}
	for i := 1; i < len(p); i++ {
		d := math.Hypot(p[i].r-p[i-1].r, p[i].y-p[i-1].y)
		if d < 1e-9 {
			continue
		}
		n := int(math.Ceil(d / edge))
		for s := 1; s <= n; s++ {
			f := float64(s) / float64(n)
			out = append(out, ring{r: p[i-1].r + (p[i].r-p[i-1].r)*f, y: p[i-1].y + (p[i].y-p[i-1].y)*f})
		}
	}
	return out
}
