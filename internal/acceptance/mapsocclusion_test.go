package acceptance

import (
	stdimage "image"
	"image/color"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// trench is a square metre with a trench of 0.2 m across X, depth metres deep.
func trench(depth float32) mesh.Primitive {
	const n = 40
	p := mesh.Primitive{Material: -1, Mode: 4}
	for j := range n + 1 {
		for i := range n + 1 {
			z := float32(0)
			if i > 15 && i < 25 {
				z = -depth
			}
			p.Pos = append(p.Pos, float32(i)/n, float32(j)/n, z)
			p.Nrm = append(p.Nrm, 0, 0, 1)
		}
	}
	for j := range uint32(n) {
		for i := range uint32(n) {
			a := j*(n+1) + i
			p.Tri = append(p.Tri, a, a+1, a+n+2, a, a+n+2, a+n+1)
		}
	}
	return p
}

// occlusionMap is white with a dark band; along says that it runs as the trench does.
func occlusionMap(along bool, dark, light uint16) []byte {
	img := stdimage.NewNRGBA64(stdimage.Rect(0, 0, 128, 128))
	for y := range 128 {
		for x := range 128 {
			at := y
			if along {
				at = x
			}
			v := light
			if at > 50 && at < 78 {
				v = dark
			}
			img.SetNRGBA64(x, y, color.NRGBA64{v, v, v, 65535})
		}
	}
	return pngMap(img, 8)
}

func TestOcclusion(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		data  []byte
		depth float32
		want  Outcome
		label string
	}{
		{"dark in the trench", occlusionMap(true, 20000, 60000), 0.25, Pass, ""},
		{"dark outside it", occlusionMap(true, 60000, 20000), 0.25, Warn, "inverted"},
		{"white", occlusionMap(true, 65535, 65535), 0.25, Warn, "even"},
		{"of another layout", occlusionMap(false, 20000, 60000), 0.25, Warn, ""},
		{"white over an even sculpt", occlusionMap(true, 65535, 65535), 0, Pass, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			b := newProp("crate_a.glb")
			m := b.material("wood", 0)
			b.node("plate", identity16, quadPrim(m, 0, 0, 1, 1, 0, 0, 1, 1))
			high := newProp("crate_a_sculpt.glb")
			high.node("plate_sculpt", identity16, trench(c.depth))
			s := b.subject(t, specOf(t, spec.Hero, "conventions: {reach_mm: {front: 20, back: 400}}\n"))
			sculpt := mesh.Flatten(high.scene, high.scene.Draws)
			s.Sculpt, s.Parts[0].Sculpt = &Body{Surface: sculpt}, sculpt
			s.Parts[0].DiagonalMM = 1414
			set := s.Sets[0]
			set.Game, set.maps = s.LODs[0].Surface, &mapsMeasure{}
			s.Folder = writeFolder(t, map[string]any{"wood_occlusion.png": c.data})
			set.Maps = map[string]*File{"occlusion": {Path: "wood_occlusion.png", Role: "map.occlusion", Set: set.Name, SHA256: "x"}}
			f := run1(t, s, "maps.occlusion")
			require.Equal(t, c.want, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.Equal(t, c.label, f.Labels["looks_like"])
			if c.want == Pass && c.depth > 0 {
				require.Greater(t, f.Metrics["correlation"], 0.7)
			}
		})
	}
}
