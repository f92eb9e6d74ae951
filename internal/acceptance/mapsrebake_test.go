package acceptance

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/mesh/glbwrite"
	"proofhouse/internal/acceptance/spec"
)

// halfDrum is half a cylinder around Y, of radius 0.1 m and 0.3 m high, with bumps along its normal: U runs around it and V down.
// Its tangent-space normals follow in closed form from the slope of the bumps, so maps of it are made without a bake.
type halfDrum struct {
	height float64 // of the bumps, metres
	waves  float64 // bumps around and along
	lean   float64 // a slope of its own, that tells all turns of the image apart
}

var bumpy = halfDrum{0.0025, 7, 0.006}

// relief is the height at (u, v) and its slopes by metres around and upward.
func (d halfDrum) relief(u, v float64) (h, around, up float64) {
	const radius, tall = 0.1, 0.3
	su, cu := detmath.Sincos(math.Pi * d.waves * (u + 0.21*v))
	sv, cv := detmath.Sincos(math.Pi * d.waves * v * (1 + 0.2*u))
	hu := d.height * math.Pi * d.waves * (cu*sv + 0.2*v*su*cv)
	hv := d.height * math.Pi * d.waves * (0.21*cu*sv + su*cv*(1+0.2*u))
	h = d.height*su*sv + d.lean*v*v*u
	hu += d.lean * v * v
	hv += 2 * d.lean * v * u
	return h, hu / (math.Pi * radius), -hv / tall
}

// normal is the tangent-space normal at (u, v), green up.
func (d halfDrum) normal(u, v float64) [3]float64 {
	h, around, up := d.relief(u, v)
	// Around the drum a metre at the foot is a metre and h/radius at height h.
	n := [3]float64{-around / (1 + h/0.1), -up, 1}
	return scaled(n, 1/math.Sqrt(lenSq(n)))
}

// prim is the surface over n × m squares; offset moves it out, place to another X and UVs by whole tiles.
func (d halfDrum) prim(n, m int, offset, x, uvShift float64) glbwrite.Prim {
	var p glbwrite.Prim
	for j := range m + 1 {
		for i := range n + 1 {
			u, v := float64(i)/float64(n), float64(j)/float64(m)
			s, c := detmath.Sincos(math.Pi * u)
			h, around, up := d.relief(u, v)
			r := 0.1 + h + offset
			p.Pos = append(p.Pos, float32(x-r*c), float32(0.3*(1-v)), float32(r*s))
			nrm := [3]float64{-c - s*around/(1+h/0.1), -up, s - c*around/(1+h/0.1)}
			l := math.Sqrt(lenSq(nrm))
			p.Nrm = append(p.Nrm, float32(nrm[0]/l), float32(nrm[1]/l), float32(nrm[2]/l))
			p.UV = append(p.UV, float32(u+uvShift), float32(v))
		}
	}
	for j := range uint32(m) {
		for i := range uint32(n) {
			a := j*uint32(n+1) + i
			b := a + uint32(n) + 1
			p.Tri = append(p.Tri, a, b, b+1, a, b+1, a+1)
		}
	}
	return p
}

const drumPx = 96

// texelChange alters a map's vectors: pixel and vector in, vector out.
type texelChange func(x, y int, v [3]float64) [3]float64

func same3(_, _ int, v [3]float64) [3]float64 { return v }

// drumMap is the drum's normal map as a 16-bit PNG, each vector changed.
func drumMap(t tester, d halfDrum, f texelChange) []byte {
	t.Helper()
	img := image.NewNRGBA64(image.Rect(0, 0, drumPx, drumPx))
	for y := range drumPx {
		for x := range drumPx {
			v := f(x, y, d.normal((float64(x)+0.5)/drumPx, (float64(y)+0.5)/drumPx))
			q := func(c float64) uint16 { return uint16(math.Round(math.Min(math.Max((c+1)/2, 0), 1) * 65535)) }
			img.SetNRGBA64(x, y, color.NRGBA64{q(v[0]), q(v[1]), q(v[2]), 65535})
		}
	}
	var b bytes.Buffer
	require.NoError(t, (&png.Encoder{CompressionLevel: png.BestSpeed}).Encode(&b, img))
	return b.Bytes()
}

