package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var coverageDef = spec.Check{
	Name: "uv.coverage", Scope: spec.PerSet, Title: "UV coverage",
	What:   "Share of the tile that islands cover, each place once, however many lie there; of several tiles, the emptiest.",
	Why:    "Every texel is paid for in memory: what no island covers is paid for nothing.",
	Source: "exact areas of the union; the limits are " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "min_share", Kind: spec.AtLeast, Unit: "share", Default: spec.ByTier{0.55, 0.60, 0.65, 0.60},
			What: "Share of the tile that islands should cover; of several tiles, all together.", Origin: spec.CommonPractice},
		{Key: "min_tile_share", Kind: spec.AtLeast, Unit: "share", Default: same(0.25),
			What: "Share of each tile of several: they run emptier than one alone.", Origin: spec.CommonPractice},
		{Key: "others_share", Kind: spec.Target, Unit: "share", Optional: true,
			What: "Share of a shared set's tile that its other users cover, as the owner of the kit counts it. Without it a shared set is not judged.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, NotForSet: sharedTexels,
	Metrics: []string{"share", "tile_share"},
}

func uvCoverage(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	others, known := r.Num("others_share")
	if t.Set.Def.Kind == spec.Shared && !known {
		return exempt("uv.coverage.shared")
	}
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	slots, err := l.overlap(ctx)
	if err != nil {
		return unable("uv.overlap.stopped")
	}
	if overlapSum(slots).Cut {
		return unable("uv.overlap.too_deep")
	}
	sum, least, emptiest := 0.0, 1.0, int32(0)
	for s, o := range slots {
		share := min(1, max(0, o.InTile))
		sum += share
		if share < least {
			least, emptiest = share, int32(s)
		}
	}
	mean := sum / float64(max(1, len(slots)))
	if t.Set.Def.Kind == spec.Shared {
		mean = min(1, mean+others)
	}
	bounds := []bound{atLeast("share", "min_share")}
	if len(slots) > 1 {
		bounds = append(bounds, atLeast("tile_share", "min_tile_share"))
	}
	f := judge(r, map[string]float64{"share": mean, "tile_share": least}, bounds...)
	f.say("uv.coverage.measured", words.Share(mean))
	if len(slots) > 1 {
		f.say("uv.coverage.tiles", words.Share(mean), words.Count(len(slots)), words.Share(least), words.Name(itoa(l.slots[emptiest].tile)))
		f.Tile = l.tileOf(emptiest)
	}
	if broke(f) {
		f.remedy("uv.coverage.pack")
	}
	return f
}
