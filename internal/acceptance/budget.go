package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func budgetChecks() []Check {
	return []Check{
		{Def: trianglesDef, Run: budgetTriangles},
		{Def: verticesDef, Run: budgetVertices},
		{Def: drawcallsDef, Run: budgetDrawcalls},
		{Def: materialsDef, Run: budgetMaterials},
		{Def: textureBytesDef, Run: budgetTextureBytes},
		{Def: spendDef, Run: budgetSpend},
	}
}

var trianglesDef = spec.Check{
	Name: "budget.triangles", Scope: spec.PerLOD, Title: "triangle budget",
	What:   "Triangles as drawn, instances counted; the limit reads those with an area, so that empty joints of strips are free.",
	Why:    "Every triangle is paid for in each frame and each shadow, on every copy of the prop.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_triangles", Kind: spec.AtMost, Unit: "count", Default: spec.ByTier{1000, 5000, 20000, 80000},
			What:   "Triangles of LOD 0 that the order allows. The preset's number is for a prop of one metre and stands only until the order names its own.",
			Origin: spec.CommonPractice},
		{Key: "over_share", Kind: spec.AtMost, Unit: "share", Default: same(0.05),
			What: "How far over the budget only warns: going over by a bevel is not a quarrel.", Origin: spec.CommonPractice},
		{Key: "min_share", Kind: spec.AtLeast, Unit: "share", Default: spec.ByTier{0.5, 0.5, 0.6, 0.6},
			What: "Share of LOD 0's budget under which it warns: a budget half used usually means visible facets.", Origin: spec.CommonPractice},
		{Key: "lod_step", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.5, 0.5, 0.5, 0.6},
			What: "Each further LOD may hold this share of the budget before it, where lod_triangles does not say.", Origin: spec.CommonPractice},
		{Key: "lod_triangles", Kind: spec.AtMost, Unit: "count", List: true, Optional: true,
			What: "Triangles allowed for LOD 1, LOD 2 and so on.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh,
	Metrics: []string{"triangles", "triangles_non_degenerate"},
}

func budgetTriangles(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	ranges := shipped(s, t.LOD)
	sf := &s.LODs[t.LOD].Surface
	drawn, solid := 0, 0
	for _, g := range ranges {
		drawn += g.Scene.Prims[g.Draw.Prim].Drawn
		for i := g.First; i < g.End; i++ {
			if worldArea(corners(sf, i)) > 0 {
				solid++
			}
		}
	}
	r, budget := lodBudget(r, t.LOD)
	bounds := []bound{
		atMost("triangles_non_degenerate", "blocks_over_triangles"),
		atMost("triangles_non_degenerate", "budget_triangles").warns(),
		atLeast("triangles_non_degenerate", "warns_under_triangles").warns(),
	}
	f := judge(r, map[string]float64{"triangles": float64(drawn), "triangles_non_degenerate": float64(solid)}, bounds...)
	switch {
	case !broke(f):
		f.say("budget.triangles.within", words.Count(t.LOD), words.Count(solid), words.Count(whole(budget)))
	case float64(solid) > budget:
		f.say("budget.triangles.over", words.Count(t.LOD), words.Count(solid), words.Count(whole(float64(solid)-budget)), words.Count(whole(budget)))
		f.remedy("budget.triangles.take_out")
		f.Where = heaviest(ranges)
	default:
		f.say("budget.triangles.under", words.Count(t.LOD), words.Count(solid), words.Share(float64(solid)/budget), words.Count(whole(budget)))
		f.remedy("budget.triangles.spend")
	}
	if drawn > solid {
		f.also("budget.triangles.strips", words.Count(drawn-solid))
	}
	return f
}

// lodBudget derives the limits of one LOD: what it may hold, from where it blocks and under what it warns.
func lodBudget(r spec.Rule, lod int) (spec.Rule, float64) {
	budget, on := r.Num("max_triangles")
	if !on {
		return r, 0
	}
	if lod > 0 {
		if list := numbers(r.Lists["lod_triangles"]); lod <= len(list) {
			budget = list[lod-1]
		} else {
			for range lod {
				budget *= r.Numbers["lod_step"]
			}
		}
	}
	more := map[string]float64{
		"budget_triangles":      budget,
		"blocks_over_triangles": budget * (1 + r.Numbers["over_share"]),
	}
	if share, on := r.Num("min_share"); on && lod == 0 {
		more["warns_under_triangles"] = budget * share
	}
	return withNumbers(r, more), budget
}

// whole is a number of things, for words: limits derived by a share need not come out whole.
func whole(n float64) int64 { return int64(math.Round(n)) }

// heaviest names the draws with the most triangles.
func heaviest(ranges []mesh.Range) []Place {
	w := worst{}
	for i, g := range ranges {
		w.add(float64(g.End-g.First), i)
	}
	var out []Place
	for _, e := range w.top() {
		g := ranges[e.at]
		out = append(out, Place{Node: g.NodeName(), Pointer: g.Scene.Prims[g.Draw.Prim].Pointer,
			Value: &Value{Value: e.value, Unit: "count"}})
	}
	return out
}

