package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/detmath"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
)

var pokeDef = spec.Check{
	Name: "surface.poke_through", Scope: spec.PerPart, Title: "sculpt outside the game surface",
	What:   "Sculpt that stands outside the game surface: how high, over how much of the sculpt, and in which connected patches.",
	Why:    "What stands outside the game surface is flattened in the bake and cut off the outline; tiny patches are normal, large ones are seen.",
	Source: "sign: Baerentzen and Aanaes 2005, angle-weighted pseudo-normals; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_height_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.008, 0.005, 0.0025, 0.0012},
			What: "Largest height as a share of the part's diagonal; the larger of this and the height in pixels counts.", Origin: spec.CommonPractice},
		{Key: "max_height_px", Kind: spec.AtMost, Unit: "px", Default: same(1),
			What: "Largest height in pixels at the tier's distance.", Origin: spec.CommonPractice},
		{Key: "max_height_mm", Kind: spec.AtMost, Unit: "mm", Optional: true,
			What: "Largest height in millimetres, in place of the two above.", Origin: spec.CommonPractice},
		{Key: "max_share_above", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.03, 0.02, 0.01, 0.005},
			What: "Share of the sculpt's area above that height.", Origin: spec.CommonPractice},
		{Key: "max_unknown_share", Kind: spec.AtMost, Unit: "share", Default: same(0.02),
			What: "Share of the sculpt's area where inside and outside cannot be told, since the game surface has an undeclared border there. Warns at most.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Warns, spec.Blocks, spec.Blocks}, From: fromGameMesh,
	NotForPart: with(map[spec.PartKind]string{spec.Sheet: "The part is a sheet, open both ways: it has no outside."}),
	Metrics:    []string{"max_height_mm", "area_share", "patches", "largest_patch_mm2", "share_above", "unknown_share"},
}

// pokeOf measures a part's sculpt outside its game surface under a rule, and returns the rule with its limit in millimetres.
func pokeOf(ctx context.Context, s *Subject, p *Part, r spec.Rule) (*surface.Outside, spec.Rule, error) {
	r = effective(r, "max_height_mm", p.pair(s).DiagonalMM(), "max_height_share", s.Spec.View.PixelMM(), "max_height_px")
	limit, on := r.Num("max_height_mm")
	if !on {
		limit = math.Inf(1)
	}
	level := 0.0
	if s.Spec.Conventions.Hug == "centred" && on { // sculpt on both sides is meant: a patch is what stands above the limit
		level = limit
	}
	o, err := p.pair(s).Outside(ctx, limit, level)
	return o, r, err
}

func surfacePokeThrough(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if f, ok := noSculpt(s, t.Part); !ok {
		return f
	}
	o, r, err := pokeOf(ctx, s, t.Part, r)
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
	}
	metrics := map[string]float64{
		"max_height_mm": o.MaxHeightMM, "area_share": o.AreaShare, "patches": float64(o.PatchCount), "largest_patch_mm2": o.LargestPatchMM2,
		"share_above": o.ShareAbove, "unknown_share": o.UnknownShare,
	}
	f := judge(r, metrics, atMost("max_height_mm", "max_height_mm"), atMost("share_above", "max_share_above"),
		atMost("unknown_share", "max_unknown_share").warns())
	f.Labels = withLabel(f.Labels, "height_error", "the true largest height is at most "+lengthWords(o.HeightErrorMM)+" more")
	f.Labels = withLabel(f.Labels, "sampling", "every sculpt vertex; areas clipped exactly where heights are linear between vertices")
	f.Labels = withLabel(f.Labels, "hug", orElse(s.Spec.Conventions.Hug, "outside"))
	f.Labels = withLabel(f.Labels, "patches_above", lengthWords(o.PatchLevelMM))
	if o.HiddenShare > 0 {
		f.Labels = withLabel(f.Labels, "hidden", percent(o.HiddenShare)+" of the sculpt lies behind other sculpt and is left out")
	}
	if o.OpenShare > 0 {
		f.Labels = withLabel(f.Labels, "open", percent(o.OpenShare)+" of the sculpt faces a side declared open and is left out")
	}
	f.sayPoke(s, t.Part, r, o)
	for _, q := range o.Patches[:min(len(o.Patches), maxPlaces)] {
		pl := surfacePlace(s, t.Part, &t.Part.Sculpt, q.Triangle, q.PeakMM, q.HeightMM, "mm")
		pl.note("surface.poke_through.patch", words.Count(q.Number), words.MM(q.HeightMM), words.MM2(q.AreaMM2))
		f.Where = append(f.Where, pl)
	}
	if broke(f) {
		f.mendPoke(t.Part, r, o)
	}
	return f
}

func (f *Finding) sayPoke(s *Subject, p *Part, r spec.Rule, o *surface.Outside) {
	limit := words.MM(r.Numbers["max_height_mm"])
	switch {
	case o.MaxHeightMM <= 0 && o.UnknownShare > r.Numbers["max_unknown_share"]:
		f.say("surface.poke_through.unknown", words.Share(o.UnknownShare))
	case o.MaxHeightMM <= 0:
		f.say("surface.poke_through.none")
	case o.PatchCount == 0:
		f.say("surface.poke_through.low", words.MM(o.MaxHeightMM), limit)
	default:
		q := o.Patches[0]
		f.say("surface.poke_through.lump", words.MM(q.HeightMM), words.MM2(q.AreaMM2), sideTerm(sideOf(s, p, q.PeakMM)), words.PointMM(q.PeakMM), limit)
		f.also("surface.poke_through.shares", words.Share(o.ShareAbove), words.Share(o.AreaShare), words.Count(o.PatchCount))
	}
}

// mendPoke says what to do; where the lump stands on a face of a curve it says how many sides would do.
func (f *Finding) mendPoke(p *Part, r spec.Rule, o *surface.Outside) {
	limit := r.Numbers["max_height_mm"]
	if o.UnknownShare > r.Numbers["max_unknown_share"] && o.MaxHeightMM <= limit {
		f.remedy("surface.poke_through.close")
		return
	}
	f.remedy("surface.poke_through.move")
	if len(o.Patches) == 0 || !(limit > 0) {
		return
	}
	if sides, enough, ok := sidesFor(p, o.Patches[0], limit); ok {
		f.alsoRemedy("surface.poke_through.drum", words.Count(sides), words.Count(enough))
	}
}

// sidesFor reads the game mesh around a patch as a regular drum: a face between two edges that turn by the same angle
// 2π/n. The sculpt's curve stands R(1 - cos(π/n)) proud of it; enough is the least n for which that is below the limit.
func sidesFor(p *Part, q surface.Patch, limitMM float64) (sides, enough int, ok bool) {
	turn := surface.TurnAt(surface.Mesh{Pos: p.Game.Pos, Tri: p.Game.Tri}, q.GameTriangle)
	const least, most = 0.03, 1.1 // radians: 6 to 200 sides
	if turn < least || turn > most {
		return 0, 0, false
	}
	const pi = 3.14159265358979323846
	radius := q.HeightMM / (1 - detmath.Cos(turn/2))
	for n := 3; n < 1000; n++ {
		if radius*(1-detmath.Cos(pi/float64(n))) <= limitMM {
			return int(2*pi/turn + 0.5), n, n > int(2*pi/turn+0.5)
		}
	}
	return 0, 0, false
}
