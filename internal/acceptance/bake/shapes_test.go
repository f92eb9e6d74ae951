package bake

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/tangent"
)

// indexed is a mesh as it comes: vertices shared between triangles.
type indexed struct {
	pos, nrm, uv []float32
	tri          []uint32
}

// game makes a game mesh of it, with a cage pushed out along its normals.
func (m indexed) game(front, back float64) *Game {
	g := &Game{}
	tan := tangent.Generate(m.pos, m.nrm, m.uv, m.tri)
	g.Tan = tan
	for _, v := range m.tri {
		g.Pos = append(g.Pos, m.pos[3*v:3*v+3]...)
		g.Nrm = append(g.Nrm, m.nrm[3*v:3*v+3]...)
		g.UV = append(g.UV, m.uv[2*v:2*v+2]...)
		for k := range uint32(3) {
			g.Reach = append(g.Reach, float32(front*float64(m.nrm[3*v+k])))
		}
	}
	n := len(m.tri) / 3
	g.Part, g.Island, g.Back = make([]int32, n), make([]int32, n), make([]float32, n)
	for t := range n {
		g.Back[t] = float32(back)
	}
	return g
}

// bumps is a height field and its slope: what a bumpy surface is made from, in closed form.
type bumps struct{ height, wave float64 }

func (b bumps) at(x, y float64) (h, dx, dy float64) {
	k := 2 * math.Pi / b.wave
	sx, cx := detmath.Sincos(k * x)
	sy, cy := detmath.Sincos(k * y)
	return b.height * sx * sy, b.height * k * cx * sy, b.height * k * sx * cy
}

// grid is a surface over n × n squares of the unit square in U and V.
func gridOf(n int, point func(u, v float64) (p, normal vec)) indexed {
	var m indexed
	for j := range n + 1 {
		for i := range n + 1 {
			u, v := float64(i)/float64(n), float64(j)/float64(n)
			p, nrm := point(u, v)
			q, w := narrow(p), narrow(nrm)
			m.pos, m.nrm, m.uv = append(m.pos, q[:]...), append(m.nrm, w[:]...), append(m.uv, float32(u), float32(v))
		}
	}
	for j := range uint32(n) {
		for i := range uint32(n) {
			a := j*uint32(n+1) + i
			b := a + uint32(n) + 1
			m.tri = append(m.tri, a, b, b+1, a, b+1, a+1)
		}
	}
	return m
}

// plane lies in XY facing +Z: U along +X, V along -Y, so that the bitangent of glTF is +Y.
func plane(n int, b bumps) indexed {
	return gridOf(n, func(u, v float64) (vec, vec) {
		x, y := u, 1-v
		h, dx, dy := b.at(x, y)
		nrm, _ := unit(vec{-dx, -dy, 1})
		return vec{x, y, h}, nrm
	})
}

// drum is half a cylinder of radius 1 around Y with bumps along its normal.
func drum(n int, b bumps) indexed {
	return gridOf(n, func(u, v float64) (vec, vec) {
		a, y := math.Pi*u, 3*(1-v)
		h, du, dy := b.at(a, y)
		s, c := detmath.Sincos(a)
		radial, around := vec{-c, 0, s}, vec{s, 0, c}
		r := 1 + h
		// The surface r(a, y)·radial + y·up has the normal radial - (dr/da)/r · around - dr/dy · up.
		nrm, _ := unit(add(radial, add(scale(around, -du/r), vec{0, -dy, 0})))
		return add(scale(radial, r), vec{0, y, 0}), nrm
	})
}

// baked projects and fails the test where that does not work.
func baked(t testing.TB, g *Game, s *Sculpt, grid Grid) *Map {
	t.Helper()
	m, err := Project(context.Background(), g, []*Sculpt{s}, grid, Options{Threads: 2})
	require.NoError(t, err)
	return m
}

// asDelivered is a bake as a 16-bit map of glTF's convention, straight up where nothing was served.
func asDelivered(m *Map) *Delivered {
	d := &Delivered{W: m.Grid.W, H: m.Grid.H, Channels: 3, X: 0, Y: 1, Z: 2, Pix16: make([]uint16, len(m.Normal))}
	copy(d.Pix16, m.Normal)
	for i := range m.Tri {
		if !m.Served(i) {
			d.set(i, vec{0, 0, 1})
		}
	}
	return d
}

func (d *Delivered) set(i int, v vec) {
	for k := range 3 {
		d.Pix16[3*i+k] = quantized((v[k] + 1) / 2)
	}
}

// changed is a copy with every vector changed.
func (d *Delivered) changed(f func(x, y int, v vec) vec) *Delivered {
	out := *d
	out.Pix16 = make([]uint16, len(d.Pix16))
	for y := range d.H {
		for x := range d.W {
			out.set(y*d.W+x, f(x, y, d.vector(x, y, nil)))
		}
	}
	return &out
}
