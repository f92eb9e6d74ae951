package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func uvChecks() []Check {
	return []Check{
		{Def: uvPresentDef, Run: uvPresent},
		{Def: uvRangeDef, Run: uvRange},
		{Def: densityDef, Run: uvTexelDensity},
	}
}

var uvPresentDef = spec.Check{
	Name: "uv.present", Scope: spec.PerLOD, Title: "UVs there",
	What:   "Triangles of the game mesh without texture coordinates, or with one that is not a finite number.",
	Why:    "Without UVs no map can be read: the surface shows one colour or noise.",
	Source: "glTF 2.0, 3.7.2.1: TEXCOORD_n and finite floating-point accessors",
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "Triangles without UVs.", Origin: "glTF 2.0, 3.7.2.1"}},
	Mode: blocksAll, From: fromGameMesh, Metrics: []string{"count", "area_share"},
}

func uvPresent(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	sf := &s.LODs[t.LOD].Surface
	var all, lacking float64
	count := 0
	w := worst{}
	for _, g := range shipped(s, t.LOD) {
		for i := g.First; i < g.End; i++ {
			area := worldArea(corners(sf, i))
			all += area
			if g.NoUV || len(sf.UV) == 0 || !finiteUV(sf, i) {
				count++
				lacking += area
				w.add(area, i)
			}
		}
	}
	share := 0.0
	if all > 0 {
		share = min(1, lacking/all)
	}
	f := judge(r, map[string]float64{"count": float64(count), "area_share": share}, atMost("count", "max_count"))
	f.say("uv.present.all", words.Count(t.LOD))
	if count > 0 {
		f.say("uv.present.lacking", words.Count(t.LOD), words.Count(count), words.Share(share))
		for _, e := range w.top() {
			f.Where = append(f.Where, trianglePlace(sf, nil, e.at))
		}
		f.remedy("uv.present.unwrap")
	}
	return f
}

func finiteUV(sf *mesh.Surface, t int) bool {
	a, b, c := uvCorners(sf.UV, sf.Tri, t)
	return finite(a[0]) && finite(a[1]) && finite(b[0]) && finite(b[1]) && finite(c[0]) && finite(c[1])
}

var uvRangeDef = spec.Check{
	Name: "uv.range", Scope: spec.PerSet, Title: "UVs in their tile",
	What:   "Islands that leave the tile: whole-tile offsets are folded first, so a mirrored or stacked island set one tile aside for the bake is in place. Numbered tiles must be in the spec's list and no island may cross a border.",
	Why:    "What hangs over a tile's border is baked from, and shows, another place of the map.",
	Source: "glTF 2.0, 3.8.4.5 (wrapping outside 0 to 1); whole-tile folding is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Islands outside their tile.", Origin: spec.CommonPractice},
		{Key: "border_px", Kind: spec.Target, Unit: "px", Default: same(0.5),
			What:   "How far over the border still counts as on it, at ship size: rounding of stored UVs, under half a texel, moves no sample to another texel.",
			Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Blocks, spec.Blocks, spec.Blocks}, From: fromGameMesh,
	NotForSet: map[spec.SetKind]string{
		spec.Tiling:     "A tiling map repeats: its UVs run over as many tiles as the surface needs.",
		spec.Trim:       "A trim sheet repeats along its strips: UVs may run on past the border.",
		spec.DecalAtlas: "A decal atlas is read in cut-outs of its own, not as one unwrapped layout.",
	},
	Metrics: []string{"count", "share_outside", "max_overhang_px"},
}

