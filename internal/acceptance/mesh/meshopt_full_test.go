//go:build full

package mesh

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/oracle"
)

// Every mode, filter, version and stride as the reference implementation packs it (npm meshoptimizer 1.3.0, MIT): what we
// unpack is what the reference unpacks, to the byte; filters may round a half the other way.
func TestMeshoptAgainstTheReference(t *testing.T) {
	var got struct{ Cases []meshoptCase }
	oracle.Start(t, "meshopt.mjs").Ask(map[string]any{"seed": 20261127, "rounds": 12}, &got)
	require.Greater(t, len(got.Cases), 400)
	for i, c := range got.Cases {
		c.check(t, fmt.Sprintf("case %d: %s %s v%d, %d of %d bytes", i, c.Mode, c.Filter, c.Version, c.Count, c.Stride))
	}
}

// Real props compressed by another program (glTF-Transform 4.5.1 with meshoptimizer's encoder) hold the same mesh as before.
func TestMeshoptProps(t *testing.T) {
	run := oracle.Start(t, "meshopt.mjs")
	for _, path := range props(t)[:8] {
		out := filepath.Join(t.TempDir(), "packed.glb")
		run.Ask(map[string]any{"path": path, "out": out, "method": "quantize"}, &struct{}{})
		plain, packed := loadFile(t, path), loadFile(t, out)
		require.Contains(t, packed.Extensions, meshoptName)
		require.Equal(t, len(plain.Prims), len(packed.Prims), path)
		for i := range plain.Prims {
			require.Equal(t, plain.Prims[i].Pos, packed.Prims[i].Pos)
			require.Equal(t, plain.Prims[i].Nrm, packed.Prims[i].Nrm)
			require.Equal(t, plain.Prims[i].UV, packed.Prims[i].UV)
			require.Equal(t, len(plain.Prims[i].Tri), len(packed.Prims[i].Tri))
		}
	}
}

func loadFile(t *testing.T, path string) *Scene {
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	s, issues := Load(MemSource{"a.glb": data}, "a.glb", Limits{})
	require.Empty(t, codes(issues, false), path)
	require.NotNil(t, s)
	t.Cleanup(func() { s.Close() })
	return s
}
