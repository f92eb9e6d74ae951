package acceptance

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
)

// A fault that explains others stops the delivery where one of those would have stopped it, whatever its own check may do: a file
// in centimetres does not become clear because the size alone only warns.
func TestHeadlineStopsForWhatItExplains(t *testing.T) {
	t.Parallel()
	dir := bollardTimes(t, 100)
	inspect := func(text string) *Evidence {
		sp := specFromText(t, "prop: bollard\ntier: mid\nsize_mm: [420, 700, 420]\n"+text, spec.Final)
		return inspectOnly(t, sp, dir, "scene", "uv", "file").Evidence
	}
	e := inspect("checks: {scene.size: {mode: warns}}\n")
	first := e.Findings[0]
	require.Equal(t, "scene.size", first.Check)
	require.Equal(t, spec.Warns, first.Mode)
	require.Equal(t, Fail, first.Outcome, first.Sentence)
	require.True(t, first.Blocks)
	require.Contains(t, first.Sentence, "It stops the delivery, though scene.size alone would not: it also breaks uv.texel_density")
	require.Equal(t, VerdictFail, e.Verdict, e.Headline)
	require.Contains(t, e.Headline, "technical: 1 issue; the first: ")

	// Where nothing that follows from it stops anything, it only warns, as it is told to.
	calm := inspect("checks: {scene.size: {mode: warns}, scene.origin: {mode: warns}, scene.upright: {mode: warns}, uv.texel_density: {mode: warns}}\n")
	require.Equal(t, Warn, calm.Findings[0].Outcome, calm.Findings[0].Sentence)
	require.Equal(t, VerdictPass, calm.Verdict, calm.Headline)

	// What a past delivery would be by another spec is not told where the headline would count otherwise.
	sp := specFromText(t, "prop: bollard\ntier: mid\nsize_mm: [420, 700, 420]\nchecks: {scene.size: {mode: warns}}\n", spec.Final)
	trials, err := WhatIf(sp, []*Evidence{inspect("")})
	require.NoError(t, err)
	require.False(t, trials[0].NewlyPasses())
	require.Equal(t, "scene.size", trials[0].Again[0].Check)
}
