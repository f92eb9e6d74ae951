package acceptance

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"image"
	"image/png"
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/raster"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
)

func picturesOf(t testing.TB, sp *spec.Spec, folder string, threads int) *Result {
	t.Helper()
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Pictures: true, Threads: threads})
	require.NoError(t, err)
	return r
}

// bollardPictured is the harbour's bollard as its tests compare it: inspected once on one thread, with pictures, and only read.
func bollardPictured(t testing.TB) *Result {
	t.Helper()
	pictured.Do(func() {
		r, err := Inspect(context.Background(), Job{Spec: specFromFile(t, "bollard.yaml", spec.Final), Folder: harbourBollard(t), Pictures: true, Threads: 1,
			Progress: func(what string, done float64) { pictured.told = append(pictured.told, toldOf{what, done}) }})
		require.NoError(t, err)
		pictured.r = r
	})
	require.NotNil(t, pictured.r, "the test that made it failed")
	return pictured.r
}

// inspectedOnce is an inspection that several tests read.
type inspectedOnce struct {
	sync.Once
	r    *Result
	told []toldOf // of its progress
}

type toldOf struct {
	what string
	done float64
}

var pictured inspectedOnce

func pictureNames(r *Result) (names []string) {
	for _, p := range r.Pictures {
		names = append(names, p.Name)
	}
	return names
}

// namedIn lists the checks whose findings name a picture.
func namedIn(r *Result, picture string) map[string]bool {
	out := map[string]bool{}
	for _, f := range r.Evidence.Findings {
		for _, n := range f.Pictures {
			if n == picture {
				out[f.Check] = true
			}
		}
	}
	return out
}

func TestPicturesOfADelivery(t *testing.T) {
	t.Parallel()
	one := bollardPictured(t)
	names := pictureNames(one)
	require.Equal(t, []string{"prop_lit.png", "prop_clay.png", "prop_game_distance.png"}, names[:3], "the prop first, measurements after")
	for _, want := range []string{"deviation_sides.png", "deviation.glb", "uv_density.png"} {
		require.Contains(t, names, want)
	}
	for i, p := range one.Pictures {
		require.NotEmpty(t, p.What, p.Name)
		require.NotEqual(t, "other", pictureKind(p.Name), "a kind of picture that no language has words for")
		ref := one.Evidence.Pictures[i]
		require.Equal(t, []string{p.Name, p.What, p.SHA256}, []string{ref.Name, ref.What, ref.SHA256})
		if p.MIME != "image/png" {
			sum := sha256.Sum256(p.Bytes)
			require.Equal(t, hex.EncodeToString(sum[:]), p.SHA256)
			continue
		}
		img, err := png.Decode(bytes.NewReader(p.Bytes))
		require.NoError(t, err, p.Name)
		require.Equal(t, p.SHA256, pixelDigest(img), "%s: the digest is that of size and pixels", p.Name)
	}
	require.True(t, namedIn(one, "deviation_sides.png")["surface.poke_through"])
	require.True(t, namedIn(one, "uv_density.png")["uv.texel_density"])
	require.Empty(t, namedIn(one, "uv_density.png")["surface.deviation"])
}

