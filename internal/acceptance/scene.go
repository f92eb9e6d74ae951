package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func sceneChecks() []Check {
	return []Check{
		{Def: sizeDef, Run: sceneSize},
		{Def: uprightDef, Run: sceneUpright},
		{Def: originDef, Run: sceneOrigin},
		{Def: transformsDef, Run: sceneTransforms},
		{Def: pivotDef, Run: scenePivot},
		{Def: swingDef, Run: sceneSwing},
		{Def: groundDef, Run: sceneGround},
		{Def: facingDef, Run: sceneFacing},
		{Def: colourMasksDef, Run: sceneVertexColours},
		{Def: weightsDef, Run: sceneWeights},
	}
}

// measuredBody is what size and place are read from: the game mesh's LOD 0, or the sculpt where none was delivered yet.
func measuredBody(s *Subject) (sf *mesh.Surface, ranges []mesh.Range, what string) {
	if b := lodBody(s, 0); bodyThere(b) {
		return &b.Surface, shipped(s, 0), "game mesh"
	}
	if bodyThere(s.Sculpt) {
		return &s.Sculpt.Surface, s.Sculpt.Of, "sculpt"
	}
	return nil, nil, ""
}

// boxOf is the bounding box of what size and place are read from, in millimetres to a micrometre.
func boxOf(s *Subject) (lo, hi [3]float64, what string, ok bool) {
	sf, ranges, what := measuredBody(s)
	if sf == nil {
		return lo, hi, "", false
	}
	lo, hi, ok = boundsOf(sf, ranges)
	for k := range lo {
		lo[k], hi[k] = roundMM(lo[k]*1000), roundMM(hi[k]*1000)
	}
	return lo, hi, what, ok && finite(hi[0]-lo[0]+hi[1]-lo[1]+hi[2]-lo[2])
}

var noBody = unable("scene.no_geometry")

var sizeDef = spec.Check{
	Name: "scene.size", Scope: spec.PerDelivery, Title: "size",
	What:   "Bounding box of the game mesh (of the sculpt where there is no game mesh yet) against the contracted size, axis by axis.",
	Why:    "Kit pieces must snap, and a prop of the wrong size looks wrong beside its neighbours.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "tolerance_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.03, 0.02, 0.01, 0.01},
			What: "How far each axis may be off, as a share of the contracted size.", Origin: spec.CommonPractice},
		{Key: "floor_mm", Kind: spec.AtMost, Unit: "mm", Default: same(5),
			What: "How far it may be off at least, whatever the share: 5 mm, 0.5 mm for pieces of a kit.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromBlockOut, Metrics: []string{"x_mm", "y_mm", "z_mm"},
}

var axisNames = [3]string{"x", "y", "z"}

func sceneSize(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	lo, hi, what, ok := boxOf(s)
	if !ok {
		return noBody
	}
	metrics := map[string]float64{}
	for k, axis := range axisNames {
		metrics[axis+"_mm"] = roundMM(hi[k] - lo[k])
	}
	if s.Spec.SizeMM == nil {
		f := judge(r, metrics)
		f.say("scene.size.no_contract", bodyWord(what), boxWords(lo, hi))
		f.Labels = withLabel(f.Labels, "contract", "none")
		return f
	}
	want := *s.Spec.SizeMM
	limits, bounds := map[string]float64{}, []bound{}
	worstAxis, worstOff := 0, 0.0
	for k, axis := range axisNames {
		slack := max(want[k]*r.Numbers["tolerance_share"], r.Numbers["floor_mm"])
		limits[axis+"_min_mm"], limits[axis+"_max_mm"] = roundMM(want[k]-slack), roundMM(want[k]+slack)
		bounds = append(bounds, atMost(axis+"_mm", axis+"_max_mm"), atLeast(axis+"_mm", axis+"_min_mm"))
		if off := math.Abs(metrics[axis+"_mm"]-want[k]) / max(slack, 1e-9); off > worstOff {
			worstAxis, worstOff = k, off
		}
	}
	f := judge(withNumbers(r, limits), metrics, bounds...)
	f.say("scene.size.fits", bodyWord(what), boxWords(lo, hi), words.SizeMM(want))
	if broke(f) {
		axis := axisNames[worstAxis]
		off := metrics[axis+"_mm"] - want[worstAxis]
		code := "scene.size.too_large"
		if off < 0 {
			code = "scene.size.too_small"
		}
		f.Measured = measured(metrics, axis+"_mm")
		f.say(code, bodyWord(what), boxWords(lo, hi), words.Name(axis), words.MMExact(math.Abs(off)), words.SizeMM(want))
		f.remedy("scene.size.bring")
	}
	return f
}

