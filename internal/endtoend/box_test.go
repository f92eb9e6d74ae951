package endtoend

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
)

// boxSpec is the spec of a box that boxFolder makes; code names the prop.
func boxSpec(code string) string { return "prop: " + code + "\ntier: background\n" }

// boxGLB is a box of 1 m with a side on each face's own part of the texture.
func boxGLB(t *testing.T, name string) []byte {
	t.Helper()
	p := glbwrite.Prim{Material: &glbwrite.Material{Name: name}}
	for axis := range 3 {
		for s, side := range []float32{-1, 1} {
			first := uint32(len(p.Pos) / 3)
			for _, c := range [][2]float32{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
				var pos, nrm [3]float32
				pos[axis], pos[(axis+1)%3], pos[(axis+2)%3] = side/2, c[0]-0.5, (c[1]-0.5)*side
				nrm[axis] = side
				p.Pos, p.Nrm = append(p.Pos, pos[:]...), append(p.Nrm, nrm[:]...)
				p.UV = append(p.UV, (float32(axis)+0.05+0.9*c[0])/3, (float32(s)+0.05+0.9*c[1])/2)
			}
			p.Tri = append(p.Tri, first, first+1, first+2, first, first+2, first+3)
		}
	}
	data, err := glbwrite.Bytes(glbwrite.Single(name, p))
	require.NoError(t, err)
	return data
}

// boxFolder writes a delivery of one small file and returns the folder and the roles in it.
func boxFolder(t *testing.T, code string) (string, map[string]string) {
	t.Helper()
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, code+"_game.glb"), boxGLB(t, code), 0o600))
	return dir, map[string]string{code + "_game.glb": "game"}
}
