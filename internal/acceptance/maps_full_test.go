//go:build full

package acceptance

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
)

// On 34 real props (npm @webxr-input-profiles/assets 1.0.20, MIT) the map checks find nothing that is nonsense: shares
// are shares, normals are unit vectors that point out, and nobody's channels are called swapped. What these props do not
// keep is of the kind that a contract would name: maps smaller than others, JPEG for normals.
func TestMapsOfRealProps(t *testing.T) {
	sp := specOf(t, spec.Hero, "")
	normals, colours, packed := 0, 0, 0
	for _, path := range genericProps(t) {
		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, sp)
		s.Threads = 2
		for _, set := range s.Sets {
			set.maps = &mapsMeasure{}
		}
		for _, name := range append(mapCheckNames, "alpha.mode", "alpha.empty", "alpha.mips", "alpha.fill") {
			for _, f := range runCheck(t, s, name) {
				for k, v := range f.Metrics {
					if unitOf(k) == "share" {
						require.True(t, v >= 0 && v <= 1, "%s %s %g", path, k, v)
					}
				}
				switch name {
				case "maps.normal_valid":
					if f.Outcome != NotEvaluated {
						normals++
						require.Less(t, f.Metrics["inward_share"], 0.001, path)
						require.Less(t, f.Metrics["off_length_share"], 0.01, path)
						require.Less(t, f.Metrics["grey_share"], 0.01, path)
					}
				case "maps.files":
					packed++
					require.Zero(t, f.Metrics["packing_count"], path)
				case "maps.base_color":
					colours++
				}
			}
		}
	}
	require.Greater(t, normals, 10)
	require.Greater(t, colours, 20)
	require.Greater(t, packed, 20)
}
