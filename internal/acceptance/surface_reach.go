package acceptance

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var reachDef = spec.Check{
	Name: "surface.cage_reach", Scope: spec.PerPart, Title: "projection rays that meet the sculpt",
	What: "Rays from the cage inward, past the game surface as far as the back reach: the share of baked game surface that meets the sculpt, misses it, " +
		"meets its inner side or another shell, and the angle between ray and sculpt. A texel that stacked copies share is served if one of them is.",
	Why:    "A miss is a hole in the normal map; a hit on a neighbour or an inner side is a smudge; a slanted ray gives slanted screws and panel lines.",
	Source: "watertight rays: Woop, Benthin and Wald 2013; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "min_hit_share", Kind: spec.AtLeast, Unit: "share", Default: spec.ByTier{0.98, 0.99, 0.995, 0.998},
			What: "Share of the baked surface that is served.", Origin: spec.CommonPractice},
		{Key: "max_far_shell_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.01, 0.005, 0.002, 0.001},
			What: "Share that meets another shell of the sculpt than the nearest, much farther away.", Origin: spec.CommonPractice},
		{Key: "max_backface_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.005, 0.003, 0.001, 0.0005},
			What: "Share that meets the inner side of the sculpt.", Origin: spec.CommonPractice},
		{Key: "max_p95_skew_deg", Kind: spec.AtMost, Unit: "deg", Default: spec.ByTier{35, 30, 25, 20},
			What: "95th percentile of the angle between ray and sculpt normal where the game surface curves; hard edges are left out. Warns at most.", Origin: spec.CommonPractice},
		{Key: "default_reach_share", Kind: spec.Target, Unit: "share", Default: spec.ByTier{0.02, 0.015, 0.01, 0.0075},
			What: "Front and back reach as a share of the part's diagonal where the spec names none, 30 mm at most.", Origin: spec.CommonPractice},
	},
	// The share served blocks everywhere; back faces and far shells block hero and up (surfaceCageReach).
	Mode: blocksAll, From: fromGameMesh, NotForPart: notCompared,
	Metrics: []string{"hit_share", "miss_share", "backface_share", "far_shell_share", "p95_skew_deg", "p95_curved_skew_deg"},
}

// maxDefaultReachMM caps the default reach: longer rays hit other parts. Common practice, no source.
const maxDefaultReachMM = 30

// cageOf is the cage a part's rays start from, how it is called, and whether it is the spec's or the vendor's rather
// than our guess.
func cageOf(s *Subject, p *Part, r spec.Rule) (cage surface.Cage, how string, agreed bool) {
	reach := p.Def.ReachMM
	if reach == nil {
		reach = s.Spec.Conventions.ReachMM
	}
	share := r.Numbers["default_reach_share"]
	fallback := min(share*p.pair(s).DiagonalMM(), maxDefaultReachMM)
	cage = surface.Cage{Kind: surface.CageAveraged, FrontMM: fallback, BackMM: fallback}
	if reach != nil {
		cage.FrontMM, cage.BackMM = reach.FrontMM, reach.BackMM
	}
	if s.Spec.Conventions.Cage == "hard" {
		cage.Kind = surface.CageHard
		return cage, "surface.cage_reach.along_faces", reach != nil
	}
	if p.Cage.Triangles() > 0 {
		if pos, ok := surface.MatchCage(gameMesh(p), surface.Mesh{Pos: p.Cage.Pos, Tri: p.Cage.Tri}); ok {
			cage.Kind, cage.Pos = surface.CageMesh, pos
			return cage, "surface.cage_reach.from_cage", true
		}
		return cage, "surface.cage_reach.cage_unfit", false
	}
	return cage, "surface.cage_reach.along_averages", reach != nil && s.Spec.Conventions.Cage != "mesh"
}

func gameMesh(p *Part) surface.Mesh {
	return surface.Mesh{Pos: p.Game.Pos, UV: p.Game.UV, Tri: p.Game.Tri}
}

