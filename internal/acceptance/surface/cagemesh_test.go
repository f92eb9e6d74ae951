package surface

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Asking only the vertices that cannot be shown to lie inside the cage finds what asking all of them does.
func TestCageAsksOnlyWhatMayBeOutside(t *testing.T) {
	t.Parallel()
	game, sculpt := post(300, 0), post(20_000, 0.004)
	lump := sphere(0.05, 24, vec{0.28, 0.7, 0}) // a shell of its own, half of it hidden
	for name, sculpt := range map[string]Mesh{"all inside": sculpt, "a lump outside": join(sculpt, lump)} {
		for _, size := range []float64{1.005, 1.02, 1.1} {
			cage := moved(game, func(q vec) vec { return add(scale(sub(q, vec{0, 0.7, 0}), size), vec{0, 0.7, 0}) })
			p := NewPair(game, sculpt, Options{})
			f := must(p.FitCage(t.Context(), cage))
			all := must(NewPair(cage, sculpt, Options{}).Outside(t.Context(), 0, 0))
			require.InDelta(t, all.MaxHeightMM, f.SculptOutsideMM, all.HeightErrorMM+2e-3*all.MaxHeightMM, "%s, %v", name, size)
			// Heights are linear over pieces that are cut a little otherwise.
			require.InDelta(t, all.AreaShare, f.SculptShare, 5e-4, "%s, %v", name, size)
			require.InDelta(t, all.UnknownShare, f.UnknownShare, 5e-4, "%s, %v", name, size)
		}
	}
}