// pixelDigest computes the digest of the evidence's definition from a decoded picture.
func pixelDigest(img image.Image) string {
	b := img.Bounds()
	h := sha256.New()
	h.Write(binary.LittleEndian.AppendUint32(nil, uint32(b.Dx())))
	h.Write(binary.LittleEndian.AppendUint32(nil, uint32(b.Dy())))
	for y := range b.Dy() {
		for x := range b.Dx() {
			r, g, bl, a := img.At(x, y).RGBA()
			h.Write([]byte{byte(r >> 8), byte(g >> 8), byte(bl >> 8), byte(a >> 8)})
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// What is missing takes only its own pictures away, and nothing stops the inspection.
func TestPicturesWithoutEverything(t *testing.T) {
	t.Parallel()
	sp := specFromText(t, "prop: buoy\ntier: background\n", spec.Final) // seen from far off: fewer pixels to look at
	box := glbBox([3]float32{-1, 0, -1}, [3]float32{1, 1, 1}, nil, 0.1)
	single := func(p glbwrite.Prim) glbwrite.Scene { return glbwrite.Single("buoy", p) }
	noUV, noNormals := box, box
	noUV.UV = nil
	noNormals.Nrm = nil
	flat, far, tiny := box, box, box
	flat.Pos = make([]float32, len(box.Pos))
	far.Pos = scaledBy(box.Pos, 1e30)
	tiny.Pos = scaledBy(box.Pos, 1e-6)
	straight := glbwrite.Prim{Pos: []float32{0, 0, 0, 0, 1, 0, 0, 2, 0}, Tri: []uint32{0, 1, 2}}
	for _, c := range []struct {
		name  string
		files map[string]any
		want  []string
	}{
		{"no UVs", map[string]any{"buoy_game.glb": single(noUV)}, []string{"prop_lit.png", "prop_clay.png", "prop_game_distance.png"}},
		{"no normals, no maps", map[string]any{"buoy_game.glb": single(noNormals)}, []string{"prop_lit.png", "prop_clay.png", "prop_game_distance.png"}},
		{"all vertices in one point", map[string]any{"buoy_game.glb": single(flat), "buoy_sculpt.glb": single(box)}, nil},
		{"beyond every scale", map[string]any{"buoy_game.glb": single(far), "buoy_sculpt.glb": single(far)}, nil},
		{"a micrometre", map[string]any{"buoy_game.glb": single(tiny), "buoy_sculpt.glb": single(tiny)}, []string{"prop_lit.png"}},
		{"one triangle without area", map[string]any{"buoy_game.glb": single(straight)}, nil},
		{"a broken map", map[string]any{"buoy_game.glb": single(box), "buoy_base_color.png": pngOf(t, 64)[:200]}, []string{"prop_lit.png"}},
		{"no geometry", map[string]any{"buoy_base_color.png": pngOf(t, 16)}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := picturesOf(t, sp, writeFolder(t, c.files), 2)
			require.Subset(t, pictureNames(r), c.want)
			for _, p := range r.Pictures {
				require.NotEmpty(t, p.Bytes, p.Name)
			}
		})
	}
}

func scaledBy(v []float32, k float32) []float32 {
	out := make([]float32, len(v))
	for i := range v {
		out[i] = v[i] * k
	}
	return out
}

// The lit still shows the base colour of the delivered map, which wins over the material's own.
func TestStillShowsTheDeliveredMap(t *testing.T) {
	t.Parallel()
	img := image.NewNRGBA(image.Rect(0, 0, 8, 8))
	for i := 0; i < len(img.Pix); i += 4 {
		copy(img.Pix[i:], []uint8{30, 40, 200, 255})
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	m := &glbwrite.Material{Name: "buoy", BaseColor: [4]float64{1, 1, 1, 1}, Roughness: 1}
	folder := writeFolder(t, map[string]any{
		"buoy_game.glb":       glbwrite.Single("buoy", glbBox([3]float32{-1, 0, -1}, [3]float32{1, 1, 1}, m, 0.1)),
		"buoy_base_color.png": b.Bytes(),
	})
	r := picturesOf(t, specFromText(t, "prop: buoy\ntier: mid\n", spec.Final), folder, 2)
	lit, err := png.Decode(bytes.NewReader(r.Pictures[0].Bytes))
	require.NoError(t, err)
	red, _, blue, _ := lit.At(stillWidth/2, stillHeight/2).RGBA()
	require.Greater(t, blue, 2*red)
}

// A square metre over half the tile of 1024 px has 512 px/m, an octave below a hero's 1024: the scale's lower end. Where a
// second one lies over its right half there are stripes.
func TestUVPictureColoursAndStripes(t *testing.T) {
	t.Parallel()
	b := newProp("buoy.glb")
	m := b.material("buoy", 1024)
	b.node("one", identity16, quadPrim(m, 0, 0, 1, 1, 0.1, 0.1, 0.6, 0.6))
	b.node("two", moved(3, 0, 0), quadPrim(m, 0, 0, 0.5, 1, 0.35, 0.1, 0.6, 0.6))
	b.node("aside", moved(6, 0, 0), quadPrim(m, 0, 0, 0.125, 0.125, 5.7, 3.7, 5.825, 3.825)) // whole tiles away, at 1024 px/m
	sf := mesh.Flatten(b.scene, b.scene.Draws)
	s := &Subject{Spec: specFromText(t, "prop: buoy\ntier: hero\n", spec.Final), LODs: []*Body{{Surface: sf}}, Threads: 2}
	set := &Set{Name: "buoy", Def: spec.Set{Name: "buoy", Kind: spec.Baked}, Game: sf, WidthPx: 1024, HeightPx: 1024}
	s.Sets = []*Set{set}
	d := uvPicture(context.Background(), s, set, "uv_density.png")
	require.NotNil(t, d)
	at := func(u, v float64) raster.Colour {
		return d.canvas.Get(sheetMargin+int(u*uvTilePx), headHeight+int(v*uvTilePx))
	}
	require.Equal(t, raster.Signed.At(0), at(0.2, 0.3))
	require.Equal(t, raster.Signed.At(0.5), at(0.72, 0.76), "folded by whole tiles, on target")
	striped := 0
	for i := range 70 {
		if at(0.5, 0.2+float64(i)/uvTilePx) != at(0.2, 0.3) {
			striped++
		}
	}
	require.InDelta(t, 30, striped, 6, "three of seven pixels")
	require.Equal(t, raster.Colour{R: 255, G: 255, B: 255}, at(0.8, 0.2), "nothing there")
	set.WidthPx = 0
	require.Nil(t, uvPicture(context.Background(), s, set, "uv_density.png"), "without a size there is no density")
}

// polygonLoop is a regular polygon around a point, in millimetres.
func polygonLoop(n int, r, x, y float64) surface.Loop {
	var l surface.Loop
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		l = append(l, [2]float64{x + r*c, y + r*s})
	}
	return l
}

func outlinePart(name string, sides int) compared {
	offset := 100 * (1 - math.Cos(math.Pi/float64(sides))) // of a polygon in its circle, R(1 - cos(pi/n))
	return compared{part: &Part{Name: name}, views: []surface.View{{
		Toward: [3]float64{0.6, 0.3, 0.74}, HalfMM: 110,
		Game: []surface.Loop{polygonLoop(sides, 100, 0, 0)}, Sculpt: []surface.Loop{polygonLoop(360, 100, 0, 0)},
		MaxOffsetMM: offset, SculptOut: true,
		WorstFromMM: [2]float64{100 * math.Cos(math.Pi/float64(sides)), 100 * math.Sin(math.Pi/float64(sides))},
		WorstToMM:   [2]float64{(100 - offset) * math.Cos(math.Pi/float64(sides)), (100 - offset) * math.Sin(math.Pi/float64(sides))},
	}}}
}

func TestSilhouettesShowTheWorstViews(t *testing.T) {
	t.Parallel()
	s := &Subject{Spec: specFromText(t, "prop: buoy\ntier: hero\n", spec.Final), Threads: 2}
	require.Nil(t, silhouettes(s, nil))
	require.Nil(t, silhouettes(s, []compared{{part: &Part{}, views: []surface.View{{HalfMM: math.NaN(), Game: []surface.Loop{{{0, 0}}}, Sculpt: []surface.Loop{{{0, 0}}}}}}}))
	d := silhouettes(s, []compared{outlinePart("float", 24), outlinePart("mast", 8), outlinePart("lamp", 12), outlinePart("ring", 96)})
	require.NotNil(t, d)
	require.Equal(t, []string{"surface.silhouette"}, d.Checks)
	// The leftmost panel is the coarsest polygon's: between outline and circle there is the sculpt's own tint.
	tint := 0
	for y := range silhouetteH {
		for x := range silhouetteW / 3 {
			if d.canvas.Get(x, y) == sculptOver {
				tint++
			}
		}
	}
	require.Greater(t, tint, 500)
	odd := outlinePart("odd", 8)
	odd.views[0].Game = append(odd.views[0].Game, surface.Loop{{math.NaN(), 1}, {math.Inf(1), 2}, {1e300, -1e300}}, surface.Loop{})
	odd.views[0].WorstFromMM = [2]float64{math.NaN(), 0}
	require.NotNil(t, silhouettes(s, []compared{odd}))
}

func TestDeviationScaleHoldsLimitAndPatches(t *testing.T) {
	t.Parallel()
	m := &heatMesh{height: []float32{0, 0.1, -0.2, float32(math.NaN())}}
	require.Equal(t, 0.2, m.spread())
	m.limitMM = 1.5
	require.Equal(t, 2.0, m.spread())
	m.patches = []ringed{{Patch: surface.Patch{HeightMM: 4.1}}}
	require.Equal(t, 5.0, m.spread())
	require.Equal(t, 1.0, (&heatMesh{height: []float32{float32(math.NaN())}}).spread())
}

func TestRoundNumbers(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ v, up, down float64 }{{1, 1, 1}, {1.01, 2, 1}, {4.9, 5, 2}, {730, 1000, 500}, {0.03, 0.05, 0.02}} {
		require.InEpsilon(t, c.up, roundUp(c.v), 1e-9, "%v", c.v)
		require.InEpsilon(t, c.down, roundDown(c.v), 1e-9, "%v", c.v)
	}
	for _, v := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		require.Positive(t, roundUp(v))
	}
	require.Equal(t, "+Z +X", sideAxes([3]float64{0.7, 0, 0.7}))
	require.Equal(t, "−X −Y", sideAxes([3]float64{-0.7, -0.7, 0}))
	require.Equal(t, "0.26 mm", lengthText(0.26))
	require.Equal(t, "4.1 mm", lengthText(4.08))
	require.Equal(t, "1500 mm", lengthText(1500))
}

