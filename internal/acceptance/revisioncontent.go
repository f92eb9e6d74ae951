package acceptance

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"slices"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/mesh"
)

// Content is what one part holds in one role, or one map of one set, whatever the files' bytes: the same mesh exported
// again, with its vertices and triangles in another order, has the same content.
type Content struct {
	Role      string      `json:"role"` // "game", "game.lod1", "sculpt", "cage", "collision", "map.normal", …
	Part      string      `json:"part,omitempty"`
	Set       string      `json:"set,omitempty"`
	Triangles int         `json:"triangles,omitempty"`
	AreaMM2   float64     `json:"area_mm2,omitempty"`
	BoxMM     *[6]float64 `json:"box_mm,omitempty"` // the lower corner, then the upper, world

	Shape  string `json:"shape,omitempty"`  // digest of the triangles by their positions, the triangulation included
	Shade  string `json:"shade,omitempty"`  // the same with normals
	Layout string `json:"layout,omitempty"` // the same with UVs instead

	// Prints are weighted sums over the surface, by shape, normals and UVs, that rounding hardly moves and any change
	// does: they tell a mesh whose coordinates were rounded anew from one that was changed.
	Prints []float64 `json:"prints,omitempty"`

	SHA256 string `json:"sha256,omitempty"` // of a map's bytes, hex; embedded or beside the mesh is the same
}

// contentOf lists what a delivery holds, in the order of LODs and parts, sculpt, cage, collision, maps.
func contentOf(s *Subject) []Content {
	out := []Content{}
	add := func(role, part string, sf *mesh.Surface, prints bool) {
		if sf.Triangles() == 0 {
			return
		}
		c := surfaceContent(sf, s.Threads, prints)
		c.Role, c.Part = role, part
		out = append(out, c)
	}
	for _, p := range s.Parts {
		add("game", p.Name, &p.Game, true)
	}
	for lod := 1; lod < len(s.LODs); lod++ {
		add(fmt.Sprintf("game.lod%d", lod), "", &s.LODs[lod].Surface, true)
	}
	for _, p := range s.Parts { // sculpts are large and never sent through another program on the way: exactly or not at all
		add("sculpt", p.Name, &p.Sculpt, false)
		add("sculpt.floaters", p.Name, &p.Floaters, false)
	}
	if s.Cage != nil {
		add("cage", "", &s.Cage.Surface, true)
	}
	if s.Hulls != nil {
		add("collision", "", &s.Hulls.Surface, true)
	}
	for _, t := range s.Sets {
		out = append(out, mapsContent(t)...)
	}
	return out
}

// mapsContent lists a set's maps: delivered files, and images inside the mesh's own file where no file has taken their place.
func mapsContent(t *Set) []Content {
	sums := map[string]string{}
	for name, f := range t.Maps {
		sums[name] = f.SHA256
	}
	for _, r := range t.Game.Of {
		i := r.Scene.Prims[r.Draw.Prim].Material
		if i < 0 || i >= len(r.Scene.Materials) {
			continue
		}
		for _, ref := range materialMaps(&r.Scene.Materials[i]) {
			if ref.tex.Image < 0 || ref.tex.Image >= len(r.Scene.Images) || sums[ref.name] != "" {
				continue
			}
			if data := r.Scene.Images[ref.tex.Image].Data; len(data) > 0 {
				sum := sha256.Sum256(data)
				sums[ref.name] = hex.EncodeToString(sum[:])
			}
		}
	}
	var out []Content
	for _, name := range sortedKeys(sums) {
		out = append(out, Content{Role: "map." + name, Set: t.Name, SHA256: sums[name]})
	}
	return out
}

// contentPiece is how many triangles are summed at a time: sums are joined in order, so that threads do not matter.
const contentPiece = 1 << 15

