package acceptance

import (
	"context"
	"fmt"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
)

var cageMeshDef = spec.Check{
	Name: "surface.cage_mesh", Scope: spec.PerPart, Title: "the delivered cage",
	What: "A delivered cage against the game mesh it was pushed out from: the same triangles in the same order, around the game surface and the sculpt, " +
		"not crossing itself.",
	Why:    "Rays start on the cage: what stands outside it is not baked, and where it crosses itself rays run through each other.",
	Source: "crossings: Guigue and Devillers 2003; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_crossings", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Pairs of cage triangles that cross.", Origin: spec.CommonPractice},
		{Key: "max_game_outside_mm", Kind: spec.AtMost, Unit: "mm", Default: same(0.05),
			What: "How far the game surface may stand outside the cage: no more than rounding in the export.", Origin: spec.CommonPractice},
		{Key: "max_sculpt_outside_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.01, 0.005, 0.002, 0.001},
			What: "Share of the sculpt's area outside the cage.", Origin: spec.CommonPractice},
		{Key: "max_other_triangles", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Whether the cage has other triangles than the game mesh: 1 if it has.", Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Blocks, spec.Blocks, spec.Blocks}, From: fromGameMesh, NotForPart: notCompared,
	Metrics: []string{"other_triangles", "crossings", "game_outside_mm", "game_outside_share", "sculpt_outside_mm", "sculpt_outside_share"},
}

func surfaceCageMesh(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	p := t.Part
	if p.Cage.Triangles() == 0 {
		if s.Spec.Conventions.Cage != "mesh" {
			return exempt("The spec asks for no cage mesh and none was delivered for the part.")
		}
		return unable("The spec asks for a cage mesh, and none was delivered for the part or none could be read.")
	}
	if f, ok := noSculpt(s, p); !ok {
		return f
	}
	c, err := p.pair(s).FitCage(ctx, surface.Mesh{Pos: p.Cage.Pos, Tri: p.Cage.Tri})
	if err != nil {
		return unable("The measurement was stopped: " + err.Error() + ".")
	}
	other := 0.0
	if !c.SameTopology {
		other = 1
	}
	f := judge(r, map[string]float64{
		"other_triangles": other, "crossings": float64(c.Crossings), "game_outside_mm": c.GameOutsideMM, "game_outside_share": c.GameShare,
		"sculpt_outside_mm": c.SculptOutsideMM, "sculpt_outside_share": c.SculptShare,
	}, atMost("other_triangles", "max_other_triangles"), atMost("crossings", "max_crossings"),
		atMost("game_outside_mm", "max_game_outside_mm"), atMost("sculpt_outside_share", "max_sculpt_outside_share"))
	f.Sentence, f.Remedy = cageWords(p, c, r, broke(f))
	f.Where = cagePlaces(s, p, c)
	return f
}

func cageWords(p *Part, c *surface.CageFit, r spec.Rule, broken bool) (sentence, remedy string) {
	switch {
	case !c.SameTopology:
		return fmt.Sprintf("The cage has other triangles than the game mesh (%d against %d) or another order, so rays have no corner to start from.", p.Cage.Triangles(), p.Game.Triangles()),
			"Make the cage by pushing out a copy of the game mesh that ships, and export both alike."
	case c.Crossings > 0:
		return fmt.Sprintf("The cage crosses itself at %s of triangles.", plural(c.Crossings, "pair", "pairs")),
			"Pull the cage in where it crosses itself, above all in narrow corners."
	case broken && c.GameOutsideMM > r.Numbers["max_game_outside_mm"]:
		return fmt.Sprintf("The game surface stands up to %s outside the cage.", lengthWords(c.GameOutsideMM)),
			"Push the cage out until the whole game surface is inside it."
	case broken:
		return fmt.Sprintf("%s of the sculpt stands outside the cage, up to %s.", percent(c.SculptShare), lengthWords(c.SculptOutsideMM)),
			"Push the cage out over the places named."
	}
	return fmt.Sprintf("The cage fits the game mesh triangle by triangle and does not cross itself; %s of the sculpt stands outside it, up to %s.", percent(c.SculptShare), lengthWords(c.SculptOutsideMM)), ""
}

// cagePlaces names crossings first, then game surface, then sculpt outside the cage.
func cagePlaces(s *Subject, p *Part, c *surface.CageFit) []Place {
	var out []Place
	for _, x := range c.CrossingsAt {
		point := cornersMiddleMM(p.Cage.Pos, p.Cage.Tri[3*x.A:3*x.A+3])
		pl := surfacePlace(s, p, &p.Cage, x.A, point, 0, "mm")
		other := surfacePlace(s, p, &p.Cage, x.B, point, 0, "mm")
		pl.Value, pl.Note = nil, "cage crosses itself"
		if pl.Node == other.Node {
			pl.Triangles = append(pl.Triangles, other.Triangles...)
		}
		out = append(out, pl)
	}
	for _, w := range c.WorstGame {
		pl := surfacePlace(s, p, &p.Game, w.Triangle, w.PointMM, w.DistanceMM, "mm")
		pl.Note = "game surface outside the cage"
		out = append(out, pl)
	}
	for _, w := range c.WorstSculpt {
		pl := surfacePlace(s, p, &p.Sculpt, w.Triangle, w.PointMM, w.DistanceMM, "mm")
		pl.Note = "sculpt outside the cage"
		out = append(out, pl)
	}
	return out[:min(len(out), maxPlaces)]
}

// cornersMiddleMM is the middle of a triangle in millimetres.
func cornersMiddleMM(pos []float32, tri []uint32) [3]float64 {
	var m [3]float64
	for _, v := range tri {
		for k := range 3 {
			m[k] += float64(pos[3*int(v)+k]) * 1000 / 3
		}
	}
	return m
}
