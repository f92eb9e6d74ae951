package surface

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"
)

func reachOf(t *testing.T, p *Pair, cage Cage) *Reach {
	t.Helper()
	r, err := p.Reach(context.Background(), cage)
	require.NoError(t, err)
	require.InDelta(t, 1, r.HitShare+r.MissShare+r.BackfaceShare+r.FarShellShare, 1e-12)
	return r
}

// A level sheet of sculpt under half of a level game sheet: half of the rays meet it.
func TestReachHalfMissing(t *testing.T) {
	t.Parallel()
	level := func(y float64) func(x, z float64) float64 { return func(x, z float64) float64 { return y } }
	game := sheet(1, 4, level(0))
	half := moved(sheet(1, 4, level(-0.01)), func(p vec) vec { return vec{p[0]/2 + 0.25, p[1], p[2]} })
	for name, c := range map[string]struct {
		sculpt      Mesh
		front, back float64
		hit, back_  float64
	}{
		"within reach":    {half, 15, 15, 0.5, 0},
		"beyond reach":    {half, 15, 9, 0, 0},
		"turned":          {flip(half), 15, 15, 0, 0.5},
		"above, in reach": {moved(half, func(p vec) vec { return vec{p[0], 0.012, p[2]} }), 15, 0, 0.5, 0},
		"above, too far":  {moved(half, func(p vec) vec { return vec{p[0], 0.016, p[2]} }), 15, 15, 0, 0},
	} {
		r := reachOf(t, NewPair(game, c.sculpt, Options{}), Cage{Kind: CageAveraged, FrontMM: c.front, BackMM: c.back})
		require.InDelta(t, c.hit, r.HitShare, 5*r.StandardError+1e-9, name)
		require.InDelta(t, c.back_, r.BackfaceShare, 5*r.StandardError+1e-9, name)
		require.InDelta(t, 0, r.P95SkewDeg, 0.05, name)
		if c.hit < 1 {
			require.NotEmpty(t, r.Worst, name)
		}
	}
}

// A sculpt tilted by ten degrees is met at ten degrees.
func TestReachSkew(t *testing.T) {
	t.Parallel()
	const tan10 = 0.17632698070846498
	game := sheet(1, 4, func(x, z float64) float64 { return 0 })
	sculpt := sheet(1.2, 4, func(x, z float64) float64 { return x * tan10 })
	r := reachOf(t, NewPair(game, sculpt, Options{}), Cage{Kind: CageAveraged, FrontMM: 200, BackMM: 200})
	require.InDelta(t, 1, r.HitShare, 1e-9)
	require.InDelta(t, 10, r.P95SkewDeg, 0.01)
	require.InDelta(t, 10, r.P95CurvedSkewDeg, 0.01)
	require.InDelta(t, 1, r.CurvedShare, 1e-9)

	// A box with averaged normals leans 54.7° at its corners, and that says nothing of its maker.
	box := block(vec{-.5, -.5, -.5}, vec{.5, .5, .5})
	r = reachOf(t, NewPair(box, block(vec{-.499, -.499, -.499}, vec{.499, .499, .499}), Options{}), Cage{Kind: CageAveraged, FrontMM: 15, BackMM: 15})
	require.Greater(t, r.P95SkewDeg, 40.0)
	require.Zero(t, r.CurvedShare)
	require.Zero(t, r.P95CurvedSkewDeg)
}

// A neighbour's piece that stands in front within the cage's reach takes the ray.
func TestReachFarShell(t *testing.T) {
	t.Parallel()
	game := sheet(1, 4, func(x, z float64) float64 { return 0 })
	own := sheet(1.2, 4, func(x, z float64) float64 { return -0.001 })
	other := moved(sheet(0.5, 4, func(x, z float64) float64 { return 0.018 }), func(p vec) vec { return p })
	r := reachOf(t, NewPair(game, join(own, other), Options{}), Cage{Kind: CageAveraged, FrontMM: 20, BackMM: 20})
	require.InDelta(t, 0.25, r.FarShellShare, 5*r.StandardError)
	r = reachOf(t, NewPair(game, join(own, other), Options{}), Cage{Kind: CageAveraged, FrontMM: 10, BackMM: 20})
	require.InDelta(t, 1, r.HitShare, 1e-9)
}

// One sculpted bolt under ten game bolts on the same texels: all are served. On texels of their own, nine are not.
func TestReachStacks(t *testing.T) {
	t.Parallel()
	ball := func(x float64) Mesh { return sphere(0.1, 12, vec{x, 0, 0}) }
	var stacked, apart []Mesh
	for i := range 10 {
		m := ball(float64(i))
		m = unwrapped(m)
		own := Mesh{Pos: m.Pos, Tri: m.Tri}
		for k, c := range m.UV {
			if k%2 == 0 {
				c = (c/1.2 + float32(i)) / 10
			}
			own.UV = append(own.UV, c)
		}
		if i%2 == 1 { // moved aside by whole tiles for the bake
			for k := range m.UV {
				m.UV[k] += float32(3 * (k % 2))
			}
		}
		stacked, apart = append(stacked, m), append(apart, own)
	}
	cage := Cage{Kind: CageAveraged, FrontMM: 5, BackMM: 5}
	r := reachOf(t, NewPair(join(stacked...), ball(0), Options{}), cage)
	require.Greater(t, r.HitShare, 0.995)
	require.InDelta(t, 0.9, r.StackedShare, 0.01)
	r = reachOf(t, NewPair(join(apart...), ball(0), Options{}), cage)
	require.InDelta(t, 0.1, r.HitShare, 0.01)
}

// unwrapped gives each triangle a square of its own in a grid of texels.
func unwrapped(m Mesh) Mesh {
	var out Mesh
	n := 1
	for n*n < m.Triangles() {
		n++
	}
	for i, v := range m.Tri {
		t, k := i/3, i%3
		out.Pos = append(out.Pos, m.Pos[3*v:3*v+3]...)
		out.UV = append(out.UV, (float32(t%n)+0.1+0.8*float32(k&1))/float32(n), (float32(t/n)+0.1+0.4*float32(k))/float32(n))
		out.Tri = append(out.Tri, uint32(i))
	}
	return out
}
