package acceptance

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/tangent"
)

// withPose adds a mesh that was baked to a drum's delivery.
func withPose(t *testing.T, pose glbwrite.Prim) string {
	t.Helper()
	dir := drumFolder(t, plainDrum(), nil)
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_bake_pose.glb"), glbwrite.Single("drum", pose)))
	return dir
}

// What was baked is what ships, moved apart or turned; and each way in which it may not be is named.
func TestSameMesh(t *testing.T) {
	t.Parallel()
	edit := func(f func(p *glbwrite.Prim)) glbwrite.Prim {
		p := plainDrum()
		f(&p)
		return p
	}
	for _, c := range []struct {
		name    string
		pose    glbwrite.Prim
		outcome Outcome
		says    string
		metric  string
		value   float64
	}{
		{"as it is", plainDrum(), Pass, "is the one that ships", "moved_mm", 0},
		{"moved", edit(func(p *glbwrite.Prim) {
			for i := 0; i < len(p.Pos); i += 3 {
				p.Pos[i] += 0.5
			}
		}), Pass, "is the one that ships", "moved_mm", 500},
		{"turned", edit(func(p *glbwrite.Prim) {
			for _, v := range [][]float32{p.Pos, p.Nrm} {
				for i := 0; i < len(v); i += 3 {
					v[i], v[i+1] = v[i+1], -v[i]
				}
			}
		}), Pass, "is the one that ships", "max_normal_deg", 0},
		{"ten times as large", edit(func(p *glbwrite.Prim) {
			for i := range p.Pos {
				p.Pos[i] *= 10
			}
		}), Pass, "It is 10 times as large.", "scale", 10},
		{"other order", edit(func(p *glbwrite.Prim) {
			for i, j := 0, len(p.Tri)-3; i < j; i, j = i+3, j-3 {
				for k := range 3 {
					p.Tri[i+k], p.Tri[j+k] = p.Tri[j+k], p.Tri[i+k]
				}
			}
			p.Tri[0], p.Tri[1], p.Tri[2] = p.Tri[1], p.Tri[2], p.Tri[0]
		}), Pass, "is the one that ships", "triangles", 0},
		{"one diagonal turned", edit(func(p *glbwrite.Prim) {
			a, b, c, d := p.Tri[0], p.Tri[1], p.Tri[2], p.Tri[5]
			copy(p.Tri, []uint32{a, b, d, d, b, c})
		}), Fail, "1 four-sided face is cut along the other diagonal.", "turned_quads", 1},
		{"a triangle left out", edit(func(p *glbwrite.Prim) { p.Tri = p.Tri[:len(p.Tri)-3] }), Fail, "1 triangle of the mesh that ships is not in the mesh that was baked.", "triangles", 1},
		{"a triangle more", edit(func(p *glbwrite.Prim) { p.Tri = append(p.Tri, p.Tri[0], p.Tri[2], p.Tri[1]) }), Fail, "1 triangle of the mesh that was baked is not in the one that ships.", "triangles", 1},
		{"UVs moved by a texel", edit(func(p *glbwrite.Prim) {
			for i := 0; i < len(p.UV); i += 2 {
				p.UV[i] += 1.0 / 1024
			}
		}), Fail, "192 triangles have other UVs.", "triangles", 192},
		{"normals turned", edit(func(p *glbwrite.Prim) { p.Nrm[0], p.Nrm[1], p.Nrm[2] = 0, 1, 0 }), Fail, "Normals differ by up to 90°.", "max_normal_deg", 90},
		{"a vertex moved", edit(func(p *glbwrite.Prim) { p.Pos[3*30] += 0.002 }), Fail, "differ in shape by up to", "max_shape_mm", 2},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, got := bakesIn(t, "", withPose(t, c.pose), 1)
			f := got["bake.same_mesh"]
			require.Equal(t, c.outcome, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.Contains(t, f.Sentence, c.says)
			require.InDelta(t, c.value, f.Metrics[c.metric], 0.03*c.value+0.01, f.Metrics)
			require.Len(t, f.Labels["mesh_digest"], 64)
			if c.outcome == Fail {
				require.NotEmpty(t, f.Remedy)
				if c.name != "a triangle more" {
					require.NotEmpty(t, f.Where)
				}
			}
		})
	}
	t.Run("none delivered", func(t *testing.T) {
		t.Parallel()
		_, got := bakesIn(t, "", drumFolder(t, plainDrum(), nil), 1)
		require.Equal(t, NotApplicable, got["bake.same_mesh"].Outcome)
	})
	t.Run("none of it can be read", func(t *testing.T) {
		t.Parallel()
		dir := drumFolder(t, plainDrum(), nil)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "drum_bake_pose.glb"), []byte("nothing"), 0o600))
		_, got := bakesIn(t, "", dir, 1)
		require.NotEqual(t, Pass, got["bake.same_mesh"].Outcome)
	})
	t.Run("collapsed", func(t *testing.T) {
		t.Parallel()
		p := plainDrum()
		for i := range p.Pos {
			p.Pos[i] = 0.25
		}
		_, got := bakesIn(t, "", withPose(t, p), 1)
		require.Equal(t, Fail, got["bake.same_mesh"].Outcome, got["bake.same_mesh"].Sentence)
	})
}

