package acceptance

import (
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// TestJudge is the whole of how limits bind.
func TestJudge(t *testing.T) {
	t.Parallel()
	limits := map[string]float64{"max_mm": 2, "min_share": 0.5, "soft_mm": 1}
	rows := []struct {
		name    string
		mode    spec.Mode
		metrics map[string]float64
		want    Outcome
		value   float64
	}{
		{"kept", spec.Blocks, map[string]float64{"height_mm": 1, "hit_share": 1}, Pass, 1},
		{"equal is kept", spec.Blocks, map[string]float64{"height_mm": 2, "hit_share": 0.5}, Warn, 2},
		{"broken", spec.Blocks, map[string]float64{"height_mm": 2.1, "hit_share": 1}, Fail, 2.1},
		{"broken from below", spec.Blocks, map[string]float64{"height_mm": 1, "hit_share": 0.4}, Fail, 0.4},
		{"only the soft one", spec.Blocks, map[string]float64{"height_mm": 1.5, "hit_share": 1}, Warn, 1.5},
		{"a hard one is told before a soft one", spec.Blocks, map[string]float64{"height_mm": 1.5, "hit_share": 0.1}, Fail, 0.1},
		{"warns", spec.Warns, map[string]float64{"height_mm": 9, "hit_share": 1}, Warn, 9},
		{"reports", spec.Reports, map[string]float64{"height_mm": 9, "hit_share": 1}, Pass, 9},
		{"missing", spec.Blocks, map[string]float64{"height_mm": 1}, NotEvaluated, 0},
		{"not a number", spec.Blocks, map[string]float64{"height_mm": math.NaN(), "hit_share": 1}, NotEvaluated, 0},
		{"infinite", spec.Reports, map[string]float64{"height_mm": 1, "hit_share": math.Inf(1)}, NotEvaluated, 0},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			f := judge(spec.Rule{Mode: r.mode, Numbers: limits}, r.metrics,
				atMost("height_mm", "soft_mm").warns(), atMost("height_mm", "max_mm"), atLeast("hit_share", "min_share"), atMost("height_mm", "off_mm"))
			require.Equal(t, r.want, f.Outcome)
			require.Equal(t, limits, f.Limit)
			if r.want != NotEvaluated {
				require.Equal(t, r.value, f.Measured.Value)
			}
			require.Equal(t, r.mode == spec.Reports && r.want == Pass && r.value == 9, f.Labels["limit"] != "")
		})
	}
}

// TestUnits: the unit is read out of the name, for every metric name that findings have.
func TestUnits(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]string{
		"triangles_non_degenerate": "count", "count": "count", "bytes": "bytes", "offset_mm": "mm", "x_mm": "mm", "pixels": "px",
		"area_share": "share", "share_outside": "share", "mean_px_per_m": "px/m", "min_px": "px", "mip_levels": "count",
		"largest_patch_mm2": "mm²", "max_share_of_diagonal": "share", "p95_skew_deg": "deg", "share_over_10deg": "share",
		"worst_view_area_share": "share", "max_aspect": "", "l2": "", "patches": "count",
	} {
		require.Equal(t, want, unitOf(name), name)
	}
}

// fakeCheck is a check of one finding, for the engine's own rules.
func fakeCheck(name string, run func() Finding) Check {
	return Check{Def: spec.Check{Name: name, Scope: spec.PerDelivery, Title: name, What: name, Why: "It matters.", Source: spec.CommonPractice,
		Mode: [4]spec.Mode{spec.Blocks, spec.Blocks, spec.Blocks, spec.Blocks}},
		Run: func(context.Context, *Subject, Target, spec.Rule) Finding { return run() }}
}

func resolveWith(t *testing.T, all []Check, text string) *spec.Spec {
	t.Helper()
	var c spec.Catalogue
	for _, check := range all {
		c = append(c, check.Def)
	}
	d, err := spec.Parse("spec.yaml", []byte(text), c)
	require.NoError(t, err)
	s, err := spec.Resolve(d, c, spec.Final, nil)
	require.NoError(t, err)
	return s
}

