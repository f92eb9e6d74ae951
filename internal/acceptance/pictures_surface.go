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
