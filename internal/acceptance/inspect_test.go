package acceptance

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
	"proofhouse/internal/canon"
)

func TestGoodDelivery(t *testing.T) {
	t.Parallel()
	r := bollardPictured(t)
	e := r.Evidence
	require.Empty(t, r.Questions)
	require.Equal(t, VerdictPass, e.Verdict, e.Headline)
	require.True(t, strings.HasPrefix(e.Headline, "technical: clear"), e.Headline)
	require.Equal(t, []Input{
		{"bollard_base_color.png", "map.base_color@bollard", e.Inputs[0].Bytes, e.Inputs[0].SHA256},
		{"bollard_game.glb", "game", e.Inputs[1].Bytes, e.Inputs[1].SHA256},
		{"bollard_normal.png", "map.normal@bollard", e.Inputs[2].Bytes, e.Inputs[2].SHA256},
		{"bollard_sculpt.glb", "sculpt", e.Inputs[3].Bytes, e.Inputs[3].SHA256},
	}, e.Inputs)
	// The digest is the one that the standard's own tools would print.
	data, err := os.ReadFile(filepath.Join(harbourBollard(t), "bollard_base_color.png"))
	require.NoError(t, err)
	require.Equal(t, canon.Digest(data), e.Inputs[0].SHA256)
	require.Equal(t, []saidOf{{`part "body": open at below`, "by the spec", 1}}, spoken(e.Exempt))
	de, _ := words.In("de")
	require.Equal(t, []saidOf{{"Teil „body“: offen bei below", "laut Spezifikation", 1}}, spoken(In(de, e).Exempt))
	require.Contains(t, In(de, e).Headline, "technisch: ohne Befund")
}

// TestSameBytes: neither the evidence nor a picture depends on threads, on where the folder lies or on how often it is made.
func TestSameBytes(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	far := specFromText(t, "prop: bollard\ntier: background\n", spec.Final) // seen from far off: fewer pixels to look at
	var first []byte
	for _, threads := range []int{1, 2, 8, 2} {
		r, err := Inspect(context.Background(), Job{Spec: far, Folder: harbourBollard(t), Threads: threads})
		require.NoError(t, err)
		if first == nil {
			first = r.Canonical
		}
		require.Equal(t, string(first), string(r.Canonical), "%d threads", threads)
		require.Equal(t, canon.Digest(first), r.SHA256)
		require.Empty(t, r.Evidence.Pictures)
	}
	one := bollardPictured(t)
	require.NotEmpty(t, one.Pictures)
	for _, threads := range []int{2, 8} {
		many := picturesOf(t, sp, harbourBollard(t), threads)
		require.Equal(t, string(one.Canonical), string(many.Canonical), "%d threads", threads)
		require.Equal(t, canon.Digest(one.Canonical), many.SHA256)
		require.Len(t, many.Pictures, len(one.Pictures))
		for i := range one.Pictures {
			require.True(t, bytes.Equal(one.Pictures[i].Bytes, many.Pictures[i].Bytes), "%s on %d threads", one.Pictures[i].Name, threads)
		}
	}
}

// TestEvidenceKeepsItsSchema: evidence of a good and of bad deliveries is valid by an independent implementation of JSON Schema.
func TestEvidenceKeepsItsSchema(t *testing.T) {
	t.Parallel()
	data, err := json.Marshal(EvidenceSchema())
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(string(data)))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("evidence.json", doc))
	schema, err := c.Compile("evidence.json")
	require.NoError(t, err)

	sp := specFromFile(t, "bollard.yaml", spec.Final)
	for name, r := range map[string]*Result{
		"good": bollardPictured(t), "empty": inspectFolder(t, sp, writeFolder(t, nil)), "cut short": inspectFolder(t, sp, cutShort(t)),
		"a hundred times too big": bollardHundredfold(t),
	} {
		v, err := jsonschema.UnmarshalJSON(strings.NewReader(string(r.Canonical)))
		require.NoError(t, err)
		require.NoError(t, schema.Validate(v), name)
	}
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(`{"schema": "proofhouse/evidence/1", "verdict": "splendid"}`))
	require.NoError(t, err)
	require.Error(t, schema.Validate(v))
}

// cutShort is the bollard with its game mesh broken off in the middle.
func cutShort(t testing.TB) string {
	dir := harbourBollard(t)
	path := filepath.Join(dir, "bollard_game.glb")
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, data[:len(data)/2], 0o644))
	return dir
}

// bollardTimes is the bollard exported with the wrong unit.
func bollardTimes(t testing.TB, factor float32) string {
	scaled := func(v ...float32) [3]float32 { return [3]float32{v[0] * factor, v[1] * factor, v[2] * factor} }
	dir := harbourBollard(t)
	for name, prim := range map[string]glbwrite.Prim{
		"bollard_game.glb":   glbBox(scaled(-.21, 0, -.21), scaled(.21, .7, .21), &glbwrite.Material{Name: "bollard"}, glbUVPerM/factor),
		"bollard_sculpt.glb": glbBox(scaled(-.2095, .0005, -.2095), scaled(.2095, .6995, .2095), nil, glbUVPerM/factor),
	} {
		require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, name), glbwrite.Single(strings.TrimSuffix(name, ".glb"), prim)))
	}
	return dir
}

