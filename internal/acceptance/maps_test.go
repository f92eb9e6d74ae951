package acceptance

import (
	"bytes"
	"fmt"
	stdimage "image"
	"image/color"
	"image/jpeg"
	stdpng "image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
)

// mapEdge is the size of the maps in these tests: 512 texels ask for one pixel of bleed.
const mapEdge = 512

// twoIslands is a prop of two squares with one UV island each, in a set with maps in a folder.
func twoIslands(t tester, dir, specText string, maps map[string][]byte) *Subject {
	b := newProp("crate_a.glb")
	m := b.material("wood", 0)
	b.node("left", identity16, quadPrim(m, 0, 0, 1, 1, 0.1, 0.2, 0.45, 0.8))
	b.node("right", moved(2, 0, 0), quadPrim(m, 0, 0, 1, 1, 0.55, 0.2, 0.9, 0.8))
	s := b.subject(t, specOf(t, spec.Hero, specText))
	s.Folder = dir
	set := s.Sets[0]
	set.Maps, set.maps = map[string]*File{}, &mapsMeasure{}
	for _, d := range s.Spec.Sets {
		if d.Name == set.Name {
			set.Def = d
		}
	}
	for _, name := range sortedKeys(maps) {
		path := "wood_" + name
		require.NoError(t, os.WriteFile(filepath.Join(dir, path), maps[name], 0o600))
		role := name[:len(name)-len(filepath.Ext(name))]
		f := &File{Path: path, Role: "map." + role, Set: set.Name, SHA256: "x"}
		readImageHeader(mesh.MemSource{path: maps[name]}, f)
		s.Files = append(s.Files, f)
		set.Maps[role] = f
	}
	return s
}

// painted is a map of the two islands, each with a colour of its own at a texel, carried past their edges by some texels.
func painted(bleed int, ground color.NRGBA, at func(island, x, y int) color.NRGBA64) *stdimage.NRGBA64 {
	img := stdimage.NewNRGBA64(stdimage.Rect(0, 0, mapEdge, mapEdge))
	edge := func(v float64) int { return int(math.Round(v * mapEdge)) }
	for y := range mapEdge {
		for x := range mapEdge {
			img.Set(x, y, ground)
			for k, u := range [][2]float64{{0.1, 0.45}, {0.55, 0.9}} {
				dx := max(edge(u[0])-x, 0, x-edge(u[1])+1)
				dy := max(edge(0.2)-y, 0, y-edge(0.8)+1)
				if dx*dx+dy*dy <= bleed*bleed {
					img.SetNRGBA64(x, y, at(k, x, y))
				}
			}
		}
	}
	return img
}

// png writes an image with 8 or 16 bits.
func pngMap(img *stdimage.NRGBA64, bits int) []byte {
	var b bytes.Buffer
	enc := stdpng.Encoder{CompressionLevel: stdpng.BestSpeed}
	var err error
	if bits == 16 {
		err = enc.Encode(&b, img)
	} else {
		small := stdimage.NewNRGBA(img.Rect)
		for i := range small.Pix {
			small.Pix[i] = img.Pix[2*i]
		}
		err = enc.Encode(&b, small)
	}
	if err != nil {
		panic(err)
	}
	return b.Bytes()
}

func rgb(r, g, b float64) color.NRGBA64 {
	v := func(x float64) uint16 { return uint16(math.Round(min(1, max(0, x)) * 65535)) }
	return color.NRGBA64{v(r), v(g), v(b), 65535}
}

// bump is a normal of waves, 0 to 1 a channel.
func bump(_, x, y int) color.NRGBA64 {
	nx, ny := 0.3*math.Sin(float64(x)/9), 0.3*math.Cos(float64(y)/7)
	return rgb((nx+1)/2, (ny+1)/2, (math.Sqrt(1-nx*nx-ny*ny)+1)/2)
}

// wood and iron: the left island is painted wood, the right one bare metal.
func baseColour(island, x, y int) color.NRGBA64 {
	w := 0.45 + 0.1*math.Sin(float64(x*y)/50)
	if island == 1 {
		w += 0.3
	}
	return rgb(w, w*0.9, w*0.8)
}

