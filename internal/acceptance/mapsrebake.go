package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

type meshRange = mesh.Range

func bakeChecks() []Check {
	return []Check{
		{Def: bakedDef, Run: mapsNormalBaked},
		{Def: rebakeDef, Run: mapsNormalRebake},
		{Def: sameMeshDef, Run: bakeSameMesh},
		{Def: tangentsDef, Run: bakeTangents},
	}
}

const tangentSource = "tangent space: glTF 2.0, sections 3.7.2.1 and 3.9, and Mikkelsen 2008; sRGB: IEC 61966-2-1; limits: " + spec.CommonPractice

var bakeMetrics = []string{"mean_deg", "p95_deg", "share_over_10deg", "best_fit_mean_deg", "fit_ratio", "low_pass_mean_deg", "relief_share", "relief_deg",
	"misfit_island_share", "inside_mean_deg", "seam_mean_deg", "left_mean_deg", "right_mean_deg", "unserved_share", "shift_x_px", "shift_y_px"}

var (
	fitLimit = spec.Limit{Key: "max_fit_ratio", Kind: spec.AtMost, Default: same(3),
		What: "How many times better the map may fit the sculpt in another reading: a channel flipped or swapped, a curve, a shift, another tangent space.", Origin: spec.CommonPractice}
	reliefLimit = spec.Limit{Key: "min_relief_share", Kind: spec.AtLeast, Unit: "share", Default: same(0.2),
		What: "Share of the sculpt's relief that the map must hold in the reading that fits best, where the relief leans 3° or more on average.", Origin: spec.CommonPractice}
	gridLimit = spec.Limit{Key: "grid_px", Kind: spec.Target, Unit: "px", Default: same(1024),
		What: "Texels along the map's longer edge at which it is baked anew: 64 to 4096, and no more than the map has.", Origin: spec.CommonPractice}
)

