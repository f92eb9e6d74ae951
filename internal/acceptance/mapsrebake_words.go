package acceptance

import (
	"fmt"
	"math"

	"proofhouse/internal/acceptance/bake"
	"proofhouse/internal/acceptance/words"
)

// whenCodes say what fits: "the map fits the sculpt when …".
var whenCodes = map[bake.Fit]string{
	bake.GreenFlipped: "bake.map.when_green_flipped", bake.RedFlipped: "bake.map.when_red_flipped",
	bake.RedGreenSwapped: "bake.map.when_red_green_swapped", bake.RedBlueSwapped: "bake.map.when_red_blue_swapped",
	bake.Turned90: "bake.map.when_turned_90", bake.Turned180: "bake.map.when_turned_180", bake.Turned270: "bake.map.when_turned_270",
	bake.SwappedNegated: "bake.map.when_swapped_flipped", bake.SRGBEncoded: "bake.map.when_srgb_encoded", bake.SRGBDecoded: "bake.map.when_srgb_decoded",
	bake.ImageTurned90: "bake.map.when_image_turned_90", bake.ImageTurned180: "bake.map.when_image_turned_180", bake.ImageTurned270: "bake.map.when_image_turned_270",
	bake.ImageUpsideDown: "bake.map.when_image_upside_down", bake.ImageMirrored: "bake.map.when_image_mirrored",
	bake.AllTurned90: "bake.map.when_all_turned_90", bake.AllTurned180: "bake.map.when_all_turned_180", bake.AllTurned270: "bake.map.when_all_turned_270",
	bake.AllUpsideDown: "bake.map.when_all_upside_down",
	bake.ObjectSpace:   "bake.map.when_object_space", bake.MirroredGreen: "bake.map.when_mirrored_green", bake.MirroredRed: "bake.map.when_mirrored_red",
	bake.FaceNormals: "bake.map.when_face_normals", bake.SmoothNormals: "bake.map.when_smooth_normals",
	bake.TriangleTangents: "bake.map.when_triangle_tangents", bake.GeneratedTangents: "bake.map.when_mikktspace_tangents",
	bake.UnpairedParts: "bake.map.when_unpaired_parts",
}

// doCodes say how to put it right; other readings share doFallback.
var doCodes = map[bake.Fit]string{
	bake.RedFlipped: "bake.map.do_channels", bake.RedGreenSwapped: "bake.map.do_channels", bake.RedBlueSwapped: "bake.map.do_channels",
	bake.Turned180: "bake.map.do_channels", bake.SwappedNegated: "bake.map.do_channels",
	bake.SRGBEncoded: "bake.map.do_linear", bake.SRGBDecoded: "bake.map.do_linear",
	bake.ImageTurned90: "bake.map.do_layout", bake.ImageTurned180: "bake.map.do_layout", bake.ImageTurned270: "bake.map.do_layout",
	bake.ImageUpsideDown: "bake.map.do_layout", bake.ImageMirrored: "bake.map.do_layout", bake.AllTurned90: "bake.map.do_layout",
	bake.AllTurned180: "bake.map.do_layout", bake.AllTurned270: "bake.map.do_layout", bake.AllUpsideDown: "bake.map.do_layout",
	bake.Shifted: "bake.map.do_shift", bake.HalfTexelShifted: "bake.map.do_shift",
	bake.FaceNormals: "bake.map.do_mesh", bake.SmoothNormals: "bake.map.do_mesh",
	bake.UnpairedParts: "bake.map.do_pair", bake.OtherSet: "bake.map.do_other_set",
}

const doFallback = "bake.map.do_tangent_space"

// when is a reading in words.
func (r *rebaked) when(f bake.FitError) words.Arg {
	switch f.Fit {
	case bake.OtherSet:
		return words.Said("bake.map.when_other_set", words.Name(r.others[f.Set]))
	case bake.Shifted, bake.HalfTexelShifted:
		return words.Said("bake.map.when_shifted", words.Px(f.ShiftPx[0]), words.Px(f.ShiftPx[1]))
	}
	return words.Said(whenCodes[f.Fit])
}

