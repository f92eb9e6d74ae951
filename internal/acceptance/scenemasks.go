package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var colourMasksDef = spec.Check{
	Name: "scene.vertex_colours", Scope: spec.PerLOD, Title: "vertex colours as masks",
	What: "Where the spec says what the channels of the vertex colours mean: that every primitive has them, that every channel that means something differs somewhere on the prop, " +
		"and that all values are between 0 and 1. Pictures do not show them as colours.",
	Why:    "A shader reads them as wetness, wind or wear: where they are missing or all one value, the prop behaves as one piece.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "channels", Kind: spec.Option, List: true, Optional: true, What: "What red, green, blue and alpha mean; \"none\" for a channel that means nothing.", Origin: spec.CommonPractice},
		{Key: "max_missing", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Primitives without vertex colours.", Origin: spec.CommonPractice},
		{Key: "max_constant", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Channels with one value all over.", Origin: spec.CommonPractice},
		{Key: "max_outside", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Values that are not between 0 and 1.", Origin: spec.CommonPractice},
		{Key: "least_range", Kind: spec.Target, Unit: "", Default: same(2.0 / 255), What: "How far a channel's values must lie apart to differ: two steps of eight bits.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"missing", "constant", "outside"},
}

func sceneVertexColours(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	channels := r.Lists["channels"]
	if len(channels) == 0 {
		return exempt("scene.vertex_colours.not_said")
	}
	var missing []mesh.Range
	outside := 0
	lo, hi := [4]float32{2, 2, 2, 2}, [4]float32{-1, -1, -1, -1}
	ranges := shipped(s, t.LOD)
	for _, g := range ranges {
		col := g.Scene.Prims[g.Draw.Prim].Col
		if len(col) == 0 {
			missing = append(missing, g)
			continue
		}
		for i, v := range col {
			k := i % 4
			if !(v >= 0 && v <= 1) {
				outside++
			}
			lo[k], hi[k] = min(lo[k], v), max(hi[k], v)
		}
	}
	var flat []string
	for k, name := range channels[:min(len(channels), 4)] {
		if name != "none" && hi[k] >= lo[k] && !(float64(hi[k]-lo[k]) >= r.Numbers["least_range"]) {
			flat = append(flat, name)
		}
	}
	f := judge(r, map[string]float64{"missing": float64(len(missing)), "constant": float64(len(flat)), "outside": float64(outside)},
		atMost("missing", "max_missing"), atMost("constant", "max_constant"), atMost("outside", "max_outside"))
	f.say("scene.vertex_colours.there", words.Count(t.LOD), words.Names(channels...))
	if !broke(f) {
		return f
	}
	f.remedy("scene.vertex_colours.paint")
	switch {
	case len(missing) > 0:
		f.say("scene.vertex_colours.missing", words.Count(t.LOD), words.Count(len(missing)), words.Count(len(ranges)))
		for _, g := range missing[:min(len(missing), maxPlaces)] {
			f.Where = append(f.Where, Place{Node: g.NodeName(), Pointer: g.Scene.Prims[g.Draw.Prim].Pointer})
		}
	case len(flat) > 0:
		f.say("scene.vertex_colours.constant", words.Count(t.LOD), words.Names(flat...))
	default:
		f.say("scene.vertex_colours.outside", words.Count(t.LOD), words.Count(outside))
		f.remedy("scene.vertex_colours.clamp")
	}
	return f
}

var weightsDef = spec.Check{
	Name: "scene.weights", Scope: spec.PerLOD, Title: "skin weights",
	What:   "Sets of skin weights that hold any weight: one set is four joints to a vertex. That the weights of a vertex add up to 1 is a matter of the file's format (file.format).",
	Why:    "Most engines take four joints to a vertex: further ones are cut off and the rest no longer adds up.",
	Source: "glTF 2.0, 3.7.3.3 (sets of four); the limit is " + spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_influences", Kind: spec.AtMost, Unit: "count", Default: same(4), What: "Joints to a vertex.", Origin: spec.CommonPractice}},
	Mode:   warnsAll, From: fromGameMesh, Metrics: []string{"influences"},
}

func sceneWeights(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	most, any := 0, false
	var places []Place
	for _, g := range shipped(s, t.LOD) {
		p := &g.Scene.Prims[g.Draw.Prim]
		any = any || p.HasWeights
		most = max(most, p.Influences)
		if limit, on := r.Num("max_influences"); on && float64(p.Influences) > limit && len(places) < maxPlaces {
			places = append(places, Place{Node: g.NodeName(), Pointer: p.Pointer, Value: &Value{Value: float64(p.Influences), Unit: "count"}})
		}
	}
	if !any {
		return Finding{} // nothing is skinned
	}
	f := judge(r, map[string]float64{"influences": float64(most)}, atMost("influences", "max_influences"))
	f.say("scene.weights.most", words.Count(t.LOD), words.Count(most))
	if broke(f) {
		f.remedy("scene.weights.fewer")
		f.Where = places
	}
	return f
}
