package surface

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// What rays from the cage meet does not depend on where the prop stands, how it is turned, how large it is and how its vertices and
// triangles are numbered, within the error that is told of shares; and outlines keep their offsets, in the new size, under what
// keeps the views: a move, a scale, other numbers.
func TestReachAndOutlinesMovedAndRenumbered(t *testing.T) {
	t.Parallel()
	game, sculpt := post(300, 0), post(3000, 0.004)
	cage := func(size float64) Cage { return Cage{Kind: CageAveraged, FrontMM: 20 * size, BackMM: 20 * size} }
	up := vec{0, 1, 0}
	base := fewer(NewPair(game, sculpt, Options{}))
	r0, s0 := must(base.Reach(t.Context(), cage(1))), must(base.Silhouette(t.Context(), up, 8))
	require.Greater(t, r0.HitShare, 0.5)
	require.Positive(t, s0.MaxOffsetMM)
	for seed := range 4 {
		name := fmt.Sprint("seed ", seed)
		motion := rapid.Custom(func(rt *rapid.T) func(vec) vec { return turned(rt) }).Example(seed)
		size := sizeOf(motion)
		a, b := moved(game, motion), moved(sculpt, motion)
		if seed%2 == 1 {
			a, b = backwards(a), backwards(b)
		}
		r := must(fewer(NewPair(a, b, Options{})).Reach(t.Context(), cage(size)))
		for what, x := range map[string][2]float64{
			"hit": {r0.HitShare, r.HitShare}, "miss": {r0.MissShare, r.MissShare},
			"back": {r0.BackfaceShare, r.BackfaceShare}, "far": {r0.FarShellShare, r.FarShellShare},
		} {
			require.InDelta(t, x[0], x[1], 6*math.Hypot(r0.StandardError, r.StandardError)+1e-3, "%s, %s", name, what)
		}
		require.InDelta(t, r0.P95SkewDeg, r.P95SkewDeg, 0.05*r0.P95SkewDeg+0.1, name)

		shift := motion(vec{})
		level := func(p vec) vec { return add(scale(p, size), shift) }
		a, b = moved(game, level), moved(sculpt, level)
		if seed%2 == 1 {
			a, b = backwards(a), backwards(b)
		}
		s := must(NewPair(a, b, Options{}).Silhouette(t.Context(), up, 8*size))
		// Coordinates round otherwise, so that the grid may fall a cell otherwise: half its step.
		require.InDelta(t, s0.MaxOffsetMM*size, s.MaxOffsetMM, s0.MaxErrorMM*size+s.MaxErrorMM+0.01*s0.MaxOffsetMM*size, name)
		require.InDelta(t, s0.MeanOffsetMM*size, s.MeanOffsetMM, 0.01*s0.MeanOffsetMM*size, name)
		require.InDelta(t, s0.RunOffsetMM*size, s.RunOffsetMM, 0.03*s0.RunOffsetMM*size, name)
	}
}

// backwards numbers vertices and triangles the other way round.
func backwards(m Mesh) Mesh {
	n := uint32(len(m.Pos) / 3)
	var out Mesh
	for v := int(n) - 1; v >= 0; v-- {
		out.Pos = append(out.Pos, m.Pos[3*v:3*v+3]...)
	}
	for i := len(m.Tri) - 3; i >= 0; i -= 3 {
		out.Tri = append(out.Tri, n-1-m.Tri[i+1], n-1-m.Tri[i+2], n-1-m.Tri[i])
	}
	return out
}
