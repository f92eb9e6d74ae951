package bake

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/detmath"
)

// A bumpy plane: the normal of a height field h(x, y) is (-dh/dx, -dh/dy, 1), and on a plane tangent space is the plane's own.
func TestBumpyPlane(t *testing.T) {
	t.Parallel()
	b := bumps{0.01, 0.25}
	sculpt := plane(200, b)
	g := plane(3, bumps{0, 1}).game(0.03, 0.03)
	grid := NewGrid(128, 128, 1024)
	m := baked(t, g, NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 2), grid)
	worst := 0.0
	for y := range 128 {
		for x := range 128 {
			i := y*128 + x
			require.True(t, m.Served(i), "texel %d, %d", x, y)
			_, dx, dy := b.at((float64(x)+0.5)/128, 1-(float64(y)+0.5)/128)
			want, _ := unit(vec{-dx, -dy, 1})
			worst = max(worst, angle(want, m.normal(i)))
		}
	}
	// Interpolating normals over an edge of 5 mm errs by at most an eighth of the edge's square times the largest second
	// derivative of the slope, 0.01·(2π/0.25)³: 0.007 rad. A 16-bit component errs by 2⁻¹⁶.
	require.Less(t, worst, 0.5, "degrees")
	t.Logf("largest error %.3f°", worst)
}

// A bumpy cylinder: closed-form normals of the sculpt, read in the smooth tangent space of a coarse game mesh and put back
// into space with it, must come out as they went in.
func TestBumpyCylinder(t *testing.T) {
	t.Parallel()
	b := bumps{0.008, math.Pi / 8}
	sculpt := drum(200, b)
	g := drum(24, bumps{0, 1}).game(0.05, 0.05)
	grid := NewGrid(100, 100, 1024)
	m := baked(t, g, NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 2), grid)
	worst, straight := 0.0, 0.0
	for y := range 100 {
		for x := range 100 {
			i := y*100 + x
			require.True(t, m.Served(i), "texel %d, %d", x, y)
			p, ok := g.find(grid, m.Tri[i], x, y)
			require.True(t, ok)
			n, _ := unit(g.frame(p, g.Tan).world(m.normal(i)))
			// Where the ray meets the sculpt: along the interpolated normal, which on a cylinder is radial.
			foot := p.blend(g.Pos)
			a := detmath.Atan2(foot[2], -foot[0])
			h, du, dy := b.at(a, foot[1])
			s, c := detmath.Sincos(a)
			want, _ := unit(vec{-c - s*du/(1+h), -dy, s - c*du/(1+h)})
			worst = max(worst, angle(want, n))
			straight = max(straight, angle(want, vec{-c, 0, s}))
		}
	}
	require.Greater(t, straight, 7.0, "the bumps lean that far")
	require.Less(t, worst, 0.6, "degrees")
	t.Logf("largest error %.3f° of up to %.1f°", worst, straight)
}

// The same bits on any number of threads.
func TestThreads(t *testing.T) {
	t.Parallel()
	sculpt := drum(150, bumps{0.008, 0.4})
	g := drum(9, bumps{0, 1}).game(0.05, 0.05)
	s := NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 1)
	d := asDelivered(baked(t, g, s, NewGrid(96, 96, 96))).changed(func(_, _ int, v vec) vec { return vec{v[0], -v[1], v[2]} })
	var maps, reports []string
	for _, threads := range []int{1, 2, 8} {
		m, err := Project(context.Background(), g, []*Sculpt{s}, NewGrid(96, 96, 96), Options{Threads: threads, Places: true})
		require.NoError(t, err)
		h := sha256.New()
		for _, v := range [][]uint16{m.Normal, m.Place} {
			require.NoError(t, binary.Write(h, binary.LittleEndian, v))
		}
		require.NoError(t, binary.Write(h, binary.LittleEndian, m.Tri))
		maps = append(maps, hex.EncodeToString(h.Sum(nil)))
		r, err := Compare(context.Background(), g, m, d, 0, Also{Sculpts: []*Sculpt{s}}, threads)
		require.NoError(t, err)
		reports = append(reports, hashOf(t, r))
	}
	require.Equal(t, []string{maps[0], maps[0]}, maps[1:])
	require.Equal(t, []string{reports[0], reports[0]}, reports[1:])
}

