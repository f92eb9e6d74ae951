package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func uvChecks() []Check {
	return []Check{
		{Def: uvPresentDef, Run: uvPresent},
		{Def: uvRangeDef, Run: uvRange},
		{Def: densityDef, Run: uvTexelDensity},
		{Def: overlapDef, Run: uvOverlap},
		{Def: paddingDef, Run: uvPadding},
		{Def: stretchDef, Run: uvStretch},
		{Def: flippedDef, Run: uvFlipped},
		{Def: coverageDef, Run: uvCoverage},
		{Def: seamsDef, Run: uvSeams},
		{Def: stripsDef, Run: uvStrips},
		{Def: lightmapDef, Run: uvLightmap},
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

func uvRange(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	tiles := tilesOf(t.Set.Def)
	var overhang, outsideArea float64
	count, all := 0, 0
	w := worst{}
	for k := range l.islands {
		i := &l.islands[k]
		if i.first < 0 {
			continue
		}
		all++
		over, allowed := l.overhangPx(i), l.allowed(i, tiles)
		if over <= r.Numbers["border_px"] && allowed {
			continue
		}
		count++
		outsideArea += i.area
		overhang = max(overhang, over)
		w.add(i.area, k)
	}
	share := 0.0
	if area := l.m2(); area > 0 {
		share = min(1, outsideArea/area)
	}
	f := judge(r, map[string]float64{"count": float64(count), "share_outside": share, "max_overhang_px": overhang},
		atMost("count", "max_count"))
	f.say("uv.range.inside", words.Count(all))
	if count > 0 {
		f.say("uv.range.outside", words.Count(count), words.Count(all), words.Share(share), words.Px(overhang))
		f.remedy("uv.range.move")
		for _, e := range w.top() {
			i := &l.islands[e.at]
			p := l.place(i.first)
			p.Value = &Value{Value: l.overhangPx(i), Unit: "px"}
			if !l.allowed(i, tiles) {
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

// tilesOf lists the tiles a set may use by their numbers, 1001 + column + 10 · row with row 0 the tile of 0 to 1 and
// rows growing upward. Nil means every tile.
func tilesOf(def spec.Set) map[int]bool {
	if len(def.Tiles) == 0 {
		return nil
	}
	m := make(map[int]bool, len(def.Tiles))
	for _, n := range def.Tiles {
		m[n] = true
	}
	return m
}

// overhangPx says how far, in pixels, an island hangs over the border of the tile that its middle is in.
func (l *uvLayout) overhangPx(i *uvIsland) float64 {
	over := 0.0
	for k, px := range l.slots[i.slot].px {
		over = max(over, float64((i.shift[k]-i.box[k])*px), float64((i.box[k+2]-i.shift[k]-1)*px))
	}
	return over
}

// allowed says whether an island lies in a tile that the set may use. A set of one tile may be read from any: whole
// tiles are folded. A set of several has only tiles that have a number.
func (l *uvLayout) allowed(i *uvIsland, tiles map[int]bool) bool {
	n := l.slots[i.slot].tile
	if n == 0 {
		return true
	}
	return n > 0 && (tiles == nil || tiles[n])
}
