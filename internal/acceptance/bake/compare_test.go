package bake

import (
	"context"
	"encoding/json"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

func hashOf(t *testing.T, r *Report) string {
	t.Helper()
	data, err := json.Marshal(r)
	require.NoError(t, err)
	return string(data)
}

// scene is a bumpy cylinder whose map every fault is planted into.
type scene struct {
	game   *Game
	sculpt *Sculpt
	m      *Map
	right  *Delivered
}

func newScene(t testing.TB) scene {
	sculpt := drum(120, bumps{0.02, 0.37})
	// Bumps that repeat and mirror themselves would fit after a turn, too: a lean of their own tells all turns apart.
	for i := 0; i < len(sculpt.pos); i += 3 {
		x, y := float64(sculpt.uv[i/3*2]), float64(sculpt.uv[i/3*2+1])
		r := 1 + 0.02*(x-0.3)*(x-0.3) - 0.05*y*y*y
		sculpt.pos[i], sculpt.pos[i+2] = float32(r*float64(sculpt.pos[i])), float32(r*float64(sculpt.pos[i+2]))
	}
	s := scene{game: drum(16, bumps{0, 1}).game(0.12, 0.12), sculpt: NewSculpt(sculpt.pos, make([]float32, len(sculpt.pos)), sculpt.tri, 2)}
	s.m = baked(t, s.game, s.sculpt, NewGrid(64, 64, 64))
	s.right = asDelivered(s.m)
	return s
}

func (s scene) compare(t testing.TB, d *Delivered) *Report {
	t.Helper()
	r, err := Compare(context.Background(), s.game, s.m, d, 0, Also{Sculpts: []*Sculpt{s.sculpt}}, 2)
	require.NoError(t, err)
	return r
}

// ripples is a plane whose relief never repeats.
func ripples(n int) indexed {
	return gridOf(n, func(u, v float64) (vec, vec) {
		x, y := u, 1-v
		h, dx, dy := bumps{0.004, 0.09}.at(x+0.3*y, y-0.2*x*x)
		h2, ex, ey := bumps{0.003, 0.071}.at(y, x)
		nrm, _ := unit(vec{-(dx - 0.4*x*dy + ey), -(0.3*dx + dy + ex), 1})
		return vec{x, y, h + h2}, nrm
	})
}

// Every planted fault is named, with its number; the right map is not.
func TestFaultsAreNamed(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	n := s.right.W
	from := func(f func(x, y int) (int, int), turn func(v vec) vec) func(x, y int, v vec) vec {
		return func(x, y int, _ vec) vec {
			px, py := f(x, y)
			return turn(s.right.vector(wrap(px, n), wrap(py, n), nil))
		}
	}
	same := func(v vec) vec { return v }
	curve := func(by func(float64) float64) func(x, y int, v vec) vec {
		return func(_, _ int, v vec) vec {
			for k := range v {
				v[k] = 2*by((v[k]+1)/2) - 1
			}
			return v
		}
	}
	for _, c := range []struct {
		fit  Fit
		make func(x, y int, v vec) vec
		mean float64 // of the best fit, degrees at most
	}{
		{GreenFlipped, func(_, _ int, v vec) vec { return vec{v[0], -v[1], v[2]} }, 0.1},
		{RedFlipped, func(_, _ int, v vec) vec { return vec{-v[0], v[1], v[2]} }, 0.1},
		{RedGreenSwapped, func(_, _ int, v vec) vec { return vec{v[1], v[0], v[2]} }, 0.1},
		{RedBlueSwapped, func(_, _ int, v vec) vec { return vec{v[2], v[1], v[0]} }, 0.1},
		{Turned90, func(_, _ int, v vec) vec { return vec{v[1], -v[0], v[2]} }, 0.1},
		{Turned180, func(_, _ int, v vec) vec { return vec{-v[0], -v[1], v[2]} }, 0.1},
		{Turned270, func(_, _ int, v vec) vec { return vec{-v[1], v[0], v[2]} }, 0.1},
		{SwappedNegated, func(_, _ int, v vec) vec { return vec{-v[1], -v[0], v[2]} }, 0.1},
		{SRGBEncoded, curve(encodeSRGB), 0.5},
		{SRGBDecoded, curve(decodeSRGB), 0.5},
		{ImageTurned90, from(func(x, y int) (int, int) { return n - 1 - y, x }, same), 0.1},
		{ImageTurned180, from(func(x, y int) (int, int) { return n - 1 - x, n - 1 - y }, same), 0.1},
		{ImageTurned270, from(func(x, y int) (int, int) { return y, n - 1 - x }, same), 0.1},
		{ImageUpsideDown, from(func(x, y int) (int, int) { return x, n - 1 - y }, same), 0.1},
		{ImageMirrored, from(func(x, y int) (int, int) { return n - 1 - x, y }, same), 0.1},
		{AllTurned90, from(func(x, y int) (int, int) { return n - 1 - y, x }, func(v vec) vec { return vec{-v[1], v[0], v[2]} }), 0.1},
		{AllTurned180, from(func(x, y int) (int, int) { return n - 1 - x, n - 1 - y }, func(v vec) vec { return vec{-v[0], -v[1], v[2]} }), 0.1},
		{AllTurned270, from(func(x, y int) (int, int) { return y, n - 1 - x }, func(v vec) vec { return vec{v[1], -v[0], v[2]} }), 0.1},
		{AllUpsideDown, from(func(x, y int) (int, int) { return x, n - 1 - y }, func(v vec) vec { return vec{v[0], -v[1], v[2]} }), 0.1},
		{Shifted, from(func(x, y int) (int, int) { return x + 3, y - 2 }, same), 0.8},
		{Shifted, from(func(x, y int) (int, int) { return x + 16, y }, same), 6},
	} {
		t.Run(string(c.fit), func(t *testing.T) {
			t.Parallel()
			r := s.compare(t, s.right.changed(c.make))
			best := r.Fits[r.Best]
			require.Equal(t, c.fit, best.Fit, "%+v", r.Fits)
			require.LessOrEqual(t, best.MeanDeg, c.mean)
			require.GreaterOrEqual(t, r.Ratio, 3.0)
			require.Greater(t, r.All.MeanDeg, 2.0)
		})
	}
	t.Run("right", func(t *testing.T) {
		t.Parallel()
		r := s.compare(t, s.right)
		require.Zero(t, r.Best)
		require.Less(t, r.All.MeanDeg, 0.01)
		require.Less(t, r.LowPassMeanDeg, 0.01)
		require.InDelta(t, 1, r.Related, 0.001)
		require.False(t, r.Grey)
	})
	t.Run("the shift is measured", func(t *testing.T) {
		t.Parallel()
		r := s.compare(t, s.right.changed(from(func(x, y int) (int, int) { return x + 3, y - 2 }, same)))
		require.Equal(t, [2]float64{3, -2}, r.Fits[r.Best].ShiftPx)
	})
	t.Run("half a texel", func(t *testing.T) {
		t.Parallel()
		sharp := ripples(200)
		g := plane(2, bumps{0, 1}).game(0.02, 0.02)
		o := scene{game: g, sculpt: NewSculpt(sharp.pos, sharp.nrm, sharp.tri, 2)}
		o.m = baked(t, g, o.sculpt, NewGrid(64, 64, 64))
		o.right = asDelivered(o.m)
		r := o.compare(t, o.right.changed(func(x, y int, _ vec) vec { return o.right.between(float64(x)+0.5, float64(y)) }))
		require.Equal(t, HalfTexelShifted, r.Fits[r.Best].Fit, "%+v", r.Fits)
		require.Equal(t, [2]float64{0.5, 0}, r.Fits[r.Best].ShiftPx)
	})
	t.Run("grey", func(t *testing.T) {
		t.Parallel()
		r := s.compare(t, s.right.changed(func(x, _ int, _ vec) vec { g := float64(x%32)/16 - 1; return vec{g, g, g} }))
		require.True(t, r.Grey)
	})
	t.Run("flat", func(t *testing.T) {
		t.Parallel()
		r := s.compare(t, s.right.changed(func(int, int, vec) vec { return vec{0, 0, 1} }))
		require.Less(t, r.DeliveredReliefDeg, 0.1)
		require.InDelta(t, r.ReliefDeg, r.All.MeanDeg, 0.1)
	})
	t.Run("another sculpt", func(t *testing.T) {
		t.Parallel()
		other := drum(200, bumps{0.02, 0.23})
		m := baked(t, s.game, NewSculpt(other.pos, other.nrm, other.tri, 2), s.m.Grid)
		r := s.compare(t, asDelivered(m))
		require.Less(t, r.Ratio, 3.0, "%+v", r.Fits)
		require.Less(t, r.Related, 0.5)
	})
}

// Maps baked into another tangent space are told by the space that they were baked into.
func TestTangentSpacesAreNamed(t *testing.T) {
	t.Parallel()
	// A coarse drum: its smooth normals lean up to 5.6° away from its faces.
	sculpt := drum(200, bumps{0.01, 0.37})
	s := scene{game: drum(16, bumps{0, 1}).game(0.12, 0.12), sculpt: NewSculpt(sculpt.pos, sculpt.nrm, sculpt.tri, 2)}
	s.m = baked(t, s.game, s.sculpt, NewGrid(64, 64, 64))
	into := func(frameOf func(g *Game, p inTriangle) frame) *Delivered {
		return asDelivered(s.m).changed(func(x, y int, v vec) vec {
			i := y*64 + x
			p, ok := s.game.find(s.m.Grid, s.m.Tri[i], x, y)
			require.True(t, ok)
			out, ok := frameOf(s.game, p).local(s.game.frame(p, s.game.Tan).world(v))
			require.True(t, ok)
			return out
		})
	}
	r := s.compare(t, into(func(g *Game, p inTriangle) frame {
		n, _ := g.faceNormal(p.tri)
		return g.over(p.tri, n, g.alongU(p.tri))
	}))
	require.Equal(t, FaceNormals, r.Fits[r.Best].Fit, "%+v", r.Fits)
	require.Less(t, r.Fits[r.Best].MeanDeg, 0.1)
	r = s.compare(t, into(func(*Game, inTriangle) frame { return frame{vec{1, 0, 0}, vec{0, 1, 0}, vec{0, 0, 1}} }))
	require.Equal(t, ObjectSpace, r.Fits[r.Best].Fit, "%+v", r.Fits)
	require.Less(t, r.Fits[r.Best].MeanDeg, 0.1)
}

// Grain that was painted in drowns the texels' error and not that of averages: the right map stays right, and a flipped one
// is found.
func TestFinishedMaps(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	grain := func(flip float64) *Delivered {
		r := rand.New(rand.NewPCG(7, 9))
		return s.right.changed(func(_, _ int, v vec) vec {
			u, _ := unit(vec{v[0] + 0.25*r.NormFloat64(), flip*v[1] + 0.25*r.NormFloat64(), v[2]})
			return u
		})
	}
	good := s.compare(t, grain(1))
	require.Greater(t, good.All.MeanDeg, 10.0)
	require.Less(t, good.LowPassMeanDeg, 2.5)
	require.Zero(t, good.Best, "%+v", good.Fits)
	bad := s.compare(t, grain(-1))
	require.Equal(t, GreenFlipped, bad.Fits[bad.Best].Fit)
	require.GreaterOrEqual(t, bad.Ratio, 3.0, "%+v", bad.Fits)
}

// The contract's convention: green down, two channels, other channels.
func TestConventions(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	down := s.right.changed(func(_, _ int, v vec) vec { return vec{v[0], -v[1], v[2]} })
	down.GreenDown = true
	require.Less(t, s.compare(t, down).All.MeanDeg, 0.01)
	two := *s.right
	two.Channels, two.Z, two.Pix16 = 2, -1, nil
	for i := 0; i < len(s.right.Pix16); i += 3 {
		two.Pix16 = append(two.Pix16, s.right.Pix16[i], s.right.Pix16[i+1])
	}
	require.Less(t, s.compare(t, &two).All.MeanDeg, 0.1, "rebuilt: exact to rounding where the surface does not lean far")
	eight := *s.right
	eight.Pix16, eight.Pix8 = nil, make([]uint8, len(s.right.Pix16))
	for i, v := range s.right.Pix16 {
		eight.Pix8[i] = uint8((uint32(v)*255 + 32767) / 65535)
	}
	// 8 bits: each component errs by at most half of 2/255, so the direction by at most √3 times that: 0.39°.
	r := s.compare(t, &eight)
	require.Less(t, r.All.MeanDeg, 0.39)
	require.Less(t, r.All.P95Deg, 0.39)
}

// One island flipped is told as that island's.
func TestFaultOfOneIsland(t *testing.T) {
	t.Parallel()
	s := newScene(t)
	for i := range s.game.Island {
		s.game.Island[i] = int32(i * 2 / len(s.game.Island)) // upper and lower half
	}
	r := s.compare(t, s.right.changed(func(_, y int, v vec) vec {
		if y >= 32 {
			v[0] = -v[0]
		}
		return v
	}))
	require.Equal(t, 1, r.Islands[0].Island)
	require.Equal(t, RedFlipped, r.Islands[0].Fit)
	require.Less(t, r.Islands[0].FitMeanDeg, 0.1)
	require.Equal(t, AsDelivered, r.Islands[1].Fit)
	require.Greater(t, r.Islands[0].MeanDeg, 3.0)
	require.Less(t, r.Islands[1].MeanDeg, 0.1)
}

// The tables are IEC 61966-2-1: its constants, and the values of the standard's own worked points.
func TestSRGB(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ encoded, linear float64 }{
		{0, 0}, {1, 1}, {0.04045, 0.0031308}, {0.5, 0.21404114}, {0.2, 0.03310477}, {0.8, 0.60382734},
	} {
		require.InDelta(t, c.linear, decodeSRGB(c.encoded), 1e-6)
		require.InDelta(t, c.encoded, encodeSRGB(c.linear), 1e-5)
	}
	decode, encode := curves()
	for i := range 1001 {
		v := float64(i) / 1000
		require.InDelta(t, v, encodeSRGB(decodeSRGB(v)), 1e-4, "the standard's two branches meet to four digits")
		require.InDelta(t, decodeSRGB(v), decode.at(v), 1e-5)
		if v > 0.01 {
			require.InDelta(t, encodeSRGB(v), encode.at(v), 1e-4)
		}
	}
}