// Copies on the same texels: one sculpted bolt serves all of them, whichever copy it belongs to, and copies moved aside by
// whole tiles too.
func TestStackedCopies(t *testing.T) {
	t.Parallel()
	b := bumps{0.01, 0.5}
	sculpt := plane(100, b)
	for _, c := range []struct {
		name    string
		aside   float32 // tiles by which the first copy is moved in U
		bumpyAt int     // which copy has the sculpt
	}{
		{"the first copy is sculpted", 0, 0},
		{"the second copy is sculpted", 0, 1},
		{"the first lies a tile aside", 3, 1},
		{"the first lies a tile aside and is sculpted", -2, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			m := plane(2, bumps{0, 1})
			n := len(m.pos) / 3
			for v := range n {
				m.pos = append(m.pos, m.pos[3*v]+2, m.pos[3*v+1], m.pos[3*v+2])
			}
			m.nrm, m.uv = append(m.nrm, m.nrm...), append(m.uv, m.uv...)
			for v := range n {
				m.uv[2*v] += c.aside
			}
			for _, v := range m.tri[:len(m.tri):len(m.tri)] {
				m.tri = append(m.tri, v+uint32(n))
			}
			moved := append([]float32(nil), sculpt.pos...)
			for i := 0; i < len(moved); i += 3 {
				moved[i] += float32(2 * c.bumpyAt)
			}
			g := m.game(0.05, 0.05)
			got := baked(t, g, NewSculpt(moved, sculpt.nrm, sculpt.tri, 1), NewGrid(64, 64, 64))
			for i := range got.Tri {
				require.True(t, got.Served(i), "texel %d", i)
				require.Equal(t, c.bumpyAt, int(got.Tri[i])/(g.Triangles()/2))
			}
		})
	}
}

// Moving everything through space moves no texel's vector beyond rounding.
func TestMovedAlike(t *testing.T) {
	t.Parallel()
	sculpt := plane(60, bumps{0.01, 0.3})
	game := plane(2, bumps{0, 1})
	want := baked(t, game.game(0.05, 0.05), NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 1), NewGrid(32, 32, 32))
	rapid.Check(t, func(rt *rapid.T) {
		a := rapid.Float64Range(-3, 3).Draw(rt, "angle")
		s, c := detmath.Sincos(a)
		by := vec{rapid.Float64Range(-5, 5).Draw(rt, "x"), 0.5, -2}
		turn := func(v []float32, move bool) []float32 {
			out := make([]float32, len(v))
			for i := 0; i < len(v); i += 3 {
				p := at(v, i/3)
				q := vec{c*p[0] + s*p[2], p[1], c*p[2] - s*p[0]}
				if move {
					q = add(q, by)
				}
				w := narrow(q)
				copy(out[i:], w[:])
			}
			return out
		}
		g := indexed{turn(game.pos, true), turn(game.nrm, false), game.uv, game.tri}.game(0.05, 0.05)
		got := baked(t, g, NewSculpt(turn(sculpt.pos, true), turn(sculpt.nrm, false), sculpt.tri, 1), NewGrid(32, 32, 32))
		for i := range got.Tri {
			if !got.Served(i) {
				rt.Fatalf("texel %d is not served", i)
			}
			// Rays are rounded to 2⁻²¹ of coordinates up to 8 m: 4 µm, over which the slope of the bumps changes by 0.01 · (2π/0.3)² · 4 µm.
			if deg := angle(want.normal(i), got.normal(i)); deg > 0.1 {
				rt.Fatalf("texel %d leans %g° otherwise", i, deg)
			}
		}
	})
}

