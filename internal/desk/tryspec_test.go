package desk

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// An evidence of one number is tried on drafts that are tighter, looser and steered otherwise.
func TestTrySpec(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	draft := func(name, checks string) string { return write(name, "prop: crate\ntier: mid\nchecks: {"+checks+"}\n") }
	plain := draft("plain.yaml", "")
	_, resolved, err := readSpec(words.English(), plain, "")
	require.NoError(t, err)
	setting, err := resolved.SettingDigest()
	require.NoError(t, err)
	lod := 0
	e := acceptance.Evidence{
		Schema: "proofhouse/evidence/1", Engine: acceptance.EngineNow(), Verdict: acceptance.VerdictPass,
		Spec: acceptance.SpecRef{Prop: "crate", Tier: spec.MidGround, Milestone: spec.Final, Setting: setting},
		Findings: []acceptance.Finding{{
			Check: "collision.present", Outcome: acceptance.Pass, Blocks: true, Mode: spec.Blocks, LOD: &lod,
			Metrics: map[string]float64{"count": 2, "flat": 0}, Limit: map[string]float64{"min_count": 1},
			Bounds: []acceptance.Bound{{Metric: "count", Limit: "min_count", Kind: spec.AtLeast}},
		}},
	}
	data, err := json.Marshal(e)
	require.NoError(t, err)
	write("past/one/evidence.json", string(data))
	run := func(args ...string) (string, int) {
		var out, errs bytes.Buffer
		code := TrySpec(Streams{Out: &out, Err: &errs}, args)
		return out.String() + errs.String(), code
	}
	past := filepath.Join(dir, "past")
	text, code := run("--spec", plain, past)
	require.Equal(t, ExitPass, code, text)
	require.Contains(t, text, "0 would newly fail")
	require.Contains(t, text, "pass -> pass  no change")
	german, code := run("--spec", plain, "--language", "de", past)
	require.Equal(t, ExitPass, code, german)
	require.Contains(t, german, "pass -> pass  keine Änderung")
	require.Contains(t, german, "Entwurf von crate an 1 Lieferung")
	german, _ = run("--language", "de", "--spec", plain, dir+"/plain.yaml")
	require.Contains(t, german, "ist kein Nachweis")
	text, code = run("--spec", draft("tight.yaml", "collision.present: {min_count: 3}"), past)
	require.Equal(t, ExitPass, code, text)
	require.Contains(t, text, "NEWLY FAILS")
	require.Contains(t, text, "33.3 % over")
	text, _ = run("--spec", draft("json.yaml", "collision.present: {min_count: 3}"), "--json", past)
	var list []tried
	require.NoError(t, json.Unmarshal([]byte(text), &list), text)
	require.True(t, list[0].NewlyFails())

	_, code = run("--spec", plain, dir+"/none")
	require.Equal(t, ExitWrongCall, code)
	_, code = run("--spec", plain, plain)
	require.Equal(t, ExitWrongCall, code, "a spec is no evidence")
	_, code = run("--spec", plain, "--language", "fr", past)
	require.Equal(t, ExitWrongCall, code)
	_, code = run(past)
	require.Equal(t, ExitWrongCall, code)
}
