package mesh

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// A single draw that stays where it is shares the primitive's arrays; the same draw behind another one is copied, and
// says the same.
func TestFlattenInPlaceSaysWhatACopyDoes(t *testing.T) {
	t.Parallel()
	pos := []float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 1, 1, 0}
	tri := []uint32{0, 1, 2, 2, 1, 3}
	for name, p := range map[string]glbwrite.Prim{
		"bare":            {Pos: pos, Tri: tri},
		"normals and UVs": {Pos: pos, Tri: tri, Nrm: []float32{0, 0, 2, 0, 0, 1, 0, 1, 0, 0, 0, 0}, UV: []float32{0, 0, 1, 0, 0, 1, 1, 1}},
		"normals, no UVs": {Pos: pos, Tri: tri, Nrm: []float32{0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1}},
	} {
		data, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{{Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{p}}}}})
		require.NoError(t, err)
		s, _ := Load(MemSource{"a.glb": data}, "a.glb", Limits{})
		require.NotNil(t, s, name)
		alone := Flatten(s, s.Draws[:1])
		require.Same(t, &s.Prims[0].Pos[0], &alone.Pos[0], name)
		require.Same(t, &s.Prims[0].Tri[0], &alone.Tri[0], name)
		require.Equal(t, len(alone.Pos), cap(alone.Pos), "%s: appending must copy", name)
		require.Equal(t, len(alone.Tri), cap(alone.Tri), name)

		twice := Flatten(s, []Draw{s.Draws[0], s.Draws[0]})
		n, k := len(alone.Pos), len(alone.Tri)
		require.Equal(t, twice.Pos[:n], alone.Pos, name)
		require.Equal(t, twice.Nrm[:n], alone.Nrm, name)
		require.Equal(t, twice.UV[:2*n/3], alone.UV, name)
		require.Equal(t, twice.Tri[:k], alone.Tri, name)
		require.Equal(t, twice.Of[0], alone.Of[0], name)
	}
}
