package acceptance

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// glbSheet is a flat sheet of n × n quads.
func glbSheet(n int) glbwrite.Prim {
	var p glbwrite.Prim
	for y := range n + 1 {
		for x := range n + 1 {
			p.Pos = append(p.Pos, float32(x)*.001, 0, float32(y)*.001)
			p.Nrm = append(p.Nrm, 0, 1, 0)
		}
	}
	for y := range n {
		for x := range n {
			a := uint32(y*(n+1) + x)
			b := a + uint32(n) + 1
			p.Tri = append(p.Tri, a, b, a+1, a+1, b, b+1)
		}
	}
	return p
}

// TestSharedArrays: parts of a sculpt are pieces of the body's arrays, so that millions of triangles lie in memory once.
func TestSharedArrays(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: crate\ntier: mid\nparts: [{name: lid}, {name: body}]\n", spec.Final)
	s, _, _ := subjectOf(t, sp, writeFolder(t, map[string]any{
		"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body", 0, nil), unitBox("crate_lid", 1, nil)}},
		"crate_sculpt.glb": glbwrite.Scene{Roots: []*glbwrite.Node{
			{Name: "crate_body_sculpt", Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{glbSheet(20)}}},
			{Name: "crate_lid_sculpt", Mesh: &glbwrite.Mesh{Prims: []glbwrite.Prim{glbSheet(10)}}}}},
	}))
	lid, body := s.Parts[0], s.Parts[1]
	require.Equal(t, 200, lid.Sculpt.Triangles())
	require.Equal(t, 800, body.Sculpt.Triangles())
	require.Same(t, &s.Sculpt.Pos[0], &lid.Sculpt.Pos[0])
	require.Same(t, &s.Sculpt.Pos[len(lid.Sculpt.Pos)], &body.Sculpt.Pos[0])
	for _, p := range s.Parts {
		for _, v := range p.Sculpt.Tri {
			require.Less(t, int(v), len(p.Sculpt.Pos)/3)
		}
		require.Equal(t, p.Sculpt.Triangles(), p.Sculpt.Of[0].End)
	}
	// A window is a surface of its own: writing behind it must not reach the next part.
	require.Equal(t, len(lid.Sculpt.Pos), cap(lid.Sculpt.Pos))
}

// BenchmarkBuild reads, hashes and sorts a delivery with a sculpt of 500,000 triangles.
func BenchmarkBuild(b *testing.B) {
	sp := specFromText(b, "prop: crate\ntier: mid\n", spec.Final)
	dir := writeFolder(b, map[string]any{
		"crate_game.glb": glbwrite.Scene{Roots: []*glbwrite.Node{unitBox("crate_body", 0, nil)}}, "crate_sculpt.glb": glbwrite.Single("crate_sculpt", glbSheet(500)),
	})
	m, _, err := Infer(sp, dir)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		files := filesOf(dir, m, sp)
		if err := hashFiles(b.Context(), dir, files, nil, func(float64) {}); err != nil {
			b.Fatal(err)
		}
		s, _, _, err := build(b.Context(), sp, dir, files, 2, func(string, float64) {})
		if err != nil || s.Sculpt.Triangles() != 500_000 {
			b.Fatal("not built", err)
		}
		closeScenes(s)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/500_000, "ns/triangle")
}
