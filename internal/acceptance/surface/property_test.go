package surface

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// turned is a rotation about a random axis, a scale and a move.
func turned(t *rapid.T) func(vec) vec {
	axis := unit(vec{rapid.Float64Range(-1, 1).Draw(t, "x"), rapid.Float64Range(-1, 1).Draw(t, "y"), rapid.Float64Range(0.1, 1).Draw(t, "z")})
	angle, size := rapid.Float64Range(0, 6.2).Draw(t, "angle"), rapid.Float64Range(0.1, 20).Draw(t, "size")
	shift := vec{rapid.Float64Range(-1, 1).Draw(t, "dx"), rapid.Float64Range(-1, 1).Draw(t, "dy"), rapid.Float64Range(-1, 1).Draw(t, "dz")}
	sin, cos := math.Sincos(angle)
	return func(p vec) vec { // Rodrigues
		q := add(add(scale(p, cos), scale(cross(axis, p), sin)), scale(axis, dot(axis, p)*(1-cos)))
		return scale(add(q, shift), size)
	}
}

func sizeOf(f func(vec) vec) float64 { return length(sub(f(vec{1, 0, 0}), f(vec{}))) }

// Moving, turning and scaling both surfaces together changes nothing but the unit, and so does numbering triangles and
// vertices otherwise, save the sampled way, whose samples then fall elsewhere.
func TestMovedAndRenumbered(t *testing.T) {
	t.Parallel()
	game, sculpt := post(300, 0), post(5000, 0.004)
	ctx := context.Background()
	pair := fewer(NewPair(game, sculpt, Options{}))
	d0, o0 := must(pair.Deviation(ctx)), must(pair.Outside(ctx, 3, 0))
	require.Positive(t, o0.PatchCount)
	rapid.Check(t, func(rt *rapid.T) {
		f := turned(rt)
		size := sizeOf(f)
		a, b := moved(game, f), moved(sculpt, f)
		if rapid.Bool().Draw(rt, "renumber") {
			a, b = renumbered(rt, a), renumbered(rt, b)
		}
		pair := fewer(NewPair(a, b, Options{}))
		d, o := must(pair.Deviation(ctx)), must(pair.Outside(ctx, 3*size, 0))
		sampled := func(want, got, e0, e1 float64, what string) { // six standard errors: one draw in 10^9 by chance
			require.InDelta(rt, want*size, got, 1e-3*math.Abs(want*size)+1e-4*size+6*math.Sqrt(e0*e0*size*size+e1*e1), what)
		}
		same := func(want, got float64, what string) { sampled(want, got, 0, 0, what) }
		a0, a1, b0, b1 := d0.SculptToGame, d.SculptToGame, d0.GameToSculpt, d.GameToSculpt
		same(a0.MaxMM, a1.MaxMM, "max")
		sampled(a0.MeanMM, a1.MeanMM, a0.MeanErrorMM, a1.MeanErrorMM, "mean")
		sampled(a0.P95MM, a1.P95MM, a0.P95ErrorMM, a1.P95ErrorMM, "p95")
		same(b0.MaxMM, b1.MaxMM, "max back")
		sampled(b0.MeanMM, b1.MeanMM, b0.MeanErrorMM, b1.MeanErrorMM, "mean back")
		sampled(b0.P95MM, b1.P95MM, b0.P95ErrorMM, b1.P95ErrorMM, "p95 back")
		same(o0.MaxHeightMM, o.MaxHeightMM, "height")
		require.InDelta(rt, o0.AreaShare, o.AreaShare, 1e-3, "share")
		require.InDelta(rt, o0.ShareAbove, o.ShareAbove, 1e-3, "share above")
		require.InDelta(rt, o0.PatchCount, o.PatchCount, 2, "patches: specks of no area come and go with rounding")
	})
}