func packed(island, x, y int) color.NRGBA64 {
	return rgb(0.75+0.2*math.Sin(float64(x)/30), 0.5+0.2*math.Sin(float64(y)/11), float64(island))
}

var (
	blueGround = color.NRGBA{128, 128, 255, 255}
	black      = color.NRGBA{0, 0, 0, 255}
)

// cleanMaps are maps that nothing is wrong with, for specs that ask for author_px 512.
func cleanMaps() map[string][]byte {
	return map[string][]byte{
		"normal.png":       pngMap(painted(8, blueGround, bump), 8),
		"normal_baked.png": pngMap(painted(8, blueGround, bump), 16),
		"base_color.png":   pngMap(painted(8, black, baseColour), 8),
		"orm.png":          pngMap(painted(8, black, packed), 8),
	}
}

const mapsSpec = "sets: [{name: wood, match: [wood], author_px: 512, ship_px: 512}]\nchecks: {maps.files: {required: [base_color, normal, orm]}}\n"

var mapCheckNames = []string{"maps.files", "maps.normal_valid", "maps.bleed", "maps.base_color", "maps.metal_rough"}

func TestCleanMapsPass(t *testing.T) {
	t.Parallel()
	s := twoIslands(t, t.TempDir(), mapsSpec, cleanMaps())
	for _, name := range mapCheckNames {
		f := run1(t, s, name)
		require.Equal(t, Pass, f.Outcome, "%s: %s %v", name, f.Sentence, f.Metrics)
		require.Empty(t, f.Labels["limit"])
	}
}

// withIn changes a byte stream's colour chunk: a PNG with an sRGB chunk behind its header.
func taggedSRGB(png []byte) []byte {
	chunk := []byte{0, 0, 0, 1, 's', 'R', 'G', 'B', 0, 0, 0, 0, 0}
	out := append(append(bytes.Clone(png[:33]), chunk...), png[33:]...)
	fixCRC(out, 33)
	return out
}

