package surface

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func deviationOf(t *testing.T, game, sculpt Mesh) *Deviation {
	t.Helper()
	d, err := NewPair(game, sculpt, Options{}).Deviation(context.Background())
	require.NoError(t, err)
	return d
}

func outsideOf(t *testing.T, game, sculpt Mesh, limitMM float64) *Outside {
	t.Helper()
	o, err := NewPair(game, sculpt, Options{}).Outside(context.Background(), limitMM, 0)
	require.NoError(t, err)
	return o
}

// Concentric spheres of radii R and r are |R - r| apart everywhere (closed form). The facets' sagitta, R(1 - cos(π/rings)) at most along
// each of the two directions, is what may differ.
func TestConcentricSpheres(t *testing.T) {
	t.Parallel()
	const big, small, rings = 1.0, 0.98, 160
	sag := 1000 * big * (1 - math.Cos(math.Pi/rings)) * 2
	for name, pair := range map[string][2]Mesh{
		"game outside":   {sphere(big, rings, vec{}), sphere(small, rings, vec{})},
		"sculpt outside": {sphere(small, rings, vec{}), sphere(big, rings, vec{})},
	} {
		d := deviationOf(t, pair[0], pair[1])
		for way, x := range map[string]Distances{"sculpt to game": d.SculptToGame, "game to sculpt": d.GameToSculpt} {
			for what, v := range map[string]float64{"max": x.MaxMM, "mean": x.MeanMM, "rms": x.RMSMM, "p95": x.P95MM, "p99": x.P99MM} {
				require.InDelta(t, 20, v, sag, "%s, %s, %s", name, way, what)
			}
		}
		o := outsideOf(t, pair[0], pair[1], 10)
		if name == "game outside" {
			require.Zero(t, o.AreaShare)
			require.Zero(t, o.MaxHeightMM)
			require.Zero(t, o.PatchCount)
			continue
		}
		require.InDelta(t, 20, o.MaxHeightMM, sag)
		require.InDelta(t, 1, o.AreaShare, 1e-9)
		require.InDelta(t, 1, o.ShareAbove, 1e-9)
		require.Equal(t, 1, o.PatchCount)
		require.InDelta(t, 4*math.Pi*1e6, o.LargestPatchMM2, 4*math.Pi*1e6*0.001)
	}
}

// A box of half size a inside one of half size a+d: faces are d apart, the outer corners sqrt(3)d from the inner box (closed form).
func TestBoxInBox(t *testing.T) {
	t.Parallel()
	inner, outer := block(vec{-.5, -.5, -.5}, vec{.5, .5, .5}), block(vec{-.51, -.51, -.51}, vec{.51, .51, .51})
	d := deviationOf(t, inner, outer)
	require.InDelta(t, 10*math.Sqrt(3), d.SculptToGame.MaxMM, 0.02)
	require.LessOrEqual(t, d.SculptToGame.MaxErrorMM, 0.02)
	require.InDelta(t, 10, d.GameToSculpt.MaxMM, 1e-3)
	require.InDelta(t, 10, d.GameToSculpt.MeanMM, 1e-3)
	// Over an outer face of side 2(a+d): distance d above the inner face, more beyond its rim, which is as wide as an
	// edge of the samples is long.
	require.InDelta(t, meanBoxDistance(0.5, 0.01)*1000, d.SculptToGame.MeanMM, 5*d.SculptToGame.MeanErrorMM)
	require.LessOrEqual(t, d.SculptToGame.MeanErrorMM, 1e-4*d.SculptToGame.MeanMM)

	o := outsideOf(t, inner, outer, 12)
	require.InDelta(t, 10*math.Sqrt(3), o.MaxHeightMM, 0.02)
	require.InDelta(t, 1, o.AreaShare, 1e-9)
	require.Equal(t, 1, o.PatchCount)
	require.InDelta(t, 6*1.02*1.02*1e6, o.LargestPatchMM2, 1)
}

// meanBoxDistance averages the distance from a box of half size a+d to that of half size a by midpoint sums over one face.
func meanBoxDistance(a, d float64) float64 {
	const n = 2000
	rim := func(i int) float64 { return max((a+d)*math.Abs(2*(float64(i)+0.5)/n-1)-a, 0) }
	var sum float64
	for i := range n {
		for j := range n {
			sum += math.Sqrt(d*d + rim(i)*rim(i) + rim(j)*rim(j))
		}
	}
	return sum / n / n
}

// A round drum of radius R stands R(1 - cos(π/n)) proud of an n-sided one with its corners on the radius (closed form: the sagitta of a chord).
func TestDrumAgainstSides(t *testing.T) {
	t.Parallel()
	for _, n := range []int{12, 24} {
		const radius = 0.3 // the sculpt's own sides take 0.011 mm off
		o := outsideOf(t, prism(n, radius, 1), prism(360, radius, 1), 1)
		want := 1000 * radius * (1 - math.Cos(math.Pi/float64(n)))
		require.InDelta(t, want, o.MaxHeightMM, 0.02, "%d sides", n)
		require.Equal(t, n, o.PatchCount, "%d sides", n)
	}
}

// A ball pushed through a level plane: the cap of height h above it has the area 2πRh (Archimedes) and is one patch.
func TestCapThroughPlane(t *testing.T) {
	t.Parallel()
	const radius, proud = 0.05, 0.004
	game := block(vec{-.5, -.2, -.5}, vec{.5, 0, .5})
	sculpt := join(block(vec{-.5, -.2, -.5}, vec{.5, 0, .5}), sphere(radius, 600, vec{0.2, proud - radius, 0.1}))
	o := outsideOf(t, game, sculpt, 2)
	require.InDelta(t, 4, o.MaxHeightMM, 0.002)
	require.Equal(t, 1, o.PatchCount)
	want := 2 * math.Pi * radius * proud * 1e6
	require.InEpsilon(t, want, o.LargestPatchMM2, 0.002)
	require.InEpsilon(t, want/2, o.ShareAbove*o.AreaMM2, 0.002, "the upper half of the cap's height has half its area")
	peak := o.Patches[0]
	require.InDelta(t, 200, peak.PeakMM[0], 1)
	require.InDelta(t, 100, peak.PeakMM[2], 1)
	require.InDelta(t, math.Sqrt(2*radius*proud-proud*proud)*1000, peak.RadiusMM, 0.6)
	require.InDelta(t, 1, peak.Normal[1], 1e-6)
	require.InDelta(t, peak.AreaMM2, peak.LeftMM2, 1e-9, "+X is left")
}
