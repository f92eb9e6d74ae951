//go:build full

package acceptance

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

func init() {
	sculpt := func(lo, hi [3]float32) func(t *testing.T, path string) {
		return func(t *testing.T, path string) {
			require.NoError(t, glbwrite.WriteFile(path, glbwrite.Scene{Roots: []*glbwrite.Node{glbBoxNode("bollard_body_sculpt", lo, hi, nil)}}))
		}
	}
	knownRows = append(knownRows,
		knownRow{"the sculpt", "bollard_sculpt.glb", sculpt([3]float32{-.2195, .0005, -.2095}, [3]float32{.2095, .6995, .2095}),
			[]string{"uv", "topology"}, []string{"surface", "scene", "file", "budget"}},
		// A fault that shifts what is measured: nothing known is taken, whatever its key says.
		knownRow{"a sculpt a hundred times too big", "bollard_sculpt.glb", sculpt([3]float32{-20.95, .05, -20.95}, [3]float32{20.95, 69.95, 20.95}),
			[]string{"uv"}, []string{"surface"}})
}
