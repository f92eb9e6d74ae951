package acceptance

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var densityDef = spec.Check{
	Name: "uv.texel_density", Scope: spec.PerSet, Title: "texel density",
	What:   "Pixels of the reference map at ship size per metre of surface: over the set, by triangle at the extremes, and by island against the target.",
	Why:    "Neighbours that differ in density look sharper or softer than each other, and texels spent on what nobody sees are missing elsewhere.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_share_outside", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.15, 0.10, 0.05, 0.05},
			What: "Share of the set's surface on islands outside the target and its tolerance.", Origin: spec.CommonPractice},
		{Key: "target_px_per_m", Kind: spec.Target, Unit: "px/m", Default: spec.ByTier{256, 512, 1024, 2048},
			What: "Density that islands should have; a part's density factor multiplies it.", Origin: spec.CommonPractice},
		{Key: "tolerance_share", Kind: spec.Target, Unit: "share", Default: spec.ByTier{0.30, 0.25, 0.20, 0.15},
			What: "How far an island may be from its target, either way.", Origin: spec.CommonPractice},
		{Key: "small_island_share", Kind: spec.Target, Unit: "share", Default: same(0.005),
			What: "Islands under this share of the set's surface are free.", Origin: spec.CommonPractice},
		{Key: "small_islands_share", Kind: spec.Target, Unit: "share", Default: same(0.10),
			What:   "So long as the free islands together stay under this share, counted from the smallest: a layout in shreds is all small islands.",
			Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Blocks, spec.Blocks, spec.Blocks}, From: fromMaps,
	Metrics: []string{"mean_px_per_m", "min_px_per_m", "max_px_per_m", "share_outside"},
}

func uvTexelDensity(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if t.Set.WidthPx <= 0 || t.Set.HeightPx <= 0 {
		return unable("uv.texel_density.no_size")
	}
	l := t.Set.layout()
	if l == nil {
		return unable("uv.none")
	}
	field := densityOf(l)
	if field.areaSum <= 0 {
		return unable("uv.texel_density.no_area")
	}
	out := field.judgeIslands(partsByDraw(s), r)
	f := judge(r, map[string]float64{
		"mean_px_per_m": math.Sqrt(field.texelSum / field.areaSum),
		"min_px_per_m":  field.min, "max_px_per_m": field.max,
		"share_outside": out.share,
	}, atMost("share_outside", "max_share_outside"))
	from := t.Set.SizeFrom
	if from.Code == "" {
		from = words.P("uv.size_from.reference")
	}
	f.say("uv.texel_density.mean", words.PxPerM(f.Metrics["mean_px_per_m"]), words.SizePx(t.Set.WidthPx, t.Set.HeightPx), words.Nested(from),
		words.Share(out.share), words.PxPerM(r.Numbers["target_px_per_m"]), words.Share(r.Numbers["tolerance_share"]))
	if n := len(l.slots); n > 1 {
		f.also("uv.texel_density.tile", words.Count(n), words.Name(itoa(l.slots[out.slot].tile)))
		f.Tile = l.tileOf(out.slot)
	}
	if out.denser+out.coarser > 0 {
		f.Where = field.places(out)
	}
	if broke(f) {
		f.remedy(out.remedy())
	}
	return f
}

// densityField is what one pass over a set's triangles leaves beside what its layout holds.
type densityField struct {
	l        *uvLayout
	texelSum float64
	areaSum  float64
	min, max float64 // px/m over triangles with an area
}

// densityOf measures texel areas and world areas. A triangle with UVs that are not finite counts nowhere; one without an
// area in the world counts by its texels in the sum over all, and neither in its island nor at the extremes. Sums run
// in triangle order in float64.
func densityOf(l *uvLayout) densityField {
	f := densityField{l: l, min: math.Inf(1)}
	for t, i := range l.charts.Island {
		texels := l.texelsOf(t, i)
		if !finite(texels) {
			continue
		}
		f.texelSum += texels
		area := worldArea(corners(l.sf, t))
		if area <= 0 {
			continue
		}
		f.areaSum += area
		density := texels / area
		f.min, f.max = min(f.min, density), max(f.max, density)
	}
	f.min, f.max = math.Sqrt(f.min), math.Sqrt(f.max)
	return f
}

// texelsOf is a triangle's area in texels of its tile.
func (l *uvLayout) texelsOf(t int, island int32) float64 {
	px := l.slots[l.islands[island].slot].px
	return float64(0.5 * math.Abs(uvArea2(uvCorners(l.uv, l.sf.Tri, t))) * float64(px[0]*px[1]))
}

// densityVerdict is how the islands stand to their targets.
type densityVerdict struct {
	share           float64 // of world area, on islands outside: in the tile where it is largest
	slot            int32   // that tile
	denser, coarser int     // islands
	off             []float64
	// off, by island: how far outside its band it is, as a ratio above 1; 0 where it is inside or free
}