// One mesh has one digest, wherever it lies; a turned diagonal has another.
func TestMeshDigest(t *testing.T) {
	t.Parallel()
	digest := func(p glbwrite.Prim) string {
		_, got := bakesIn(t, "", drumFolder(t, p, nil), 1)
		return got["bake.same_mesh"].Labels["mesh_digest"]
	}
	moved, turned := plainDrum(), plainDrum()
	for i := 0; i < len(moved.Pos); i += 3 {
		moved.Pos[i] += 0.25
	}
	copy(turned.Tri, []uint32{turned.Tri[0], turned.Tri[1], turned.Tri[5], turned.Tri[5], turned.Tri[1], turned.Tri[2]})
	want := digest(plainDrum())
	require.Equal(t, want, digest(moved))
	require.NotEqual(t, want, digest(turned))
}

// Delivered tangents are used, and held against MikkTSpace.
func TestDeliveredTangents(t *testing.T) {
	t.Parallel()
	exact := func() glbwrite.Prim {
		p := plainDrum()
		corners := tangent.Generate(p.Pos, p.Nrm, p.UV, p.Tri)
		p.Tan = make([]float32, len(p.Pos)/3*4)
		for c, v := range p.Tri {
			copy(p.Tan[4*v:4*v+4], corners[4*c:4*c+4])
		}
		return p
	}
	flipped, leaning := exact(), exact()
	for i := 3; i < len(flipped.Tan); i += 4 {
		flipped.Tan[i] = -flipped.Tan[i]
	}
	for i := 0; i < len(leaning.Tan); i += 4 { // 20° towards the axis of the drum, which is the bitangent
		x, z := leaning.Tan[i], leaning.Tan[i+2]
		leaning.Tan[i], leaning.Tan[i+1], leaning.Tan[i+2] = x*0.93969262, 0.34202014, z*0.93969262
	}
	for _, c := range []struct {
		name    string
		game    glbwrite.Prim
		outcome Outcome
		says    string
		rebake  Outcome
		fit     string
	}{
		{"none", plainDrum(), NotApplicable, "brings no TANGENT", Pass, "as_delivered"},
		{"MikkTSpace", exact(), Pass, "agrees with MikkTSpace", Pass, "as_delivered"},
		{"the other way round", flipped, Warn, "have the bitangent the other way round", Fail, "green_flipped"},
		{"leaning", leaning, Warn, "20° off MikkTSpace", Fail, "mikktspace_tangents"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, got := bakesIn(t, "", drumFolder(t, c.game, raw(drumMap(t, bumpy, same3))), 1)
			f := got["bake.tangents"]
			require.Equal(t, c.outcome, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.Contains(t, f.Sentence, c.says)
			b := got["maps.normal_baked"]
			require.Equal(t, c.rebake, b.Outcome, "%s %v", b.Sentence, b.Metrics)
			require.Contains(t, []string{c.fit, "mikktspace_tangents"}, b.Labels["best_fit"])
			if c.name == "none" {
				require.Equal(t, "MikkTSpace", b.Labels["tangents"])
			} else {
				require.Equal(t, "delivered TANGENT", b.Labels["tangents"])
			}
		})
	}
}
