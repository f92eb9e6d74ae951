package acceptance

import (
	"encoding/json"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// triedProp is a prop of two boxes with LODs and collision, some of it off: names, size, density, budget, hulls.
func triedProp(t tester, sp *spec.Spec) *Subject {
	b := newProp("crate_a.glb")
	wood := b.material("wood", 512)
	b.node("crate", identity16, boxPrim(wood, [3]float32{-0.5, 0, -0.3}, [3]float32{0.5, 0.8, 0.3}))
	b.node("Cube.001", moved(0, 0.8, 0), boxPrim(b.material("lid", 256), [3]float32{-0.4, 0, -0.2}, [3]float32{0.4, 0.05, 0.2}))
	s := b.subject(t, sp)
	far := newProp("crate_a.glb")
	far.node("crate_lod1", identity16, boxPrim(far.material("wood", 512), [3]float32{-0.5, 0, -0.3}, [3]float32{0.5, 0.79, 0.3}))
	addLOD(s, far)
	return withHulls(s, crateHull(0.03), dentedBox([3]float32{-1, 0, -1}, [3]float32{1, 2, 1}, 0, 0, 0.4, 0.2))
}

// What is said of past deliveries is what measuring them again would say: every numeric limit of every check, tighter,
// looser and off, and every mode. Where it cannot be told, it is not guessed.
func TestWhatIfNeverLies(t *testing.T) {
	t.Parallel()
	const base = "size_mm: [990, 850, 600]\n"
	s := triedProp(t, specOf(t, spec.MidGround, base))
	told, open := 0, []string{}
	for _, c := range checks() {
		if c.Def.Scope == spec.PerFile || strings.HasPrefix(c.Def.Name, "revision.") {
			continue
		}
		s.Spec = specOf(t, spec.MidGround, base)
		past := runCheck(t, s, c.Def.Name)
		if len(past) == 0 {
			continue // nothing was said
		}
		try := func(draft *spec.Spec, what string) {
			s.Spec = draft
			truth := runCheck(t, s, c.Def.Name)
			for _, f := range past {
				i := slices.IndexFunc(truth, func(g Finding) bool { return findingKey(g) == findingKey(f) })
				if i < 0 && strings.HasPrefix(what, "not_applicable") {
					continue // one finding stands for all that it would have been about
				}
				require.GreaterOrEqual(t, i, 0, "%s %s: %v", c.Def.Name, what, f)
				rule, known := draftRule(draft, f)
				require.True(t, known)
				_, g, again := rejudge(rule, f)
				if again != nil {
					open = append(open, c.Def.Name+" "+what)
					continue
				}
				told++
				require.Equal(t, truth[i].Outcome, g.Outcome, "%s: %s\n%s", what, truth[i].Sentence, f.Sentence)
				require.Equal(t, truth[i].Blocks, g.Blocks, what)
			}
		}
		for _, l := range c.Def.Limits {
			if l.List || l.Kind == spec.Option || c.Def.Name == "lod.silhouette" && l.Kind == spec.Target {
				continue
			}
			now, on := specOf(t, spec.MidGround, base).Rule(c.Def.Name, nil, nil).Num(l.Key)
			values := []string{"off"}
			factors := []float64{0.9, 4}
			if slices.Contains([]string{"lod.silhouette", "collision.fit"}, c.Def.Name) {
				factors = factors[:1] // each costs a measurement
			}
			for _, factor := range factors {
				v := now * factor
				if !on {
					v = factor * 10
				}
				if l.Unit == "share" {
					v = min(v, 1)
				}
				values = append(values, fmt.Sprint(v))
			}
			for _, v := range values {
				text := fmt.Sprintf("%schecks: {%s: {%s: %s}}", base, c.Def.Name, l.Key, v)
				try(specOf(t, spec.MidGround, text), l.Key+" "+v)
			}
		}
		if c.Def.Name == "lod.silhouette" {
			continue // its limits were tried; each draft costs a measurement
		}
		for _, mode := range []string{"blocks", "warns", "reports", "not_applicable, reason: so said"} {
			try(specOf(t, spec.MidGround, fmt.Sprintf("%schecks: {%s: {mode: %s}}", base, c.Def.Name, mode)), mode)
		}
	}
	t.Logf("told from the evidence: %d; must be measured again: %d", told, len(open))
	require.Greater(t, told, 3*len(open), "%v", open)
}

func TestWhatIf(t *testing.T) {
	t.Parallel()
	const base = "prop: bollard\ntier: mid\nsize_mm: [420, 700, 420]\n"
	inspect := func(text string, tall float32) *Evidence {
		dir := writeFolder(t, map[string]any{"bollard_base_color.png": pngOf(t, 1024)})
		n := glbBoxNode("bollard_body", [3]float32{-.21, 0, -.21}, [3]float32{.21, tall, .21}, &glbwrite.Material{Name: "bollard"})
		require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "bollard_game.glb"), glbwrite.Scene{Roots: []*glbwrite.Node{n}}))
		r := inspectFolder(t, specFromText(t, text, spec.Final), dir)
		var e Evidence // as it comes out of a file
		require.NoError(t, json.Unmarshal(r.Canonical, &e))
		return &e
	}
	past := []*Evidence{inspect(base, 0.7), inspect(base, 0.713)}
	require.Equal(t, []Verdict{VerdictPass, VerdictPass}, []Verdict{past[0].Verdict, past[1].Verdict}, past[1].Headline)

	draft := func(text string) []Trial {
		trials, err := WhatIf(specFromText(t, text, spec.Final), past)
		require.NoError(t, err)
		return trials
	}
	same := draft(base)
	for _, trial := range same {
		require.Equal(t, trial.Before, trial.After)
		require.Empty(t, trial.Changes)
		require.False(t, trial.LimitsOnly)
	}
	tighter := draft(base + "checks: {scene.size: {tolerance_share: 0.015}}")
	require.False(t, tighter[0].NewlyFails())
	require.True(t, tighter[1].NewlyFails(), "13 mm of 700 are 1.86 %%")
	require.Equal(t, "scene.size", tighter[1].Changes[0].Check)
	require.Equal(t, VerdictFail, inspect(base+"checks: {scene.size: {tolerance_share: 0.015}}", 0.713).Verdict, "and so says measuring again")
	require.Negative(t, tighter[1].Closest.Room)

	past = []*Evidence{inspect(base+"checks: {scene.size: {tolerance_share: 0.015}}", 0.713)}
	require.True(t, draft(base)[0].NewlyPasses())

	// A draft that sees the prop differently, and one of another prop, tries its limits alone, and says so.
	require.True(t, draft(base + "view: {distance_m: 9}")[0].LimitsOnly)
	// Options steer what is measured.
	trial := draft(base + "checks: {scene.size: {tolerance_share: 0.015}, scene.transforms: {allow: identity, mode: blocks}}")[0]
	require.Equal(t, "options", trial.Again[0].Why)
	require.Equal(t, VerdictFail, trial.After, "what fails already fails whatever the rest says")
	past = []*Evidence{inspect(base, 0.7)}
	require.Empty(t, draft(base + "checks: {scene.transforms: {allow: identity}}")[0].After, "a pass cannot be promised")
}