// drumFolder is a delivery of one drum: game mesh, sculpt, and maps by file name.
func drumFolder(t *testing.T, game glbwrite.Prim, files map[string][]byte) string {
	t.Helper()
	dir := t.TempDir()
	game.Material = &glbwrite.Material{Name: "drum"}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_game.glb"), glbwrite.Single("drum", game)))
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_sculpt.glb"), glbwrite.Single("drum_sculpt", bumpy.prim(100, 100, 0, 0, 0))))
	for name, data := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
	return dir
}

func plainDrum() glbwrite.Prim { return halfDrum{}.prim(24, 4, 0.003, 0, 0) }

// bakesIn inspects a folder's bakes and returns the findings of the checks here, by name and set.
func bakesIn(t *testing.T, text, folder string, threads int) (*Result, map[string]Finding) {
	t.Helper()
	sp := specNamed(t, "drum", spec.Hero, spec.Final, "conventions: {reach_mm: 12}\n"+text)
	r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Threads: threads, Only: []string{"maps", "bake"}})
	require.NoError(t, err)
	out := map[string]Finding{}
	for _, f := range r.Evidence.Findings {
		name := f.Check
		if len(r.Evidence.Findings) > 0 && f.Set != "" && f.Set != "drum" {
			name += "@" + f.Set
		}
		out[name] = f
	}
	return r, out
}

// specNamed resolves a spec of a prop.
func specNamed(t tester, prop string, tier spec.Tier, m spec.Milestone, text string) *spec.Spec {
	t.Helper()
	doc := fmt.Sprintf("prop: %s\ntier: %s\n%s", prop, tier, text)
	parsed, err := spec.Parse("spec.yaml", []byte(doc), Catalogue())
	require.NoError(t, err)
	sp, err := spec.Resolve(parsed, Catalogue(), m, nil)
	require.NoError(t, err)
	return sp
}

func raw(data []byte) map[string][]byte { return map[string][]byte{"drum_normal_baked.png": data} }

// rawFault is a raw bake and what is to be said of it.
type rawFault struct {
	name, fit string
	change    texelChange
	spec      string
	outcome   Outcome
	says      string
}

// from takes each texel of the drum's map from elsewhere.
func from(f func(x, y int) (int, int)) texelChange {
	return func(x, y int, _ [3]float64) [3]float64 {
		px, py := f(x, y)
		return bumpy.normal((float64(px)+0.5)/drumPx, (float64(py)+0.5)/drumPx)
	}
}

// otherDrum is another prop's relief.
var otherDrum = halfDrum{0.0025, 11, -0.004}

var rawFaults = []rawFault{
	{"clean", "as_delivered", same3, "", Pass, "off the sculpt on average (limit 3°)"},
	{"green flipped", "green_flipped", func(_, _ int, v [3]float64) [3]float64 { return [3]float64{v[0], -v[1], v[2]} }, "", Fail, "fits the sculpt when green is flipped: 0."},
	{"green down as contracted", "as_delivered", func(_, _ int, v [3]float64) [3]float64 { return [3]float64{v[0], -v[1], v[2]} }, "sets: [{name: drum, green: down}]", Pass, "off the sculpt"},
	{"green up though down was contracted", "green_flipped", same3, "sets: [{name: drum, green: down}]", Fail, "fits the sculpt when green is flipped"},
	{"image turned", "image_turned_90", from(func(x, y int) (int, int) { return drumPx - 1 - y, x }), "", Fail, "when the image is turned by a quarter"},
	{"a picture of heights", "grey", func(x, y int, _ [3]float64) [3]float64 {
		h, _, _ := bumpy.relief((float64(x)+0.5)/drumPx, (float64(y)+0.5)/drumPx)
		return [3]float64{100 * h, 100 * h, 100 * h}
	}, "", Fail, "The map is grey"},
	{"flat", "flat", func(int, int, [3]float64) [3]float64 { return [3]float64{0, 0, 1} }, "", Fail, "The map is flat"},
	{"of another prop", "unrelated", func(x, y int, _ [3]float64) [3]float64 {
		return otherDrum.normal((float64(x)+0.5)/drumPx, (float64(y)+0.5)/drumPx)
	}, "", Fail, "Nothing of the sculpt's relief is in the map"},
}