// Two half drums side by side, the second with its UVs mirrored, as a prop built by mirroring has them.
func mirroredScene(t *testing.T) scene {
	t.Helper()
	b := bumps{0.02, 0.37}
	one, other := drum(16, bumps{0, 1}), drum(16, bumps{0, 1})
	high, more := drum(120, b), drum(120, b)
	join := func(m, o indexed, mirror bool) indexed {
		first := uint32(len(m.pos) / 3)
		for i := 0; i < len(o.pos); i += 3 {
			m.pos = append(m.pos, o.pos[i]+4, o.pos[i+1], o.pos[i+2])
		}
		m.nrm = append(m.nrm, o.nrm...)
		for i := 0; i < len(m.uv); i += 2 {
			m.uv[i] /= 2
		}
		for i := 0; i < len(o.uv); i += 2 {
			u := o.uv[i] / 2
			if mirror {
				u = 0.5 - u
			}
			m.uv = append(m.uv, 0.5+u, o.uv[i+1])
		}
		for _, v := range o.tri {
			m.tri = append(m.tri, first+v)
		}
		return m
	}
	s := scene{game: join(one, other, true).game(0.12, 0.12)}
	all := join(high, more, false)
	s.sculpt = NewSculpt(all.pos, all.nrm, all.tri, 2)
	s.m = baked(t, s.game, s.sculpt, NewGrid(96, 96, 96))
	s.right = asDelivered(s.m)
	return s
}

