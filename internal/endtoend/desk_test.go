package endtoend

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/demo/props"
)

// fine is how finely the tests' sculpts are made: enough for every check, quick to inspect.
const fine = 0.15

// smallPx and smallPxPerM are the maps of the tests' bollards, and their density: half of what the demo orders, which makes them
// and reads them in a quarter of the time.
const smallPx, smallPxPerM = 512, 320

// harbourProps are deliveries of the demo's bollard with smaller maps: one as it should be, and one of each fault.
var harbourProps = sync.OnceValues(func() (string, error) {
	dir := filepath.Join(scratch, "bollards")
	p, _ := props.ByCode("bollard")
	p.SizePx, p.PxPerM = smallPx, smallPxPerM
	for name, fault := range map[string]props.Fault{
		"good":   {},
		"lumpy":  {Lumps: []props.Lump{{At: [3]float64{0.153, 0.30, 0.02}, Radius: 0.035, Height: 0.011}}},
		"huge":   {Scale: 100},
		"thin":   {Density: 0.55, Finer: 2, Rename: map[string]string{"body": "Cylinder.003"}},
		"cutoff": {Truncate: 30_000},
	} {
		if err := p.Write(filepath.Join(dir, name), fine, fault); err != nil {
			return "", err
		}
	}
	return dir, nil
})

// root is the repository's folder, from where this file lies: the S3 server changes the working directory.
var root = func() string {
	_, file, _, _ := runtime.Caller(0)
	return filepath.Dir(filepath.Dir(filepath.Dir(file)))
}()

var bollardSpec = filepath.Join(root, "internal", "demo", "specs", "bollard.yaml")

// smallSpec is the bollard's spec for maps of the size that the tests' bollards have.
var smallSpec = sync.OnceValues(func() (string, error) {
	text, err := os.ReadFile(bollardSpec)
	if err != nil {
		return "", err
	}
	for from, to := range map[string]string{"ship_px: 1024": fmt.Sprintf("ship_px: %d", smallPx), "target_px_per_m: 736": fmt.Sprintf("target_px_per_m: %d", smallPxPerM)} {
		if !bytes.Contains(text, []byte(from)) {
			return "", fmt.Errorf("the bollard's spec does not say %q", from)
		}
		text = bytes.ReplaceAll(text, []byte(from), []byte(to))
	}
	path := filepath.Join(scratch, "bollard.yaml")
	return path, os.WriteFile(path, text, 0o600)
})

// specOfBollards is the path of smallSpec.
func specOfBollards(t *testing.T) string {
	t.Helper()
	path, err := smallSpec()
	require.NoError(t, err)
	return path
}

// bollards is the folder of the five deliveries, copied so that a test may write beside them.
func bollards(t *testing.T, names ...string) string {
	t.Helper()
	from, err := harbourProps()
	require.NoError(t, err)
	to := t.TempDir()
	for _, name := range names {
		require.NoError(t, os.CopyFS(filepath.Join(to, name), os.DirFS(filepath.Join(from, name))))
	}
	return to
}

func readEvidence(t *testing.T, dir string) *acceptance.Evidence {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(dir, "evidence.json"))
	require.NoError(t, err)
	var e acceptance.Evidence
	require.NoError(t, json.Unmarshal(data, &e))
	return &e
}

// metricNames are the names that others read: each check gives these, and no finding of a check that ran lacks one.
var metricNames = map[string]string{
	"file.intact": "", "file.format": "count warnings", "file.self_contained": "count",
	"names.pattern": "count", "names.unique": "count", "names.default": "count", "names.pairing": "count",
	"scene.transforms": "count", "scene.size": "x_mm y_mm z_mm", "scene.origin": "offset_mm", "scene.upright": "turn_deg",
	"budget.triangles": "triangles triangles_non_degenerate", "budget.vertices": "vertices", "budget.drawcalls": "count",
	"budget.materials": "count", "budget.texture_bytes": "bytes",
	"uv.present": "count", "uv.range": "count", "uv.texel_density": "mean_px_per_m min_px_per_m max_px_per_m share_outside",
	"surface.poke_through": "max_height_mm area_share patches largest_patch_mm2",
	"surface.deviation": `max_mm mean_mm rms_mm p95_mm p99_mm max_share_of_diagonal
		sculpt_to_game_max_mm sculpt_to_game_mean_mm sculpt_to_game_rms_mm sculpt_to_game_p95_mm sculpt_to_game_p99_mm sculpt_to_game_max_share_of_diagonal
		game_to_sculpt_max_mm game_to_sculpt_mean_mm game_to_sculpt_rms_mm game_to_sculpt_p95_mm game_to_sculpt_p99_mm game_to_sculpt_max_share_of_diagonal`,
	"surface.cage_reach": "hit_share miss_share backface_share far_shell_share p95_skew_deg",
}