// flatDeg is what a map of one value leans: half a step of 8 bits in both directions is 0.32°.
const flatDeg = 0.6

// nature is what the map is, in one word for the label best_fit.
func (r *rebaked) nature(f *Finding) string {
	p := r.report
	_, fits := f.Limit["max_fit_ratio"]
	switch {
	case p.Grey:
		return "grey"
	case p.DeliveredReliefDeg < flatDeg && p.ReliefDeg >= leastReliefDeg:
		return "flat"
	case p.Best > 0 && fits && p.Ratio > f.Limit["max_fit_ratio"]:
		return string(r.best().Fit)
	case r.relief() < f.Limit["min_relief_share"]:
		return "unrelated"
	}
	return string(bake.AsDelivered)
}

// tell fills in what a finding says and where.
func (r *rebaked) tell(s *Subject, f *Finding, raw bool) {
	p := r.report
	nature := r.nature(f)
	label := func(k, format string, args ...any) { f.Labels = withLabel(f.Labels, k, fmt.Sprintf(format, args...)) }
	label("best_fit", "%s", nature)
	label("map", "%s", r.from)
	label("grid", "%d × %d of %d × %d px", r.grid.W, r.grid.H, r.grid.FullW, r.grid.FullH)
	label("tangents", "%s", map[bool]string{true: "delivered TANGENT", false: "MikkTSpace"}[r.scene.delivered])
	label("cage", "%s", words.English().Sentence(words.P(r.scene.cage)))
	if r.scene.made {
		label("sculpt_normals", "made here, by the angles of the faces: none were delivered")
	}
	switch {
	case nature == "grey":
		f.say("bake.map.grey", words.Deg(p.All.MeanDeg))
		f.remedy("bake.map.do_bake")
	case nature == "flat":
		f.say("bake.map.flat", words.Deg(p.DeliveredReliefDeg), words.Deg(p.ReliefDeg))
		f.remedy("bake.map.do_bake")
	case nature == "unrelated":
		f.say("bake.map.unrelated", words.Deg(p.All.MeanDeg))
		f.remedy("bake.map.do_parts")
	case p.Best > 0 && p.Ratio > f.Limit["max_fit_ratio"]:
		r.tellFit(f, raw)
	default:
		r.tellNumbers(f, raw)
	}
	r.tellIslands(s, f)
	if p.Unserved > 0 {
		f.also("bake.map.unserved", words.ShareFine(f.Metrics["unserved_share"]))
	}
}

// tellFit says in which reading the map fits.
func (r *rebaked) tellFit(f *Finding, raw bool) {
	as, best := r.report.Fits[0], r.best()
	from, to := as.MeanDeg, best.MeanDeg
	if drowned := from < f.Limit["max_fit_ratio"]*to; drowned && !raw { // painted detail hides it texel by texel
		from, to = as.LowPassDeg, best.LowPassDeg
		f.say("bake.map.fits_averaged", r.when(best), words.Deg(to), words.Deg(from))
	} else {
		f.say("bake.map.fits", r.when(best), words.Deg(to), words.Deg(from))
	}
	if best.Fit == bake.GreenFlipped {
		f.remedy("bake.map.do_green", words.Name(r.green))
	} else {
		f.remedy(orElse(doCodes[best.Fit], doFallback))
	}
	limit, on := f.Limit["max_mean_deg"]
	if raw && on {
		word := "within the limit"
		if best.MeanDeg > limit {
			word = "still over the limit"
		}
		f.Labels = withLabel(f.Labels, "as_if_mended", word)
	}
}