// surfaceContent digests one surface. Triangles are hashed each for itself, the same whichever corner comes first but
// not the same turned round, and the hashes are added: the order of triangles and the numbering of vertices do not matter.
func surfaceContent(sf *mesh.Surface, threads int, prints bool) Content {
	n := sf.Triangles()
	c := Content{Triangles: n}
	lo, hi, ok := boundsOf(sf, []mesh.Range{{First: 0, End: n}})
	if ok {
		c.BoxMM = &[6]float64{}
		for k := range 3 {
			c.BoxMM[k], c.BoxMM[3+k] = roundMM(lo[k]*1000), roundMM(hi[k]*1000)
		}
	}
	var w waves
	if prints && ok {
		w = wavesFor(math.Sqrt(lenSq(sub(hi, lo))))
	}
	sums := make([]contentSum, (n+contentPiece-1)/contentPiece)
	inParallel(threads, len(sums), func(i int) {
		for t := i * contentPiece; t < min((i+1)*contentPiece, n); t++ {
			sums[i].add(sf, t, prints, &w)
		}
	})
	var total contentSum
	for i := range sums {
		total.join(&sums[i])
	}
	c.AreaMM2 = math.Round(total.area*1e9) / 1e3
	c.Shape = total.hash[0].hex()
	if prints {
		c.Shade, c.Layout = total.hash[1].hex(), total.hash[2].hex()
		c.Prints = total.printed()
	}
	return c
}

// pair128 is a sum of 128-bit hashes, lane by lane.
type pair128 [2]uint64

func (p pair128) hex() string { return fmt.Sprintf("%016x%016x", p[0], p[1]) }

type contentSum struct {
	hash  [3]pair128 // by position; by position and normal; by position and UV
	area  float64
	waves [3][waveCount]float64
}

func (c *contentSum) join(o *contentSum) {
	for i := range c.hash {
		c.hash[i][0] += o.hash[i][0]
		c.hash[i][1] += o.hash[i][1]
		for k := range waveCount {
			c.waves[i][k] += o.waves[i][k]
		}
	}
	c.area += o.area
}

func (c *contentSum) add(sf *mesh.Surface, t int, all bool, w *waves) {
	v := sf.Tri[3*t : 3*t+3]
	var corner [3][3]pair128
	for k, i := range v {
		h := hashWords(pair128{0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F}, sf.Pos[3*i:3*i+3])
		corner[0][k] = h
		if all {
			corner[1][k] = hashWords(h, sf.Nrm[3*i:3*i+3])
			corner[2][k] = hashWords(h, sf.UV[2*i:2*i+2])
		}
	}
	kinds := 1
	if all {
		kinds = 3
	}
	for i := range kinds {
		h := turnFree(corner[i])
		c.hash[i][0] += h[0]
		c.hash[i][1] += h[1]
	}
	p, q, r := corners(sf, t)
	u := cross(sub(q, p), sub(r, p))
	area := float64(0.5 * math.Sqrt(lenSq(u)))
	if !finite(area) {
		return
	}
	c.area += area
	if !all {
		return
	}
	var mid, nrm [3]float64
	var uv [2]float64
	for k := range 3 {
		mid[k] = (p[k] + q[k] + r[k]) / 3
		nrm[k] = (float64(sf.Nrm[3*v[0]+uint32(k)]) + float64(sf.Nrm[3*v[1]+uint32(k)]) + float64(sf.Nrm[3*v[2]+uint32(k)])) / 3
	}
	for k := range 2 {
		uv[k] = (float64(sf.UV[2*v[0]+uint32(k)]) + float64(sf.UV[2*v[1]+uint32(k)]) + float64(sf.UV[2*v[2]+uint32(k)])) / 3
	}
	if area > 0 {
		u = [3]float64{u[0] / (2 * area), u[1] / (2 * area), u[2] / (2 * area)}
	}
	w.add(&c.waves, area, mid, u, nrm, uv)
}

// hashWords mixes floats into a hash, -0 as 0.
func hashWords(h pair128, words []float32) pair128 {
	for _, x := range words {
		b := uint64(keyBits(x)) + 1
		h[0] = fold(h[0]^b, 0x9FB21C651E98DF25)
		h[1] = fold(h[1]+b*0xD6E8FEB86659FD93, 0xA0761D6478BD642F)
	}
	return h
}

// turnFree hashes three corners so that turning them on does not change it and turning them round does.
func turnFree(c [3]pair128) pair128 {
	var sum pair128
	for k := range 3 {
		a, b := c[k], c[(k+1)%3]
		sum[0] += fold(a[0], b[0]^0xE7037ED1A0B428DB)
		sum[1] += fold(a[1]^0x8EBC6AF09C88C6E3, b[1])
	}
	return pair128{fold(sum[0], 0x589965CC75374CC3), fold(sum[1], 0x1D8E4E27C47D124F)}
}

// waveCount waves of different lengths run over the surface; each print is the area-weighted mean of one of them.
const waveCount = 3

// waves are the directions of the waves in radians a metre. The directions are any that no symmetry of a prop shares.
type waves [waveCount][3]float64