// Evidence of an engine that kept no bounds tells nothing that changed, and loses nothing that did not.
func TestWhatIfOldEvidence(t *testing.T) {
	t.Parallel()
	f := Finding{Check: "budget.vertices", Outcome: Pass, Mode: spec.Warns, Metrics: map[string]float64{"vertices": 10, "per_triangle": 1},
		Limit: map[string]float64{"max_per_triangle": 1.3, "small_triangles": 100, "small_max_per_triangle": 2}}
	r := specOf(t, spec.MidGround, "").Rule("budget.vertices", nil, nil)
	f.Settings = settingsOf(r)
	_, g, again := rejudge(r, f)
	require.Nil(t, again)
	require.Equal(t, Pass, g.Outcome)
	r = specOf(t, spec.MidGround, "checks: {budget.vertices: {small_triangles: 5}}").Rule("budget.vertices", nil, nil)
	_, _, again = rejudge(r, f)
	require.NotNil(t, again)
}

// A limit in millimetres that the check makes of a share of the diagonal and of pixels did not change where those did not:
// the very same spec, and a draft that changes something else, say so; a draft that does change it is told or left open.
func TestWhatIfMadeMillimetres(t *testing.T) {
	t.Parallel()
	const n = 8
	lump := func(x, z float64) float64 { return 0.0005 + 0.003*math.Max(0, 1-20*math.Hypot(x, z)) }
	game, sculpt := []mesh.Primitive{boxPrim(0, crateLo, crateHi)}, []mesh.Primitive{slab(crateLo, crateHi, n, lump)}
	evidence := func(text string) *Evidence {
		sp := specOf(t, spec.Hero, text)
		s := sculpted(t, sp, game, sculpt)
		e := &Evidence{Engine: EngineNow(), Spec: SpecRef{Prop: sp.Prop, Milestone: spec.Final, Digest: sp.Digest}}
		for _, check := range []string{"surface.poke_through", "surface.deviation"} {
			e.Findings = append(e.Findings, runCheck(t, s, check)...)
		}
		e.Verdict = verdictOf(e.Findings)
		return e
	}
	try := func(past *Evidence, text string) Trial {
		trials, err := WhatIf(specOf(t, spec.Hero, text), []*Evidence{past})
		require.NoError(t, err)
		return trials[0]
	}
	keys := func(trial Trial) (out []string) {
		for _, a := range trial.Again {
			out = append(out, a.Key)
		}
		return out
	}
	const other, own = "title: other\n", "checks:\n  surface.poke_through: {max_height_mm: 8}\n"
	for text, verdict := range map[string]Verdict{"": VerdictPass, own: VerdictPass, "view: {distance_m: 15}\n": VerdictPass, "checks: {surface.poke_through: {max_height_px: 0.1, max_height_share: 0.001}}\n": VerdictFail} {
		past := evidence(text)
		require.Equal(t, verdict, past.Verdict)
		for _, draft := range []string{text, other + text} {
			trial := try(past, draft)
			require.Equal(t, past.Verdict, trial.After, "%q on %q: %v", draft, text, trial.Again)
			require.Empty(t, trial.Again)
			require.Empty(t, trial.Changes)
		}
	}
	past := evidence("")
	for _, draft := range []string{own, "checks:\n  surface.poke_through: {max_height_share: 0.0001}\n"} {
		require.Empty(t, try(past, draft).After, "areas above another height were not measured")
		require.NotEmpty(t, try(past, draft).Again)
	}
	require.Equal(t, []string{"max_height_mm"}, keys(try(evidence(own), "")), "a spec's own millimetres are not the check's")
	tighter := "checks: {surface.deviation: {max_p95_share: 0.00001, mode: blocks}}\n"
	require.True(t, try(past, tighter).NewlyFails())
	require.Equal(t, VerdictFail, evidence(tighter).Verdict, "and so says measuring again")
}