// bollardHundredfold is the bollard in centimetres, inspected once and only read.
func bollardHundredfold(t testing.TB) *Result {
	t.Helper()
	hundredfold.Do(func() {
		hundredfold.r = inspectFolder(t, specFromFile(t, "bollard.yaml", spec.Final), bollardTimes(t, 100))
	})
	require.NotNil(t, hundredfold.r, "the test that made it failed")
	return hundredfold.r
}

var hundredfold inspectedOnce

// TestOneHeadline: a file in centimetres gives one headline first; what follows from it is marked and measured as if mended.
func TestOneHeadline(t *testing.T) {
	t.Parallel()
	e := bollardHundredfold(t).Evidence
	require.Equal(t, VerdictFail, e.Verdict)
	first := e.Findings[0]
	require.Equal(t, "scene.size", first.Check)
	require.Equal(t, Fail, first.Outcome)
	require.True(t, first.Blocks)
	require.NotEmpty(t, first.Why)
	followers := 0
	for _, f := range e.Findings[1:] {
		require.False(t, f.Blocks && f.Outcome == Fail, "%s is broken beside the headline: %s", f.Check, f.Sentence)
		if f.FollowsFrom != "" {
			require.Equal(t, "scene.size", f.FollowsFrom)
			followers++
		}
	}
	require.Positive(t, followers)
	density := findingOf(t, e, "uv.texel_density")
	require.Equal(t, Pass, density.Outcome)
	require.Equal(t, "fail", density.Labels["as_delivered"])
	require.InEpsilon(t, 461, density.Metrics["mean_px_per_m"], 0.01)
	require.Contains(t, e.Headline, "technical: 1 issue; the first: ")

	var b strings.Builder
	require.NoError(t, WriteTable(&b, words.English(), e))
	require.Contains(t, b.String(), "  1  scene.size")
	issues, _, _ := strings.Cut(b.String(), "WARNINGS")
	require.NotContains(t, issues, "  2  ")
	require.Contains(t, b.String(), "follows: ")
}

func TestBrokenFiles(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)

	r := inspectFolder(t, sp, cutShort(t))
	require.Equal(t, VerdictFail, r.Evidence.Verdict)
	for _, f := range r.Evidence.Findings {
		if f.Check == "file.format" {
			require.Equal(t, f.File == "bollard_game.glb", f.Outcome == Fail, "%s: %s", f.File, f.Sentence)
		}
	}
	triangles := findingOf(t, r.Evidence, "budget.triangles")
	require.Equal(t, NotEvaluated, triangles.Outcome)
	require.Equal(t, "file.format", triangles.FollowsFrom)
	require.Nil(t, triangles.LOD)
	require.Empty(t, r.Questions)
	require.Contains(t, r.Evidence.Headline, "technical: 1 issue; the first: ")
	var b strings.Builder
	require.NoError(t, WriteTable(&b, words.English(), r.Evidence))
	require.NotContains(t, b.String(), "  2  ", "one broken file is one issue, whatever it keeps from running")

	r = inspectFolder(t, sp, writeFolder(t, nil))
	require.Equal(t, VerdictFail, r.Evidence.Verdict, "nothing delivered is not a pass")
	require.Equal(t, Fail, findingOf(t, r.Evidence, "file.required").Outcome)
	require.Equal(t, "file.required", findingOf(t, r.Evidence, "budget.triangles").FollowsFrom)
	require.NotNil(t, r.Evidence.Inputs)
	require.Contains(t, string(r.Canonical), `"inputs":[]`)
}

func TestDeclaredDigests(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	dir := harbourBollard(t)
	m, _, err := Infer(sp, dir)
	require.NoError(t, err)
	m.Files[1].SHA256 = strings.Repeat("0", 64)
	gone := int64(12)
	m.Files = append(m.Files, ManifestFile{Path: "bollard_cage.glb", Role: "cage", Bytes: &gone})
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: dir, Manifest: m, Only: []string{"file"}})
	require.NoError(t, err)
	require.Equal(t, VerdictFail, r.Evidence.Verdict)
	byFile := map[string]Outcome{}
	for _, f := range r.Evidence.Findings {
		if f.Check == "file.intact" {
			byFile[f.File] = f.Outcome
		}
	}
	require.Equal(t, map[string]Outcome{"bollard_base_color.png": Pass, "bollard_game.glb": Fail, "bollard_normal.png": Pass,
		"bollard_sculpt.glb": Pass, "bollard_cage.glb": Fail}, byFile)
}