// renumbered turns the order of triangles and vertices round and starts each triangle elsewhere.
func renumbered(t *rapid.T, m Mesh) Mesh {
	n, k := len(m.Pos)/3, rapid.IntRange(0, 2).Draw(t, "corner")
	var out Mesh
	for v := n - 1; v >= 0; v-- {
		out.Pos = append(out.Pos, m.Pos[3*v:3*v+3]...)
	}
	for i := m.Triangles() - 1; i >= 0; i-- {
		for c := range 3 {
			out.Tri = append(out.Tri, uint32(n-1)-m.Tri[3*i+(c+k)%3])
		}
	}
	return out
}

// Cutting flat triangles into smaller ones is no change of the surface.
func TestRefined(t *testing.T) {
	t.Parallel()
	game, sculpt := post(300, 0), post(3000, 0.004)
	ctx := context.Background()
	for name, pair := range map[string][2]Mesh{"game": {quartered(game), sculpt}, "sculpt": {game, quartered(sculpt)}} {
		a, b := NewPair(game, sculpt, Options{}), NewPair(pair[0], pair[1], Options{})
		d0, d1 := must(a.Deviation(ctx)), must(b.Deviation(ctx))
		require.InDelta(t, d0.SculptToGame.MaxMM, d1.SculptToGame.MaxMM, 2e-3*d0.SculptToGame.MaxMM, name)
		require.InDelta(t, d0.GameToSculpt.MaxMM, d1.GameToSculpt.MaxMM, 2e-3*d0.GameToSculpt.MaxMM, name)
		require.InDelta(t, d0.SculptToGame.MeanMM, d1.SculptToGame.MeanMM, 2e-3*d0.SculptToGame.MeanMM, name)
		require.InDelta(t, d0.SculptToGame.P95MM, d1.SculptToGame.P95MM, 4e-3*d0.SculptToGame.P95MM, name)
		require.InDelta(t, d0.GameToSculpt.MeanMM, d1.GameToSculpt.MeanMM, 0.01*d0.GameToSculpt.MeanMM, name)
		o0, o1 := must(a.Outside(ctx, 3, 0)), must(b.Outside(ctx, 3, 0))
		require.InDelta(t, o0.MaxHeightMM, o1.MaxHeightMM, 2e-3*o0.MaxHeightMM, name)
		require.InDelta(t, o0.AreaShare, o1.AreaShare, 0.005, name)
	}
}

func quartered(m Mesh) Mesh {
	out := Mesh{Pos: append([]float32(nil), m.Pos...)}
	mid := map[[2]uint32]uint32{}
	middle := func(a, b uint32) uint32 {
		key := [2]uint32{min(a, b), max(a, b)}
		v, ok := mid[key]
		if !ok {
			v = uint32(len(out.Pos) / 3)
			q := narrow(scale(add(at(m.Pos, a), at(m.Pos, b)), 0.5))
			out.Pos = append(out.Pos, q[0], q[1], q[2])
			mid[key] = v
		}
		return v
	}
	for i := 0; i < len(m.Tri); i += 3 {
		a, b, c := m.Tri[i], m.Tri[i+1], m.Tri[i+2]
		x, y, z := middle(a, b), middle(b, c), middle(c, a)
		out.Tri = append(out.Tri, a, x, z, x, b, y, z, y, c, x, y, z)
	}
	return out
}

// The largest distance one way obeys the triangle inequality with the other surfaces' (it is the one-sided Hausdorff distance).
func TestTriangleInequality(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	rapid.Check(t, func(rt *rapid.T) {
		var m [3]Mesh
		for i := range m {
			m[i] = moved(post(rapid.IntRange(60, 300).Draw(rt, "triangles"), rapid.Float64Range(0, 0.05).Draw(rt, "detail")), turned(rt))
		}
		one := func(a, b Mesh) (float64, float64) {
			d := must(fewer(NewPair(b, a, Options{})).Deviation(ctx)).SculptToGame
			return d.MaxMM, d.MaxErrorMM
		}
		ab, e1 := one(m[0], m[1])
		bc, e2 := one(m[1], m[2])
		ac, _ := one(m[0], m[2])
		require.LessOrEqual(rt, ac, (ab+bc+e1+e2)*(1+1e-6))
	})
}