// judgeIslands holds every island against its target. Its part gives the factor on the target; where an island spans
// parts, its largest triangle's part does.
func (f *densityField) judgeIslands(parts map[drawKey]*Part, r spec.Rule) densityVerdict {
	target, tolerance := r.Numbers["target_px_per_m"], r.Numbers["tolerance_share"]
	l := f.l
	v := densityVerdict{off: make([]float64, len(l.islands))}
	free := f.freeIslands(r.Numbers["small_island_share"], r.Numbers["small_islands_share"])
	outside, all := make([]float64, len(l.slots)), make([]float64, len(l.slots))
	for k := range l.islands {
		i := &l.islands[k]
		all[i.slot] += i.area
		if i.area <= 0 || free[k] {
			continue
		}
		want := target * densityFactor(l.sf, parts, int(i.largest))
		if want <= 0 {
			continue // the part is left out, or the spec has turned the target off
		}
		have := math.Sqrt(i.texels / i.area)
		switch {
		case have > float64(want*(1+tolerance)):
			v.denser++
			v.off[k] = have / want
		case have < float64(want*(1-tolerance)):
			v.coarser++
			v.off[k] = min(want/max(have, want*1e-6), 1e6)
		default:
			continue
		}
		outside[i.slot] += i.area
	}
	for slot := range outside {
		if all[slot] > 0 && outside[slot]/all[slot] > v.share {
			v.share, v.slot = min(1, outside[slot]/all[slot]), int32(slot) // sums in another order may differ in their last bit
		}
	}
	return v
}

// freeIslands marks the islands too small to matter: each under one share of the surface, and all together under
// another, taken from the smallest.
func (f *densityField) freeIslands(each, together float64) []bool {
	islands := f.l.islands
	free := make([]bool, len(islands))
	order := make([]int, 0, len(islands))
	for i := range islands {
		if a := islands[i].area; a > 0 && a < each*f.areaSum {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch a, b := islands[i].area, islands[j].area; {
		case a < b:
			return -1
		case a > b:
			return 1
		}
		return 0
	})
	sum := 0.0
	for _, i := range order {
		if sum += islands[i].area; sum > together*f.areaSum {
			break
		}
		free[i] = true
	}
	return free
}

// densityFactor is the factor on the target at a triangle, from its part. 0 leaves it out.
func densityFactor(sf *mesh.Surface, parts map[drawKey]*Part, t int) float64 {
	p := parts[keyOf(rangeOf(sf, t))]
	if p == nil {
		return 1
	}
	return p.Def.Density
}

// rangeOf returns the draw that a triangle comes from.
func rangeOf(sf *mesh.Surface, t int) mesh.Range {
	i, found := slices.BinarySearchFunc(sf.Of, t, func(r mesh.Range, t int) int {
		switch {
		case t < r.First:
			return 1
		case t >= r.End:
			return -1
		}
		return 0
	})
	if !found {
		return mesh.Range{}
	}
	return sf.Of[i]
}

// places names the islands farthest outside, weighed by their area: what a reader sees first.
func (f *densityField) places(v densityVerdict) []Place {
	w := worst{}
	for i, off := range v.off {
		if off > 0 {
			w.add(f.l.islands[i].area*off, i)
		}
	}
	var out []Place
	for _, e := range w.top() {
		i := &f.l.islands[e.at]
		p := f.l.place(i.largest)
		p.Value = &Value{Value: math.Sqrt(i.texels / i.area), Unit: "px/m"}
		p.note("uv.texel_density.island", words.Share(i.area/f.areaSum))
		out = append(out, p)
	}
	return out
}

func (v densityVerdict) remedy() string {
	switch {
	case v.coarser == 0:
		return "uv.texel_density.scale_down"
	case v.denser == 0:
		return "uv.texel_density.scale_up"
	}
	return "uv.texel_density.even_out"
}

// trianglePlace says where a triangle is: node, index in its draw, centre in the world and in UV.
func trianglePlace(sf *mesh.Surface, uv []float32, t int) Place {
	r := rangeOf(sf, t)
	p := Place{PointMM: middleMM(corners(sf, t)), Side: facing(corners(sf, t))}
	if r.Scene != nil {
		p.Node = r.NodeName()
		p.Triangles = []int{t - r.First}
	}
	if len(uv) > 0 {
		a, b, c := uvCorners(uv, sf.Tri, t)
		p.UV = &[2]float64{roundUV((a[0] + b[0] + c[0]) / 3), roundUV((a[1] + b[1] + c[1]) / 3)}
	}
	return p
}

// roundUV rounds a coordinate for readers to a millionth of a tile: a hundredth of a texel of the largest maps.
func roundUV(v float64) float64 { return math.Round(v*1e6) / 1e6 }

// percent writes a share for people: no "0 %" for what is not nothing.
func percent(share float64) string {
	switch {
	case share <= 0:
		return "0 %"
	case share < 0.0005:
		return "less than 0.1 %"
	}
	return strings.Replace(fmt.Sprintf("%.1f %%", 100*share), ".0 %", " %", 1)
}

func orElse(s, other string) string {
	if s == "" {
		return other
	}
	return s
}

// sizeFrom says where the size comes from.
func (t *Set) sizeFrom() words.Phrase {
	if t.SizeFrom.Code == "" {
		return words.P("uv.size_from.reference")
	}
	return t.SizeFrom
}
