//go:build full

package acceptance

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/oracle"
)

// On 34 real props (npm @webxr-input-profiles/assets 1.0.20, MIT): LODs that an independent simplifier makes of them (npm
// meshoptimizer 1.3.0, MIT), which keeps UVs and normals of the points that stay, are in order but for their outline; the
// share of triangles that we call unseen is never more than that simplifier takes out within the same distance; hulls of
// their collision hold the whole prop; nothing crashes and no number is none.
func TestLODsAndSpendingOfRealProps(t *testing.T) {
	theirs := oracle.Start(t, "solids.mjs")
	dir := t.TempDir()
	var ours, others, all float64
	for i, path := range genericProps(t) {
		b := &propBuild{loadProp(t, path)}
		s := b.subject(t, specOf(t, spec.CloseUp, "view: {distance_m: 0.4}"))
		var counts struct{ Before, After int }
		out := filepath.Join(dir, "lod"+itoa(i)+".glb")
		theirs.Ask(map[string]any{"simplify": path, "share": 0.5, "out": out}, &counts)
		far := loadProp(t, out)
		s.LODs = append(s.LODs, &Body{Surface: mesh.Flatten(far, far.Draws)})
		f := run1(t, s, "lod.steps")
		require.InDelta(t, float64(counts.After)/float64(counts.Before), f.Metrics["step_share"], 1e-9, path)
		require.Zero(t, f.Metrics["slots"], path)
		// Writing turns matrices into translation, rotation and scale, which moves a node of one file by 0.45 mm.
		require.LessOrEqual(t, f.Metrics["pivot_mm"], 0.5, "%s %v", path, f.Where)
		require.LessOrEqual(t, f.Metrics["outside_share"], 0.05, "%s: %s", path, f.Sentence)

		spend := run1(t, s, "budget.spend")
		require.GreaterOrEqual(t, spend.Metrics["removable_share"], 0.0)
		require.Less(t, spend.Metrics["removable_share"], 1.0)
		pixel := s.Spec.View.PixelMM() / 1000
		theirs.Ask(map[string]any{"simplify": path, "share": 0.0, "error": pixel / 2}, &counts)
		ours += spend.Metrics["removable"]
		others += float64(counts.Before - counts.After)
		all += float64(counts.Before)

		if i%4 == 0 { // each takes a second
			withHulls(s, s.LODs[0].Of[0].Scene.Prims...)
		}
		for _, check := range []string{"collision.present", "collision.count", "collision.convex", "collision.fit"} {
			f := run1(t, s, check)
			require.Equal(t, i%4 != 0, f.Outcome == NotApplicable, "%s: %s", path, f.Sentence)
		}
		for _, check := range []string{"scene.ground", "scene.vertex_colours", "lod.count"} {
			runCheck(t, s, check)
		}
		require.Empty(t, first2(contentOf(s)[0].moved(contentOf(s)[0])))
	}
	t.Logf("of %.0f triangles %.1f %% could go unseen; the independent simplifier takes out %.1f %%", all, 100*ours/all, 100*others/all)
	require.Positive(t, ours)
	require.Less(t, ours, 1.1*others)
}