// BenchmarkPictures makes all pictures of a drum with a lumpy sculpt, 12 k triangles in the game mesh.
func BenchmarkPictures(b *testing.B) {
	pos, nrm, uv, tri := drum(96, 62)
	folder := b.TempDir()
	game := glbwrite.Single("buoy", glbwrite.Prim{Pos: pos, Nrm: nrm, UV: uv, Tri: tri})
	require.NoError(b, glbwrite.WriteFile(folder+"/buoy_game.glb", game))
	sp := specFromText(b, "prop: buoy\ntier: hero\nsets: [{name: default, match: [\"*\"], kind: baked, ship_px: 2048}]\n", spec.Final)
	files := filesOf(folder, &Manifest{Prop: "buoy", Files: []ManifestFile{{Path: "buoy_game.glb", Role: "game"}}}, sp)
	require.NoError(b, hashFiles(context.Background(), folder, files, nil, func(float64) {}))
	s, _, _, err := build(context.Background(), sp, folder, files, 0, func(string, float64) {})
	require.NoError(b, err)
	m := &heatMesh{pos: pos, tri: tri, height: make([]float32, len(pos)/3), rangeMM: 5, limitMM: 1}
	for i := range m.height {
		m.height[i] = pos[3*i] * 4
	}
	outlines := []compared{outlinePart("a", 8), outlinePart("b", 12), outlinePart("c", 24)}
	b.ReportAllocs()
	for b.Loop() {
		all := pictures(context.Background(), s, nil, nil)
		require.Len(b, all, 4)
		var more album
		more.add(deviationSides(context.Background(), s, m))
		more.add(silhouettes(s, outlines))
		require.Len(b, more.bound(), 2)
	}
	b.ReportMetric(float64(len(tri)/3), "triangles")
}

