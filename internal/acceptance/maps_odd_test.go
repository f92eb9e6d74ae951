package acceptance

import (
	"bytes"
	"encoding/binary"
	stdimage "image"
	"image/color"
	stdpng "image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/image/tiff"
	"pgregory.net/rapid"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// oddImage is any image of any small size and kind, encoded; or bytes that are none.
func oddImage(t *rapid.T) (ext string, data []byte) {
	w, h := rapid.IntRange(1, 40).Draw(t, "w"), rapid.IntRange(1, 40).Draw(t, "h")
	r := stdimage.Rect(0, 0, w, h)
	var img stdimage.Image
	fill := func(pix []uint8) {
		seed, step := rapid.Byte().Draw(t, "seed"), rapid.IntRange(0, 7).Draw(t, "step")
		for i := range pix {
			pix[i] = seed + byte(i*step)
		}
	}
	switch rapid.IntRange(0, 5).Draw(t, "kind") {
	case 0:
		g := stdimage.NewGray(r)
		fill(g.Pix)
		img = g
	case 1:
		g := stdimage.NewGray16(r)
		fill(g.Pix)
		img = g
	case 2:
		g := stdimage.NewNRGBA64(r)
		fill(g.Pix)
		img = g
	case 3:
		g := stdimage.NewPaletted(r, color.Palette{color.NRGBA{1, 2, 3, 0}, color.NRGBA{200, 100, 50, 255}})
		img = g
	default:
		g := stdimage.NewNRGBA(r)
		fill(g.Pix)
		img = g
	}
	var b bytes.Buffer
	switch rapid.IntRange(0, 4).Draw(t, "file") {
	case 0:
		if tiff.Encode(&b, img, nil) == nil {
			return ".tif", b.Bytes()
		}
	case 1:
		return ".tga", append(tgaOf(w, h), 1, 2, 3)
	case 2:
		return ".png", rapid.SliceOfN(rapid.Byte(), 0, 64).Draw(t, "junk")
	case 3:
		return ".ktx2", twoChannelKTX(w, h, byte(w*h))
	}
	b.Reset()
	if err := stdpng.Encode(&b, img); err != nil {
		t.Fatal(err)
	}
	return ".png", b.Bytes()
}

// twoChannelKTX is a KTX2 file of two 8-bit channels (VkFormat 16) with one value all over.
func twoChannelKTX(w, h int, v byte) []byte {
	le := binary.LittleEndian
	b := make([]byte, 104)
	copy(b, "\xabKTX 20\xbb\r\n\x1a\n")
	for at, x := range map[int]uint32{12: 16, 16: 1, 20: uint32(w), 24: uint32(h), 36: 1, 40: 1, 80: 104, 88: uint32(2 * w * h), 96: uint32(2 * w * h)} {
		le.PutUint32(b[at:], x)
	}
	return append(b, bytes.Repeat([]byte{v}, 2*w*h)...)
}

// Any maps on any layout: no panic, shares are shares, and what cannot be read is never a pass.
func TestMapsOnOddInput(t *testing.T) {
	t.Parallel()
	root := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		b := newProp("crate_a.glb")
		m := b.material("wood", 0)
		uv := rapid.SampledFrom([]float32{0, 0.3, 1, 1.7, -2.2, float32(math.NaN()), float32(math.Inf(1)), 1e30})
		b.node("n", identity16, quadPrim(m, 0, 0, 1, 1, uv.Draw(rt, "u0"), uv.Draw(rt, "v0"), uv.Draw(rt, "u1"), uv.Draw(rt, "v1")))
		b.scene.Materials[m].AlphaMode = rapid.SampledFrom([]string{"", "OPAQUE", "MASK", "BLEND"}).Draw(rt, "mode")
		b.scene.Materials[m].AlphaCutoff = rapid.Float64Range(0, 2).Draw(rt, "cutoff")
		s := b.subject(rt, specOf(rt, spec.Hero, ""))
		dir, err := os.MkdirTemp(root, "")
		require.NoError(rt, err)
		s.Folder = dir
		set := s.Sets[0]
		set.Def.Kind = rapid.SampledFrom([]spec.SetKind{spec.Baked, spec.Tiling, spec.Trim, spec.DecalAtlas, spec.UDIM}).Draw(rt, "set")
		set.Def.ShipPx = rapid.SampledFrom([]int{0, 1, 16, 4096}).Draw(rt, "ship")
		set.Maps, set.maps = map[string]*File{}, &mapsMeasure{}
		s.Parts[0].Def.Kind = rapid.SampledFrom([]spec.PartKind{spec.Solid, spec.Card}).Draw(rt, "part")
		for _, name := range []string{"base_color", "normal", "normal_baked", "orm", "opacity"} {
			if !rapid.Bool().Draw(rt, name) {
				continue
			}
			ext, data := oddImage(rt)
			path := "wood_" + name + ext
			require.NoError(rt, os.WriteFile(filepath.Join(dir, path), data, 0o600))
			f := &File{Path: path, Role: "map." + name, Set: set.Name, SHA256: "x"}
			readImageHeader(mesh.MemSource{path: data}, f)
			s.Files, set.Maps[name] = append(s.Files, f), f
		}
		for _, c := range append(mapChecks(), alphaChecks()...) {
			for _, f := range runCheck(rt, s, c.Def.Name) {
				for k, v := range f.Metrics {
					if unitOf(k) == "share" {
						require.True(rt, v >= 0 && v <= 1 || k == "coverage_share" && v >= 0, "%s %s %g", c.Def.Name, k, v)
					}
				}
			}
		}
	})
}

// A two-channel KTX2 map is a normal map with its blue rebuilt.
func TestTwoChannelKTX2(t *testing.T) {
	t.Parallel()
	s := twoIslands(t, t.TempDir(), "", map[string][]byte{"normal.ktx2": twoChannelKTX(64, 64, 140)})
	f := run1(t, s, "maps.normal_valid")
	require.Equal(t, "two, blue rebuilt", f.Labels["channels"])
	require.Zero(t, f.Metrics["off_length_share"])
	require.InDelta(t, 1, f.Metrics["tilted_share"], 1e-9, "140 leans 5.6° each way")
}
