package acceptance

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// A prop of which every piece is said to be a helper: nothing of it ships, so nothing can be judged, and the inspection says so
// in place of ending.
func TestNothingButHelpers(t *testing.T) {
	t.Parallel()
	dir := writeFolder(t, map[string]any{"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body_helper", 0, nil)}}})
	for _, parts := range []string{"parts: [{name: body}]\n", "parts: [{name: body, kind: helper}]\n", "parts: [{name: body, kind: collision}]\n", ""} {
		sp := specFromText(t, "prop: crate\ntier: mid\n"+parts, spec.Final)
		r, err := Inspect(t.Context(), Job{Spec: sp, Folder: dir})
		require.NoError(t, err)
		require.Equal(t, VerdictNotEvaluated, r.Evidence.Verdict, parts)
		told := 0
		for _, f := range r.Evidence.Findings {
			require.NotContains(t, f.Sentence, "fault of its own", f.Check)
			if strings.HasPrefix(f.Sentence, "No part of the game mesh") || strings.HasPrefix(f.Sentence, "Nothing in the game mesh matches") {
				told++
				require.Equal(t, NotEvaluated, f.Outcome, f.Check)
			}
		}
		require.Greater(t, told, 10, "every check of parts says so: %s", parts)
	}
}

// What a suffix means may be said in every key of a part, and what is said of a suffix that is known already is added to it.
func TestSuffixSaysEveryKey(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, `prop: crate
tier: mid
parts: [{name: body}]
annotations:
  - {suffix: _drawer, kind: moving, pivot: slide, poses: [shut, out], mirror: none, two_sided: material, may_cross: [any]}
  - {suffix: _worn, density: 0}
  - {suffix: _floater, reach_mm: 4}
  - {suffix: _sheet, who: spec_only}
`, spec.Final)
	s, _, _ := subjectOf(t, sp, writeFolder(t, map[string]any{"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
		unitBox("crate_body", 0, nil), unitBox("crate_body_a_drawer", 2, nil), unitBox("crate_body_b_worn", 4, nil),
		unitBox("crate_body_c_floater", 6, nil), unitBox("crate_body_d_sheet", 8, nil)}}}))
	kinds := map[string]spec.Part{}
	for _, p := range s.Parts {
		kinds[p.Name] = p.Def
	}
	drawer := kinds["body_drawer"]
	require.Equal(t, spec.Moving, drawer.Kind)
	require.Equal(t, "slide", drawer.Pivot)
	require.Equal(t, []string{"shut", "out"}, drawer.Poses)
	require.Equal(t, "material", drawer.TwoSided)
	require.Equal(t, []string{"any"}, drawer.MayCross)
	require.Zero(t, kinds["body_worn"].Density, "left out of the density, as the spec says")
	require.Equal(t, 1.0, kinds["body"].Density)
	require.Equal(t, spec.Floater, kinds["body_floater"].Kind, "a reach is added, it is a floater still")
	require.Equal(t, &spec.Reach{FrontMM: 4, BackMM: 4}, kinds["body_floater"].ReachMM)
	require.NotContains(t, kinds, "body_sheet")
	var told strings.Builder
	require.NoError(t, spec.Explain(&told, sp))
	for what, said := range map[string]string{"_drawer": "pivot slide", "_worn": "density × 0", "_floater": "reach 4 mm"} {
		require.Contains(t, told.String(), said, what)
	}
}
