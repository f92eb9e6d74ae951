package mesh

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// quad is a unit square in the xy plane that faces +z.
func quad() glbwrite.Prim {
	return glbwrite.Prim{
		Pos: []float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0},
		Nrm: []float32{0, 0, 1, 0, 0, 1, 0, 0, 1, 0, 0, 1},
		UV:  []float32{0, 1, 1, 1, 1, 0, 0, 0},
		Tri: []uint32{0, 1, 2, 0, 2, 3},
	}
}

// The writer's file reads back as what was written: names, sharing, transforms, draws in depth-first order.
func TestLoadWrittenScene(t *testing.T) {
	t.Parallel()
	tex := &glbwrite.Image{Name: "paint", Data: pngBytes(t, 4, 4)}
	paint := &glbwrite.Material{Name: "paint", BaseColorMap: tex, NormalMap: tex, Metallic: 0.5}
	p := quad()
	p.Material = paint
	board := &glbwrite.Mesh{Name: "board", Prims: []glbwrite.Prim{p}}
	data, err := glbwrite.Bytes(glbwrite.Scene{Roots: []*glbwrite.Node{{Name: "crate", Translation: [3]float64{0, 2, 0},
		Children: []*glbwrite.Node{{Name: "left", Mesh: board, Translation: [3]float64{1, 0, 0}}, {Name: "right", Mesh: board, Scale: [3]float64{-1, 1, 1}}}}}})
	require.NoError(t, err)

	s, issues := Load(MemSource{"crate.glb": data}, "crate.glb", Limits{})
	require.Empty(t, issues)
	require.NotNil(t, s)
	defer s.Close()
	require.Len(t, s.Meshes, 1, "the shared mesh is written once")
	require.Len(t, s.Images, 1)
	require.Equal(t, []Draw{{Node: 1, Prim: 0}, {Node: 2, Prim: 0}}, s.Draws)
	require.Equal(t, "paint", s.Materials[0].Name)
	require.Equal(t, 0.5, s.Materials[0].Metallic)
	require.Equal(t, 0, s.Materials[0].BaseTex.Image)
	require.Equal(t, 4, s.Images[0].Width)

	flat := Flatten(s, s.Draws)
	require.Equal(t, []float32{1, 2, 0}, flat.Pos[:3])
	require.Equal(t, []uint32{0, 1, 2, 0, 2, 3}, flat.Tri[:6])
	require.Equal(t, []uint32{4, 6, 5, 4, 7, 6}, flat.Tri[6:], "winding is turned under the mirroring node")
	require.Equal(t, []float32{0, 0, 1}, flat.Nrm[12:15])
	require.Equal(t, Box{Min: [3]float64{-1, 2, 0}, Max: [3]float64{2, 3, 0}}, flat.Bounds())
}

// A file on disk is read through os.Root, mapped when large, and gives the same scene as from memory.
func TestDirSource(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	outside := t.TempDir()
	p := quad()
	for len(p.Pos) < 1<<19 { // past mapFrom bytes
		p.Pos = append(p.Pos, p.Pos[:12]...)
	}
	p.Nrm, p.UV = nil, nil
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "big.glb"), glbwrite.Single("big", p)))
	require.NoError(t, glbwrite.WriteFile(filepath.Join(outside, "secret.glb"), glbwrite.Single("secret", quad())))
	require.NoError(t, os.Symlink(filepath.Join(outside, "secret.glb"), filepath.Join(dir, "link.glb")))
	require.NoError(t, os.Mkdir(filepath.Join(dir, "folder.glb"), 0o700))

	src, err := DirSource(dir, []string{"big.glb", "link.glb", "gone.glb", "folder.glb", "../secret.glb"})
	require.NoError(t, err)
	defer src.Close()
	s, issues := Load(src, "big.glb", Limits{})
	require.Empty(t, issues)
	require.Equal(t, p.Pos, s.Prims[0].Pos)
	require.NoError(t, s.Close())
	require.NoError(t, s.Close(), "closing twice is harmless")

	for name, code := range map[string]string{"link.glb": "container.unreadable", "gone.glb": "container.unreadable",
		"folder.glb": "container.unreadable", "../secret.glb": "self_contained.missing", "unlisted.glb": "self_contained.missing"} {
		s, issues := Load(src, name, Limits{})
		require.Nil(t, s, name)
		require.Len(t, issues, 1, name)
		require.Equal(t, code, issues[0].Code, name)
	}
	_, issues = Load(src, "big.glb", Limits{FileBytes: 1000})
	require.Equal(t, "limits.file_bytes", issues[0].Code)
}
