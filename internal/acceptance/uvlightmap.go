package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var lightmapDef = spec.Check{
	Name: "uv.lightmap", Scope: spec.PerDelivery, Title: "second UV set for light maps",
	What:   "Where the spec wants baked lighting: whether every drawn triangle of LOD 0 has a second UV set that stays inside 0 to 1, overlaps nowhere (stacks too) and keeps its own padding.",
	Why:    "Baked light is different at every place of the surface: two places that share a texel share each other's shadows.",
	Source: "glTF 2.0, 3.7.2.1 (TEXCOORD_1); the limits are " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "wanted", Kind: spec.Option, Words: []string{"no", "yes"},
			What: "Whether the project bakes lighting into maps.", Origin: spec.CommonPractice},
		{Key: "max_lacking_share", Kind: spec.AtMost, Unit: "share", Default: same(0),
			What: "Share of the surface without a second UV set.", Origin: spec.CommonPractice},
		{Key: "max_overlap_share", Kind: spec.AtMost, Unit: "share", Default: same(0.0002),
			What: "Share of the covered UV area under two surfaces or more.", Origin: spec.CommonPractice},
		{Key: "min_gap_px", Kind: spec.AtLeast, Unit: "px", Default: same(2),
			What: "Smallest gap between islands at the light map's size, so that filtering does not mix them; half of it to the border.", Origin: spec.CommonPractice},
		{Key: "lightmap_px", Kind: spec.Target, Unit: "px", Default: spec.ByTier{64, 128, 256, 256},
			What: "Edge of the light map.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh,
	Metrics: []string{"overlap_share", "min_px", "border_px", "lacking_share"},
}

func uvLightmap(ctx context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if r.Words["wanted"] != "yes" {
		return exempt("uv.lightmap.not_wanted")
	}
	if len(s.LODs) == 0 || s.LODs[0].Triangles() == 0 {
		return unable("uv.lightmap.no_mesh")
	}
	sf, lacking := secondUV(s)
	px := max(1, r.Numbers["lightmap_px"])
	m, err := measureLightmap(ctx, &sf, px)
	if err != nil {
		return unable("uv.overlap.stopped")
	}
	if m.cut {
		return unable("uv.overlap.too_deep")
	}
	// Without the set there is nothing to overlap and no gap: the lack is what breaks.
	f := judge(withNumbers(r, map[string]float64{"min_border_px": r.Numbers["min_gap_px"] / 2}),
		map[string]float64{"overlap_share": m.overlap, "min_px": roundPx(min(m.gap, px)), "border_px": roundPx(min(m.border, px)), "lacking_share": lacking},
		atMost("lacking_share", "max_lacking_share"), atMost("overlap_share", "max_overlap_share"),
		atLeast("min_px", "min_gap_px"), atLeast("border_px", "min_border_px"))
	f.say("uv.lightmap.measured", words.ShareFine(m.overlap), words.Px(roundPx(min(m.gap, px))), words.Px(roundPx(min(m.border, px))), words.SizePx(int(px), int(px)))
	if lacking > 0 {
		f.say("uv.lightmap.lacking", words.Share(lacking))
	}
	if broke(f) {
		for _, t := range m.worst {
			f.Where = append(f.Where, trianglePlace(&sf, sf.UV, int(t)))
		}
		f.remedy("uv.lightmap.unwrap")
	}
	return f
}

// secondUV is LOD 0 as drawn, with its second UV set, and the share of its surface that has none.
func secondUV(s *Subject) (sf mesh.Surface, lacking float64) {
	lod := &s.LODs[0].Surface
	sf = mesh.Surface{Pos: lod.Pos, Nrm: lod.Nrm, UV: make([]float32, len(lod.Pos)/3*2)}
	all, without := 0.0, 0.0
	for _, r := range shipped(s, 0) {
		p := &r.Scene.Prims[r.Draw.Prim]
		n := r.VEnd - r.VFirst
		has := len(p.UV) > 1 && len(p.UV[1]) == 2*n
		area := 0.0
		for t := r.First; t < r.End; t++ {
			area += worldArea(corners(lod, t))
		}
		all += area
		if !has {
			without += area
			continue
		}
		copy(sf.UV[2*r.VFirst:2*r.VEnd], p.UV[1])
		first := len(sf.Tri) / 3
		sf.Tri = append(sf.Tri, lod.Tri[3*r.First:3*r.End]...)
		r.First, r.End = first, len(sf.Tri)/3
		sf.Of = append(sf.Of, r)
	}
	if all > 0 {
		lacking = min(1, without/all)
	}
	return sf, lacking
}

// lightmap is what a layout for baked light comes to.
type lightmap struct {
	overlap, gap, border float64 // share; px; px: infinite where there is none
	cut                  bool
	worst                []int32 // triangles
}

func measureLightmap(ctx context.Context, sf *mesh.Surface, px float64) (lightmap, error) {
	m := lightmap{gap: math.Inf(1), border: math.Inf(1)}
	l := chart.Find(sf.Pos, sf.UV, sf.Tri)
	list := make([]chart.Triangle, 0, len(l.Chart))
	group := make([]int32, l.Charts) // island of each chart: halves folded on each other overlap, they have no gap
	for t, c := range l.Chart {
		if c < 0 {
			continue
		}
		q := chart.Triangle{ID: int32(t), Chart: c}
		q.At[0], q.At[1], q.At[2] = chart.Corners(sf.UV, sf.Tri, t)
		for _, at := range q.At {
			for k := range 2 {
				m.border = min(m.border, max(0, float64(at[k]*px)), max(0, float64((1-at[k])*px)))
			}
		}
		list = append(list, q)
		group[c] = l.Island[t]
	}
	over, err := chart.Overlap(ctx, list)
	if err != nil {
		return m, err
	}
	m.cut = over.Cut
	if over.Covered > 0 {
		m.overlap = min(1, max(0, over.Partial)/over.Covered)
	}
	for _, p := range over.Pairs[:min(len(over.Pairs), maxPlaces/2)] {
		m.worst = append(m.worst, p.Triangles[0])
	}
	segments := make([]chart.Segment, 0, len(l.Outline))
	for c := range l.Charts {
		for _, e := range l.Outline[l.OutlineOf[c]:l.OutlineOf[c+1]] {
			at := func(v uint32) chart.Vec {
				return chart.Vec{float64(float64(sf.UV[2*v]) * px), float64(float64(sf.UV[2*v+1]) * px)}
			}
			segments = append(segments, chart.Segment{A: at(e[0]), B: at(e[1]), Group: group[c]})
		}
	}
	least, err := chart.Least(ctx, segments)
	if err != nil {
		return m, err
	}
	if least.Other >= 0 {
		m.gap = least.Distance
		for t, i := range l.Island {
			if i == least.Group {
				m.worst = append(m.worst, int32(t))
				break
			}
		}
	}
	return m, nil
}
