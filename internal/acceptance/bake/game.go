package bake

import "math"

// Game is the game mesh as its texels see it: every triangle has corners of its own, 3 a triangle.
type Game struct {
	Pos   []float32 // 3 a corner, metres
	Nrm   []float32 // 3 a corner, unit length: what shades the mesh
	UV    []float32 // 2 a corner
	Tan   []float32 // 4 a corner
	Reach []float32 // 3 a corner: from the surface to the cage, metres

	Part   []int32   // by triangle: the sculpt its rays look for, below zero for none
	Back   []float32 // by triangle: how far rays look past the surface, metres
	Island []int32   // by triangle
}

// Triangles returns the number of triangles.
func (g *Game) Triangles() int { return len(g.Pos) / 9 }

func (g *Game) uv(triangle, corner int) [2]float64 {
	i := 2 * (3*triangle + corner)
	return [2]float64{float64(g.UV[i]), float64(g.UV[i+1])}
}

// inTriangle is a place on the game mesh: a triangle and the weights of its second and third corner.
type inTriangle struct {
	tri  int32
	u, v float32
}

// blend interpolates one of the mesh's arrays of three a corner.
func (p inTriangle) blend(array []float32) vec {
	i := 3 * int(p.tri)
	return blend(at(array, i), at(array, i+1), at(array, i+2), float64(p.u), float64(p.v))
}

// frame is a tangent space: a texel (x, y, z) stands for x·t + y·b + z·n.
type frame struct{ t, b, n vec }

// frame is the tangent space at a place, for tangents of the mesh's own or others.
func (g *Game) frame(p inTriangle, tan []float32) frame {
	i := 3 * int(p.tri)
	tangent := func(c int) vec {
		t := tan[4*c : 4*c+3 : 4*c+3]
		return vec{float64(t[0]), float64(t[1]), float64(t[2])}
	}
	var f frame
	f.n = p.blend(g.Nrm)
	f.t = blend(tangent(i), tangent(i+1), tangent(i+2), float64(p.u), float64(p.v))
	f.b = scale(cross(f.n, f.t), float64(tan[4*i+3]))
	return f
}

// world turns a texel's vector into a direction in space, not of unit length.
func (f frame) world(d vec) vec {
	return add(add(scale(f.t, d[0]), scale(f.b, d[1])), scale(f.n, d[2]))
}

// local is the inverse of world, by Cramer's rule; false where the frame is flat.
func (f frame) local(d vec) (vec, bool) {
	bn := cross(f.b, f.n)
	det := dot(f.t, bn)
	if math.Abs(det) < 1e-12 {
		return vec{}, false
	}
	out := vec{dot(d, bn), dot(d, cross(f.n, f.t)), dot(d, cross(f.t, f.b))}
	if det < 0 {
		out = scale(out, -1)
	}
	return unit(out)
}
