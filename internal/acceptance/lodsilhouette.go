package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var lodSilhouetteDef = spec.Check{
	Name: "lod.silhouette", Scope: spec.PerLOD, Title: "outline of each LOD",
	What: "The outline of each LOD against LOD 0's, without perspective, from views spread evenly over the directions from which the prop may be seen, " +
		"in pixels at the distance where the LOD takes over.",
	Why:    "An outline that jumps where LODs change is seen from the corner of the eye, on every copy, each time the camera passes that distance.",
	Source: "views and offsets as for surface.silhouette; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_run_px", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{2, 2, 1.5, 1},
			What: "Largest offset kept up along a run of the outline, in pixels where the LOD takes over; twice that where LODs cross-fade.", Origin: spec.CommonPractice},
		{Key: "run_length_px", Kind: spec.Target, Unit: "px", Default: same(8),
			What: "How long an offset must be kept up to count as a run.", Origin: spec.CommonPractice},
		{Key: "switch_m", Kind: spec.AtMost, Unit: "m", List: true, Optional: true,
			What: "Distances in metres at which LOD 1, LOD 2 and so on take over. Where it does not say, each takes over twice as far away as the one before; LOD 1 at twice the tier's distance.", Origin: spec.CommonPractice},
		{Key: "transition", Kind: spec.Option, Words: []string{"cut", "cross_fade"}, What: "How one LOD gives way to the next.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromFinal,
	Metrics: []string{"run_offset_px", "max_offset_px", "mean_offset_px", "run_offset_mm", "max_offset_mm", "switch_m"},
}

func lodSilhouette(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if t.LOD == 0 {
		return Finding{} // LOD 0 is what the others are held against
	}
	if isCardLOD(s, t.LOD, s.Spec.Rule(lodStepsDef.Name, nil, nil)) {
		return exempt("lod.silhouette.card", words.Count(t.LOD))
	}
	pixel := lodPixelMM(s, t.LOD)
	if !(pixel > 0) {
		return unable("lod.silhouette.no_pixel")
	}
	own, first := shippedMesh(s, t.LOD), shippedMesh(s, 0)
	pair := surface.NewPair(own, first, surface.Options{Threads: s.Threads, PixelMM: pixel})
	if !pair.Measurable() || first.Triangles() == 0 {
		return unable("lod.silhouette.flat", words.Count(t.LOD))
	}
	m, err := pair.Silhouette(ctx, cameraSide(s.Spec.View.Placed), r.Numbers["run_length_px"]*pixel)
	if err != nil {
		return unable("lod.silhouette.stopped", words.Name(err.Error()))
	}
	r = withNumbers(r, allowedOf(r, "max_run_px", "allowed_run_px", fadeFactor(s)))
	f := judge(r, map[string]float64{
		"run_offset_px": m.RunOffsetMM / pixel, "max_offset_px": m.MaxOffsetMM / pixel, "mean_offset_px": m.MeanOffsetMM / pixel,
		"run_offset_mm": m.RunOffsetMM, "max_offset_mm": m.MaxOffsetMM, "switch_m": lodDistanceM(s, t.LOD),
	}, atMost("run_offset_px", "allowed_run_px"))
	f.say("lod.silhouette.offset", words.Count(t.LOD), words.Num(lodDistanceM(s, t.LOD)), words.Px(m.RunOffsetMM/pixel), words.MM(m.RunOffsetMM))
	for _, v := range m.Views[:min(len(m.Views), maxPlaces)] {
		if v.MaxOffsetMM <= 0 {
			break
		}
		point := v.World(v.WorstFromMM)
		pl := Place{PointMM: &point, Value: &Value{Value: v.MaxOffsetMM, Unit: "mm"}}
		pl.note("lod.silhouette.seen", words.Count(v.Number), seenFrom(v.Toward))
		f.Where = append(f.Where, pl)
	}
	if broke(f) {
		f.remedy("lod.silhouette.keep", words.Count(t.LOD))
	}
	return f
}

// shippedMesh is what a renderer draws of one LOD.
func shippedMesh(s *Subject, lod int) surface.Mesh {
	sf, ranges := s.LODs[lod].Surface, shipped(s, lod)
	if len(ranges) != len(sf.Of) {
		keep := map[drawKey]bool{}
		for _, g := range ranges {
			keep[keyOf(g)] = true
		}
		sf = subset(&sf, func(g mesh.Range) bool { return keep[keyOf(g)] })
	}
	return surface.Mesh{Pos: sf.Pos, Tri: sf.Tri}
}