func boxWords(lo, hi [3]float64) words.Arg {
	return words.SizeMM([3]float64{roundMM(hi[0] - lo[0]), roundMM(hi[1] - lo[1]), roundMM(hi[2] - lo[2])})
}

// bodyWord is the word for what was measured; a LOD's name needs none.
func bodyWord(what string) words.Arg {
	switch what {
	case "game mesh":
		return words.Term("body_game")
	case "sculpt":
		return words.Term("body_sculpt")
	case "cage":
		return words.Term("body_cage")
	case "collision mesh":
		return words.Term("body_collision")
	}
	return words.Name(what)
}

var originDef = spec.Check{
	Name: "scene.origin", Scope: spec.PerDelivery, Title: "origin",
	What:   "Distance from the file's origin to where the contract wants it on the prop: the centre of the bounding box's base, its centre, or a point given from the base's centre (x to the left, y up, z to the front).",
	Why:    "A prop is placed by its origin: off by a hand's breadth it floats, sinks or turns about nothing.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_offset_mm", Kind: spec.AtMost, Unit: "mm", Default: spec.ByTier{10, 5, 2, 1},
			What: "Distance of the origin from its place; 0.1 mm for pieces of a kit.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: []spec.Milestone{spec.BlockOut, spec.GameMesh, spec.Maps, spec.Final},
	Metrics: []string{"offset_mm"},
}

func sceneOrigin(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	lo, hi, what, ok := boxOf(s)
	if !ok {
		return noBody
	}
	place, at := originPlace(s.Spec.Conventions, lo, hi)
	metrics := map[string]float64{"offset_mm": roundMM(math.Sqrt(lenSq(place)))}
	f := judge(r, metrics, atMost("offset_mm", "max_offset_mm"))
	f.say("scene.origin.offset", bodyWord(what), words.MMExact(metrics["offset_mm"]), words.Term(at))
	if broke(f) {
		for k := range place {
			place[k] = roundMM(place[k])
		}
		f.Where = []Place{{PointMM: &place}}
		f.Where[0].note("scene.origin.seen_from", words.Term(at))
		f.remedy("scene.origin.move")
	}
	return f
}

// originPlace is where the origin should be, in the file's coordinates in millimetres, and the term for it.
func originPlace(c spec.Conventions, lo, hi [3]float64) (place [3]float64, term string) {
	base := [3]float64{(lo[0] + hi[0]) / 2, lo[1], (lo[2] + hi[2]) / 2}
	switch c.OriginAt {
	case "centre":
		base[1] = (lo[1] + hi[1]) / 2
		return base, "centre_of_box"
	case "point":
		if c.OriginMM != nil {
			for k := range base {
				base[k] += c.OriginMM[k]
			}
			return base, "contracted_point"
		}
	}
	return base, "centre_of_base"
}

var uprightDef = spec.Check{
	Name: "scene.upright", Scope: spec.PerDelivery, Title: "upright",
	What:   "Whether the prop fits its contracted size and origin as it stands (+Y up, +Z to the front, metres) or only once it is turned by quarter turns. A file cannot show its axes: without a contracted size nothing can be said.",
	Why:    "A prop exported on its side is placed on its side, everywhere.",
	Source: "glTF 2.0, 3.4 (coordinate system and units)",
	Mode:   blocksAll, From: fromBlockOut, Metrics: []string{"turn_deg"},
	Limits: []spec.Limit{{Key: "max_turn_deg", Kind: spec.AtMost, Unit: "deg", Default: same(0),
		What: "Turn that the prop needs to fit.", Origin: "glTF 2.0, 3.4"}},
}

func sceneUpright(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	lo, hi, what, ok := boxOf(s)
	if !ok {
		return noBody
	}
	if s.Spec.SizeMM == nil {
		f := judge(r, map[string]float64{"turn_deg": 0})
		f.say("scene.upright.no_contract")
		f.Labels = withLabel(f.Labels, "contract", "none")
		return f
	}
	fit := bestTurn(lo, hi, 1, s.Spec, sizeSlack(*s.Spec.SizeMM, s.Spec.Rule(sizeDef.Name, nil, nil)))
	f := judge(r, map[string]float64{"turn_deg": fit.degrees}, atMost("turn_deg", "max_turn_deg"))
	f.say("scene.upright.stands", bodyWord(what))
	if broke(f) {
		f.say("scene.upright.lies", bodyWord(what), fit.said())
		f.Labels = withLabel(f.Labels, "up", fit.up())
		f.remedy("scene.upright.turn")
	}
	return f
}
