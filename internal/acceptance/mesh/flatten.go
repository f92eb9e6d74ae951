package mesh

import "math"

// Box is an axis-aligned box; Empty where nothing was in it.
type Box struct {
	Min, Max [3]float64
	Empty    bool
}

// Flatten puts draws of a scene into one surface in world space. Positions are transformed in double precision and
// stored in single; normals go by the inverse transpose and are of unit length, or zero where they are not delivered
// or the transform flattens them; winding is reversed under a node that mirrors (glTF 2.0, section 3.7.4). Points and
// lines give an empty range. UVs are set 0. The result does not depend on the number of threads.
//
// A single draw that its node leaves where it is, as sculpts mostly are, is not copied: the surface's arrays are then the
// primitive's own, which may be views into the file. They are read-only, and hold until the scene is closed.
func Flatten(s *Scene, draws []Draw) Surface {
	if len(draws) == 1 && isIdentity(s.Nodes[draws[0].Node].World) {
		return flattenInPlace(s, draws[0])
	}
	var out Surface
	var vertices, indices int
	for _, d := range draws {
		p := &s.Prims[d.Prim]
		vertices += len(p.Pos) / 3
		indices += len(p.Tri)
	}
	out.Pos = make([]float32, 3*vertices)
	out.Nrm = make([]float32, 3*vertices)
	out.UV = make([]float32, 2*vertices)
	out.Tri = make([]uint32, indices)
	out.Of = make([]Range, 0, len(draws))
	v, t := 0, 0
	for _, d := range draws {
		p := &s.Prims[d.Prim]
		n := len(p.Pos) / 3
		world := s.Nodes[d.Node].World
		r := Range{First: t / 3, End: (t + len(p.Tri)) / 3, VFirst: v, VEnd: v + n, Scene: s, Draw: d,
			NoNormals: p.Nrm == nil, NoUV: len(p.UV) == 0 || p.UV[0] == nil}
		transformPoints(out.Pos[3*v:3*(v+n)], p.Pos, world)
		if !r.NoNormals {
			transformNormals(out.Nrm[3*v:3*(v+n)], p.Nrm, world)
		}
		if !r.NoUV {
			copy(out.UV[2*v:2*(v+n)], p.UV[0])
		}
		rebase(out.Tri[t:t+len(p.Tri)], p.Tri, uint32(v), det3(world) < 0)
		out.Of = append(out.Of, r)
		v += n
		t += len(p.Tri)
	}
	return out
}

func flattenInPlace(s *Scene, d Draw) Surface {
	p := &s.Prims[d.Prim]
	n, t := len(p.Pos)/3, len(p.Tri)
	out := Surface{Pos: p.Pos[: 3*n : 3*n], Tri: p.Tri[:t:t], Nrm: make([]float32, 3*n)}
	r := Range{End: t / 3, VEnd: n, Scene: s, Draw: d, NoNormals: p.Nrm == nil, NoUV: len(p.UV) == 0 || p.UV[0] == nil}
	if !r.NoNormals { // these are made of unit length
		transformNormals(out.Nrm, p.Nrm, s.Nodes[d.Node].World)
	}
	if !r.NoUV && len(p.UV[0]) == 2*n {
		out.UV = p.UV[0][: 2*n : 2*n]
	} else {
		out.UV = make([]float32, 2*n)
	}
	out.Of = []Range{r}
	return out
}

// Append joins another surface to this one, shifting its ranges and indices.
func (s *Surface) Append(o Surface) {
	v, t := len(s.Pos)/3, len(s.Tri)/3
	s.Pos = append(s.Pos, o.Pos...)
	s.Nrm = append(s.Nrm, o.Nrm...)
	s.UV = append(s.UV, o.UV...)
	for _, i := range o.Tri {
		s.Tri = append(s.Tri, i+uint32(v))
	}
	for _, r := range o.Of {
		r.First, r.End, r.VFirst, r.VEnd = r.First+t, r.End+t, r.VFirst+v, r.VEnd+v
		s.Of = append(s.Of, r)
	}
}

// Bounds returns the box of all vertices that a triangle uses, in metres.
func (s *Surface) Bounds() Box {
	b := Box{Empty: true}
	for _, i := range s.Tri {
		b.add(s.Pos[3*i : 3*i+3 : 3*i+3])
	}
	return b
}