// TestPlantedMapDefects: each defect is found by the check that is for it, with its number and its name, and the other
// checks stay quiet where the map allows it.
func TestPlantedMapDefects(t *testing.T) {
	t.Parallel()
	half := stdimage.NewNRGBA64(stdimage.Rect(0, 0, 256, 256))
	odd := stdimage.NewNRGBA64(stdimage.Rect(0, 0, 512, 300))
	var jpg bytes.Buffer
	require.NoError(t, jpeg.Encode(&jpg, painted(8, blueGround, bump), &jpeg.Options{Quality: 95}))
	encode := func(v uint16) float64 { // linear to sRGB, as a program that takes the map for colour does
		x := float64(v) / 65535
		if x <= 0.0031308 {
			return 12.92 * x
		}
		return 1.055*math.Pow(x, 1/2.4) - 0.055
	}
	for _, c := range []struct {
		name, check string
		put         map[string][]byte
		drop        string
		outcome     Outcome
		metric      string
		lo, hi      float64
		label       string
	}{
		{name: "a map missing", check: "maps.files", drop: "orm.png", outcome: Fail, metric: "missing", lo: 1, hi: 1},
		{name: "half the size", check: "maps.files", put: map[string][]byte{"base_color.png": pngMap(half, 8)}, outcome: Fail, metric: "size_count", lo: 1, hi: 1},
		{name: "no power of two", check: "maps.files", put: map[string][]byte{"orm.png": pngMap(odd, 8)}, outcome: Warn, metric: "power_of_two_count", lo: 1, hi: 1},
		{name: "8 bits for 16", check: "maps.files", put: map[string][]byte{"normal_baked.png": pngMap(painted(8, blueGround, bump), 8)}, outcome: Fail, metric: "depth_count", lo: 1, hi: 1},
		{name: "normal tagged sRGB", check: "maps.files", put: map[string][]byte{"normal.png": taggedSRGB(cleanMaps()["normal.png"])}, outcome: Warn, metric: "colour_space_count", lo: 1, hi: 1},
		{name: "normal as JPEG", check: "maps.files", drop: "normal.png", put: map[string][]byte{"normal.jpg": jpg.Bytes()}, outcome: Warn, metric: "lossy_count", lo: 1, hi: 1},
		{name: "occlusion and metallic swapped", check: "maps.files", put: map[string][]byte{"orm.png": pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
			p := packed(k, x, y)
			p.R, p.B = p.B, p.R
			return p
		}), 8)}, outcome: Warn, metric: "packing_count", lo: 1, hi: 1},
		{name: "a height map", check: "maps.normal_valid", put: map[string][]byte{"normal.png": pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
			return rgb(0.5+0.3*math.Sin(float64(x)/9), 0.5+0.3*math.Sin(float64(x)/9), 0.5+0.3*math.Sin(float64(x)/9))
		}), 8)}, outcome: Fail, metric: "grey_share", lo: 1, hi: 1, label: "greyscale"},
		{name: "flat", check: "maps.normal_valid", put: map[string][]byte{"normal.png": pngMap(painted(8, blueGround, func(k, x, y int) color.NRGBA64 { return rgb(0.5, 0.5, 1) }), 8)},
			outcome: Warn, metric: "tilted_share", lo: 0, hi: 0, label: "flat"},
		{name: "saved as colour", check: "maps.normal_valid", put: map[string][]byte{"normal.png": pngMap(painted(8, blueGround, func(k, x, y int) color.NRGBA64 {
			p := bump(k, x, y)
			return rgb(encode(p.R), encode(p.G), encode(p.B))
		}), 8)}, outcome: Fail, metric: "off_length_share", lo: 0.8, hi: 1, label: "srgb_encoded"},
		{name: "red and blue swapped", check: "maps.normal_valid", put: map[string][]byte{"normal.png": pngMap(painted(8, blueGround, func(k, x, y int) color.NRGBA64 {
			p := bump(k, x, y)
			return color.NRGBA64{p.B, p.G, p.R, 65535}
		}), 8)}, outcome: Fail, metric: "inward_share", lo: 0.3, hi: 0.7, label: "red_blue_swapped"},
		{name: "not normalized", check: "maps.normal_valid", put: map[string][]byte{"normal.png": pngMap(painted(8, blueGround, func(k, x, y int) color.NRGBA64 {
			p := bump(k, x, y)
			p.B = 40000
			return p
		}), 8)}, outcome: Fail, metric: "off_length_share", lo: 0.9, hi: 1},
		{name: "no bleed", check: "maps.bleed", put: map[string][]byte{"base_color.png": pngMap(painted(0, black, baseColour), 8)}, outcome: Warn, metric: "min_px", lo: 0, hi: 0},
		{name: "coal", check: "maps.base_color", put: map[string][]byte{"base_color.png": pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
			if k == 0 && y%2 == 0 {
				return rgb(0.05, 0.05, 0.05)
			}
			return baseColour(k, x, y)
		}), 8)}, outcome: Warn, metric: "dark_share", lo: 0.49, hi: 0.51},
		{name: "shading painted in", check: "maps.base_color", put: map[string][]byte{"base_color.png": pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
			v := 0.3 + 0.5*math.Sin(float64(x)/30) // the waves of the occlusion
			return rgb(max(v, 0.2), max(v, 0.2), max(v, 0.2))
		}), 8)}, outcome: Warn, metric: "shading_correlation", lo: 0.8, hi: 1},
		{name: "half metal all over", check: "maps.metal_rough", put: map[string][]byte{"orm.png": pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
			p := packed(k, x, y)
			p.B = 30000
			return p
		}), 8)}, outcome: Warn, metric: "mid_share", lo: 1, hi: 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			maps := cleanMaps()
			delete(maps, c.drop)
			for k, v := range c.put {
				maps[k] = v
			}
			f := run1(t, twoIslands(t, t.TempDir(), mapsSpec, maps), c.check)
			require.Equal(t, c.outcome, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.GreaterOrEqual(t, f.Metrics[c.metric], c.lo, f.Sentence)
			require.LessOrEqual(t, f.Metrics[c.metric], c.hi, f.Sentence)
			require.Equal(t, c.label, f.Labels["looks_like"])
			if c.check == "maps.files" {
				require.Len(t, f.Where, 1)
			}
		})
	}
}