func surfaceCageReach(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if f, ok := noSculpt(s, t.Part); !ok {
		return f
	}
	cage, how, agreed := cageOf(s, t.Part, r)
	m, err := t.Part.pair(s).Reach(ctx, cage)
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
	}
	if m.Samples == 0 {
		return exempt("surface.cage_reach.not_baked")
	}
	metrics := map[string]float64{
		"hit_share": m.HitShare, "miss_share": m.MissShare, "backface_share": m.BackfaceShare, "far_shell_share": m.FarShellShare,
		"p95_skew_deg": m.P95SkewDeg, "p95_curved_skew_deg": m.P95CurvedSkewDeg,
	}
	far, back := atMost("far_shell_share", "max_far_shell_share"), atMost("backface_share", "max_backface_share")
	if s.Spec.Tier == spec.Background || s.Spec.Tier == spec.MidGround {
		far, back = far.warns(), back.warns()
	}
	hit := atLeast("hit_share", "min_hit_share")
	if !agreed { // our own guess at the cage is advice
		hit, far, back = hit.warns(), far.warns(), back.warns()
	}
	f := judge(r, metrics, hit, far, back, atMost("p95_curved_skew_deg", "max_p95_skew_deg").warns())
	reach := fmt.Sprintf("%s outward, %s inward", lengthWords(cage.FrontMM), lengthWords(cage.BackMM))
	if cage.Kind == surface.CageMesh {
		reach = fmt.Sprintf("the cage outward, %s inward", lengthWords(cage.BackMM))
	}
	f.Labels = withLabel(f.Labels, "cage", words.English().Say(how))
	f.Labels = withLabel(f.Labels, "reach", reach)
	f.Labels = withLabel(f.Labels, "sampling", fmt.Sprintf("%d rays, one for each %s of game surface, stratified by area, fixed seed; standard error of a share at most %.2g", m.Samples, areaWords(m.AreaEachMM2), m.StandardError))
	f.Labels = withLabel(f.Labels, "curved", percent(m.CurvedShare)+" of what is served lies where the game surface curves; the limit of skew is read there")
	if !agreed {
		f.Labels = withLabel(f.Labels, "advisory", "the cage or its reach is our guess: this warns at most")
	}
	if m.StackedShare > 0 {
		f.Labels = withLabel(f.Labels, "stacked", percent(m.StackedShare)+" of the baked surface is served by another copy on the same texels")
	}
	if m.UnbakedShare > 0 {
		f.Labels = withLabel(f.Labels, "unbaked", percent(m.UnbakedShare)+" of the game surface has no baked texels and is left out")
	}
	if m.HiddenShare > 0 {
		f.Labels = withLabel(f.Labels, "hidden", percent(m.HiddenShare)+" of the game surface lies inside another of its shells and is left out")
	}
	f.sayReach(r, m, how)
	for _, w := range m.Worst {
		pl := surfacePlace(s, t.Part, &t.Part.Game, w.Triangle, w.PointMM, w.Share, "share")
		pl.note(missCodes[w.What])
		f.Where = append(f.Where, pl)
	}
	if broke(f) {
		f.remedy(reachRemedy(r, m))
	}
	return f
}

var missCodes = map[surface.Verdict]string{
	surface.Nothing: "surface.cage_reach.miss", surface.Backface: "surface.cage_reach.backface", surface.FarShell: "surface.cage_reach.far_shell",
}

func (f *Finding) sayReach(r spec.Rule, m *surface.Reach, how string) {
	f.say("surface.cage_reach.hit", words.ShareFine(m.HitShare), words.ShareFine(r.Numbers["min_hit_share"]), words.Said(how))
	if m.HitShare < 1 {
		f.also("surface.cage_reach.lost", words.Share(m.MissShare), words.Share(m.BackfaceShare), words.Share(m.FarShellShare))
	}
	f.also("surface.cage_reach.skew", words.Deg(m.P95SkewDeg), words.Deg(m.P95CurvedSkewDeg))
}

// reachRemedy is the code of what to do.
func reachRemedy(r spec.Rule, m *surface.Reach) string {
	switch {
	case m.MissShare > max(m.BackfaceShare, m.FarShellShare) && m.HitShare < r.Numbers["min_hit_share"]:
		return "surface.cage_reach.nearer"
	case m.FarShellShare > r.Numbers["max_far_shell_share"]:
		return "surface.cage_reach.shorten"
	case m.BackfaceShare > r.Numbers["max_backface_share"]:
		return "surface.cage_reach.move_cage"
	}
	return "surface.cage_reach.add_edges"
}