// TestVerdict: fail before not evaluated before pass; a check that stops on its own fault never counts as a pass.
func TestVerdict(t *testing.T) {
	t.Parallel()
	pass := fakeCheck("a.pass", func() Finding { return Finding{Outcome: Pass, Sentence: "Good."} })
	fail := fakeCheck("b.fail", func() Finding { return Finding{Outcome: Fail, Sentence: "Bad."} })
	warn := fakeCheck("c.warn", func() Finding { return Finding{Outcome: Warn, Sentence: "Hm."} })
	panics := fakeCheck("d.panics", func() Finding { var s []int; _ = s[len(s)]; return Finding{} })
	nan := fakeCheck("e.nan", func() Finding {
		return Finding{Outcome: Pass, Sentence: "x", Metrics: map[string]float64{"x_mm": math.NaN()}, Measured: &Value{Value: math.NaN()}}
	})
	silent := fakeCheck("f.silent", func() Finding { return Finding{} })
	rows := []struct {
		name, spec string
		checks     []Check
		want       Verdict
		headline   string
		findings   int
	}{
		{"all pass", "", []Check{pass, silent}, VerdictPass, "technical: clear", 1},
		{"a warning", "", []Check{pass, warn}, VerdictPass, "technical: clear, 1 warning", 2},
		{"a failure", "", []Check{pass, fail, panics}, VerdictFail, "technical: 1 issue; the first: Bad.", 3},
		{"a panic", "", []Check{pass, panics}, VerdictNotEvaluated, "", 2},
		{"not a number", "", []Check{pass, nan}, VerdictNotEvaluated, "", 2},
		{"a failure that only warns", "checks: {b.fail: {mode: warns}}\n", []Check{fail}, VerdictPass, "technical: clear", 1},
		{"a panic that only warns", "checks: {d.panics: {mode: warns}}\n", []Check{panics}, VerdictPass, "technical: clear", 1},
		{"not applicable", "checks: {b.fail: {mode: not_applicable, reason: no such thing here}}\n", []Check{fail}, VerdictPass, "technical: clear", 1},
	}
	for _, r := range rows {
		t.Run(r.name, func(t *testing.T) {
			t.Parallel()
			sp := resolveWith(t, r.checks, "prop: crate\ntier: mid\n"+r.spec)
			_, findings, err := runAll(context.Background(), &Subject{Spec: sp}, r.checks, func(string, float64) {})
			require.NoError(t, err)
			require.Len(t, findings, r.findings)
			require.Equal(t, r.want, verdictOf(findings))
			if r.headline != "" {
				require.Equal(t, r.headline, headlineText(words.English(), &Evidence{Verdict: r.want, Findings: findings}))
			}
			for _, f := range findings {
				require.Equal(t, "It matters.", f.Why)
				require.NotEmpty(t, f.Sentence)
				for _, v := range f.Metrics {
					require.True(t, finite(v))
				}
			}
		})
	}
}

// TestNothingToMeasure: a check with nothing to look at says so, and does not pass in silence.
func TestNothingToMeasure(t *testing.T) {
	t.Parallel()
	for _, scope := range []spec.Scope{spec.PerFile, spec.PerLOD, spec.PerPart, spec.PerSet} {
		c := fakeCheck("a.check", func() Finding { t.Error("ran on nothing"); return Finding{Outcome: Pass} })
		c.Def.Scope = scope
		sp := resolveWith(t, []Check{c}, "prop: crate\ntier: mid\n")
		_, findings, err := runAll(context.Background(), &Subject{Spec: sp}, []Check{c}, func(string, float64) {})
		require.NoError(t, err)
		require.Len(t, findings, 1)
		require.Equal(t, NotEvaluated, findings[0].Outcome, scope)
		require.Equal(t, VerdictNotEvaluated, verdictOf(findings))
	}
}
