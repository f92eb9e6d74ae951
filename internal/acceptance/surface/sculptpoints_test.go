package surface

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// teeth is a sheet folded like a saw above the floor y = 0, its edges at tall and -tall by turns: the distance to the floor is even from 0 to
// tall, though it is tall at every vertex.
// Teeth are of many widths.
func teeth(tall, from, to float64, count int, seed uint64) Mesh {
	var m Mesh
	r := rand.New(rand.NewPCG(seed, 2))
	for i := range count + 1 {
		y := tall
		if i%2 == 1 {
			y = -tall
		}
		x := from + (to-from)*(float64(i)+0.9*r.Float64())/float64(count)
		for _, z := range []float64{-tall, tall} { // so narrow that no edge is cut
			q := narrow(vec{x, y, z})
			m.Pos = append(m.Pos, q[0], q[1], q[2])
		}
		if i > 0 {
			a := uint32(2 * i)
			m.Tri = append(m.Tri, a-2, a-1, a, a, a-1, a+1)
		}
	}
	return m
}

// A saw that crosses the floor everywhere: distances are even between 0 and its height (closed form), so their mean is a half of
// it, their mean square a third, and every percentile that share of it. Taken as linear between vertices all would be the height.
func TestDistanceBetweenVertices(t *testing.T) {
	t.Parallel()
	const tall = 0.002
	floor := block(vec{-.5, -.2, -.5}, vec{.5, 0, .5})
	a := deviationOf(t, floor, teeth(tall, -.4, .4, 400, 1)).SculptToGame
	require.InDelta(t, 1000*tall, a.MaxMM, 1e-6)
	require.InDelta(t, 500*tall, a.MeanMM, 5*a.MeanErrorMM)
	require.LessOrEqual(t, a.MeanErrorMM, meanErrorShare*a.MeanMM)
	require.InEpsilon(t, 1000*tall/math.Sqrt(3), a.RMSMM, 3e-3)
	require.InDelta(t, 950*tall, a.P95MM, 5*a.P95ErrorMM+950*tall*2e-4)
	require.LessOrEqual(t, a.P95ErrorMM, 2e-3*a.P95MM)
	require.InEpsilon(t, 990*tall, a.P99MM, 2e-3)
}

// The errors that are told hold: over many saws, on each of which the points fall elsewhere, the results stray no more than
// that about the true value, and their mean hits it.
func TestStatedErrorsHold(t *testing.T) {
	t.Parallel()
	const tall, rounds = 0.002, 24
	floor := block(vec{-.5, -.2, -.5}, vec{.5, 0, .5})
	var sum, squares, stray, e, e95 float64
	for round := range rounds {
		p := NewPair(floor, teeth(tall, -.4, .4, 400, uint64(round)), Options{})
		o := must(p.sumSculpt(t.Context(), must(p.Heights(t.Context())), 3000))
		d := o.mean()/tall - 0.5
		p95 := o.spread.percentiles(0.95)[0]
		sum, squares, e = sum+d, squares+d*d, max(e, o.rest.meanError()/tall)
		d = p95/tall - 0.95
		stray, e95 = stray+d*d, max(e95, percentileError(o.spread, 0.95, o.points.rankError(p95))/1000/tall)
	}
	require.LessOrEqual(t, math.Sqrt(squares/rounds), e*1.1, "mean")
	require.LessOrEqual(t, math.Abs(sum/rounds), 4*e/math.Sqrt(rounds), "bias")
	require.LessOrEqual(t, math.Sqrt(stray/rounds), 1.5*e95, "95th percentile")
	require.Greater(t, math.Sqrt(stray/rounds), 0.01*e95, "an error so large says nothing")
}
