//go:build full

package acceptance

import (
	"io/fs"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/oracle"
)

// genericProps are the unbranded props of npm @webxr-input-profiles/assets 1.0.20 (MIT).
func genericProps(t testing.TB) []string {
	var all []string
	root := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles")
	require.NoError(t, filepath.WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".glb") && strings.Contains(path, "generic-") {
			all = append(all, path)
		}
		return err
	}))
	require.Len(t, all, 34)
	return all
}

// On 34 real props, counts agree exactly and densities to single precision with readers and arithmetic that are not ours:
// geometry by three 0.187.0, image sizes and counts by @gltf-transform/core 4.5.1.
func TestBudgetAndDensityAgreeWithIndependentReaders(t *testing.T) {
	counts, density := oracle.Start(t, "counts.mjs"), oracle.Start(t, "density.mjs")
	sp := specOf(t, spec.Hero, "")
	judged := 0
	for _, path := range genericProps(t) {
		var theirs struct {
			Triangles, Primitives int
		}
		counts.Ask(map[string]any{"path": path}, &theirs)
		var byMaterial struct {
			Materials []struct {
				Name                               string
				Width, Height, Triangles, Vertices int
				UVArea, Area, Min, Max             float64
			}
		}
		density.Ask(map[string]any{"path": path}, &byMaterial)

		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, sp)
		require.Equal(t, float64(theirs.Triangles), run1(t, s, "budget.triangles").Metrics["triangles"], path)
		require.Equal(t, float64(theirs.Primitives), run1(t, s, "budget.drawcalls").Metrics["count"], path)
		used, vertices := 0, 0
		for _, m := range byMaterial.Materials {
			vertices += m.Vertices
			if m.Triangles > 0 {
				used++
			}
		}
		require.Equal(t, float64(used), run1(t, s, "budget.materials").Metrics["count"], path)
		require.Equal(t, float64(vertices), run1(t, s, "budget.vertices").Metrics["vertices"], path)
		require.Equal(t, Pass, run1(t, s, "uv.present").Outcome, path)

		findings := runCheck(t, s, "uv.texel_density")
		require.Len(t, findings, len(byMaterial.Materials))
		for i, m := range byMaterial.Materials {
			require.Equal(t, m.Name, s.Sets[i].Name)
			if m.Triangles == 0 || m.Width == 0 {
				require.Equal(t, NotEvaluated, findings[i].Outcome, path)
				continue
			}
			judged++
			require.Equal(t, m.Width, s.Sets[i].WidthPx)
			root := math.Sqrt(float64(m.Width) * float64(m.Height))
			got := findings[i].Metrics
			require.InEpsilon(t, root*math.Sqrt(m.UVArea/m.Area), got["mean_px_per_m"], 1e-5, path)
			require.InDelta(t, root*m.Min, got["min_px_per_m"], 2e-4*root*m.Min+1e-6, path)
			require.InEpsilon(t, root*m.Max, got["max_px_per_m"], 1e-3, path)
		}
	}
	require.Greater(t, judged, 20, "most of the props are textured")
}

func loadProp(t testing.TB, path string) *mesh.Scene {
	t.Helper()
	src, err := mesh.DirSource(filepath.Dir(path), []string{filepath.Base(path)})
	require.NoError(t, err)
	defer src.Close()
	s, issues := mesh.Load(src, filepath.Base(path), mesh.Limits{})
	require.NotNil(t, s, "%v", issues)
	t.Cleanup(func() { s.Close() })
	return s
}
