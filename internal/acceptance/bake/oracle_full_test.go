//go:build full

package bake

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/oracle"
)

// published loads a prop of npm @webxr-input-profiles/assets 1.0.20.
func published(t *testing.T, name string) *mesh.Scene {
	t.Helper()
	f := filepath.Join(oracle.Modules(t), "@webxr-input-profiles", "assets", "dist", "profiles", filepath.FromSlash(name))
	src, err := mesh.DirSource(filepath.Dir(f), []string{filepath.Base(f)})
	require.NoError(t, err)
	s, _ := mesh.Load(src, filepath.Base(f), mesh.Limits{})
	src.Close()
	require.NotNil(t, s)
	t.Cleanup(func() { s.Close() })
	return s
}

// A real model is its own sculpt: baked onto itself, every normal points straight up, whatever its seams, mirrored islands and
// hard edges. This holds the whole chain of tangents, texels, rays and frames together on meshes that nobody here made.
func TestRealModelsOntoThemselves(t *testing.T) {
	for _, name := range []string{"generic-trigger-squeeze-thumbstick/left.glb", "generic-button/none.glb", "generic-trigger/none.glb", "generic-fixed-hand/left.glb"} {
		s := published(t, name)
		served, covered := 0, 0
		var off tally
		for i := range s.Prims {
			p := &s.Prims[i]
			if p.Nrm == nil || len(p.UV) == 0 || len(p.Tri) == 0 {
				continue
			}
			m := indexed{p.Pos, p.Nrm, p.UV[0], p.Tri}
			size := math.Sqrt(float64((p.Max[0]-p.Min[0])*(p.Max[0]-p.Min[0]) + (p.Max[1]-p.Min[1])*(p.Max[1]-p.Min[1]) + (p.Max[2]-p.Min[2])*(p.Max[2]-p.Min[2])))
			const reach = 1e-4 // of the size: nearer than any neighbour
			got := baked(t, m.game(reach*size, reach*size), NewSculpt(p.Pos, p.Nrm, p.Tri, 0), NewGrid(512, 512, 512))
			for k := range got.Tri {
				if got.Tri[k] < 0 {
					continue
				}
				covered++
				if got.Served(k) {
					served++
					n, _ := unit(got.normal(k))
					off.add(stepsOf(angle(n, vec{0, 0, 1})))
				}
			}
		}
		e := off.error()
		t.Logf("%s: %d texels, %.3f %% served, mean %.4f°, 95 %% within %.4f°, over 10° %.4f %%", name, covered, 100*float64(served)/float64(covered), e.MeanDeg, e.P95Deg, 100*e.ShareOver10)
		require.Greater(t, float64(served), 0.99*float64(covered))
		require.Less(t, e.MeanDeg, 0.05)
		require.Less(t, e.P95Deg, 0.05)
	}
}

// Published normal maps are what we take normal maps to be: vectors of unit length that face out, straight up on average, and
// slopes of a surface. That a field of slopes comes from heights shows in its curl, which is zero; with green the wrong way
// round it is not. Our own bake has green up by that measure, as glTF 2.0, section 3.9.3, has it; the maps of this package
// have it down, by a factor of more than two, which no validator of the standard can see.
func TestPublishedNormalMaps(t *testing.T) {
	high := plane(300, bumps{0.01, 0.25})
	own := asDelivered(baked(t, plane(3, bumps{0, 1}).game(0.03, 0.03), NewSculpt(high.pos, high.nrm, high.tri, 0), NewGrid(256, 256, 256)))
	require.Less(t, curl(own, 1), 0.01*curl(own, -1), "ours has green up")
	for _, name := range []string{"generic-trigger-squeeze-thumbstick/left.glb", "generic-button/none.glb"} {
		s := published(t, name)
		for i := range s.Materials {
			ref := s.Materials[i].Normal
			if ref.Image < 0 {
				continue
			}
			img, err := image.Decode(s.Images[ref.Image].Name, s.Images[ref.Image].Data, image.Limits{}, 2)
			require.NoError(t, err)
			d := &Delivered{W: img.Width, H: img.Height, Channels: img.Channels, Pix8: img.Pix8, Pix16: img.Pix16, Y: 1, Z: 2}
			odd, inward := 0, 0
			var mean vec
			for y := range d.H {
				for x := range d.W {
					v := d.stored(x, y, nil)
					if l := length(v); math.Abs(l-1) > 0.1 {
						odd++
					}
					if v[2] <= 0 {
						inward++
					}
					mean = add(mean, v)
				}
			}
			n := float64(d.W * d.H)
			mean, _ = unit(mean)
			up, down := curl(d, 1), curl(d, -1)
			t.Logf("%s material %d: %d × %d, %.3f %% off length, mean leans %.2f°, curl %.4g with green up and %.4g with green down", name, i, d.W, d.H,
				100*float64(odd)/n, angle(mean, vec{0, 0, 1}), up, down)
			require.Less(t, float64(odd), 0.02*n, "8 bits and JPEG leave lengths within a tenth")
			require.Less(t, float64(inward), 0.001*n)
			require.Less(t, angle(mean, vec{0, 0, 1}), 2.0)
			require.Less(t, down, 0.5*up)
		}
	}
}

// curl is the mean square of the curl of a map's slopes, with green as it is (1) or turned round (-1).
func curl(d *Delivered, green float64) float64 {
	slope := func(x, y int) (alongX, alongY float64) { // of the height, to the right and down
		v := d.direction(d.stored(x, y, nil))
		return -v[0] / max(v[2], 0.1), green * v[1] / max(v[2], 0.1)
	}
	sum := 0.0
	for y := range d.H - 1 {
		for x := range d.W - 1 {
			ax, ay := slope(x, y)
			_, by := slope(x+1, y)
			cx, _ := slope(x, y+1)
			c := (by - ay) - (cx - ax)
			sum += float64(c * c)
		}
	}
	return sum / float64(d.W*d.H)
}
