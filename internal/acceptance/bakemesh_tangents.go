package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/tangent"
	"proofhouse/internal/acceptance/words"
)

var tangentsDef = spec.Check{
	Name: "bake.tangents", Scope: spec.PerDelivery, Title: "delivered TANGENT against MikkTSpace",
	What:   "Tangents that the game mesh brings against MikkTSpace: the angle, and corners whose bitangents run the other way.",
	Why:    "A renderer takes the delivered tangents; where the bake used others, all detail is a little twisted, or the wrong way round where UVs are mirrored.",
	Source: "glTF 2.0, section 3.7.2.1; Mikkelsen 2008; limits: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_mean_deg", Kind: spec.AtMost, Unit: "deg", Default: same(1), What: "Mean angle between delivered TANGENT and MikkTSpace.", Origin: spec.CommonPractice},
		{Key: "max_flipped_share", Kind: spec.AtMost, Unit: "share", Default: same(0), What: "Share of the corners whose bitangent runs the other way.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"mean_deg", "p95_deg", "max_deg", "flipped_share", "without_direction_share"},
}

// bakeTangents holds every drawn primitive's TANGENT against ours, in the primitive's own space.
func bakeTangents(ctx context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if len(s.LODs) == 0 || s.LODs[0].Triangles() == 0 {
		return unable("engine.no_game_mesh")
	}
	type key struct {
		scene *mesh.Scene
		prim  int
	}
	seen := map[key]bool{}
	var all tangentSum
	for _, of := range shipped(s, 0) {
		k := key{of.Scene, of.Draw.Prim}
		prim := &of.Scene.Prims[of.Draw.Prim]
		if seen[k] || len(prim.Tan) == 0 || len(prim.Tan)/4 != len(prim.Pos)/3 {
			continue
		}
		if ctx.Err() != nil {
			return unable("surface.stopped", words.Name(ctx.Err().Error()))
		}
		seen[k] = true
		uv := tangentUV(of.Scene, prim)
		if uv == nil {
			continue
		}
		nrm := prim.Nrm
		if nrm == nil {
			nrm = bake.AveragedNormals(prim.Pos, prim.Tri)
		}
		d := tangent.Compare(prim.Tan, tangent.Generate(prim.Pos, nrm, uv, prim.Tri), prim.Tri)
		all.add(d, of)
	}
	if all.corners+all.zero == 0 {
		return exempt("bake.tangents.none")
	}
	return all.finding(r)
}

// tangentUV is the UV set that a primitive's normal texture is read by (glTF 2.0, section 3.7.2.1).
func tangentUV(sc *mesh.Scene, prim *mesh.Primitive) []float32 {
	set := 0
	if prim.Material >= 0 && prim.Material < len(sc.Materials) && sc.Materials[prim.Material].Normal.Image >= 0 {
		set = sc.Materials[prim.Material].Normal.UVSet
	}
	if set >= len(prim.UV) || len(prim.UV[set])/2 != len(prim.Pos)/3 {
		return nil
	}
	return prim.UV[set]
}

// tangentSum joins the differences of primitives.
type tangentSum struct {
	corners, flipped, zero int
	sumDeg, maxDeg, p95Deg float64 // p95 is the worst primitive's
	where                  []Place
}

func (t *tangentSum) add(d tangent.Difference, of mesh.Range) {
	t.corners, t.flipped, t.zero = t.corners+d.Corners, t.flipped+d.Flipped, t.zero+d.WithoutLength
	t.sumDeg += float64(d.MeanDeg * float64(d.Corners))
	t.maxDeg, t.p95Deg = max(t.maxDeg, d.MaxDeg), max(t.p95Deg, d.P95Deg)
	for _, c := range [2]int{d.FlippedCorner, d.WorstCorner} {
		if c >= 0 && len(t.where) < maxPlaces && (d.MaxDeg > 1 || d.Flipped > 0) {
			p := Place{Node: of.NodeName(), Triangles: []int{c / 3}, Value: &Value{Value: d.MaxDeg, Unit: "deg"}}
			p.note("bake.tangents.corner")
			t.where = append(t.where, p)
		}
	}
}

func (t *tangentSum) finding(r spec.Rule) Finding {
	n := float64(max(t.corners, 1))
	mean := t.sumDeg / n
	f := judge(r, map[string]float64{"mean_deg": mean, "p95_deg": t.p95Deg, "max_deg": t.maxDeg, "flipped_share": float64(t.flipped) / n,
		"without_direction_share": float64(t.zero) / float64(t.corners+t.zero)}, atMost("flipped_share", "max_flipped_share"), atMost("mean_deg", "max_mean_deg"))
	if !broke(f) {
		f.say("bake.tangents.agree", words.Deg(mean), words.Deg(t.maxDeg))
	} else {
		f.say("bake.tangents.differ", words.Deg(mean), words.Deg(t.maxDeg), words.Deg(t.p95Deg))
		f.remedy("bake.tangents.export")
		f.Where = t.where
	}
	if t.flipped > 0 {
		f.also("bake.tangents.flipped", words.Count(t.flipped))
	}
	if t.zero > 0 {
		f.also("bake.tangents.zero", words.Count(t.zero))
	}
	return f
}