func requireMetrics(t *testing.T, e *acceptance.Evidence) {
	t.Helper()
	for check, names := range metricNames {
		ran := 0
		for _, f := range findings(e, check) {
			if f.Outcome == acceptance.NotEvaluated || f.Outcome == acceptance.NotApplicable {
				continue
			}
			ran++
			for _, name := range strings.Fields(names) {
				require.Contains(t, f.Metrics, name, "%s of %s%s%s", check, f.File, f.Part, f.Set)
			}
		}
		require.Positive(t, ran, "%s ran on nothing", check)
	}
}

func TestInspectGoodAndBad(t *testing.T) {
	t.Parallel()
	dir := bollards(t, "good", "lumpy", "huge", "thin", "cutoff")
	for _, c := range []struct {
		name     string
		pictures bool
		code     int
		failed   map[string]bool // checks with a blocking failure that follows from nothing
		says     string
	}{
		{"good", true, 0, nil, "technical: clear"},
		{"lumpy", true, 1, map[string]bool{"surface.poke_through": true}, "proud"},
		{"huge", false, 1, map[string]bool{"scene.size": true}, "100 times too big: the file is in centimetres"},
		{"thin", false, 1, map[string]bool{"uv.texel_density": true, "budget.triangles": true, "names.pairing": true}, "issues"},
		{"cutoff", false, 1, map[string]bool{"file.format": true}, "cut off"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			out := filepath.Join(dir, "of-"+c.name)
			args := []string{"inspect", "--spec", specOfBollards(t), "--out", out, filepath.Join(dir, c.name)}
			if !c.pictures {
				args = append(args, "--no-pictures")
			}
			r := run(t, nil, args...)
			require.Equal(t, c.code, r.code, r.out+r.err)
			require.Contains(t, r.out, c.says)
			require.NotContains(t, r.err, "\x1b", "no drawing into a pipe")
			require.Contains(t, r.err, ": 50 %")
			e := readEvidence(t, out)
			for _, f := range e.Findings {
				blocking := f.Outcome == acceptance.Fail && f.Blocks && f.FollowsFrom == ""
				if c.failed[f.Check] || blocking {
					require.True(t, c.failed[f.Check], "%s: %s", f.Check, f.Sentence)
				}
			}
			for check := range c.failed {
				require.NotEmpty(t, findings(e, check))
			}
			if c.name != "cutoff" {
				requireMetrics(t, e)
			}
			require.Equal(t, c.pictures, len(e.Pictures) > 0)
			for _, p := range e.Pictures {
				require.FileExists(t, filepath.Join(out, p.Name))
			}
			require.FileExists(t, filepath.Join(out, "delivery.yaml"), "the manifest as it was told from the names")
			require.NoFileExists(t, filepath.Join(dir, c.name, "delivery.yaml"), "the vendor's folder is not written to")
		})
	}
}

