package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var mapsColourDef = spec.Check{
	Name: "maps.base_color", Scope: spec.PerSet, Title: "base colour",
	What:   "Texels that are no metal and darker or brighter than materials are, metal too dark for one, and whether brightness follows occlusion as if shading had been painted in. Stylised props are only measured.",
	Why:    "Colour beyond what materials are breaks under bright and dim light, and shading in the colour is lit twice.",
	Source: "IEC 61966-2-1:1999 (sRGB to linear light), ITU-R BT.709 (luminance); the ranges are " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_outside_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.08, 0.05, 0.05, 0.05},
			What: "Share of texels of dielectrics darker or brighter than the range.", Origin: spec.CommonPractice},
		{Key: "dark_srgb", Kind: spec.Target, Default: same(30), What: "Darkest grey of a dielectric, sRGB 0 to 255.", Origin: spec.CommonPractice},
		{Key: "bright_srgb", Kind: spec.Target, Default: same(240), What: "Brightest grey of a dielectric, sRGB 0 to 255.", Origin: spec.CommonPractice},
		{Key: "metal_srgb", Kind: spec.Target, Default: same(100), What: "Darkest grey of a bare metal, sRGB 0 to 255.", Origin: spec.CommonPractice},
		{Key: "max_dark_metal_share", Kind: spec.AtMost, Unit: "share", Optional: true,
			What: "Share of metal darker than that.", Origin: spec.CommonPractice},
		{Key: "max_shading_correlation", Kind: spec.AtMost, Default: same(0.6),
			What: "Correlation of brightness with occlusion from which painted shading is suspected; it only warns.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromMaps,
	Metrics: []string{"outside_share", "dark_share", "bright_share", "metal_share", "dark_metal_share", "shading_correlation"},
}

func mapsBaseColor(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	m := measuredMaps(ctx, s, t.Set)
	read, broken := m.named("base_color")
	if broken != nil {
		return unreadMap(broken)
	}
	if s.Spec.Conventions.Look == "stylised" && r.Mode != spec.NotAppl {
		r.Mode = spec.Reports
	}
	var worst Finding
	for _, one := range read {
		f := judgeColour(one, r)
		if worst.Outcome == "" || gravity(f.Outcome) > gravity(worst.Outcome) {
			worst = f
		}
	}
	return worst
}

func judgeColour(one *mapRead, r spec.Rule) Finding {
	c := one.colour
	if c == nil || c.Dielectric+c.Metal == 0 {
		return unable("maps.no_cover")
	}
	f := judge(r, map[string]float64{
		"outside_share": shareOf(c.Dark+c.Bright, c.Dielectric), "dark_share": shareOf(c.Dark, c.Dielectric),
		"bright_share": shareOf(c.Bright, c.Dielectric), "metal_share": shareOf(c.Metal, c.Dielectric+c.Metal),
		"dark_metal_share": shareOf(c.DarkMetal, c.Metal), "shading_correlation": c.Shading,
	}, atMost("outside_share", "max_outside_share"), atMost("dark_metal_share", "max_dark_metal_share"),
		atMost("shading_correlation", "max_shading_correlation").warns())
	x := f.Metrics
	f.say("maps.base_color.range", words.Share(x["outside_share"]), words.Share(x["dark_share"]), words.Share(x["bright_share"]),
		words.Num(r.Numbers["dark_srgb"]), words.Num(r.Numbers["bright_srgb"]))
	if c.Metal > 0 {
		f.also("maps.base_color.metal", words.Share(x["metal_share"]), words.Share(x["dark_metal_share"]), words.Num(r.Numbers["metal_srgb"]))
	}
	shaded := x["shading_correlation"] > r.Numbers["max_shading_correlation"]
	if shaded {
		f.Labels = withLabel(f.Labels, "painted_shading", "suspected")
		f.also("maps.base_color.shading", words.Num(x["shading_correlation"]))
	}
	if !broke(f) {
		return f
	}
	if x["outside_share"] > r.Numbers["max_outside_share"] {
		f.remedy("maps.base_color.move_in")
		for _, spot := range c.Spots {
			p := one.at(spot.X, spot.Y)
			p.note("maps.texel", words.Count(spot.X), words.Count(spot.Y))
			f.Where = append(f.Where, p)
		}
	}
	if limit, on := r.Num("max_dark_metal_share"); on && x["dark_metal_share"] > limit {
		f.alsoRemedy("maps.base_color.brighten_metal")
	}
	if shaded {
		f.alsoRemedy("maps.base_color.unshade")
	}
	return f
}

var mapsMetalDef = spec.Check{
	Name: "maps.metal_rough", Scope: spec.PerSet, Title: "metallic and roughness",
	What:   "Share of texels with a metallic value between 0.1 and 0.9, the share of metal, and the mean and the extremes of roughness.",
	Why:    "A surface is metal or it is not; values between are for dust and edges, and all over they make a material that no light shows right.",
	Source: "glTF 2.0, 3.9.2 (metallic in blue, roughness in green); the range is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_mid_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.15, 0.12, 0.10, 0.10},
			What: "Share of texels that are neither metal nor none.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromMaps,
	Metrics: []string{"mid_share", "metal_share", "mean_roughness", "rough_extreme_share"},
}

func mapsMetalRough(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	m := measuredMaps(ctx, s, t.Set)
	var worst Finding
	for _, one := range m.maps {
		order := channels(s, t.Set, one.name)
		metal, rough := indexOf(order, "metallic"), indexOf(order, "roughness")
		if metal < 0 && rough < 0 {
			continue
		}
		if one.fault != nil {
			return unreadMap(one)
		}
		f, ok := judgeMetal(one, r, metal, rough)
		if ok && (worst.Outcome == "" || gravity(f.Outcome) > gravity(worst.Outcome)) {
			worst = f
		}
	}
	return worst
}

func indexOf(list []string, word string) int {
	for i, w := range list {
		if w == word {
			return i
		}
	}
	return -1
}

// judgeMetal judges one map with a metallic channel. ok is false where it has none: a roughness map alone breaks no limit.
func judgeMetal(one *mapRead, r spec.Rule, metal, rough int) (Finding, bool) {
	if metal < 0 {
		return Finding{}, false
	}
	if metal = channelOf(one.header, metal); metal < 0 {
		return Finding{}, false
	}
	_, mid, hi, _ := thirds(&one.values[metal], one.metal)
	metrics := map[string]float64{"mid_share": mid, "metal_share": hi}
	if rough >= 0 && channelOf(one.header, rough) >= 0 {
		rough = channelOf(one.header, rough)
		_, _, _, mean := thirds(&one.values[rough], one.rough)
		h := &one.values[rough]
		all := 0
		for _, n := range h {
			all += n
		}
		metrics["mean_roughness"], metrics["rough_extreme_share"] = mean, shareOf(h[0]+h[255], all)
	}
	f := judge(r, metrics, atMost("mid_share", "max_mid_share"))
	f.say("maps.metal_rough.mid", words.Share(mid), words.Share(hi), words.Name(one.from))
	if v, ok := metrics["mean_roughness"]; ok {
		f.also("maps.metal_rough.rough", words.Num(v), words.Share(metrics["rough_extreme_share"]))
	}
	if broke(f) {
		f.remedy("maps.metal_rough.decide")
	}
	return f, true
}