// Shapes that have nothing to give, give nothing, and no fault.
func TestOddInput(t *testing.T) {
	t.Parallel()
	nan := float32(math.NaN())
	sculpt := plane(10, bumps{0.01, 0.5})
	whole := NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 1)
	for _, c := range []struct {
		name   string
		game   func(g *Game)
		sculpt *Sculpt
		served bool
	}{
		{"as it should be", func(*Game) {}, whole, true},
		{"an empty sculpt", func(*Game) {}, NewSculpt(nil, nil, nil, 1), false},
		{"a sculpt of NaN", func(*Game) {}, NewSculpt([]float32{nan, 0, 0, 1, 0, 0, 0, 1, 0}, make([]float32, 9), []uint32{0, 1, 2}, 1), false},
		{"a sculpt without area", func(*Game) {}, NewSculpt(make([]float32, 9), make([]float32, 9), []uint32{0, 1, 2, 0, 0, 0}, 1), false},
		{"no triangles", func(g *Game) { *g = Game{} }, whole, false},
		{"positions of NaN", func(g *Game) { fill(g.Pos, nan) }, whole, false},
		{"collapsed positions", func(g *Game) { fill(g.Pos, 0.5) }, whole, false},
		{"normals of zero", func(g *Game) { fill(g.Nrm, 0) }, whole, false},
		{"tangents of zero", func(g *Game) { fill(g.Tan, 0) }, whole, false},
		{"UVs of NaN", func(g *Game) { fill(g.UV, nan) }, whole, false},
		{"collapsed UVs", func(g *Game) { fill(g.UV, 0.5) }, whole, false},
		{"UVs far out", func(g *Game) { fill(g.UV, 3e38) }, whole, false},
		{"no part", func(g *Game) {
			for i := range g.Part {
				g.Part[i] = -1
			}
		}, whole, false},
		{"a cage on the surface", func(g *Game) { fill(g.Reach, 0) }, whole, true},
		{"a cage of NaN", func(g *Game) { fill(g.Reach, nan) }, whole, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := plane(2, bumps{0, 1}).game(0.05, 0.05)
			c.game(g)
			m := baked(t, g, c.sculpt, NewGrid(16, 16, 16))
			any := false
			for i := range m.Tri {
				any = any || m.Served(i)
			}
			require.Equal(t, c.served, any)
			r, err := Compare(context.Background(), g, m, asDelivered(m), 0, Also{Sculpts: []*Sculpt{c.sculpt}}, 1)
			require.NoError(t, err)
			require.False(t, math.IsNaN(r.All.MeanDeg+r.Ratio+r.LowPassMeanDeg+r.ReliefDeg))
			require.Less(t, r.All.MeanDeg, 0.01)
		})
	}
}

func fill(v []float32, x float32) {
	for i := range v {
		v[i] = x
	}
}

func TestSculptWithoutNormals(t *testing.T) {
	t.Parallel()
	b := bumps{0.01, 0.25}
	sculpt := plane(200, b)
	g := plane(3, bumps{0, 1}).game(0.03, 0.03)
	s := NewSculpt(sculpt.pos, make([]float32, len(sculpt.pos)), sculpt.tri, 1)
	require.True(t, s.MadeNormals())
	m := baked(t, g, s, NewGrid(128, 128, 128))
	for i := range m.Tri {
		_, dx, dy := b.at((float64(i%128)+0.5)/128, 1-(float64(i/128)+0.5)/128)
		want, _ := unit(vec{-dx, -dy, 1})
		if x, y := i%128, i/128; x > 0 && y > 0 && x < 127 && y < 127 { // at the border half the faces are missing
			require.Less(t, angle(want, m.normal(i)), 0.6)
		}
	}
	sharp := []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1} // an L of two squares
	box := NewSculpt(sharp, make([]float32, len(sharp)), []uint32{0, 1, 2, 0, 2, 3, 0, 3, 5, 0, 5, 4}, 1)
	require.True(t, box.MadeNormals())
}

func TestGrid(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ w, h, most, step, gw, gh int }{
		{1024, 1024, 1024, 1, 1024, 1024}, {4096, 4096, 1024, 4, 1024, 1024}, {2048, 1024, 1024, 2, 1024, 512},
		{512, 512, 1024, 1, 512, 512}, {1000, 1000, 512, 2, 500, 500}, {1, 1, 1024, 1, 1, 1}, {3000, 8, 1024, 3, 1000, 2},
	} {
		g := NewGrid(c.w, c.h, c.most)
		require.Equal(t, Grid{c.w, c.h, c.step, c.gw, c.gh}, g)
		px, py := g.Pixel(c.gw-1, c.gh-1)
		q := g.place([2]float64{(float64(px) + 0.5) / float64(c.w), (float64(py) + 0.5) / float64(c.h)})
		require.InDelta(t, c.gw-1, q[0], 1e-9)
		require.InDelta(t, c.gh-1, q[1], 1e-9)
	}
	require.Zero(t, NewGrid(0, 5, 1024).W)
}

// However many triangles lie on one texel, a strip lists no more of them than are ever tried.
func TestManyOnOneTexel(t *testing.T) {
	t.Parallel()
	m := plane(1, bumps{0, 1})
	one := append([]uint32(nil), m.tri...)
	for range 500 {
		m.tri = append(m.tri, one...)
	}
	g := m.game(0.05, 0.05)
	c := newCover(g, NewGrid(32, 32, 32))
	var s spots
	require.LessOrEqual(t, len(s.of(c, 0)), mostCopies*32*stripRows)
	got := baked(t, g, NewSculpt(nil, nil, nil, 1), NewGrid(32, 32, 32))
	require.False(t, got.Served(0))
	require.GreaterOrEqual(t, got.Tri[0], int32(0))
}