func (b *Box) add(p []float32) {
	for k := range 3 {
		x := float64(p[k])
		if b.Empty {
			b.Min[k], b.Max[k] = x, x
			continue
		}
		b.Min[k], b.Max[k] = min(b.Min[k], x), max(b.Max[k], x)
	}
	b.Empty = false
}

// Diagonal returns the length of the box's diagonal, in metres; 0 where it is empty.
func (b Box) Diagonal() float64 {
	x, y, z := b.Max[0]-b.Min[0], b.Max[1]-b.Min[1], b.Max[2]-b.Min[2]
	return math.Sqrt(float64(x*x) + float64(y*y) + float64(z*z))
}

func isIdentity(m [16]float64) bool { return m == [16]float64{0: 1, 5: 1, 10: 1, 15: 1} }

func transformPoints(out, in []float32, m [16]float64) {
	if isIdentity(m) {
		copy(out, in)
		return
	}
	chunks(int64(len(in)), 3, func(_ int, from, to int64) {
		for i := from; i+2 < to; i += 3 {
			x, y, z := float64(in[i]), float64(in[i+1]), float64(in[i+2])
			out[i] = float32(float64(m[0]*x) + float64(m[4]*y) + float64(m[8]*z) + m[12])
			out[i+1] = float32(float64(m[1]*x) + float64(m[5]*y) + float64(m[9]*z) + m[13])
			out[i+2] = float32(float64(m[2]*x) + float64(m[6]*y) + float64(m[10]*z) + m[14])
		}
	})
}

// transformNormals multiplies by the cofactors of the upper 3 × 3: the inverse transpose times the determinant, whose
// size falls out in normalizing and whose sign is put back.
func transformNormals(out, in []float32, m [16]float64) {
	c := cofactors(m)
	sign := 1.0
	if det3(m) < 0 {
		sign = -1
	}
	chunks(int64(len(in)), 3, func(_ int, from, to int64) {
		for i := from; i+2 < to; i += 3 {
			x, y, z := float64(in[i]), float64(in[i+1]), float64(in[i+2])
			nx := float64(c[0]*x) + float64(c[3]*y) + float64(c[6]*z)
			ny := float64(c[1]*x) + float64(c[4]*y) + float64(c[7]*z)
			nz := float64(c[2]*x) + float64(c[5]*y) + float64(c[8]*z)
			length := math.Sqrt(float64(nx*nx) + float64(ny*ny) + float64(nz*nz))
			if !(length > 0) || math.IsInf(length, 0) {
				continue
			}
			out[i], out[i+1], out[i+2] = float32(sign*nx/length), float32(sign*ny/length), float32(sign*nz/length)
		}
	})
}

// cofactors of the upper 3 × 3, column-major.
func cofactors(m [16]float64) [9]float64 {
	minor := func(a, b, c, d float64) float64 { return float64(a*d) - float64(b*c) }
	return [9]float64{
		minor(m[5], m[9], m[6], m[10]), minor(m[8], m[4], m[10], m[6]), minor(m[4], m[8], m[5], m[9]),
		minor(m[9], m[1], m[10], m[2]), minor(m[0], m[8], m[2], m[10]), minor(m[8], m[0], m[9], m[1]),
		minor(m[1], m[5], m[2], m[6]), minor(m[4], m[0], m[6], m[2]), minor(m[0], m[4], m[1], m[5]),
	}
}

// det3 returns the determinant of the upper 3 × 3: negative where the transform mirrors.
func det3(m [16]float64) float64 {
	c := cofactors(m)
	return float64(m[0]*c[0]) + float64(m[1]*c[1]) + float64(m[2]*c[2])
}

func rebase(out, in []uint32, base uint32, mirrored bool) {
	chunks(int64(len(in)), 3, func(_ int, from, to int64) {
		if base == 0 && !mirrored {
			copy(out[from:to], in[from:to])
			return
		}
		for i := from; i+2 < to; i += 3 {
			a, b, c := in[i]+base, in[i+1]+base, in[i+2]+base
			if mirrored {
				b, c = c, b
			}
			out[i], out[i+1], out[i+2] = a, b, c
		}
	})
}