// Handedness that was ignored in the bake shows where UVs are mirrored, and nowhere else.
func TestMirroredIslands(t *testing.T) {
	t.Parallel()
	s := mirroredScene(t)
	require.True(t, s.game.mirrored())
	require.Less(t, s.compare(t, s.right).All.MeanDeg, 0.01)
	r := s.compare(t, s.right.changed(func(x, _ int, v vec) vec {
		if x >= 48 {
			v[1] = -v[1]
		}
		return v
	}))
	require.Equal(t, MirroredGreen, r.Fits[r.Best].Fit, "%+v", r.Fits)
	require.Less(t, r.Fits[r.Best].MeanDeg, 0.1)
	r = s.compare(t, s.right.changed(func(x, _ int, v vec) vec {
		if x >= 48 {
			v[0] = -v[0]
		}
		return v
	}))
	require.Equal(t, MirroredRed, r.Fits[r.Best].Fit, "%+v", r.Fits)
	// Left and right of the mirror plane between the two are told apart.
	apart, err := Compare(context.Background(), s.game, s.m, s.right.changed(func(x, _ int, v vec) vec {
		if x >= 48 {
			v[1] = -v[1]
		}
		return v
	}), 2, Also{}, 1)
	require.NoError(t, err)
	require.Greater(t, apart.Left.MeanDeg, 3.0)
	require.Less(t, apart.Right.MeanDeg, 0.01)
}

// A part whose rays were let meet a neighbour that hovers over it: told as such.
func TestUnpairedParts(t *testing.T) {
	t.Parallel()
	own, over := plane(100, bumps{0.002, 0.5}), plane(100, bumps{0.004, 0.13})
	for i := 2; i < len(over.pos); i += 3 {
		over.pos[i] += 0.02
	}
	g := plane(2, bumps{0, 1}).game(0.05, 0.05)
	mine, theirs := NewSculpt(own.pos, own.nrm, own.tri, 1), NewSculpt(over.pos, over.nrm, over.tri, 1)
	grid := NewGrid(64, 64, 64)
	m, err := Project(context.Background(), g, []*Sculpt{mine, theirs}, grid, Options{Threads: 1})
	require.NoError(t, err)
	wrong := asDelivered(baked(t, g, theirs, grid))
	r, err := Compare(context.Background(), g, m, wrong, 0, Also{Sculpts: []*Sculpt{mine, theirs}}, 1)
	require.NoError(t, err)
	require.Equal(t, UnpairedParts, r.Fits[r.Best].Fit, "%+v", r.Fits)
	require.Less(t, r.Fits[r.Best].MeanDeg, 0.1)
}
