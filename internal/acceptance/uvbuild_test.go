package acceptance

import (
	"math/rand/v2"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

type layout struct {
	pos, uv []float32
	tri     []uint32
}

// renumbered shuffles triangles and vertices and turns each triangle's corners round.
func renumbered(l layout, rng *rand.Rand) layout {
	vertices := len(l.uv) / 2
	to := rng.Perm(vertices)
	m := layout{pos: make([]float32, len(l.pos)), uv: make([]float32, len(l.uv))}
	for v, w := range to {
		copy(m.pos[3*w:3*w+3], l.pos[3*v:3*v+3])
		copy(m.uv[2*w:2*w+2], l.uv[2*v:2*v+2])
	}
	for _, t := range rng.Perm(len(l.tri) / 3) {
		k := rng.IntN(3)
		for c := range 3 {
			m.tri = append(m.tri, uint32(to[l.tri[3*t+(c+k)%3]]))
		}
	}
	return m
}

// patches lays n square grids of edge × edge quads side by side, each one island of its own.
func patches(n, edge int) layout {
	var l layout
	for p := range n {
		base := uint32(len(l.uv) / 2)
		for y := range edge + 1 {
			for x := range edge + 1 {
				u, v := float32(x)/float32(edge), float32(y)/float32(edge)
				l.pos = append(l.pos, u+2*float32(p), v, u*v)
				l.uv = append(l.uv, u+2*float32(p), v)
			}
		}
		row := uint32(edge + 1)
		for y := range uint32(edge) {
			for x := range uint32(edge) {
				a := base + y*row + x
				l.tri = append(l.tri, a, a+1, a+row, a+1, a+row+1, a+row)
			}
		}
	}
	return l
}

var negativeZero = func() float64 { z := 0.0; return -z }()

// setOf is a baked set of a bare surface.
func setOf(l layout, width, height int) *Set {
	return &Set{Game: mesh.Surface{Pos: l.pos, Nrm: make([]float32, len(l.pos)), UV: l.uv, Tri: l.tri}, WidthPx: width, HeightPx: height,
		Def: spec.Set{Kind: spec.Baked, Stack: "any"}}
}
