package surface

import (
	"cmp"
	"context"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

func silhouetteOf(t *testing.T, game, sculpt Mesh, runMM float64) *Silhouette {
	t.Helper()
	s, err := NewPair(game, sculpt, Options{}).Silhouette(context.Background(), [3]float64{0, 1, 0}, runMM)
	require.NoError(t, err)
	require.Len(t, s.Views, viewCount)
	return s
}

// From anywhere, concentric spheres show concentric circles (closed form).
func TestOutlinesOfSpheres(t *testing.T) {
	t.Parallel()
	const big, small = 1.0, 0.98
	sag := 1000 * big * (1 - math.Cos(math.Pi/200)) * 2
	s := silhouetteOf(t, sphere(small, 200, vec{}), sphere(big, 200, vec{}), 10)
	require.InDelta(t, 20, s.MaxOffsetMM, sag+s.MaxErrorMM)
	require.InDelta(t, 20, s.MeanOffsetMM, sag)
	require.InDelta(t, 20, s.RunOffsetMM, sag)
	require.InDelta(t, 1-small*small/big/big, s.WorstViewAreaShare, 0.001)
	for _, v := range s.Views {
		require.True(t, v.SculptOut)
		require.InDelta(t, 20, v.MeanOffsetMM, sag)
	}
	require.Len(t, s.Views[0].Game, 1)
	require.Len(t, s.Views[0].Sculpt, 1)
	v := s.Views[0]
	for _, q := range v.Sculpt[0] {
		x, y := q[0]+dot(v.CentreMM, v.Right), q[1]+dot(v.CentreMM, v.Up)
		require.InDelta(t, 1000, math.Sqrt(x*x+y*y), sag)
		require.LessOrEqual(t, max(math.Abs(q[0]), math.Abs(q[1])), v.HalfMM)
	}
	// Sculpt inside: the game surface stands out by as much.
	s = silhouetteOf(t, sphere(big, 200, vec{}), sphere(small, 200, vec{}), 10)
	require.InDelta(t, 20, s.MaxOffsetMM, sag+s.MaxErrorMM)
	require.False(t, s.Views[0].SculptOut)
}

// The outlines of nested boxes are convex hulls of projected corners; how far one stands outside the other is the
// largest distance of its corners (for convex outlines, by definition of the Hausdorff distance).
func TestOutlinesOfBoxes(t *testing.T) {
	t.Parallel()
	inner, outer := block(vec{-.5, -.3, -.2}, vec{.5, .3, .2}), block(vec{-.51, -.31, -.21}, vec{.51, .31, .21})
	for _, pair := range [][2]Mesh{{inner, outer}, {outer, inner}} {
		s := silhouetteOf(t, pair[0], pair[1], 0)
		worst := 0.0
		for _, v := range s.Views {
			a, b := hull(inner, &v), hull(outer, &v)
			want := 0.0
			for _, q := range b {
				want = max(want, outsideHull(q, a))
			}
			worst = max(worst, want)
			require.InDelta(t, want*1000, v.MaxOffsetMM, 0.75*s.StepMM, "view %d", v.Number)
			require.InDelta(t, (hullArea(b)-hullArea(a))/(hullLength(a)+hullLength(b))*2*1000, v.MeanOffsetMM, 0.03*s.StepMM, "view %d", v.Number)
		}
		require.InDelta(t, worst*1000, s.MaxOffsetMM, 0.01*worst*1000+s.MaxErrorMM)
		require.Less(t, s.MaxErrorMM, 0.2)
	}
}

func hull(m Mesh, v *View) [][2]float64 {
	var p [][2]float64
	for i := range len(m.Pos) / 3 {
		q := at(m.Pos, uint32(i))
		p = append(p, [2]float64{dot(q, v.Right), dot(q, v.Up)})
	}
	slices.SortFunc(p, func(a, b [2]float64) int { return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1])) })
	half := func(p [][2]float64) [][2]float64 {
		var h [][2]float64
		for _, q := range p {
			for len(h) > 1 {
				a, b := h[len(h)-2], h[len(h)-1]
				if (b[0]-a[0])*(q[1]-a[1])-(b[1]-a[1])*(q[0]-a[0]) > 1e-12 {
					break
				}
				h = h[:len(h)-1]
			}
			h = append(h, q)
		}
		return h[:len(h)-1]
	}
	low := half(p)
	slices.Reverse(p)
	return append(low, half(p)...)
}