// The clean map of a bumpy cylinder, made in closed form, passes; each planted fault is named with its number.
func TestRawBakeFaults(t *testing.T) {
	t.Parallel()
	for _, c := range rawFaults {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, got := bakesIn(t, c.spec, drumFolder(t, plainDrum(), raw(drumMap(t, bumpy, c.change))), 2)
			f := got["maps.normal_baked"]
			require.Equal(t, c.fit, f.Labels["best_fit"], "%s %v", f.Sentence, f.Metrics)
			require.Equal(t, c.outcome, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.Contains(t, f.Sentence, c.says)
			if c.outcome == Pass {
				// 24 sides: the foot of a texel is off its angle by at most (π/48)³/6, and normals of the sculpt's
				// facets are interpolated over 2 mm.
				require.Less(t, f.Metrics["mean_deg"], 0.5)
				require.Zero(t, f.Metrics["unserved_share"])
				return
			}
			require.NotEmpty(t, f.Remedy)
			require.NotEmpty(t, f.Where)
			require.Greater(t, f.Metrics["mean_deg"], 3.0)
			if f.Metrics["fit_ratio"] > 3 {
				require.Less(t, f.Metrics["best_fit_mean_deg"], f.Metrics["mean_deg"]/3)
			}
		})
	}
}

// grain leans every vector at random, as painted detail does.
func grain(f texelChange) texelChange {
	r := rand.New(rand.NewPCG(3, 14))
	return func(x, y int, v [3]float64) [3]float64 {
		v = f(x, y, v)
		v[0], v[1] = v[0]+0.2*r.NormFloat64(), v[1]+0.2*r.NormFloat64()
		return scaled(v, 1/math.Sqrt(lenSq(v)))
	}
}

func greenFlipped(_, _ int, v [3]float64) [3]float64 { return [3]float64{v[0], -v[1], v[2]} }

// A finished map with painted detail passes by its averages and is told from one whose green is flipped.
func TestFinishedMaps(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name    string
		change  texelChange
		outcome Outcome
		fit     string
	}{{"clean", grain(same3), Pass, "as_delivered"}, {"flipped", grain(greenFlipped), Fail, "green_flipped"}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, got := bakesIn(t, "", drumFolder(t, plainDrum(), map[string][]byte{"drum_normal.png": drumMap(t, bumpy, c.change)}), 2)
			f := got["maps.normal_rebake"]
			require.Equal(t, c.outcome, f.Outcome, "%s %v", f.Sentence, f.Metrics)
			require.Equal(t, c.fit, f.Labels["best_fit"])
			require.Greater(t, f.Metrics["mean_deg"], 10.0, "grain")
			require.Equal(t, NotApplicable, got["maps.normal_baked"].Outcome)
		})
	}
}

// Flipped green in the raw bake and in the finished map is one headline.
func TestOneFlipOneHeadline(t *testing.T) {
	t.Parallel()
	flipped := drumMap(t, bumpy, greenFlipped)
	r, got := bakesIn(t, "", drumFolder(t, plainDrum(), map[string][]byte{"drum_normal.png": flipped, "drum_normal_baked.png": flipped}), 2)
	require.Equal(t, Fail, got["maps.normal_baked"].Outcome)
	require.Empty(t, got["maps.normal_baked"].FollowsFrom)
	require.Contains(t, got["maps.normal_baked"].Sentence, "1 further finding follows from it.")
	require.Equal(t, "maps.normal_baked", got["maps.normal_rebake"].FollowsFrom)
	require.Equal(t, "within the limit", got["maps.normal_baked"].Labels["as_if_mended"])
	require.Contains(t, r.Evidence.Headline, "technical: 1 issue; the first: The map fits the sculpt when green is flipped")
}

// The evidence is the same to the byte on any number of threads, kept bakes and pictures included.
func TestBakesOnThreads(t *testing.T) {
	t.Parallel()
	folder := drumFolder(t, plainDrum(), map[string][]byte{"drum_normal_baked.png": drumMap(t, bumpy, greenFlipped)})
	sp := specNamed(t, "drum", spec.Hero, spec.Final, "conventions: {reach_mm: 12}\nsets: [{name: drum, ship_px: 48}]\n")
	var first *Result
	for _, threads := range []int{1, 2, 8} {
		r, err := Inspect(context.Background(), Job{Spec: sp, Folder: folder, Threads: threads, Only: []string{"maps", "bake"}, KeepBake: true})
		require.NoError(t, err)
		if first == nil {
			first = r
		}
		require.Equal(t, first.SHA256, r.SHA256, "%d threads", threads)
		require.Len(t, r.Pictures, 3)
		for i, p := range r.Pictures {
			require.Equal(t, []string{"bake_normal.png", "bake_position.png", "bake_occlusion.png"}[i], p.Name)
			require.Equal(t, first.Pictures[i].Bytes, p.Bytes)
		}
	}
	// What is kept is a 16-bit PNG that another decoder reads, and holds the closed-form normals.
	img, err := png.Decode(bytes.NewReader(first.Pictures[0].Bytes))
	require.NoError(t, err)
	require.Equal(t, image.Rect(0, 0, 48, 48), img.Bounds())
	at := color.NRGBA64Model.Convert(img.At(15, 26)).(color.NRGBA64)
	want := bumpy.normal(15.5/48, 26.5/48)
	for k, c := range [3]uint16{at.R, at.G, at.B} {
		require.InDelta(t, want[k], float64(c)/32767.5-1, 0.01)
	}
}

