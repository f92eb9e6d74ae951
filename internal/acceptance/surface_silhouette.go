package acceptance

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var silhouetteDef = spec.Check{
	Name: "surface.silhouette", Scope: spec.PerPart, Title: "outline of game surface and sculpt",
	What: "The outlines of game surface and sculpt, without perspective, from views spread evenly over the directions from which the prop may be seen: " +
		"how far one stands outside the other at most, along a run that an eye would notice, and on average.",
	Why:    "The eye reads the outline first: a normal map hides a notch inside the outline, never one in it.",
	Source: "views: González 2010, Fibonacci lattice; offsets: Hausdorff distance of the covered regions; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_run_px", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{3, 2, 1.5, 1},
			What: "Largest offset kept up along a run of the outline, in pixels at the tier's distance.", Origin: spec.CommonPractice},
		{Key: "max_mean_px", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{1, 0.7, 0.5, 0.3},
			What: "Mean offset over all views, in pixels at the tier's distance.", Origin: spec.CommonPractice},
		{Key: "run_length_px", Kind: spec.Target, Unit: "px", Default: same(8),
			What: "How long an offset must be kept up to count as a run.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Warns, spec.Blocks, spec.Blocks}, From: fromGameMesh, NotForPart: notCompared,
	Metrics: []string{"mean_offset_mm", "max_offset_mm", "max_offset_px", "worst_view_area_share", "run_offset_mm", "run_offset_px", "mean_offset_px"},
}

// cameraSide is the middle of the directions from which a prop may be seen, by how it is placed. Without perspective two opposite
// views show one outline mirrored, so half of all directions are as good as all.
func cameraSide(placed string) [3]float64 {
	switch placed {
	case "wall":
		return [3]float64{0, 0, 1}
	case "ceiling":
		return [3]float64{0, -1, 0}
	}
	return [3]float64{0, 1, 0}
}

func surfaceSilhouette(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if f, ok := noSculpt(s, t.Part); !ok {
		return f
	}
	pixel := s.Spec.View.PixelMM()
	if !(pixel > 0) {
		return unable("surface.silhouette.no_pixel")
	}
	m, err := t.Part.pair(s).Silhouette(ctx, cameraSide(s.Spec.View.Placed), r.Numbers["run_length_px"]*pixel)
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
	}
	f := judge(r, map[string]float64{
		"mean_offset_mm": m.MeanOffsetMM, "max_offset_mm": m.MaxOffsetMM, "max_offset_px": m.MaxOffsetMM / pixel, "worst_view_area_share": m.WorstViewAreaShare,
		"run_offset_mm": m.RunOffsetMM, "run_offset_px": m.RunOffsetMM / pixel, "mean_offset_px": m.MeanOffsetMM / pixel,
	}, atMost("run_offset_px", "max_run_px"), atMost("mean_offset_px", "max_mean_px"))
	f.Labels = withLabel(f.Labels, "views", fmt.Sprintf("%d directions, evenly spread over the half of all that faces %s", len(m.Views), axisWords(cameraSide(s.Spec.View.Placed))))
	f.Labels = withLabel(f.Labels, "sampling", fmt.Sprintf("outlines exact on a grid of at most %s; gaps through a surface narrower than %s may go unseen", lengthWords(m.StepMM), lengthWords(m.GapMM)))
	f.Labels = withLabel(f.Labels, "max_error", lengthWords(m.MaxErrorMM))
	f.Labels = withLabel(f.Labels, "pixel", lengthWords(pixel)+" at the tier's distance")
	f.saySilhouette(s, t.Part, r, m, pixel)
	for _, v := range m.Views[:min(len(m.Views), maxPlaces)] {
		if v.MaxOffsetMM <= 0 {
			break
		}
		point := v.World(v.WorstFromMM)
		pl := Place{PointMM: &point, Value: &Value{Value: v.MaxOffsetMM, Unit: "mm"}, Side: sideOf(s, t.Part, point)}
		pl.note("surface.silhouette.view", words.Count(v.Number), seenFrom(v.Toward),
			whoStands(v.SculptOut), words.MM(v.MaxOffsetMM), words.MM(v.RunOffsetMM))
		f.Where = append(f.Where, pl)
	}
	if broke(f) {
		f.remedy("surface.silhouette.move_edges")
	}
	return f
}

func whoStands(sculpt bool) words.Arg {
	if sculpt {
		return words.Term("sculpt")
	}
	return words.Term("game_surface")
}

func axisWords(a [3]float64) string {
	switch {
	case a[2] > 0:
		return "the front"
	case a[1] < 0:
		return "down"
	}
	return "up"
}

func (f *Finding) saySilhouette(s *Subject, p *Part, r spec.Rule, m *surface.Silhouette, pixel float64) {
	worst := &m.Views[0]
	for i := range m.Views {
		if m.Views[i].MaxOffsetMM > worst.MaxOffsetMM {
			worst = &m.Views[i]
		}
	}
	f.say("surface.silhouette.offsets", words.Px(m.RunOffsetMM/pixel), words.Px(r.Numbers["max_run_px"]), words.Px(m.MeanOffsetMM/pixel), words.Px(r.Numbers["max_mean_px"]))
	f.also("surface.silhouette.largest", words.MM(m.MaxOffsetMM), words.Px(m.MaxOffsetMM/pixel), sideTerm(sideOf(s, p, worst.World(worst.WorstFromMM))), whoStands(worst.SculptOut))
}

// seenFrom lists the sides that a direction looks from, as words of a sentence; toward is a unit vector, +X the prop's left, +Y up, +Z its front.
func seenFrom(toward [3]float64) words.Arg {
	var sides []words.Arg
	for _, w := range [...]struct {
		along float64
		side  string
	}{{toward[2], "front"}, {-toward[2], "back"}, {toward[0], "left"}, {-toward[0], "right"}, {toward[1], "top"}, {-toward[1], "below"}} {
		if w.along > sideShare {
			sides = append(sides, words.Term(w.side))
		}
	}
	return words.List(sides...)
}

// sideShare is how much of a direction must lie along an axis for its side to be named: at least one axis always has 0.577 of it.
const sideShare = 0.35