func outsideHull(q [2]float64, h [][2]float64) float64 {
	inside, best := true, math.Inf(1)
	for i := range h {
		a, b := h[i], h[(i+1)%len(h)]
		sq, _, side := toPiece(q, a, b)
		inside = inside && side >= 0
		best = min(best, sq)
	}
	if inside {
		return 0
	}
	return math.Sqrt(best)
}

func hullArea(h [][2]float64) (sum float64) {
	for i := range h {
		a, b := h[i], h[(i+1)%len(h)]
		sum += (a[0]*b[1] - a[1]*b[0]) / 2
	}
	return sum
}

func hullLength(h [][2]float64) (sum float64) {
	for i := range h {
		a, b := h[i], h[(i+1)%len(h)]
		sum += math.Hypot(a[0]-b[0], a[1]-b[1])
	}
	return sum
}

// A see-through hole that the game mesh fills weighs its half width, not its distance from the rim (closed form: the
// largest ball of the hole). A square ring seen face on, or nearly, shows it.
func TestOutlineOfHole(t *testing.T) {
	t.Parallel()
	game := block(vec{-.5, -.005, -.5}, vec{.5, .005, .5})
	sculpt := join(
		block(vec{-.5, -.005, -.5}, vec{-.02, .005, .5}), block(vec{.02, -.005, -.5}, vec{.5, .005, .5}),
		block(vec{-.02, -.005, -.5}, vec{.02, .005, -.02}), block(vec{-.02, -.005, .02}, vec{.02, .005, .5}))
	s := silhouetteOf(t, game, sculpt, 0)
	// The steepest view is θ off the hole's axis: 40 mm · cos θ wide, less the rim's 10 mm · sin θ.
	steep := 0.0
	for _, v := range s.Views {
		steep = max(steep, v.Toward[1])
	}
	require.InDelta(t, 20*steep-5*math.Sqrt(1-steep*steep), s.MaxOffsetMM, 0.1+s.MaxErrorMM)
	require.InDelta(t, 0, s.RunOffsetMM, 1e-9)
}

// A needle thinner than a cell of the grid is found all the same.
func TestOutlineOfNeedle(t *testing.T) {
	t.Parallel()
	game := block(vec{-.5, 0, -.5}, vec{.5, 1, .5})
	sculpt := join(game, block(vec{.1, 0.99, .1}, vec{.1003, 1.08, .1003}))
	s := silhouetteOf(t, game, sculpt, 8)
	want := 0.0
	for _, v := range s.Views {
		tip := vec{.10015, 1.08, .10015}
		want = max(want, outsideHull([2]float64{dot(tip, v.Right), dot(tip, v.Up)}, hull(game, &v)))
	}
	require.Greater(t, want, 0.07)
	require.InDelta(t, 1000*want, s.MaxOffsetMM, 0.3+s.MaxErrorMM)
}

func TestSilhouetteOnAnyNumberOfThreads(t *testing.T) {
	t.Parallel()
	game, sculpt := post(2000, 0), post(40000, 0.004)
	var first *Silhouette
	for _, threads := range []int{1, 2, 8} {
		s, err := NewPair(game, sculpt, Options{Threads: threads}).Silhouette(context.Background(), [3]float64{0, 1, 0}, 8)
		require.NoError(t, err)
		if first == nil {
			first = s
		}
		require.Equal(t, first, s)
	}
	require.Positive(t, first.MaxOffsetMM)
}