func TestBatch(t *testing.T) {
	t.Parallel()
	dir := bollards(t, "good", "cutoff")
	require.NoError(t, os.Mkdir(filepath.Join(dir, "good-evidence"), 0o700)) // what an earlier single test left
	require.NoError(t, os.WriteFile(filepath.Join(dir, "good-evidence", "evidence.json"), []byte("{}"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "good-evidence", "deviation.glb"), nil, 0o600))
	kept := []string{"XDG_CACHE_HOME=" + t.TempDir()} // what was found the first time need not be measured again
	r := run(t, kept, "inspect", "--spec", specOfBollards(t), "--no-pictures", dir)
	require.Equal(t, 1, r.code, r.err)
	require.Regexp(t, `(?m)^cutoff +fail +technical: `, r.out)
	require.Regexp(t, `(?m)^good +pass +technical: clear`, r.out)
	require.Contains(t, r.out, "Deliveries: 2; technically clear: 1, with issues: 1, not evaluated: 0")
	require.NotContains(t, r.out, "good-evidence")

	require.NoError(t, os.RemoveAll(filepath.Join(dir, "cutoff")))
	r = run(t, kept, "inspect", "--spec", specOfBollards(t), "--no-pictures", "--json", "--out", filepath.Join(dir, "kept"), dir)
	require.Zero(t, r.code, r.err)
	var lines []struct {
		Folder   string
		Evidence acceptance.Evidence
	}
	require.NoError(t, json.Unmarshal([]byte(r.out), &lines))
	require.Len(t, lines, 1)
	require.Equal(t, acceptance.VerdictPass, lines[0].Evidence.Verdict)
	require.Equal(t, acceptance.VerdictPass, readEvidence(t, filepath.Join(dir, "kept", "good")).Verdict)
}

// JSON on standard output is the evidence and nothing else, byte for byte what lies in the folder.
func TestInspectJSON(t *testing.T) {
	t.Parallel()
	folder, _ := boxFolder(t, "box")
	spec := filepath.Join(t.TempDir(), "box.yaml")
	require.NoError(t, os.WriteFile(spec, []byte(boxSpec("box")), 0o600))
	r := run(t, nil, "inspect", "--json", "--spec", spec, "--milestone", "game_mesh", folder)
	data, err := os.ReadFile(filepath.Join(folder+"-evidence", "evidence.json"))
	require.NoError(t, err)
	require.Equal(t, string(data), strings.TrimSuffix(r.out, "\n"))
	e := readEvidence(t, folder+"-evidence")
	require.Equal(t, map[acceptance.Verdict]int{acceptance.VerdictPass: 0, acceptance.VerdictFail: 1, acceptance.VerdictNotEvaluated: 3}[e.Verdict], r.code)
}

func TestCalledWrongly(t *testing.T) {
	t.Parallel()
	folder, _ := boxFolder(t, "box")
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("prop: box\ntier: background\nchecks:\n  uv.overlapp: {}\n"), 0o600))
	for name, c := range map[string]struct {
		args []string
		says string
	}{
		"nothing":             {nil, "worker inspect"},
		"no such command":     {[]string{"look"}, `no command "look"`},
		"no spec":             {[]string{"inspect", folder}, "--spec"},
		"spec is not there":   {[]string{"inspect", "--spec", "nowhere.yaml", folder}, "nowhere.yaml"},
		"spec with a mistake": {[]string{"inspect", "--spec", bad, folder}, "bad.yaml:4:3"},
		"no folder":           {[]string{"inspect", "--spec", bollardSpec}, "one folder"},
		"two folders":         {[]string{"inspect", "--spec", bollardSpec, folder, folder}, "one folder"},
		"folder is not there": {[]string{"inspect", "--spec", bollardSpec, folder + "/none"}, "there is no folder"},
		"nothing delivered":   {[]string{"inspect", "--spec", bollardSpec, t.TempDir()}, "geometry file"},
		"no such flag":        {[]string{"inspect", "--frobnicate", folder}, "frobnicate"},
		"no such milestone":   {[]string{"inspect", "--spec", bollardSpec, "--milestone", "gold", folder}, "gold"},
		"explain what":        {[]string{"explain"}, "--spec"},
		"send where":          {[]string{"send", "--spec", bollardSpec, folder}, "--server"},
		"send without token":  {[]string{"send", "--spec", bollardSpec, "--server", "http://127.0.0.1:1", folder}, "token"},
		"send to nowhere":     {[]string{"send", "--spec", bollardSpec, "--server", "harbour", folder}, "http://"},
		"serve without":       {[]string{"serve"}, "DATABASE_URL"},
	} {
		t.Run(name, func(t *testing.T) {
			env := []string{"DATABASE_URL=", "S3_ACCESS_KEY=", "S3_SECRET_KEY=", "PROOFHOUSE_TOKEN="}
			if name == "send to nowhere" {
				env = append(env, "PROOFHOUSE_TOKEN=x")
			}
			r := run(t, env, c.args...)
			require.Equal(t, 2, r.code, r.out+r.err)
			require.Contains(t, r.err, c.says)
			require.Empty(t, r.out)
		})
	}
}