// Every measure is the same to the bit on any number of threads.
func TestAnyNumberOfThreads(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	game, sculpt := post(1500, 0), join(post(40000, 0.004), sphere(0.05, 20, vec{0.2, 0.7, 0}), sphere(0.05, 20, vec{0.1, 0.7, 0}))
	type all struct {
		O *Outside
		D *Deviation
		R *Reach
		H *Heat
	}
	var first *all
	for _, threads := range []int{1, 2, 8} {
		p := NewPair(game, sculpt, Options{Threads: threads})
		got := &all{must(p.Outside(ctx, 2, 0)), must(p.Deviation(ctx)), must(p.Reach(ctx, Cage{Kind: CageAveraged, FrontMM: 10, BackMM: 10})), must(p.Heat(ctx))}
		if first == nil {
			first = got
			require.Positive(t, got.O.HiddenShare)
		}
		require.Equal(t, first, got, "%d threads", threads)
	}
}

// Whatever is delivered, nothing panics and every number is finite.
func TestBadSurfaces(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	coordinate := rapid.OneOf(rapid.Map(rapid.IntRange(-2, 2), func(i int) float32 { return float32(i) }),
		rapid.SampledFrom([]float32{0, 1e-30, 1e-9, 1e6, float32(math.NaN()), float32(math.Inf(1)), float32(math.Inf(-1)), math.SmallestNonzeroFloat32}))
	soup := rapid.Custom(func(t *rapid.T) Mesh {
		n := rapid.IntRange(1, 12).Draw(t, "vertices")
		m := Mesh{Pos: rapid.SliceOfN(coordinate, 3*n, 3*n).Draw(t, "pos"), UV: rapid.SliceOfN(coordinate, 2*n, 2*n).Draw(t, "uv")}
		for range 3 * rapid.IntRange(0, 16).Draw(t, "triangles") {
			m.Tri = append(m.Tri, uint32(rapid.IntRange(0, n-1).Draw(t, "v")))
		}
		return m
	})
	measured := 0
	rapid.Check(t, func(rt *rapid.T) {
		p := NewPair(soup.Draw(rt, "game"), soup.Draw(rt, "sculpt"), Options{Threads: 2, Open: []OpenSide{{Normal: vec{0, -1, 0}, Tol: 0.1}}})
		p.feetBack, p.feetReach = 2000, 2000
		if !p.Measurable() {
			return
		}
		measured++
		o, d := must(p.Outside(ctx, 1, 0)), must(p.Deviation(ctx))
		r := must(p.Reach(ctx, Cage{Kind: CageHard, FrontMM: 10, BackMM: 10}))
		s := must(p.Silhouette(ctx, [3]float64{0, 1, 0}, 5))
		must(p.Heat(ctx))
		must(p.FitCage(ctx, p.game))
		a, b := d.SculptToGame, d.GameToSculpt
		for i, v := range []float64{o.MaxHeightMM, o.AreaShare, o.ShareAbove, o.UnknownShare, o.LargestPatchMM2, o.Left.AreaShare, o.Right.AreaShare,
			a.MaxMM, a.MeanMM, a.RMSMM, a.P95MM, a.P99MM, b.MaxMM, b.MeanMM, b.RMSMM, b.P95MM, b.P99MM,
			r.HitShare, r.MissShare, r.BackfaceShare, r.FarShellShare, r.P95SkewDeg, s.MeanOffsetMM, s.MaxOffsetMM, s.RunOffsetMM, s.WorstViewAreaShare} {
			require.False(rt, math.IsNaN(v) || math.IsInf(v, 0) || v < 0, "number %d is %v", i, v)
		}
	})
	require.Positive(t, measured)
}

// fewer takes fewer samples, for tests that measure often.
func fewer(p *Pair) *Pair {
	p.feetBack, p.feetReach = 3000, 3000
	return p
}