var waveDirections = [waveCount][3]float64{{0.6124, 0.5402, 0.5773}, {-0.2915, 0.8106, 0.5077}, {0.7721, -0.1933, 0.6054}}

// turnsAcross is how often each wave turns over the diagonal of the box: from a change of place down to one of detail.
var turnsAcross = [waveCount]float64{3, 17, 67}

func wavesFor(diagonal float64) (w waves) {
	if !(diagonal > 0) || !finite(diagonal) {
		return w
	}
	// The diagonal to five digits: a diagonal rounded anew must not move the waves. Where it falls between two, the
	// surface counts as changed, which is the safe mistake.
	scale := detmath.Exp(float64(math.Floor(detmath.Log(diagonal)/2.302585092994046)*2.302585092994046)) / 1e4
	d := math.Round(diagonal/scale) * scale
	for k := range w {
		for i := range 3 {
			w[k][i] = waveDirections[k][i] * (2 * math.Pi * turnsAcross[k] / d)
		}
	}
	return w
}

// add adds a triangle: its middle and the way it faces, and with these its normal, or its UV. Which way it faces goes into
// the last wave alone: on slivers it is as rough as that wave's noise.
func (w *waves) add(to *[3][waveCount]float64, area float64, mid, faces, nrm [3]float64, uv [2]float64) {
	for k := range w {
		at := dot(w[k], mid)
		if k == waveCount-1 {
			at += float64(2 * dot(waveDirections[k], faces))
		}
		shift := [3]float64{0, float64(3 * dot(waveDirections[k], nrm)), float64(turnsAcross[k] * (float64(2*uv[0]) + float64(3*uv[1])))}
		for i := range shift {
			to[i][k] += float64(area * detmath.Sin(at+shift[i]))
		}
	}
}

// printed are the prints as they are written down: to eight digits of the whole.
func (c *contentSum) printed() []float64 {
	if !(c.area > 0) {
		return nil
	}
	var out []float64
	for i := range c.waves {
		for k := range waveCount {
			out = append(out, math.Round(c.waves[i][k]/c.area*1e8)/1e8)
		}
	}
	return out
}

// moved says in what two contents of one part or map differ: "shape", "shading", "layout", "pixels"; nothing where they
// are the same. rounded says that they are the same but for the rounding of coordinates.
func (c Content) moved(from Content) (what []string, rounded bool) {
	if c.SHA256 != from.SHA256 {
		return []string{"pixels"}, false
	}
	kinds := []struct{ name, a, b string }{{"shape", c.Shape, from.Shape}, {"shading", c.Shade, from.Shade}, {"layout", c.Layout, from.Layout}}
	for i, k := range kinds {
		switch {
		case k.a == k.b:
		case c.Triangles == from.Triangles && samePrints(c, from, i):
			rounded = true
		default:
			what = append(what, k.name)
		}
	}
	if slices.Contains(what, "shape") {
		what = []string{"shape"} // normals and UVs are hashed with the positions: nothing more can be said of them
	}
	return what, rounded && len(what) == 0
}

// printNoise is how far a print may move by rounding: a coordinate rounded to float32 moves a wave of 67 turns over the
// box by 67·2π·2⁻²⁴ = 2.5e-5 radians, twice that for a prop that stands a diagonal away from the origin; over n triangles
// the roundings add up like a random walk, so the mean moves by that over √n. Four times that is allowed, and less in
// proportion for waves of fewer turns, and the last digit written. Twice as much would overlook a move of 1 mm on 3
// instead of 2 cm² of a prop of 6 m² and 10,000 triangles.
func printNoise(wave, triangles int) float64 {
	return 2e-4*turnsAcross[wave]/turnsAcross[waveCount-1]/math.Sqrt(float64(max(triangles, 1))) + 2e-8
}

func samePrints(a, b Content, kind int) bool {
	if len(a.Prints) != 3*waveCount || len(b.Prints) != 3*waveCount {
		return false
	}
	for k := range waveCount {
		if i := kind*waveCount + k; !(math.Abs(a.Prints[i]-b.Prints[i]) <= printNoise(k, a.Triangles)) {
			return false
		}
	}
	// Area tells what the waves might miss: a scale about a symmetric middle.
	return math.Abs(a.AreaMM2-b.AreaMM2) <= 1e-5*max(a.AreaMM2, b.AreaMM2)
}