// Bleed around its limit: what was painted is what is measured, at ship size; just inside the limit passes and just
// outside does not.
func TestBleedAroundItsLimit(t *testing.T) {
	t.Parallel()
	for _, bleed := range []int{0, 1, 2, 5} {
		data := pngMap(painted(bleed, black, baseColour), 8)
		for _, ship := range []int{512, 256} {
			px := float64(bleed) * float64(ship) / 512
			for _, over := range []float64{0, 0.25} {
				text := fmt.Sprintf("sets: [{name: wood, match: [wood], author_px: 512, ship_px: %d}]\nchecks: {maps.bleed: {min_px: %g}}\n", ship, px+over)
				f := run1(t, twoIslands(t, t.TempDir(), text, map[string][]byte{"base_color.png": data}), "maps.bleed")
				if over > 0 {
					require.Equal(t, Warn, f.Outcome, f.Sentence)
					require.NotEmpty(t, f.Where)
				} else {
					require.Equal(t, Pass, f.Outcome, f.Sentence)
				}
				require.Equal(t, px, f.Metrics["min_px"], f.Sentence)
			}
		}
	}
}

// What is legitimate passes: two channels, a map that repeats, stylised colour, and a flat map.
func TestLegitimateMaps(t *testing.T) {
	t.Parallel()
	two := cleanMaps()
	two["normal.png"] = pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 {
		p := bump(k, x, y)
		return color.NRGBA64{p.R, p.G, 0, 65535}
	}), 8)
	f := run1(t, twoIslands(t, t.TempDir(), mapsSpec, two), "maps.normal_valid")
	require.Equal(t, Pass, f.Outcome, f.Sentence)
	require.Equal(t, "two, blue rebuilt", f.Labels["channels"])

	tiling := twoIslands(t, t.TempDir(), "sets: [{name: wood, match: [wood], kind: tiling}]\n", cleanMaps())
	require.Equal(t, NotApplicable, run1(t, tiling, "maps.bleed").Outcome)

	dark := cleanMaps()
	dark["base_color.png"] = pngMap(painted(8, black, func(k, x, y int) color.NRGBA64 { return rgb(0.02, 0.02, 0.02) }), 8)
	f = run1(t, twoIslands(t, t.TempDir(), "conventions: {look: stylised}\n"+mapsSpec, dark), "maps.base_color")
	require.Equal(t, Pass, f.Outcome)
	require.InDelta(t, 1, f.Metrics["outside_share"], 1e-9)

	flat := cleanMaps()
	flat["normal.png"] = pngMap(painted(8, blueGround, func(k, x, y int) color.NRGBA64 { return rgb(0.5, 0.5, 1) }), 8)
	require.Equal(t, Warn, run1(t, twoIslands(t, t.TempDir(), mapsSpec, flat), "maps.normal_valid").Outcome, "only the sculpt tells whether that is wrong")

	empty := twoIslands(t, t.TempDir(), "", nil)
	for _, name := range mapCheckNames[1:] {
		require.Empty(t, runCheck(t, empty, name), "no maps, nothing said of them")
	}
}

// Where no map is named, a set with none at all is asked about once maps count, and not before. What the spec says of it is the end of it.
func TestSetWithoutAMap(t *testing.T) {
	t.Parallel()
	bare := twoIslands(t, t.TempDir(), "", nil)
	f := run1(t, bare, "maps.files")
	require.Equal(t, Fail, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["missing"])
	require.Contains(t, f.Where[0].Note, "not one map came")
	bare.Spec = bare.Spec.At(spec.GameMesh)
	require.Empty(t, runCheck(t, bare, "maps.files"), "maps do not count yet")
	shared := twoIslands(t, t.TempDir(), "sets: [{name: wood, match: [wood], kind: shared}]\n", nil)
	require.Empty(t, runCheck(t, shared, "maps.files"), "a set that several props share is delivered by itself")
	agreed := twoIslands(t, t.TempDir(), "checks: {maps.files: {mode: not_applicable, reason: painted by vertices}}\n", nil)
	require.Equal(t, NotApplicable, run1(t, agreed, "maps.files").Outcome)
}