// Not evaluated is not "called wrongly", and an old verdict does not stay beside a new failure.
func TestNotEvaluated(t *testing.T) {
	t.Parallel()
	folder, _ := boxFolder(t, "box")
	out := filepath.Join(t.TempDir(), "out")
	spec := filepath.Join(t.TempDir(), "box.yaml")
	require.NoError(t, os.WriteFile(spec, []byte(boxSpec("box")), 0o600))
	first := run(t, nil, "inspect", "--spec", spec, "--out", out, folder)
	require.Contains(t, []int{0, 1, 3}, first.code, first.err)
	require.FileExists(t, filepath.Join(out, "evidence.json"))

	require.NoError(t, os.WriteFile(filepath.Join(folder, "delivery.yaml"), []byte("prop: [\n"), 0o600))
	r := run(t, nil, "inspect", "--spec", spec, "--out", out, folder)
	require.Equal(t, 3, r.code)
	require.Contains(t, r.err, "delivery.yaml:")
	require.NoFileExists(t, filepath.Join(out, "evidence.json"))

	require.NoError(t, os.Remove(filepath.Join(folder, "delivery.yaml")))
	require.NoError(t, os.WriteFile(filepath.Join(out, "evidence.json"), []byte(`{"schema":"of another program"}`), 0o600))
	r = run(t, nil, "inspect", "--spec", spec, "--out", out, folder)
	require.Equal(t, 3, r.code)
	require.Contains(t, r.err, "not one of ours")
}

// Roles that the names do not tell are asked for, and told from delivery.yaml afterwards.
func TestQuestions(t *testing.T) {
	t.Parallel()
	folder, _ := boxFolder(t, "box")
	require.NoError(t, os.Rename(filepath.Join(folder, "box_game.glb"), filepath.Join(folder, "final_final.glb")))
	spec := filepath.Join(t.TempDir(), "box.yaml")
	require.NoError(t, os.WriteFile(spec, []byte(boxSpec("box")), 0o600))
	out := filepath.Join(t.TempDir(), "out")
	r := run(t, nil, "inspect", "--no-pictures", "--spec", spec, "--out", out, folder)
	require.Contains(t, r.out, "final_final.glb: No name pattern tells what this geometry is. Say in delivery.yaml which: game, game.lod1")
	require.NotContains(t, readRoles(t, out), "game")

	told := filepath.Join(folder, "delivery.yaml")
	data, err := os.ReadFile(filepath.Join(out, "delivery.yaml"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(told, []byte(strings.Replace(string(data), "role: other", "role: game", 1)), 0o600))
	r = run(t, nil, "inspect", "--no-pictures", "--spec", spec, "--out", out, folder)
	require.NotContains(t, r.out, "Say in delivery.yaml")
	require.Contains(t, readRoles(t, out), "game")
}

func readRoles(t *testing.T, out string) (roles []string) {
	t.Helper()
	for _, in := range readEvidence(t, out).Inputs {
		roles = append(roles, in.Role)
	}
	return roles
}

func TestExplain(t *testing.T) {
	t.Parallel()
	r := run(t, nil, "explain", "--spec", bollardSpec)
	require.Zero(t, r.code, r.err)
	require.Contains(t, r.out, "Mooring bollard (bollard)")
	require.Regexp(t, regexp.MustCompile(`target_px_per_m\s+736 px/m  <- spec line`), r.out)
	german := run(t, nil, "explain", "--spec", bollardSpec, "--language", "de")
	require.Zero(t, german.code, german.err)
	require.Contains(t, german.out, "Zu liefern für den Meilenstein")
	require.Equal(t, strings.Count(r.out, "\n"), strings.Count(german.out, "\n"), "the same in either language")
	for _, help := range [][]string{{"help"}, {"--help"}, {"inspect", "--help"}, {"send", "-h"}, {"explain", "-h"}, {"serve", "-h"}} {
		r := run(t, nil, help...)
		require.Zero(t, r.code, help)
		require.NotEmpty(t, r.out, help)
		require.Empty(t, r.err, help)
	}
}