// drum is a closed lathe surface with rings of segments: 2·segments·rings triangles.
func drum(segments, rings int) (pos, nrm, uv []float32, tri []uint32) {
	for r := range rings + 1 {
		t := math.Pi * float64(r) / float64(rings)
		for s := range segments + 1 {
			sp, cp := math.Sincos(t)
			ss, cs := math.Sincos(2 * math.Pi * float64(s) / float64(segments))
			pos = append(pos, float32(0.4*sp*cs), float32(0.5-0.5*cp), float32(-0.4*sp*ss))
			nrm = append(nrm, float32(sp*cs), float32(-cp), float32(-sp*ss))
			uv = append(uv, float32(s)/float32(segments), float32(r)/float32(rings))
		}
	}
	for r := range rings {
		for s := range segments {
			a := uint32(r*(segments+1) + s)
			b := a + uint32(segments+1)
			tri = append(tri, a, a+1, b+1, a, b+1, b)
		}
	}
	return pos, nrm, uv, tri
}

// The prop in real pixels alone is the middle of the still at the game's distance, pixel for pixel, and stands on the same
// line as every other prop's.
func TestTruePixelsAreThoseOfTheGameDistance(t *testing.T) {
	t.Parallel()
	r := bollardPictured(t)
	decoded := map[string]image.Image{}
	for _, p := range r.Pictures {
		if p.Name == "prop_game_distance.png" || p.Name == "prop_true_pixels.png" {
			img, err := png.Decode(bytes.NewReader(p.Bytes))
			require.NoError(t, err)
			decoded[p.Name] = img
		}
	}
	far, alone := decoded["prop_game_distance.png"], decoded["prop_true_pixels.png"]
	w, h := alone.Bounds().Dx(), alone.Bounds().Dy()
	require.Less(t, w, 640, "a bollard five metres away is no large thing")
	x0, y0 := sheetMargin+(int((1280-24)/2-sheetMargin)-w)/2, headHeight+(far.Bounds().Dy()-sheetMargin-headHeight-h)/2
	floor := alone.At(0, h-1)
	lowest := 0
	for y := range h {
		for x := range w {
			require.Equal(t, far.At(x0+x, y0+y), alone.At(x, y), "pixel %d, %d", x, y)
			if r1, g1, b1, _ := alone.At(x, y).RGBA(); x > w/3 && x < 2*w/3 {
				r2, g2, b2, _ := floor.RGBA()
				if max(r1, r2)-min(r1, r2)+max(g1, g2)-min(g1, g2)+max(b1, b2)-min(b1, b2) > 0x6000 {
					lowest = y
				}
			}
		}
	}
	require.InDelta(t, h-trueMargin, lowest, 6, "the prop's foot stands on the common line")
}