// twoDrums is a delivery of two parts with a texture set each, left and right.
func twoDrums(t *testing.T, left, right texelChange, swap bool) string {
	t.Helper()
	dir := t.TempDir()
	other := halfDrum{0.0025, 5, -0.005}
	var game, sculpt glbwrite.Scene
	for i, d := range []halfDrum{bumpy, other} {
		x := 0.15 - 0.3*float64(i)
		name := []string{"left", "right"}[i]
		plain := halfDrum{}.prim(24, 4, 0.003, x, 0)
		plain.Material = &glbwrite.Material{Name: name}
		game.Roots = append(game.Roots, &glbwrite.Node{Name: name, Mesh: &glbwrite.Mesh{Name: name, Prims: []glbwrite.Prim{plain}}})
		high := d.prim(90, 90, 0, x, 0)
		sculpt.Roots = append(sculpt.Roots, &glbwrite.Node{Name: name + "_sculpt", Mesh: &glbwrite.Mesh{Name: name + "_sculpt", Prims: []glbwrite.Prim{high}}})
	}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_game.glb"), game))
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_sculpt.glb"), sculpt))
	a, b := drumMap(t, bumpy, left), drumMap(t, other, right)
	if swap {
		a, b = b, a
	}
	require.NoError(t, os.WriteFile(filepath.Join(dir, "drum_left_normal_baked.png"), a, 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "drum_right_normal_baked.png"), b, 0o600))
	return dir
}

const twoParts = "parts: [{name: left, match: [left]}, {name: right, match: [right]}]\nsets: [{name: left, match: [left]}, {name: right, match: [right]}]\n"

// Several sets: clean ones pass, one flipped is one headline, two flipped are one headline, and maps given to the wrong sets
// are told by the set that they are of.
func TestSetsOfBakes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name        string
		left, right texelChange
		swap        bool
		want        [2]Outcome
		fit         [2]string
		follows     [2]string
		says        string
	}{
		{"clean", same3, same3, false, [2]Outcome{Pass, Pass}, [2]string{"as_delivered", "as_delivered"}, [2]string{}, ""},
		{"one flipped", same3, greenFlipped, false, [2]Outcome{Pass, Fail}, [2]string{"as_delivered", "green_flipped"}, [2]string{}, "green is flipped"},
		{"both flipped", greenFlipped, greenFlipped, false, [2]Outcome{Fail, Fail}, [2]string{"green_flipped", "green_flipped"},
			[2]string{"", "maps.normal_baked"}, "green is flipped"},
		{"exchanged", same3, same3, true, [2]Outcome{Fail, Fail}, [2]string{"other_set", "other_set"}, [2]string{"", "maps.normal_baked"}, "it is the map of the set right"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			r, got := bakesIn(t, twoParts, twoDrums(t, c.left, c.right, c.swap), 2)
			for i, set := range []string{"left", "right"} {
				f := got["maps.normal_baked@"+set]
				require.Equal(t, c.want[i], f.Outcome, "%s: %s %v", set, f.Sentence, f.Metrics)
				require.Equal(t, c.fit[i], f.Labels["best_fit"])
				require.Equal(t, c.follows[i], f.FollowsFrom)
			}
			if c.says != "" {
				require.Contains(t, r.Evidence.Headline, "technical: 1 issue;")
				require.Contains(t, r.Evidence.Headline, c.says)
			}
		})
	}
}

