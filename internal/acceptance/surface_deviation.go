package acceptance

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var deviationDef = spec.Check{
	Name: "surface.deviation", Scope: spec.PerPart, Title: "distance between game surface and sculpt",
	What:   "Distances from the sculpt to the game surface and back, weighted by area: mean, root mean square, 95th and 99th percentile and largest, the larger of both ways.",
	Why:    "The farther the game surface is from the sculpt, the more the bake has to pretend. The largest distance is ruled by one crevice and never judged; the 95th percentile is.",
	Source: "Cignoni, Rocchini and Scopigno 1998 (Metro); Aspert, Santa-Cruz and Ebrahimi 2002 (MESH); limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_p95_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.01, 0.006, 0.003, 0.0015},
			What: "95th percentile of the distance as a share of the part's diagonal.", Origin: spec.CommonPractice},
		{Key: "max_p95_mm", Kind: spec.AtMost, Unit: "mm", Optional: true,
			What: "95th percentile in millimetres, in place of the share.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, NotForPart: notCompared,
	Metrics: []string{"max_mm", "mean_mm", "rms_mm", "p95_mm", "p99_mm", "max_share_of_diagonal",
		"sculpt_to_game_max_mm", "sculpt_to_game_mean_mm", "sculpt_to_game_rms_mm", "sculpt_to_game_p95_mm", "sculpt_to_game_p99_mm", "sculpt_to_game_max_share_of_diagonal",
		"game_to_sculpt_max_mm", "game_to_sculpt_mean_mm", "game_to_sculpt_rms_mm", "game_to_sculpt_p95_mm", "game_to_sculpt_p99_mm", "game_to_sculpt_max_share_of_diagonal"},
}

func surfaceDeviation(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if f, ok := noSculpt(s, t.Part); !ok {
		return f
	}
	d, err := t.Part.pair(s).Deviation(ctx)
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
	}
	r = effective(r, "max_p95_mm", d.DiagonalMM, "max_p95_share", 0, "")
	f := judge(r, deviationMetrics(d), atMost("p95_mm", "max_p95_mm"))
	f.Labels = deviationLabels(f.Labels, d)
	f.say("surface.deviation.within", words.MM(f.Metrics["p95_mm"]), words.MM(r.Numbers["max_p95_mm"]), words.MM(f.Metrics["mean_mm"]), words.MM(f.Metrics["max_mm"]))
	for _, w := range mergeSpots(d) {
		on, way := &t.Part.Sculpt, "surface.deviation.to_game"
		if w.game {
			on, way = &t.Part.Game, "surface.deviation.to_sculpt"
		}
		pl := surfacePlace(s, t.Part, on, w.Triangle, w.PointMM, w.DistanceMM, "mm")
		pl.note(way)
		f.Where = append(f.Where, pl)
	}
	if broke(f) {
		f.remedy("surface.deviation.nearer")
	}
	return f
}

// deviationLabels say how the distances were found, what error that leaves, and what was left out.
func deviationLabels(labels map[string]string, d *surface.Deviation) map[string]string {
	how := func(x surface.Distances) string {
		return fmt.Sprintf("%s; standard error of the mean at most %s, of the 95th percentile %s; the true largest distance is at most %s more",
			x.How, lengthWords(x.MeanErrorMM), lengthWords(x.P95ErrorMM), lengthWords(x.MaxErrorMM))
	}
	labels = withLabel(labels, "sculpt_to_game", how(d.SculptToGame))
	labels = withLabel(labels, "game_to_sculpt", how(d.GameToSculpt))
	if d.HiddenGameShare > 0 {
		labels = withLabel(labels, "hidden_game", percent(d.HiddenGameShare)+" of the game surface lies inside another of its shells and is left out")
	}
	if d.HiddenSculptShare > 0 {
		labels = withLabel(labels, "hidden_sculpt", fmt.Sprintf("%s of the sculpt is seen from nowhere outside, behind other sculpt, and is left out; the farthest of it is %s from the game surface",
			percent(d.HiddenSculptShare), lengthWords(d.HiddenSculptMaxMM)))
	}
	if d.OpenSculptShare > 0 {
		labels = withLabel(labels, "open_sculpt", percent(d.OpenSculptShare)+" of the sculpt faces a side that the spec declares open and is left out")
	}
	return labels
}

func deviationMetrics(d *surface.Deviation) map[string]float64 {
	m := map[string]float64{}
	put := func(prefix string, x surface.Distances) {
		m[prefix+"max_mm"], m[prefix+"mean_mm"], m[prefix+"rms_mm"] = x.MaxMM, x.MeanMM, x.RMSMM
		m[prefix+"p95_mm"], m[prefix+"p99_mm"] = x.P95MM, x.P99MM
		m[prefix+"max_share_of_diagonal"] = x.MaxMM / d.DiagonalMM
	}
	a, b := d.SculptToGame, d.GameToSculpt
	put("sculpt_to_game_", a)
	put("game_to_sculpt_", b)
	put("", surface.Distances{
		MaxMM: max(a.MaxMM, b.MaxMM), MeanMM: max(a.MeanMM, b.MeanMM), RMSMM: max(a.RMSMM, b.RMSMM),
		P95MM: max(a.P95MM, b.P95MM), P99MM: max(a.P99MM, b.P99MM),
	})
	return m
}

type spotOn struct {
	surface.Spot
	game bool
}

// mergeSpots puts the worst places of both ways in order, ten at most.
func mergeSpots(d *surface.Deviation) []spotOn {
	var out []spotOn
	for i, j := 0, 0; len(out) < maxPlaces && (i < len(d.Worst) || j < len(d.WorstGame)); {
		if j >= len(d.WorstGame) || i < len(d.Worst) && d.Worst[i].DistanceMM >= d.WorstGame[j].DistanceMM {
			out = append(out, spotOn{d.Worst[i], false})
			i++
		} else {
			out = append(out, spotOn{d.WorstGame[j], true})
			j++
		}
	}
	return out
}
