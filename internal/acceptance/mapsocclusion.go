package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/texels"
	"proofhouse/internal/acceptance/words"
)

var mapsOcclusionDef = spec.Check{
	Name: "maps.occlusion", Scope: spec.PerSet, Title: "occlusion",
	What:   "Whether the occlusion map goes dark where the sculpt is shut in, against our own coarse occlusion of 128 texels an edge: bakers differ in reach and fall-off, so only the correlation is judged.",
	Why:    "Occlusion that is inverted, empty or from another layout darkens the wrong places under every light.",
	Source: "glTF 2.0, 3.9.3 (occlusion in red, 1 is open); the bound is " + spec.CommonPractice,
	Limits: []spec.Limit{{Key: "min_correlation", Kind: spec.AtLeast, Default: same(0.3),
		What: "Correlation with our own occlusion.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromMaps, NotForSet: notBakedSets,
	Metrics: []string{"correlation", "mean_occlusion", "own_mean_occlusion"},
}

// leastRelief is the standard deviation of our own occlusion under which a prop has no dark corners to compare.
const leastRelief = 0.05

// occlusionOf is the occlusion channel of a map reduced to the grid of our own; nil where it holds none.
func occlusionOf(s *Subject, set *Set, r *mapRead, img *image.Image, threads int) []float32 {
	at := indexOf(channels(s, set, r.name), "occlusion")
	if at < 0 {
		return nil
	}
	if at = channelOf(r.header, at); at < 0 {
		return nil
	}
	return texels.Reduce(img, at, occlusionEdge, occlusionEdge, threads)
}

func mapsOcclusion(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	m := measuredMaps(ctx, s, t.Set)
	for _, one := range m.maps {
		if one.occlusion == nil || one.tile > 0 {
			continue
		}
		own, err := coarseOcclusion(ctx, s, t.Set)
		if err != nil || own == nil || own.W < 1 || own.H < 1 {
			return Finding{} // no sculpt to compare with
		}
		theirs := make([]float32, len(own.Open))
		for i := range theirs {
			x, y := (2*(i%own.W)+1)*occlusionEdge/(2*own.W), (2*(i/own.W)+1)*occlusionEdge/(2*own.H)
			theirs[i] = one.occlusion[y*occlusionEdge+x]
		}
		return judgeOcclusion(one, r, texels.Compare(theirs, own.Open))
	}
	return Finding{}
}

func judgeOcclusion(one *mapRead, r spec.Rule, l texels.Likeness) Finding {
	if l.N == 0 {
		return unable("maps.no_cover")
	}
	metrics := map[string]float64{"correlation": l.Correlation, "mean_occlusion": l.MeanA, "own_mean_occlusion": l.MeanB}
	if l.SpreadB < leastRelief { // nothing is shut in, so nothing can be wrong
		r.Mode = spec.Reports
	}
	f := judge(r, metrics, atLeast("correlation", "min_correlation"))
	f.say("maps.occlusion.like", words.Name(one.from), words.Num(l.Correlation), words.Share(l.MeanA), words.Share(l.MeanB))
	if f.Outcome != Warn && f.Outcome != Fail {
		return f
	}
	switch {
	case l.Correlation <= -r.Numbers["min_correlation"]:
		f.Labels = withLabel(f.Labels, "looks_like", "inverted")
		f.also("maps.occlusion.inverted")
		f.remedy("maps.occlusion.invert")
	case l.SpreadA < leastRelief:
		f.Labels = withLabel(f.Labels, "looks_like", "even")
		f.also("maps.occlusion.even")
		f.remedy("maps.occlusion.bake")
	default:
		f.also("maps.occlusion.unlike")
		f.remedy("maps.occlusion.bake")
	}
	return f
}