// Sets that are not baked, deliveries without what a bake needs, and maps that cannot be read.
func TestBakesThatCannotBe(t *testing.T) {
	t.Parallel()
	clean := drumMap(t, bumpy, same3)
	without := func(name string) string {
		dir := drumFolder(t, plainDrum(), raw(clean))
		require.NoError(t, os.Remove(filepath.Join(dir, name)))
		return dir
	}
	noUV := plainDrum()
	noUV.UV = make([]float32, len(noUV.UV))
	for _, c := range []struct {
		name, spec, folder string
		outcome            Outcome
		says               string
	}{
		{"a trim sheet", "sets: [{name: drum, kind: trim}]", drumFolder(t, plainDrum(), raw(clean)), NotApplicable, "trim sheet"},
		{"no sculpt, none asked for", "", without("drum_sculpt.glb"), NotApplicable, "asks for no sculpt"},
		{"no sculpt by the spec", "parts: [{name: drum, sculpt: none}]", drumFolder(t, plainDrum(), raw(clean)), NotApplicable, "no part on this set has a sculpt"},
		{"no map", "", without("drum_normal_baked.png"), NotApplicable, "asks for no map.normal_baked"},
		{"a map cut short", "", drumFolder(t, plainDrum(), raw(clean[:len(clean)/2])), NotEvaluated, "could not be compared"},
		{"UVs of no area", "", drumFolder(t, noUV, raw(clean)), NotEvaluated, "No ray met the sculpt"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			_, got := bakesIn(t, c.spec, c.folder, 1)
			require.Equal(t, c.outcome, got["maps.normal_baked"].Outcome, got["maps.normal_baked"].Sentence)
			require.Contains(t, got["maps.normal_baked"].Sentence, c.says)
		})
	}
}

// UDIM: each tile is baked by itself, and the worst is told with its number.
func TestTilesOfBakes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	first, second := halfDrum{}.prim(24, 4, 0.003, 0.15, 0), halfDrum{}.prim(24, 4, 0.003, -0.15, 1)
	base := uint32(len(first.Pos) / 3)
	first.Pos, first.Nrm, first.UV = append(first.Pos, second.Pos...), append(first.Nrm, second.Nrm...), append(first.UV, second.UV...)
	for _, v := range second.Tri {
		first.Tri = append(first.Tri, base+v)
	}
	first.Material = &glbwrite.Material{Name: "drum"}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_game.glb"), glbwrite.Single("drum", first)))
	high, more := bumpy.prim(90, 90, 0, 0.15, 0), bumpy.prim(90, 90, 0, -0.15, 0)
	base = uint32(len(high.Pos) / 3)
	high.Pos, high.Nrm, high.UV = append(high.Pos, more.Pos...), append(high.Nrm, more.Nrm...), append(high.UV, more.UV...)
	for _, v := range more.Tri {
		high.Tri = append(high.Tri, base+v)
	}
	require.NoError(t, glbwrite.WriteFile(filepath.Join(dir, "drum_sculpt.glb"), glbwrite.Single("drum_sculpt", high)))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "drum_normal_baked_1001.png"), drumMap(t, bumpy, same3), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "drum_normal_baked_1002.png"), drumMap(t, bumpy, greenFlipped), 0o600))
	manifest := "prop: drum\nfiles:\n  - {path: drum_game.glb, role: game}\n  - {path: drum_sculpt.glb, role: sculpt}\n" +
		"  - {path: drum_normal_baked_1001.png, role: map.normal_baked@drum}\n  - {path: drum_normal_baked_1002.png, role: map.normal_baked@drum}\n"
	require.NoError(t, os.WriteFile(filepath.Join(dir, ManifestName), []byte(manifest), 0o600))
	_, got := bakesIn(t, "sets: [{name: drum, kind: udim, tiles: [1001, 1002]}]\n", dir, 2)
	f := got["maps.normal_baked"]
	require.Equal(t, Fail, f.Outcome, "%s %v", f.Sentence, f.Metrics)
	require.Equal(t, "green_flipped", f.Labels["best_fit"])
	require.NotNil(t, f.Tile)
	require.Equal(t, 1002, *f.Tile)
}

// The spec chooses the grid; texels of it are middles of the map's own, so a clean map stays clean at any.
func TestGridOfBakes(t *testing.T) {
	t.Parallel()
	folder := drumFolder(t, plainDrum(), map[string][]byte{"drum_normal_baked.png": drumMap(t, bumpy, same3)})
	for _, c := range []struct {
		px   int
		grid string
	}{{64, "48 × 48 of 96 × 96 px"}, {4096, "96 × 96 of 96 × 96 px"}} {
		_, got := bakesIn(t, fmt.Sprintf("checks: {maps.normal_rebake: {grid_px: %d}}", c.px), folder, 1)
		f := got["maps.normal_baked"]
		require.Equal(t, c.grid, f.Labels["grid"])
		require.Equal(t, Pass, f.Outcome)
		require.Less(t, f.Metrics["mean_deg"], 0.5)
	}
}