func uvRange(_ context.Context, _ *Subject, t Target, r spec.Rule) Finding {
	sf := &t.Set.Game
	if len(sf.UV) == 0 {
		return unable("uv.none")
	}
	uv := textureUV(t.Set)
	boxes := uvBoxes(sf, uv)
	// Without a known size the tolerance is read at 1024 px: coarse enough for any map that is not smaller.
	w, h := sizeOr(t.Set.WidthPx, 1024), sizeOr(t.Set.HeightPx, 1024)
	tiles := tilesOf(t.Set.Def)
	var overhang, outsideArea, area float64
	count := 0
	badTile := worst{}
	for i := range boxes.lo {
		area += boxes.area[i]
		over, allowed := boxes.overhangPx(i, w, h, tiles)
		if over <= r.Numbers["border_px"] && allowed {
			continue
		}
		count++
		outsideArea += boxes.area[i]
		overhang = max(overhang, over)
		badTile.add(boxes.area[i], i)
	}
	share := 0.0
	if area > 0 {
		share = min(1, outsideArea/area)
	}
	f := judge(r, map[string]float64{"count": float64(count), "share_outside": share, "max_overhang_px": overhang},
		atMost("count", "max_count"))
	f.say("uv.range.inside", words.Count(boxes.count))
	if count > 0 {
		f.say("uv.range.outside", words.Count(count), words.Count(boxes.count), words.Share(share), words.Px(overhang))
		f.remedy("uv.range.move")
		for _, e := range badTile.top() {
			over, allowed := boxes.overhangPx(e.at, w, h, tiles)
			p := trianglePlace(sf, uv, int(boxes.first[e.at]))
			p.Value = &Value{Value: over, Unit: "px"}
			if !allowed {
				p.note("uv.range.unnamed_tile")
			}
			f.Where = append(f.Where, p)
		}
	}
	return f
}

func sizeOr(px, other int) float64 {
	if px > 0 {
		return float64(px)
	}
	return float64(other)
}

// tilesOf lists the tiles a set may use as (column, row) with row 0 the tile of 0 to 1 and rows growing upward, as
// tile numbers do: 1001 + column + 10 · row. Nil means every tile.
func tilesOf(def spec.Set) map[[2]int]bool {
	if len(def.Tiles) == 0 {
		return nil
	}
	m := make(map[[2]int]bool, len(def.Tiles))
	for _, n := range def.Tiles {
		m[[2]int{(n - 1001) % 10, (n - 1001) / 10}] = true
	}
	return m
}

// islandBoxes are the UV bounding boxes of islands; islands without a finite UV are left out of the count.
type islandBoxes struct {
	lo, hi [][2]float64
	area   []float64 // m²
	first  []int32   // its first triangle with finite UVs, -1 for none
	count  int
}

func uvBoxes(sf *mesh.Surface, uv []float32) islandBoxes {
	isl := findIslands(sf.Pos, uv, sf.Tri)
	b := islandBoxes{lo: make([][2]float64, isl.N), hi: make([][2]float64, isl.N),
		area: make([]float64, isl.N), first: make([]int32, isl.N)}
	for i := range b.lo {
		b.lo[i] = [2]float64{math.Inf(1), math.Inf(1)}
		b.hi[i] = [2]float64{math.Inf(-1), math.Inf(-1)}
		b.first[i] = -1
	}
	for t := range sf.Triangles() {
		i := isl.Of[t]
		p, q, s := uvCorners(uv, sf.Tri, t)
		if !finite(p[0] + p[1] + q[0] + q[1] + s[0] + s[1]) {
			continue // told by uv.present
		}
		b.area[i] += worldArea(corners(sf, t))
		if b.first[i] < 0 {
			b.first[i] = int32(t)
			b.count++
		}
		for k := range 2 {
			b.lo[i][k] = min(b.lo[i][k], p[k], q[k], s[k])
			b.hi[i][k] = max(b.hi[i][k], p[k], q[k], s[k])
		}
	}
	return b
}

// overhangPx says how far, in pixels, an island hangs over the border of the tile that its middle is in, and whether
// that tile is allowed.
func (b *islandBoxes) overhangPx(i int, widthPx, heightPx float64, tiles map[[2]int]bool) (over float64, allowed bool) {
	if b.first[i] < 0 {
		return 0, true
	}
	size := [2]float64{widthPx, heightPx}
	var tile [2]float64
	for k := range 2 {
		tile[k] = math.Floor((b.lo[i][k] + b.hi[i][k]) / 2)
		over = max(over, float64((tile[k]-b.lo[i][k])*size[k]), float64((b.hi[i][k]-tile[k]-1)*size[k]))
	}
	if tiles == nil {
		return over, true
	}
	// V points down in glTF and tile rows count upward: the tile of V 0 to 1 is row 0, that of V -1 to 0 is row 1.
	return over, tiles[[2]int{int(tile[0]), -int(tile[1])}]
}
