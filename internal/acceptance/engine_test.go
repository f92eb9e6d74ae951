package acceptance

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// harbourSpecs is the folder of the example specs.
const harbourSpecs = "../../testdata/specs"

// specFromFile reads and resolves one of the example specs.
func specFromFile(t testing.TB, name string, m spec.Milestone) *spec.Spec {
	t.Helper()
	data, err := os.ReadFile(filepath.Join(harbourSpecs, name))
	require.NoError(t, err)
	d, err := spec.Parse(name, data, Catalogue())
	require.NoError(t, err)
	s, err := spec.Resolve(d, Catalogue(), m, spec.Siblings(harbourSpecs))
	require.NoError(t, err)
	return s
}

// specFromText resolves a spec written in a test.
func specFromText(t testing.TB, text string, m spec.Milestone) *spec.Spec {
	t.Helper()
	d, err := spec.Parse("spec.yaml", []byte(text), Catalogue())
	require.NoError(t, err)
	s, err := spec.Resolve(d, Catalogue(), m, nil)
	require.NoError(t, err)
	return s
}

// glbUVPerM is how much of the UV tile a metre takes: at 1024 px it makes 461 px/m.
const glbUVPerM = 0.45

// glbBox is an axis-aligned box from lo to hi in metres (up to 0.7), every side a quad in its sixth of the UV tile.
func glbBox(lo, hi [3]float32, m *glbwrite.Material, uvPerM float32) glbwrite.Prim {
	p := glbwrite.Prim{Material: m}
	for axis := range 3 {
		for side := range 2 {
			u, v := (axis+1)%3, (axis+2)%3
			var n [3]float32
			n[axis] = float32(2*side - 1)
			first := uint32(len(p.Pos) / 3)
			for _, c := range [][2]int{{0, 0}, {1, 0}, {1, 1}, {0, 1}} {
				var at [3]float32
				at[axis] = eitherOf(side, lo[axis], hi[axis])
				at[u], at[v] = eitherOf(c[0], lo[u], hi[u]), eitherOf(c[1], lo[v], hi[v])
				p.Pos = append(p.Pos, at[:]...)
				p.Nrm = append(p.Nrm, n[:]...)
				along := eitherOf(side, at[u]-lo[u], hi[u]-at[u]) // V points down: so neither side is mirrored
				p.UV = append(p.UV, float32(axis)/3+0.005+uvPerM*along, float32(side)/2+0.005+uvPerM*(at[v]-lo[v]))
			}
			if side == 1 {
				p.Tri = append(p.Tri, first, first+1, first+2, first, first+2, first+3)
			} else {
				p.Tri = append(p.Tri, first, first+2, first+1, first, first+3, first+2)
			}
		}
	}
	return p
}

func eitherOf(i int, a, b float32) float32 {
	if i == 0 {
		return a
	}
	return b
}

func glbBoxNode(name string, lo, hi [3]float32, m *glbwrite.Material) *glbwrite.Node {
	return &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name + "_mesh", Prims: []glbwrite.Prim{glbBox(lo, hi, m, glbUVPerM)}}}
}

// writeFolder puts files into a new folder; values are glbwrite.Scene, []byte or string.
func writeFolder(t testing.TB, files map[string]any) string {
	t.Helper()
	dir := t.TempDir()
	for name, v := range files {
		path := filepath.Join(dir, filepath.FromSlash(name))
		require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
		switch v := v.(type) {
		case glbwrite.Scene:
			require.NoError(t, glbwrite.WriteFile(path, v))
		case []byte:
			require.NoError(t, os.WriteFile(path, v, 0o644))
		case string:
			require.NoError(t, os.WriteFile(path, []byte(v), 0o644))
		}
	}
	return dir
}

func pngOf(t testing.TB, edge int) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, edge, edge))
	for i := range img.Pix {
		img.Pix[i] = byte(i)
	}
	img.Set(0, 0, color.White)
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

// harbourBollard is a good delivery of the bollard: a box in a box.
func harbourBollard(t testing.TB) string {
	m := &glbwrite.Material{Name: "bollard"}
	return writeFolder(t, map[string]any{
		"bollard_game.glb":       glbwrite.Scene{Roots: []*glbwrite.Node{glbBoxNode("bollard_body", [3]float32{-.21, 0, -.21}, [3]float32{.21, .7, .21}, m)}},
		"bollard_sculpt.glb":     glbwrite.Scene{Roots: []*glbwrite.Node{glbBoxNode("bollard_body_sculpt", [3]float32{-.2095, .0005, -.2095}, [3]float32{.2095, .6995, .2095}, nil)}},
		"bollard_base_color.png": paint(t, 1024),
		"bollard_normal.png":     ripples(t, 256),
	})
}

func inspectFolder(t testing.TB, sp *spec.Spec, folder string) *Result {
	t.Helper()
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Threads: 2})
	require.NoError(t, err)
	return r
}

// inspectOnly makes the checks of these families alone.
func inspectOnly(t testing.TB, sp *spec.Spec, folder string, families ...string) *Result {
	t.Helper()
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Threads: 2, Only: families})
	require.NoError(t, err)
	return r
}

func findingOf(t testing.TB, e *Evidence, check string) Finding {
	t.Helper()
	for _, f := range e.Findings {
		if f.Check == check {
			return f
		}
	}
	t.Fatalf("no finding of %s", check)
	return Finding{}
}
