package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/texels"
	"proofhouse/internal/acceptance/words"
)

var mapsBleedDef = spec.Check{
	Name: "maps.bleed", Scope: spec.PerSet, Title: "bleed",
	What:   "How many pixels, at ship size, colour is carried past the edge of UV islands before the background begins. Texels between two islands and places where the background has the island's own colour are left out.",
	Why:    "Mip levels mix texels across an island's edge: without bleed the background shows as a line along every seam at a distance.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "min_px", Kind: spec.AtLeast, Unit: "px", Optional: true,
			What: "Pixels of bleed at ship size; else the edge of the map divided by edge_per_px.", Origin: spec.CommonPractice},
		{Key: "edge_per_px", Kind: spec.Target, Unit: "px", Default: same(512),
			What: "Edge of the map for each pixel of bleed: 512 asks for 4 px at 2048.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromMaps,
	NotForSet: map[spec.SetKind]string{
		spec.Tiling: "A tiling map is filled to its borders: there is no background.",
		spec.Trim:   "A trim sheet is filled to its borders: there is no background.",
	},
	Metrics: []string{"min_px", "mip_levels"},
}

// bleedLeast is the bleed that a rule asks for at ship size, pixels.
func bleedLeast(r spec.Rule, shipEdge int) float64 {
	if v, on := r.Num("min_px"); on {
		return v
	}
	if per := r.Numbers["edge_per_px"]; per > 0 {
		return float64(shipEdge) / per
	}
	return 0
}

// shipScale is how many ship pixels a delivered pixel of a map is.
func shipScale(set *Set, h image.Header) float64 {
	w, _ := shipSize(set.Def, h.Width, h.Height)
	return float64(w) / float64(max(h.Width, 1))
}

// bleedReach is how far past islands a map is looked at, in its own texels: one more than is asked for.
func bleedReach(r spec.Rule, set *Set, h image.Header) int {
	scale := shipScale(set, h)
	edge := float64(max(h.Width, h.Height)) * scale
	return min(texels.MaxReach, int(math.Ceil(bleedLeast(r, int(edge))/scale))+1)
}

// worstBleed is the map whose bleed is shortest against what is asked of it, in ship pixels: px of need.
func worstBleed(set *Set, m *mapsMeasure, r spec.Rule) (worst *mapRead, px, need float64) {
	left := math.Inf(1)
	for _, one := range m.maps {
		if one.bleed == nil {
			continue
		}
		scale := shipScale(set, one.header)
		least := bleedLeast(r, int(float64(max(one.header.Width, one.header.Height))*scale))
		if v := float64(float64(one.bleed.Px) * scale); worst == nil || v-least < left {
			worst, px, need, left = one, v, least, v-least
		}
	}
	return worst, px, need
}

func mapsBleed(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	worst, px, least := worstBleed(t.Set, measuredMaps(ctx, s, t.Set), r)
	if worst == nil {
		return Finding{} // no map lies on a layout
	}
	r = withNumbers(r, map[string]float64{"min_px": least})
	levels := 0.0
	for v := px; v >= 2; v /= 2 {
		levels++
	}
	f := judge(r, map[string]float64{"min_px": px, "mip_levels": levels}, atLeast("min_px", "min_px"))
	if worst.bleed.Px >= worst.bleed.Reach {
		f.Labels = withLabel(f.Labels, "min_px", "at least")
	}
	if !broke(f) && worst.bleed.Px >= worst.bleed.Reach {
		f.say("maps.bleed.at_least", words.Px(px), words.Px(least), words.Name(worst.from))
		return f
	}
	if !broke(f) {
		f.say("maps.bleed.enough", words.Px(px), words.Px(least), words.Name(worst.from))
		return f
	}
	f.say("maps.bleed.short", words.Px(px), words.Px(least), words.Name(worst.from), words.Count(int(levels)))
	f.remedy("maps.bleed.carry")
	scale := shipScale(t.Set, worst.header)
	for _, spot := range worst.bleed.Spots {
		p := worst.at(spot.X, spot.Y)
		p.Value = &Value{Value: float64(spot.Ring-1) * scale, Unit: "px"}
		p.note("maps.bleed.bare", words.Px(float64(spot.X)), words.Px(float64(spot.Y)))
		f.Where = append(f.Where, p)
	}
	return f
}
