package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/surface"
)

// compared is what pictures need of one part's comparison with its sculpt. Fields are nil where nothing was measured.
type compared struct {
	part    *Part
	heat    *surface.Heat
	patches []surface.Patch
	views   []surface.View // the worst first, with outlines
	limitMM float64        // height above which poke-through counts; 0 where no limit is known
}

// comparisons gathers what the surface checks measured, part by part.
func comparisons(ctx context.Context, s *Subject, findings []Finding) []compared {
	var out []compared
	for _, p := range s.Parts {
		c := compared{part: p}
		measureAgain(ctx, s, p, findings)
		c.heat, c.patches, c.views = measuredSurface(ctx, s, p)
		for i := range findings {
			if findings[i].Check == "surface.poke_through" && findings[i].Part == p.Name {
				c.limitMM = findings[i].Limit["max_height_mm"]
			}
		}
		if c.heat != nil && len(c.heat.Tri) > 0 || len(c.views) > 0 {
			out = append(out, c)
		}
	}
	return out
}

// measureAgain measures what pictures show where the findings were known and no check had to: the pictures must not depend on
// that.
func measureAgain(ctx context.Context, s *Subject, p *Part, findings []Finding) {
	again := func(check Check, have bool) {
		for i := range findings {
			f := &findings[i]
			if !have && f.Check == check.Def.Name && f.Part == p.Name && len(f.Metrics) > 0 {
				t := Target{Part: p}
				check.Run(ctx, s, t, ruleFor(s, check.Def.Name, t))
				return
			}
		}
	}
	if p.Sculpt.Triangles() == 0 || !p.pair(s).Measurable() {
		return
	}
	again(Check{Def: pokeDef, Run: surfacePokeThrough}, p.pair(s).Patches() != nil)
	again(Check{Def: silhouetteDef, Run: surfaceSilhouette}, p.pair(s).Views() != nil)
}