// tellNumbers says how far the map is off.
func (r *rebaked) tellNumbers(f *Finding, raw bool) {
	p := r.report
	switch {
	case raw && f.Limit["max_mean_deg"] > 0:
		f.say("bake.map.raw", words.Deg(p.All.MeanDeg), words.Deg(f.Limit["max_mean_deg"]), words.Deg(p.All.P95Deg), words.Deg(f.Limit["max_p95_deg"]))
	case raw:
		f.say("bake.map.raw_no_limit", words.Deg(p.All.MeanDeg), words.Deg(p.All.P95Deg))
	case f.Limit["max_low_pass_mean_deg"] > 0:
		f.say("bake.map.finished", words.Deg(p.LowPassMeanDeg), words.Deg(f.Limit["max_low_pass_mean_deg"]), words.Deg(p.All.MeanDeg))
	default:
		f.say("bake.map.finished_no_limit", words.Deg(p.LowPassMeanDeg), words.Deg(p.All.MeanDeg))
	}
	if broke(*f) {
		f.remedy("bake.map.do_again")
	}
	l, rt := p.Left, p.Right
	if l.Texels > 0 && rt.Texels > 0 && math.Abs(l.MeanDeg-rt.MeanDeg) >= 1 && (l.MeanDeg > 2*rt.MeanDeg || rt.MeanDeg > 2*l.MeanDeg) {
		f.also("bake.map.sides", words.Deg(l.MeanDeg), words.Deg(rt.MeanDeg))
	}
	if p.Seams.Texels > 0 && p.Seams.MeanDeg >= 2*p.Inside.MeanDeg && p.Seams.MeanDeg-p.Inside.MeanDeg >= 1 {
		f.also("bake.map.seams", words.Deg(p.Seams.MeanDeg), words.Deg(p.Inside.MeanDeg))
	}
}

// leastIslandShare is what an island must have of the texels to be named.
const leastIslandShare = 0.002

// tellIslands says which islands fit in another reading, and names the worst places.
func (r *rebaked) tellIslands(s *Subject, f *Finding) {
	count, share, worst := 0, 0.0, -1
	for i, e := range r.report.Islands {
		if e.Fit != bake.AsDelivered && e.Fit != r.best().Fit {
			count, share = count+1, share+r.ofIsland(e)
			if worst < 0 {
				worst = i
			}
		}
		if broke(*f) && len(f.Where) < maxPlaces/2 && r.ofIsland(e) >= leastIslandShare && e.MeanDeg >= 1 {
			f.Where = append(f.Where, r.place(s, e))
		}
	}
	if worst >= 0 && share >= leastIslandShare {
		e := r.report.Islands[worst]
		f.also("bake.map.islands", words.Count(count), words.Share(share), r.whenIsland(e.Fit), words.Deg(e.FitMeanDeg), words.Deg(e.AsMeanDeg))
		if f.Remedy == "" && broke(*f) {
			f.remedy(orElse(doCodes[e.Fit], doFallback))
		}
	}
}

// place is an island: its first triangle, how far it is off and what fits it.
func (r *rebaked) place(s *Subject, e bake.IslandError) Place {
	from := r.scene.source[e.Tri]
	g := r.scene.game
	var mm [3]float64
	var uv [2]float64
	for c := 3 * int(e.Tri); c < 3*int(e.Tri)+3; c++ {
		for k := range 3 {
			mm[k] += float64(float64(g.Pos[3*c+k]) * (1000.0 / 3))
		}
		for k := range 2 {
			uv[k] += float64(g.UV[2*c+k]) / 3
		}
	}
	for k := range mm {
		mm[k] = roundMM(mm[k])
	}
	uv[0], uv[1] = roundUV(uv[0]), roundUV(uv[1])
	p := Place{Node: from.r.NodeName(), Triangles: []int{from.number}, PointMM: &mm, UV: &uv, Value: &Value{Value: e.MeanDeg, Unit: "deg"}}
	if len(s.Parts) > 0 {
		p.Side = sideOf(s, s.Parts[0], mm)
	}
	if e.Fit != bake.AsDelivered {
		p.note("bake.map.island_fits", words.Share(r.ofIsland(e)), r.whenIsland(e.Fit), words.Deg(e.FitMeanDeg))
	} else {
		p.note("bake.map.island", words.Share(r.ofIsland(e)), words.Count(e.Over10))
	}
	return p
}

// whenIsland is a reading of one island in words: a shift or another set without saying which.
func (r *rebaked) whenIsland(fit bake.Fit) words.Arg {
	switch fit {
	case bake.OtherSet:
		return words.Said("bake.map.when_any_set")
	case bake.Shifted, bake.HalfTexelShifted:
		return words.Said("bake.map.when_moved")
	}
	return words.Said(whenCodes[fit])
}