// TestMilestones: before the milestone from which it counts, a check reports and never blocks.
func TestMilestones(t *testing.T) {
	t.Parallel()
	text := "prop: bollard\ntier: mid\nchecks:\n  budget.triangles: {max_triangles: 5, from: final}\n"
	dir := harbourBollard(t)
	early := findingOf(t, inspectOnly(t, specFromText(t, text, spec.Maps), dir, "budget").Evidence, "budget.triangles")
	require.Equal(t, Pass, early.Outcome)
	require.False(t, early.Blocks)
	require.Equal(t, "final", early.Labels["counts_from"])
	require.Equal(t, "broken, reported only", early.Labels["limit"])
	late := findingOf(t, inspectOnly(t, specFromText(t, text, spec.Final), dir, "budget").Evidence, "budget.triangles")
	require.Equal(t, Fail, late.Outcome)
	require.True(t, late.Blocks)

	// The caller's milestone wins over the manifest's, the manifest's over the spec's; the digest of the spec stays.
	sp := specFromText(t, text, spec.Final)
	m, _, err := Infer(sp.At(spec.GameMesh), dir)
	require.NoError(t, err)
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: dir, Manifest: m, Only: []string{"names"}})
	require.NoError(t, err)
	setting, err := sp.SettingDigest()
	require.NoError(t, err)
	require.Equal(t, SpecRef{Prop: "bollard", Digest: sp.Digest, Tier: spec.MidGround, Milestone: spec.GameMesh, Setting: setting}, r.Evidence.Spec)
	r, err = Inspect(context.Background(), Job{Spec: sp, Folder: dir, Manifest: m, Milestone: spec.Final, Only: []string{"names"}})
	require.NoError(t, err)
	require.Equal(t, spec.Final, r.Evidence.Spec.Milestone)
}

// TestOwnManifest: a delivery.yaml is read, a wrong one is refused with its lines, a foreign one with both props.
func TestOwnManifest(t *testing.T) {
	t.Parallel()
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	dir := harbourBollard(t)
	m, _, err := Infer(sp, dir)
	require.NoError(t, err)
	require.NoError(t, WriteManifest(dir, m))
	require.Error(t, WriteManifest(dir, m), "an existing manifest is not touched")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "late.txt"), nil, 0o644))
	r := inspectOnly(t, sp, dir, "file")
	require.Equal(t, m, r.Manifest)
	require.Len(t, r.Questions, 1, "a file beside the manifest is told")
	require.Equal(t, "late.txt", r.Questions[0].Path)

	for name, row := range map[string]struct{ text, want string }{
		"unknown key":  {"prop: bollard\nfiles:\n  - {path: a.glb, roel: game}\n", `delivery.yaml:3:19: files[0].roel: unknown key "roel". Did you mean "role"?`},
		"outside":      {"prop: bollard\nfiles:\n  - {path: ../a.glb, role: game}\n", `delivery.yaml:3:12: files[0].path: "../a.glb" does not stay in the delivery's folder`},
		"absolute":     {"prop: bollard\nfiles:\n  - {path: /a.glb, role: game}\n", `"/a.glb" does not stay`},
		"twice":        {"prop: bollard\nfiles:\n  - {path: a.glb, role: game}\n  - {path: a.glb, role: game}\n", `delivery.yaml:4:12: files[1].path: "a.glb" is listed twice`},
		"another prop": {"prop: crate\nfiles: []\n", `it is of the prop "crate", the spec is of "bollard"`},
	} {
		dir := writeFolder(t, map[string]any{"delivery.yaml": row.text})
		_, err := Inspect(context.Background(), Job{Spec: sp, Folder: dir})
		require.ErrorIs(t, err, ErrDelivery, name)
		require.ErrorContains(t, err, row.want, name)
	}
}

func TestStopsWhenAsked(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(context.Background())
	sp := specFromFile(t, "bollard.yaml", spec.Final)
	_, err := Inspect(ctx, Job{Spec: sp, Folder: harbourBollard(t), Progress: func(string, float64) { cancel() }})
	require.ErrorIs(t, err, context.Canceled)
	_, err = Inspect(context.Background(), Job{Spec: sp, Folder: filepath.Join(t.TempDir(), "nowhere")})
	require.ErrorIs(t, err, ErrDelivery)
}

func TestFindDeliveries(t *testing.T) {
	t.Parallel()
	one := harbourBollard(t)
	found, err := FindDeliveries(one)
	require.NoError(t, err)
	require.Equal(t, []string{one}, found)

	batch := writeFolder(t, map[string]any{
		"b_crate/crate.glb": "", "a_lantern/delivery.yaml": "", "notes/readme.txt": "", ".cache/x.glb": "", "c/sub/too_deep.glb": "",
	})
	found, err = FindDeliveries(batch)
	require.NoError(t, err)
	require.Equal(t, []string{filepath.Join(batch, "a_lantern"), filepath.Join(batch, "b_crate")}, found)

	_, err = FindDeliveries(writeFolder(t, map[string]any{"readme.txt": ""}))
	require.ErrorIs(t, err, ErrDelivery)
}

// TestProgress goes from nothing to all without going back.
func TestProgress(t *testing.T) {
	t.Parallel()
	bollardPictured(t)
	last := 0.0
	for _, told := range pictured.told {
		require.NotEmpty(t, told.what)
		require.GreaterOrEqual(t, told.done, last, told.what)
		last = told.done
	}
	require.InDelta(t, 1, last, 1e-12)
}
