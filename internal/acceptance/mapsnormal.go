package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/texels"
	"proofhouse/internal/acceptance/words"
)

var mapsNormalDef = spec.Check{
	Name: "maps.normal_valid", Scope: spec.PerSet, Title: "normal map valid",
	What:   "Texels of the normal map that the layout covers whose vector is not of unit length, points into the surface, or has three channels alike; and whether any is tilted at all. Two-channel maps get their blue rebuilt.",
	Why:    "Light on a normal that is no unit vector is too bright or too dark, and one that points inward shows the surface from its back.",
	Source: "glTF 2.0, 3.9.3 (normal textures: channels map to -1 to 1, blue above a half); the bounds of length are " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_off_length_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.05, 0.02, 0.01, 0.01},
			What: "Share of texels with a length outside 0.85 to 1.05.", Origin: spec.CommonPractice},
		{Key: "max_inward_share", Kind: spec.AtMost, Unit: "share", Default: same(0.001),
			What: "Share of texels that point into the surface.", Origin: "glTF 2.0, 3.9.3"},
		{Key: "max_grey_share", Kind: spec.AtMost, Unit: "share", Default: same(0.1),
			What: "Share of texels with three channels alike: a height map, or one made grey.", Origin: spec.CommonPractice},
		{Key: "min_tilted_share", Kind: spec.AtLeast, Unit: "share", Default: same(0.001),
			What:   "Share of texels that differ from straight out by more than a degree; under it the map is flat, and that only warns: whether the sculpt has relief is asked by maps.normal_rebake.",
			Origin: spec.CommonPractice},
	},
	Mode: [4]spec.Mode{spec.Warns, spec.Blocks, spec.Blocks, spec.Blocks}, From: fromMaps,
	Metrics: []string{"off_length_share", "inward_share", "grey_share", "tilted_share", "worst_length"},
}

// normalLooks are the mistakes that a normal map's own values give away, by the label that tells them.
var normalLooks = map[string]struct{ says, does string }{
	"srgb_encoded":       {"maps.normal_valid.srgb_encoded", "maps.normal_valid.fix_srgb_encoded"},
	"red_blue_swapped":   {"maps.normal_valid.red_blue_swapped", "maps.normal_valid.fix_red_blue_swapped"},
	"green_blue_swapped": {"maps.normal_valid.green_blue_swapped", "maps.normal_valid.fix_green_blue_swapped"},
}

func mapsNormalValid(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	m := measuredMaps(ctx, s, t.Set)
	read, broken := m.named("normal", "normal_baked")
	if broken != nil {
		return unreadMap(broken)
	}
	var worst Finding
	for _, one := range read {
		if one.normal == nil || one.normal.Texels == 0 {
			continue
		}
		f := judgeNormal(one, r)
		if worst.Outcome == "" || gravity(f.Outcome) > gravity(worst.Outcome) {
			worst = f
		}
	}
	if worst.Outcome == "" && len(read) > 0 {
		return unable("maps.no_cover")
	}
	return worst // without an outcome where there is no normal map: maps.files says whether one is missing
}

// gravity orders outcomes by how much they matter.
func gravity(o Outcome) int {
	switch o {
	case Fail:
		return 3
	case NotEvaluated:
		return 2
	case Warn:
		return 1
	}
	return 0
}

func judgeNormal(one *mapRead, r spec.Rule) Finding {
	n := one.normal
	f := judge(r, map[string]float64{
		"off_length_share": shareOf(n.OffLength, n.Texels), "inward_share": shareOf(n.Inward, n.Texels),
		"grey_share": shareOf(n.Grey, n.Texels), "tilted_share": shareOf(n.Tilted, n.Texels), "worst_length": n.WorstLen,
	}, atMost("grey_share", "max_grey_share"), atMost("inward_share", "max_inward_share"),
		atMost("off_length_share", "max_off_length_share"), atLeast("tilted_share", "min_tilted_share").warns())
	if n.TwoChannel {
		f.Labels = withLabel(f.Labels, "channels", "two, blue rebuilt")
	}
	if !broke(f) {
		f.say("maps.normal_valid.good", words.Name(one.from), words.Share(f.Metrics["off_length_share"]), words.Share(f.Metrics["inward_share"]))
		return f
	}
	over := func(metric string, b float64) bool { return f.Metrics[metric] > b }
	switch {
	case over("grey_share", r.Numbers["max_grey_share"]):
		f.Labels = withLabel(f.Labels, "looks_like", "greyscale")
		f.say("maps.normal_valid.grey", words.Name(one.from), words.Share(f.Metrics["grey_share"]))
		f.remedy("maps.normal_valid.bake_normals")
	case one.looks != "":
		f.Labels = withLabel(f.Labels, "looks_like", one.looks)
		f.say("maps.normal_valid.wrong", words.Name(one.from), words.Share(f.Metrics["off_length_share"]), words.Share(f.Metrics["inward_share"]))
		f.also(normalLooks[one.looks].says)
		f.remedy(normalLooks[one.looks].does)
	case over("inward_share", r.Numbers["max_inward_share"]), over("off_length_share", r.Numbers["max_off_length_share"]):
		f.say("maps.normal_valid.wrong", words.Name(one.from), words.Share(f.Metrics["off_length_share"]), words.Share(f.Metrics["inward_share"]))
		f.remedy("maps.normal_valid.normalize")
	default:
		f.Labels = withLabel(f.Labels, "looks_like", "flat")
		f.say("maps.normal_valid.flat", words.Name(one.from), words.Share(1-f.Metrics["tilted_share"]))
		f.remedy("maps.normal_valid.bake_again")
	}
	if n.WorstLen < texels.ShortestNormal || n.WorstLen > texels.LongestNormal {
		p := one.at(n.WorstAt[0], n.WorstAt[1])
		p.note("maps.normal_valid.length", words.Num(n.WorstLen))
		f.Where = append(f.Where, p)
	}
	return f
}