var verticesDef = spec.Check{
	Name: "budget.vertices", Scope: spec.PerLOD, Title: "vertices",
	What:   "Vertices that differ in position, normal, tangent, UV or colour and are used by a triangle, per draw: what the graphics processor transforms once every split at seams and hard edges is made.",
	Why:    "Vertices far above the number of triangles mean a mesh exported flat or UVs in shreds: memory and bandwidth for nothing.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_per_triangle", Kind: spec.AtMost, Unit: "", Default: spec.ByTier{1.5, 1.3, 1.2, 1.1},
			What: "Vertices divided by triangles.", Origin: spec.CommonPractice},
		{Key: "small_triangles", Kind: spec.Target, Unit: "count", Default: same(100),
			What: "Meshes of fewer triangles are held to small_max_per_triangle instead.", Origin: spec.CommonPractice},
		{Key: "small_max_per_triangle", Kind: spec.AtMost, Unit: "", Default: same(2),
			What:   "Vertices divided by triangles on a small mesh: quads with hard edges all round, as a plain box has, come to two, and nothing is wrong with that.",
			Origin: spec.CommonPractice},
		{Key: "max_vertices", Kind: spec.AtMost, Unit: "count", Optional: true,
			What: "Vertices that the order allows.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh,
	Metrics: []string{"vertices", "vertices_stored", "per_triangle"},
}

func budgetVertices(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	ranges := shipped(s, t.LOD)
	drawn, stored, triangles := 0, 0, 0
	known := map[*mesh.Primitive]int{}
	for _, g := range ranges {
		p := &g.Scene.Prims[g.Draw.Prim]
		n, ok := known[p]
		if !ok {
			n = distinctVertices(p)
			known[p] = n
			stored += n
		}
		drawn += n
		triangles += g.End - g.First
	}
	if triangles == 0 {
		return unable("budget.draws_nothing", words.Count(t.LOD))
	}
	ratio := float64(drawn) / float64(triangles)
	perTriangle := "max_per_triangle"
	if small, on := r.Num("small_triangles"); on && float64(triangles) < small {
		perTriangle = "small_max_per_triangle"
	}
	f := judge(r, map[string]float64{"vertices": float64(drawn), "vertices_stored": float64(stored), "per_triangle": ratio},
		atMost("vertices", "max_vertices"), atMost("per_triangle", perTriangle))
	f.say("budget.vertices.count", words.Count(t.LOD), words.Count(drawn), words.Count(triangles), words.Num(ratio))
	if broke(f) {
		f.remedy("budget.vertices.share")
	}
	return f
}

var drawcallsDef = spec.Check{
	Name: "budget.drawcalls", Scope: spec.PerLOD, Title: "draw calls",
	What:   "Primitives drawn in the rest pose, one for each node and primitive.",
	Why:    "Each draw call costs processor time, whatever its size; many small ones stall a frame.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: spec.ByTier{1, 2, 4, 8},
		What:   "Draw calls of the rest pose. Every moving part adds one, and so does each of glass, cards and decals where the prop has them: they cannot be joined with the rest.",
		Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"count"},
}

func budgetDrawcalls(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	ranges := shipped(s, t.LOD)
	r, allowed := withExtras(s, r, true)
	f := judge(r, map[string]float64{"count": float64(len(ranges))}, atMost("count", "allowed_count"))
	f.say("budget.drawcalls.count", words.Count(t.LOD), words.Count(len(ranges)))
	if broke(f) {
		f.say("budget.drawcalls.over", words.Count(t.LOD), words.Count(len(ranges)), words.Count(whole(allowed)))
		f.remedy("budget.drawcalls.join")
		f.Where = heaviest(ranges)
	}
	return f
}

var materialsDef = spec.Check{
	Name: "budget.materials", Scope: spec.PerLOD, Title: "materials",
	What:   "Different materials that the drawn primitives use; the same name in two files is one material.",
	Why:    "Each material is at least one draw call and one set of textures in memory.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: spec.ByTier{1, 1, 2, 4},
		What:   "Materials of one LOD. Each of glass, cards and decals, where the prop has them, adds one: blending and masks need a material of their own.",
		Origin: spec.CommonPractice}},
	Mode: blocksAll, From: fromGameMesh, Metrics: []string{"count"},
}

// withExtras adds the limit that is in force: the rule's, and one more for each kind of part that cannot share a
// material with the rest, and for draw calls one for each moving part.
func withExtras(s *Subject, r spec.Rule, moving bool) (spec.Rule, float64) {
	limit, on := r.Num("max_count")
	if !on {
		return r, 0
	}
	kinds := map[spec.PartKind]bool{}
	for _, p := range s.Parts {
		if p.Game.Triangles() == 0 {
			continue
		}
		switch k := p.Def.Kind; {
		case k == spec.Moving && moving:
			limit++
		case (k == spec.Glass || k == spec.Card || k == spec.Decal) && !kinds[k]:
			kinds[k] = true
			limit++
		}
	}
	return withNumbers(r, map[string]float64{"allowed_count": limit}), limit
}

func budgetMaterials(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	var names []string
	var places []Place
	seen := map[string]bool{}
	for _, g := range shipped(s, t.LOD) {
		name, pointer := "the default material", g.Scene.Prims[g.Draw.Prim].Pointer
		key := ""
		if m := g.Scene.Prims[g.Draw.Prim].Material; m >= 0 {
			name, pointer = g.Scene.Materials[m].Name, g.Scene.Materials[m].Pointer
			if key = "named " + name; name == "" {
				name = pointer
				key = "in " + g.Scene.Path + pointer
			}
		}
		if !seen[key] {
			seen[key] = true
			names = append(names, name)
			places = append(places, Place{Node: g.NodeName(), Pointer: pointer, Note: name})
		}
	}
	r, allowed := withExtras(s, r, false)
	f := judge(r, map[string]float64{"count": float64(len(names))}, atMost("count", "allowed_count"))
	f.say("budget.materials.count", words.Count(t.LOD), words.Count(len(names)))
	if broke(f) {
		f.say("budget.materials.over", words.Count(t.LOD), words.Count(len(names)), words.Count(whole(allowed)))
		f.remedy("budget.materials.merge")
		f.Where = places
	}
	return f
}