// A map that cannot be read is never a pass.
func TestUnreadMaps(t *testing.T) {
	t.Parallel()
	maps := cleanMaps()
	maps["normal.png"] = maps["normal.png"][:len(maps["normal.png"])/2]
	maps["base_color.exr"] = []byte{0x76, 0x2f, 0x31, 0x01}
	delete(maps, "base_color.png")
	s := twoIslands(t, t.TempDir(), mapsSpec, maps)
	f := run1(t, s, "maps.normal_valid")
	require.Equal(t, NotEvaluated, f.Outcome)
	require.Contains(t, f.Sentence, "ends before its pixels do")
	f = run1(t, s, "maps.base_color")
	require.Equal(t, NotEvaluated, f.Outcome)
	require.Contains(t, f.Sentence, "OpenEXR is not decoded here")
}

// Numbered tiles are read each against the part of the layout that lies in it.
func TestTiles(t *testing.T) {
	t.Parallel()
	b := newProp("crate_a.glb")
	m := b.material("wood", 0)
	b.node("left", identity16, quadPrim(m, 0, 0, 1, 1, 0.1, 0.2, 0.45, 0.8))
	b.node("right", moved(2, 0, 0), quadPrim(m, 0, 0, 1, 1, 1.1, 0.2, 1.45, 0.8))
	s := b.subject(t, specOf(t, spec.Hero, "sets: [{name: wood, match: [wood], kind: udim, tiles: [1001, 1002]}]\n"))
	s.Folder = t.TempDir()
	set := s.Sets[0]
	set.Def, set.Maps, set.maps = s.Spec.Sets[0], map[string]*File{}, &mapsMeasure{}
	for tile, bleed := range map[int]int{1001: 8, 1002: 0} {
		path := fmt.Sprintf("wood_base_color_%d.png", tile)
		require.NoError(t, os.WriteFile(filepath.Join(s.Folder, path), pngMap(painted(bleed, black, baseColour), 8), 0o600))
		f := &File{Path: path, Role: "map.base_color", Set: set.Name, SHA256: "x"}
		s.Files = append(s.Files, f)
		set.Maps["base_color"] = f
	}
	f := run1(t, s, "maps.bleed")
	require.Equal(t, Warn, f.Outcome, f.Sentence)
	require.Contains(t, f.Sentence, "1002")
	require.Greater(t, f.Where[0].UV[0], 1.0, "the place is in the second tile")
}

func TestTileOf(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]int{"a_1001.png": 1001, "dir/a.1012.tif": 1012, "a_2048.png": 0, "a_998.png": 0, "1005.tga": 1005, "x.png": 0} {
		require.Equal(t, want, tileOf(name), name)
	}
}

// The findings do not depend on the number of threads.
func TestMapsThreads(t *testing.T) {
	t.Parallel()
	maps := cleanMaps()
	maps["base_color.png"] = pngMap(painted(0, black, baseColour), 8)
	var first []Finding
	for _, threads := range []int{1, 2, 5} {
		s := twoIslands(t, t.TempDir(), mapsSpec, maps)
		s.Threads = threads
		var all []Finding
		for _, name := range mapCheckNames {
			all = append(all, runCheck(t, s, name)...)
		}
		if first == nil {
			first = all
		}
		require.Equal(t, first, all)
	}
}

// ripples is a normal map of a few degrees, of any size.
func ripples(t tester, edge int) []byte {
	img := stdimage.NewNRGBA64(stdimage.Rect(0, 0, edge, edge))
	for i := range edge * edge {
		nx, ny := 0.03*math.Sin(float64(i%edge)/9), 0.03*math.Cos(float64(i/edge)/7)
		img.SetNRGBA64(i%edge, i/edge, rgb((nx+1)/2, (ny+1)/2, (math.Sqrt(1-nx*nx-ny*ny)+1)/2))
	}
	t.Helper()
	return pngMap(img, 8)
}

// paint is an even base colour with grain, of any size.
func paint(t tester, edge int) []byte {
	t.Helper()
	img := stdimage.NewNRGBA64(stdimage.Rect(0, 0, edge, edge))
	for i := range edge * edge {
		v := uint16(0x6800 + i*2654435761>>20&0x7ff)
		img.SetNRGBA64(i%edge, i/edge, color.NRGBA64{v, v - 0x800, v - 0x1000, 65535})
	}
	return pngMap(img, 8)
}
