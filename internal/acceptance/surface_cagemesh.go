package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/surface"
	"proofhouse/internal/acceptance/words"
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
			return exempt("surface.cage_mesh.not_asked")
		}
		return unable("surface.cage_mesh.missing")
	}
	if f, ok := noSculpt(s, p); !ok {
		return f
	}
	c, err := p.pair(s).FitCage(ctx, surface.Mesh{Pos: p.Cage.Pos, Tri: p.Cage.Tri})
	if err != nil {
		return unable("surface.stopped", words.Name(err.Error()))
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
	f.sayCage(p, c, r, broke(f))
	f.Where = cagePlaces(s, p, c)
	return f
}

func (f *Finding) sayCage(p *Part, c *surface.CageFit, r spec.Rule, broken bool) {
	switch {
	case !c.SameTopology:
		f.say("surface.cage_mesh.other_triangles", words.Count(p.Cage.Triangles()), words.Count(p.Game.Triangles()))
		f.remedy("surface.cage_mesh.push_out_copy")
	case c.Crossings > 0:
		f.say("surface.cage_mesh.crosses", words.Count(c.Crossings))
		f.remedy("surface.cage_mesh.pull_in")
	case broken && c.GameOutsideMM > r.Numbers["max_game_outside_mm"]:
		f.say("surface.cage_mesh.game_outside", words.MM(c.GameOutsideMM))
		f.remedy("surface.cage_mesh.push_out_game")
	case broken:
		f.say("surface.cage_mesh.sculpt_outside", words.Share(c.SculptShare), words.MM(c.SculptOutsideMM))
		f.remedy("surface.cage_mesh.push_out_places")
	default:
		f.say("surface.cage_mesh.fits", words.Share(c.SculptShare), words.MM(c.SculptOutsideMM))
	}
}

// cagePlaces names crossings first, then game surface, then sculpt outside the cage.
func cagePlaces(s *Subject, p *Part, c *surface.CageFit) []Place {
	var out []Place
	for _, x := range c.CrossingsAt {
		point := cornersMiddleMM(p.Cage.Pos, p.Cage.Tri[3*x.A:3*x.A+3])
		pl := surfacePlace(s, p, &p.Cage, x.A, point, 0, "mm")
		other := surfacePlace(s, p, &p.Cage, x.B, point, 0, "mm")
		pl.Value = nil
		pl.note("surface.cage_mesh.crossing_here")
		if pl.Node == other.Node {
			pl.Triangles = append(pl.Triangles, other.Triangles...)
		}
		out = append(out, pl)
	}
	for _, w := range c.WorstGame {
		pl := surfacePlace(s, p, &p.Game, w.Triangle, w.PointMM, w.DistanceMM, "mm")
		pl.note("surface.cage_mesh.game_here")
		out = append(out, pl)
	}
	for _, w := range c.WorstSculpt {
		pl := surfacePlace(s, p, &p.Sculpt, w.Triangle, w.PointMM, w.DistanceMM, "mm")
		pl.note("surface.cage_mesh.sculpt_here")
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
