package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

const sander = "Sander, Snyder, Gortler, Hoppe, Texture Mapping Progressive Meshes, SIGGRAPH 2001, section 3"

var stretchDef = spec.Check{
	Name: "uv.stretch", Scope: spec.PerSet, Title: "UV stretch",
	What:   "Stretch of the map from texels to surface: L² and L∞ over the set, scaled so that 1 is none, and the share of its surface on which a texel is longer one way than the other by more than a ratio.",
	Why:    "Where texels are longer one way, the texture smears; the share of such surface is what the eye sees, one bad triangle is not.",
	Source: sander + "; the limit on the share is " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_anisotropic_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.15, 0.10, 0.05, 0.03},
			What: "Share of the set's surface on which texels are longer one way than the ratio allows.", Origin: spec.CommonPractice},
		{Key: "ratio", Kind: spec.Target, Unit: "", Default: same(1.5),
			What: "Length of a texel on the surface one way over the other from which it counts.", Origin: spec.CommonPractice},
		{Key: "max_linf", Kind: spec.AtMost, Unit: "", Optional: true,
			What: "Largest stretch of any triangle, scaled likewise. Off: straightened strips have one bad triangle and look well.", Origin: sander},
	},
	Mode: warnsAll, From: fromGameMesh,
	Metrics: []string{"l2", "linf", "anisotropic_share", "collapsed_share"},
}

// stretchSum gathers stretch over triangles.
type stretchSum struct {
	l2Area, maxSq float64 // Σ L² · area; the largest square
	texels, area  float64
	bad           float64 // area that is anisotropic
}

// l2 and linf are scaled by the root of texels over area, so that a map of one density everywhere has 1.
func (s stretchSum) l2() float64 {
	if !(s.area > 0) {
		return 0
	}
	return math.Sqrt(float64(s.l2Area/s.area) * float64(s.texels/s.area))
}

func (s stretchSum) linf() float64 {
	if !(s.area > 0) {
		return 0
	}
	return math.Sqrt(float64(s.maxSq * float64(s.texels/s.area)))
}

// stretchOf measures every triangle of a layout with an area on the surface: all together, and by island. A triangle that
// has none in the layout counts as anisotropic, and neither in L² nor in L∞, which would be infinite.
func stretchOf(ctx context.Context, l *uvLayout, ratio float64) (all stretchSum, by []stretchSum, collapsed float64, err error) {
	by = make([]stretchSum, len(l.islands))
	for t, i := range l.charts.Island {
		if t&4095 == 0 && ctx.Err() != nil {
			return all, nil, 0, context.Cause(ctx)
		}
		p, q, r := corners(l.sf, t)
		area := worldArea(p, q, r)
		if !(area > 0) {
			continue
		}
		var uv [3]chart.Vec
		uv[0], uv[1], uv[2] = uvCorners(l.uv, l.sf.Tri, t)
		texels := l.texelsOf(t, i)
		if !finite(texels) {
			continue // told by uv.present
		}
		s := chart.SingularValues(uv, l.slots[l.islands[i].slot].px, [3][3]float64{p, q, r})
		for _, sum := range []*stretchSum{&all, &by[i]} {
			if s.Anisotropic(ratio) {
				sum.bad += area
			}
			if s.Collapsed || !finite(s.MaxSq) {
				continue
			}
			sum.l2Area += float64(s.L2Sq() * area)
			sum.maxSq = max(sum.maxSq, s.MaxSq)
			sum.texels += texels
			sum.area += area
		}
		if s.Collapsed {
			collapsed += area
		}
	}
	return all, by, collapsed, nil
}

func uvStretch(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	all, by, collapsed, err := stretchOf(ctx, l, r.Numbers["ratio"])
	if err != nil {
		return unable("uv.overlap.stopped")
	}
	area := all.area + collapsed
	if !(area > 0) {
		return unable("uv.texel_density.no_area")
	}
	f := judge(r, map[string]float64{"l2": all.l2(), "linf": all.linf(),
		"anisotropic_share": min(1, all.bad/area), "collapsed_share": min(1, collapsed/area)},
		atMost("anisotropic_share", "max_anisotropic_share"), atMost("linf", "max_linf"))
	f.say("uv.stretch.measured", words.Share(f.Metrics["anisotropic_share"]), words.Num(r.Numbers["ratio"]), words.Num(rounded(all.l2(), 3)), words.Num(rounded(all.linf(), 3)))
	if collapsed > 0 {
		f.also("uv.stretch.collapsed", words.Share(collapsed/area))
	}
	w := worst{}
	for i := range by {
		w.add(by[i].bad, i)
	}
	for _, e := range w.top() {
		if e.value <= 0 {
			break
		}
		p := l.place(l.islands[e.at].largest)
		p.Value = &Value{Value: by[e.at].l2(), Unit: ""}
		p.note("uv.stretch.island", words.Share(min(1, e.value/l.islands[e.at].area)))
		f.Where = append(f.Where, p)
	}
	if broke(f) {
		f.remedy("uv.stretch.relax")
	}
	return f
}

// rounded rounds to a number of significant decimals for people.
func rounded(v float64, decimals int) float64 {
	scale := 1.0
	for range decimals {
		scale *= 10
	}
	return math.Round(float64(v*scale)) / scale
}