var bakedDef = spec.Check{
	Name: "maps.normal_baked", Scope: spec.PerSet, Title: "raw normal bake against the sculpt",
	What: "The sculpt's normals, projected onto the game mesh in MikkTSpace, against the raw bake (role map.normal_baked): angle at every texel, " +
		"and whether another reading of the map would fit far better.",
	Why:    "A wrong channel, tangent space or part in the bake lights every dent the wrong way, and shows only once the prop stands in the scene.",
	Source: tangentSource,
	Limits: []spec.Limit{
		fitLimit,
		{Key: "max_mean_deg", Kind: spec.AtMost, Unit: "deg", Default: spec.ByTier{6, 4, 3, 2}, What: "Mean angle between the map and ours.", Origin: spec.CommonPractice},
		{Key: "max_p95_deg", Kind: spec.AtMost, Unit: "deg", Default: spec.ByTier{20, 15, 12, 8}, What: "95th percentile of it.", Origin: spec.CommonPractice},
		reliefLimit,
		{Key: "max_misfit_island_share", Kind: spec.AtMost, Unit: "share", Default: same(0.02), What: "Share of the texels on islands that fit far better in another reading.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromMaps, NotForSet: notBakedSets, Metrics: bakeMetrics,
}

var rebakeDef = spec.Check{
	Name: "maps.normal_rebake", Scope: spec.PerSet, Title: "normal map against the sculpt",
	What: "The sculpt's normals, projected onto the game mesh in MikkTSpace, against the map that ships. Detail is painted in after the bake, so averages over " +
		"a sixteenth of the size are judged, and gross faults: another reading of the map that would fit far better, or no relation to the sculpt.",
	Why:    "Light falls the wrong way over every dent where a channel is flipped, and nothing else of a delivery hides it as well.",
	Source: tangentSource,
	Limits: []spec.Limit{
		fitLimit, reliefLimit,
		{Key: "max_low_pass_mean_deg", Kind: spec.AtMost, Unit: "deg", Default: spec.ByTier{10, 8, 6, 5},
			What: "Mean angle between averages over 16 by 16 texels of the map and of ours. Warns at most.", Origin: spec.CommonPractice},
		{Key: "max_misfit_island_share", Kind: spec.AtMost, Unit: "share", Default: same(0.02), What: "Share of the texels on islands that fit far better in another reading. Warns at most.", Origin: spec.CommonPractice},
		gridLimit,
	},
	Mode: blocksAll, From: fromMaps, NotForSet: notBakedSets, Metrics: bakeMetrics,
}

func mapsNormalBaked(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	return judgeBakes(ctx, s, t.Set, "normal_baked", func(m map[string]float64) Finding {
		mean, p95 := atMost("mean_deg", "max_mean_deg"), atMost("p95_deg", "max_p95_deg")
		relief, islands := atLeast("relief_share", "min_relief_share"), atMost("misfit_island_share", "max_misfit_island_share")
		if distant(s.Spec.Tier) {
			mean, p95, relief, islands = mean.warns(), p95.warns(), relief.warns(), islands.warns()
		}
		return judge(r, m, atMost("fit_ratio", "max_fit_ratio"), mean, p95, relief, islands)
	})
}

func mapsNormalRebake(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	return judgeBakes(ctx, s, t.Set, "normal", func(m map[string]float64) Finding {
		relief := atLeast("relief_share", "min_relief_share")
		if distant(s.Spec.Tier) {
			relief = relief.warns()
		}
		return judge(r, m, atMost("fit_ratio", "max_fit_ratio"), relief, atMost("low_pass_mean_deg", "max_low_pass_mean_deg").warns(),
			atMost("misfit_island_share", "max_misfit_island_share").warns())
	})
}

// distant says whether a tier is seen from so far that the numbers of a bake only warn.
func distant(t spec.Tier) bool { return t == spec.Background || t == spec.MidGround }

// judgeBakes judges the maps of a name: one, or the worst of a set's tiles.
func judgeBakes(ctx context.Context, s *Subject, set *Set, name string, judged func(map[string]float64) Finding) Finding {
	m := bakesOf(ctx, s, set)
	if m.why != nil {
		return *m.why
	}
	read, broken := m.named(name)
	switch {
	case len(read) == 0 && broken != nil:
		return broken.unread()
	case len(read) == 0 && asksFor(s.Spec, "map."+name):
		return unable("bake.map.no_map", words.Name("map."+name))
	case len(read) == 0:
		return exempt("bake.map.not_asked", words.Name("map."+name))
	}
	var worst *rebaked
	var found Finding
	for _, r := range read {
		if r.report.All.Texels == 0 {
			continue
		}
		f := judged(r.metrics())
		if worst == nil || rank(f.Outcome) > rank(found.Outcome) || rank(f.Outcome) == rank(found.Outcome) && f.Metrics["mean_deg"] > found.Metrics["mean_deg"] {
			worst, found = r, f
		}
	}
	if worst == nil {
		return unable("bake.map.no_texel")
	}
	if worst.tile > 0 {
		tile := worst.tile
		found.Tile = &tile
	}
	worst.tell(s, &found, name == "normal_baked")
	return found
}

// metrics are a comparison's numbers.
func (r *rebaked) metrics() map[string]float64 {
	p := r.report
	m := map[string]float64{
		"mean_deg": p.All.MeanDeg, "p95_deg": p.All.P95Deg, "share_over_10deg": p.All.ShareOver10,
		"low_pass_mean_deg": p.LowPassMeanDeg, "fit_ratio": p.Ratio, "relief_deg": p.ReliefDeg, "relief_share": r.relief(),
		"misfit_island_share": r.misfit(), "inside_mean_deg": p.Inside.MeanDeg, "seam_mean_deg": p.Seams.MeanDeg,
		"left_mean_deg": p.Left.MeanDeg, "right_mean_deg": p.Right.MeanDeg,
		"unserved_share": float64(p.Unserved) / float64(max(p.Covered, 1)), "best_fit_mean_deg": p.All.MeanDeg,
	}
	if p.Best > 0 {
		m["best_fit_mean_deg"] = p.Fits[p.Best].MeanDeg
	}
	if by := r.best().ShiftPx; by != [2]float64{} {
		m["shift_x_px"], m["shift_y_px"] = by[0], by[1]
	}
	return m
}

// best is the reading that fits best.
func (r *rebaked) best() bake.FitError {
	if len(r.report.Fits) == 0 {
		return bake.FitError{Fit: bake.AsDelivered}
	}
	return r.report.Fits[r.report.Best]
}

// leastReliefDeg is the leaning of our normals from which on a map without any of it is a fault. Common practice, no source.
const leastReliefDeg = 3

// relief is how much of the sculpt's relief the map holds in the reading that has most of it; 1 where there is too little to say.
func (r *rebaked) relief() float64 {
	if r.report.ReliefDeg < leastReliefDeg || len(r.report.Fits) == 0 {
		return 1
	}
	most := 0.0
	for _, f := range r.report.Fits {
		most = max(most, f.Slope)
	}
	return math.Min(most, 1)
}

// misfit is the share of texels on islands that another reading fits far better, and not the one that fits the whole.
func (r *rebaked) misfit() float64 {
	share := 0.0
	for _, e := range r.report.Islands {
		if e.Fit != bake.AsDelivered && e.Fit != r.best().Fit {
			share += r.ofIsland(e)
		}
	}
	return share
}
