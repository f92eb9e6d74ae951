package acceptance

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// TestTable: the sentence first, the number second, then where, why and what to do; nothing by colour, no line too long.
func TestTable(t *testing.T) {
	t.Parallel()
	lod, offset := 0, int64(77)
	e := &Evidence{
		Engine: Engine{Version: "1", Commit: strings.Repeat("ab", 32)}, Spec: SpecRef{Prop: "bollard", Digest: strings.Repeat("cd", 32), Tier: spec.Hero, Milestone: spec.Final},
		Headline: "technical: 1 issue; the first: The sculpt stands 4.1 mm proud.",
		Findings: []Finding{
			{Check: "surface.poke_through", Part: "body", Outcome: Fail, Blocks: true, Sentence: "The sculpt stands 4.1 mm proud of the game surface, on the left side near the rope groove where the casting was filled up and nobody looked at it again.",
				Measured: &Value{4.125, "mm"}, Limit: map[string]float64{"max_height_mm": 2, "max_area_share": 0.01}, Why: "What stands proud is cut flat by the bake.", Remedy: "Push the game surface out.",
				Where: []Place{{Node: "body", Side: "left", PointMM: &[3]float64{1, 2.25, -3}, Value: &Value{4.125, "mm"}}, {UV: &[2]float64{.5, .25}}, {Triangles: []int{1, 2, 3, 4, 5, 6, 7}}, {Note: "x"}, {Note: "y"}}},
			{Check: "budget.triangles", LOD: &lod, Outcome: Warn, Sentence: "Half the budget is unused.", Measured: &Value{1200, "count"}},
			{Check: "file.format", File: "a.glb", Outcome: NotEvaluated, Blocks: true, Sentence: "It cannot be read.", Where: []Place{{Pointer: "/meshes/0", Offset: &offset}}},
			{Check: "uv.padding", Set: "main", Outcome: Pass, Sentence: "Fine.", Labels: map[string]string{"limit": "broken, reported only", "counts_from": "final"}},
			{Check: "uv.range", Outcome: Pass, Sentence: "Fine."},
			{Check: "uv.lightmap", Outcome: NotApplicable, Sentence: "No baked lighting."},
		},
		Exempt: []Exempt{{What: `part "bolts": floater`, Reason: "by the vendor, name suffix _floater", AreaShare: 0.125}},
	}
	var b strings.Builder
	require.NoError(t, WriteTable(&b, words.English(), e))
	out := b.String()
	for _, want := range []string{
		"technical: 1 issue; the first: The sculpt stands 4.1 mm proud.\n", "bollard, hero, milestone final; spec cdcdcdcdcdcd, engine 1 abababababab\n",
		"\nISSUES: these stop the delivery\n  1  surface.poke_through · part body\n     The sculpt stands 4.1 mm proud",
		"     measured: 4.125 mm (limits: max_area_share 1 %, max_height_mm 2 mm)\n", "     where: node body, left, at 1.0, 2.2, -3.0 mm, 4.125 mm\n",
		"     where: UV 0.5000, 0.2500\n", "     where: triangles 1, 2, 3, 4, 5\n", "     and 2 places more in the evidence\n",
		"     why: What stands proud is cut flat by the bake.\n", "     do: Push the game surface out.\n",
		"NOT EVALUATED: these must run", "where: /meshes/0, byte 77", "WARNINGS: these do not stop it\n  1  budget.triangles · LOD 0\n",
		"REPORTED ONLY", "counts from the milestone final on", "EXEMPT: ", "12.5 % of the surface: part \"bolts\": floater (by the vendor, name suffix _floater)",
		"CLEAR: 1 finding\n", "NOT APPLICABLE: uv.lightmap\n",
	} {
		require.Contains(t, out, want)
	}
	require.NotContains(t, out, "\x1b", "no colours, so nothing can be told by them")
	for _, line := range strings.Split(out, "\n") {
		require.LessOrEqual(t, utf8.RuneCountInString(line), width, line)
	}
	require.Error(t, WriteTable(failing{}, words.English(), e), "a pipe that is closed is told")
}

type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("closed") }

// TestExampleSpecs: the examples of the docs resolve for every milestone, at about ten lines each.
func TestExampleSpecs(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"lantern.yaml", "bollard.yaml", "crate.yaml"} {
		data, err := os.ReadFile(filepath.Join(harbourSpecs, name))
		require.NoError(t, err)
		require.LessOrEqual(t, strings.Count(string(data), "\n"), 14, name)
		for _, m := range spec.Milestones {
			s := specFromFile(t, name, m)
			require.Equal(t, "down", s.Conventions.Green, "from the spec that it extends")
			require.NoError(t, spec.Explain(&strings.Builder{}, s))
		}
	}
}

// TestCatalogueIsWhole: every check says what it measures, why, and on what ground; no limit hides its origin.
func TestCatalogueIsWhole(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, c := range Catalogue() {
		require.False(t, seen[c.Name], c.Name)
		seen[c.Name] = true
		for what, text := range map[string]string{"title": c.Title, "what": c.What, "why": c.Why, "source": c.Source, "scope": string(c.Scope)} {
			require.NotEmpty(t, text, "%s of %s", what, c.Name)
		}
		for _, l := range c.Limits {
			require.NotEmpty(t, l.What, "%s %s", c.Name, l.Key)
			require.NotEmpty(t, l.Origin, "%s %s", c.Name, l.Key)
			require.NotContains(t, []string{"mode", "reason", "from"}, l.Key)
			for _, p := range l.DefaultList {
				if l.Pattern {
					_, err := spec.CompilePattern(p, spec.Tokens{})
					require.NoError(t, err, "%s %s", c.Name, l.Key)
				}
			}
		}
	}
}
