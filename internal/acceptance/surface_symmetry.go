package acceptance

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var symmetryDef = spec.Check{
	Name: "surface.symmetry", Scope: spec.PerPart, Title: "sculpt outside, left and right apart",
	What:   "Sculpt outside the game surface on either side of the mirror plane, each side by itself.",
	Why:    "A model built as the mirror of one half fits the half it was built on and often fails on the other.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_height_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.008, 0.005, 0.0025, 0.0012},
			What: "Largest height on a side as a share of the part's diagonal; the larger of this and the height in pixels counts.", Origin: spec.CommonPractice},
		{Key: "max_height_px", Kind: spec.AtMost, Unit: "px", Default: same(1),
			What: "Largest height on a side in pixels at the tier's distance.", Origin: spec.CommonPractice},
		{Key: "max_height_mm", Kind: spec.AtMost, Unit: "mm", Optional: true,
			What: "Largest height on a side in millimetres, in place of the two above.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh,
	NotForPart: with(map[spec.PartKind]string{spec.Sheet: "The part is a sheet, open both ways: it has no outside."}),
	Metrics: []string{"left_max_height_mm", "left_area_share", "left_patches", "left_largest_patch_mm2",
		"right_max_height_mm", "right_area_share", "right_patches", "right_largest_patch_mm2"},
}

func surfaceSymmetry(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if orElse(t.Part.Def.Mirror, s.Spec.Conventions.Mirror) != "x" {
		return exempt("surface.symmetry.no_plane")
	}
	if f, ok := noSculpt(s, t.Part); !ok {
		return f
	}
	o, r, err := pokeOf(ctx, s, t.Part, r)
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
	}
	metrics := map[string]float64{}
	for side, h := range map[string]surface.Half{"left_": o.Left, "right_": o.Right} {
		metrics[side+"max_height_mm"], metrics[side+"area_share"] = h.MaxHeightMM, h.AreaShare
		metrics[side+"patches"], metrics[side+"largest_patch_mm2"] = float64(h.Patches), h.LargestPatchMM2
	}
	bounds := []bound{atMost("left_max_height_mm", "max_height_mm"), atMost("right_max_height_mm", "max_height_mm")}
	worse, better, name := o.Left, o.Right, "left"
	if o.Right.MaxHeightMM > o.Left.MaxHeightMM {
		worse, better, name = o.Right, o.Left, "right"
		bounds[0], bounds[1] = bounds[1], bounds[0]
	}
	f := judge(r, metrics, bounds...)
	f.Labels = withLabel(f.Labels, "mirror_plane", fmt.Sprintf("x = %.4g mm; left is +X", 1000*mirrorPlane(s, t.Part)))
	limit := r.Numbers["max_height_mm"]
	f.say("surface.symmetry.both", words.MM(o.Left.MaxHeightMM), words.MM(o.Right.MaxHeightMM), words.MM(limit))
	if worse.MaxHeightMM > limit && better.MaxHeightMM <= limit {
		f.say("surface.symmetry.one_side", words.Term(name), words.MM(worse.MaxHeightMM), words.MM(better.MaxHeightMM), words.MM(limit))
	}
	for _, q := range o.Patches {
		if len(f.Where) == maxPlaces {
			break
		}
		if h := q.LeftHeight; name == "left" && h > 0 || name == "right" && q.RightHeight > 0 {
			f.Where = append(f.Where, surfacePlace(s, t.Part, &t.Part.Sculpt, q.Triangle, q.PeakMM, q.HeightMM, "mm"))
		}
	}
	if broke(f) {
		f.remedy("surface.symmetry.fit_half", words.Term(name))
	}
	return f
}
