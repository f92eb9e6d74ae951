package props

import "math"

// box is a cuboid with its middle at c and half edges h.
type box struct {
	c, h  vec
	round float64 // radius of the sculpt's rounded edges, metres
}

// faces of a cuboid: outward axis and sign, then the directions that run right and up on it as seen from outside.
var faces = [6]struct{ out, right, up vec }{
	{vec{1, 0, 0}, vec{0, 0, -1}, vec{0, 1, 0}},
	{vec{-1, 0, 0}, vec{0, 0, 1}, vec{0, 1, 0}},
	{vec{0, 1, 0}, vec{1, 0, 0}, vec{0, 0, -1}},
	{vec{0, -1, 0}, vec{1, 0, 0}, vec{0, 0, 1}},
	{vec{0, 0, 1}, vec{1, 0, 0}, vec{0, 1, 0}},
	{vec{0, 0, -1}, vec{-1, 0, 0}, vec{0, 1, 0}},
}

func (b box) half(axis vec) float64 {
	return math.Abs(axis[0])*b.h[0] + math.Abs(axis[1])*b.h[1] + math.Abs(axis[2])*b.h[2]
}

func (b box) game(offset float64, lod int) []island {
	var out []island
	for _, f := range faces {
		w, h, d := b.half(f.right)+offset, b.half(f.up)+offset, b.half(f.out)+offset
		var is island
		us, vs := loops(w, lod), loops(h, lod)
		for _, v := range vs {
			for _, u := range us {
				is.pos = append(is.pos, b.c.add(f.out.mul(d)).add(f.right.mul(u)).add(f.up.mul(v)))
				is.nrm = append(is.nrm, f.out)
				is.uv = append(is.uv, [2]float64{u, -v})
			}
		}
		across := uint32(len(us))
		for j := range uint32(len(vs) - 1) {
			for i := range across - 1 {
				a := j*across + i
				is.tri = append(is.tri, a, a+1, a+1+across, a, a+1+across, a+across)
			}
		}
		out = append(out, is)
	}
	return out
}

// loops are the edge loops across a face of half width h: its borders, and in LOD 0 a supporting loop beside each.
func loops(h float64, lod int) []float64 {
	if lod > 0 {
		return []float64{-h, h}
	}
	near := math.Min(supportM, 2*h/5)
	return []float64{-h, -h + near, h - near, h}
}

func (b box) sculpt(edge float64, rel relief) sculptMesh {
	var m sculptMesh
	joined := map[[3]int64]uint32{}
	vertex := func(p vec) uint32 { // p on the cuboid, relative to its middle
		key := [3]int64{int64(math.Round(p[0] * 1e7)), int64(math.Round(p[1] * 1e7)), int64(math.Round(p[2] * 1e7))}
		if i, ok := joined[key]; ok {
			return i
		}
		var q, n vec
		for k := range 3 {
			inner := b.h[k] - b.round
			q[k] = math.Max(-inner, math.Min(inner, p[k]))
		}
		n = p.sub(q).unit()
		at := b.c.add(q).add(n.mul(b.round))
		joined[key] = uint32(len(m.pos))
		m.pos = append(m.pos, at.add(n.mul(rel(at))))
		return joined[key]
	}
	for _, f := range faces {
		us, vs := b.stations(b.half(f.right), edge), b.stations(b.half(f.up), edge)
		base := f.out.mul(b.half(f.out))
		for j := 0; j+1 < len(vs); j++ {
			for i := 0; i+1 < len(us); i++ {
				at := func(i, j int) uint32 { return vertex(base.add(f.right.mul(us[i])).add(f.up.mul(vs[j]))) }
				a, c, d, e := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
				m.tri = append(m.tri, a, c, d, a, d, e)
			}
		}
	}
	return m
}

// stations are places along a half edge of length h, denser in the rounded ends, the same from both sides.
func (b box) stations(h, edge float64) []float64 {
	ends := int(math.Max(3, math.Ceil(b.round/edge)))
	mid := int(math.Max(1, math.Ceil(2*(h-b.round)/edge)))
	var out []float64
	for i := 0; i < ends; i++ {
		out = append(out, -h+b.round*float64(i)/float64(ends))
	}
	for i := 0; i <= mid; i++ {
		out = append(out, -(h-b.round)+2*(h-b.round)*float64(i)/float64(mid))
	}
	for i := ends - 1; i >= 0; i-- {
		out = append(out, h-b.round*float64(i)/float64(ends))
	}
	return out
}
