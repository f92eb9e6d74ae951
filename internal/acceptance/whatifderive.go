package acceptance

import (
	"math"
	"slices"
	"sync"

	"proofhouse/internal/acceptance/spec"
)

// bySpec is the label "by" of a finding that does not apply by the spec's own word, and not by what was delivered.
const bySpec = "spec"

// ownLimits are the limits of each check by its name.
var ownLimits = sync.OnceValue(func() map[string][]spec.Limit {
	out := map[string][]spec.Limit{}
	for _, c := range checks() {
		out[c.Def.Name] = c.Def.Limits
	}
	return out
})

// steering are limits that a value is held against and that also say what is measured: under another limit other values
// would have been measured.
var steering = map[string][]string{
	"surface.poke_through": {"max_height_mm", "max_height_share", "max_height_px"}, // area is counted above the height
}

// millimetres are limits in millimetres that a check makes of a share of the part's diagonal and of pixels, the larger of the
// two, where the spec does not set them (effective).
var millimetres = map[string]struct{ key, share, px string }{
	"surface.poke_through": {"max_height_mm", "max_height_share", "max_height_px"},
	"surface.deviation":    {"max_p95_mm", "max_p95_share", ""},
}

// diagonalsOf are the diagonals of the parts' game surfaces in millimetres, by part, where the evidence shows them.
func diagonalsOf(e *Evidence) map[string]float64 {
	out := map[string]float64{}
	for _, f := range e.Findings {
		if share := f.Metrics["max_share_of_diagonal"]; f.Check == "surface.deviation" && share > 0 {
			out[f.Part] = f.Metrics["max_mm"] / share
		}
	}
	return out
}

// withMillimetres puts the limit in millimetres into a rule of a draft that leaves it to the check. Where it comes out as it
// was, it has not changed.
func withMillimetres(r spec.Rule, f Finding, diagonalMM, pixelMM float64) spec.Rule {
	made, known := millimetres[f.Check]
	was, had := f.Limit[made.key]
	if !known || !had || diagonalMM == 0 {
		return r
	}
	r = effective(r, made.key, diagonalMM, made.share, pixelMM, made.px)
	const rounding = 1e-9 // of a diagonal that is read back as a quotient of two written numbers
	if now, on := r.Num(made.key); on && math.Abs(now-was) <= float64(rounding*was) {
		return withNumbers(r, map[string]float64{made.key: was})
	}
	return r
}

// derivedLimits work out anew, for a changed limit, those that the check makes out of it: what budget.triangles allows
// LOD 1, for instance. They return the changed limits that they have not dealt with: one that was turned off takes what was
// made of it along, which the evidence does not show.
var derivedLimits = map[string]func(r spec.Rule, f Finding, changed []string) (spec.Rule, []string){
	"budget.triangles": func(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
		lod := 0
		if f.LOD != nil {
			lod = *f.LOD
		}
		r, _ = lodBudget(r, lod)
		return r, leavingOff(r, changed, "max_triangles", "over_share", "min_share", "lod_step")
	},
	"budget.vertices": func(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
		// Which of the two holds was settled by the number of triangles; the other does not matter.
		for _, key := range []string{"max_per_triangle", "small_max_per_triangle"} {
			if !slices.ContainsFunc(f.Bounds, func(b Bound) bool { return b.Limit == key }) {
				changed = leaving(changed, key)
			}
		}
		return r, changed
	},
	"budget.drawcalls": addedTo("max_count", "allowed_count"),
	"budget.materials": addedTo("max_count", "allowed_count"),
	"lod.steps":        timesOf("max_bounds_px", "allowed_bounds_px"),
	"lod.silhouette":   timesOf("max_run_px", "allowed_run_px"),
	"scene.size":       sizeLimits,
	"surface.deviation": func(r spec.Rule, _ Finding, changed []string) (spec.Rule, []string) {
		if _, on := r.Num("max_p95_mm"); on { // made of the share, or in its place
			changed = leaving(changed, "max_p95_share")
		}
		return r, changed
	},
	"uv.padding":  paddingDerived,
	"uv.lightmap": timesOf("min_gap_px", "min_border_px"),
}

// sizeLimits works out the box's limits from the contracted size, which lies in their middle.
func sizeLimits(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
	more := map[string]float64{}
	for _, axis := range axisNames {
		low, has := f.Limit[axis+"_min_mm"]
		if !has {
			return r, leaving(changed, "tolerance_share", "floor_mm") // no contracted size: nothing is held
		}
		want := float64((low + f.Limit[axis+"_max_mm"]) / 2) // a half is a product to the compiler
		slack := max(float64(want*r.Numbers["tolerance_share"]), r.Numbers["floor_mm"])
		more[axis+"_min_mm"], more[axis+"_max_mm"] = roundMM(want-slack), roundMM(want+slack)
	}
	return withNumbers(r, more), leavingOff(r, changed, "tolerance_share", "floor_mm")
}

// addedTo is for a limit to which the check adds what the delivery has a right to.
func addedTo(key, made string) func(spec.Rule, Finding, []string) (spec.Rule, []string) {
	return func(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
		now, on := r.Num(key)
		was, had := f.Limit[key]
		if !on || !had {
			return r, changed
		}
		return withNumbers(r, map[string]float64{made: now + f.Limit[made] - was}), leaving(changed, key)
	}
}

// timesOf is for a limit that the check takes several times over.
func timesOf(key, made string) func(spec.Rule, Finding, []string) (spec.Rule, []string) {
	return func(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
		now, on := r.Num(key)
		was, had := f.Limit[key]
		if !on || !had || was == 0 {
			return r, changed
		}
		return withNumbers(r, map[string]float64{made: now * f.Limit[made] / was}), leaving(changed, key)
	}
}

// leavingOff takes those limits off a list that are on.
func leavingOff(r spec.Rule, changed []string, keys ...string) []string {
	return leaving(changed, slices.DeleteFunc(keys, func(key string) bool { _, on := r.Num(key); return !on })...)
}

func leaving(list []string, gone ...string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return slices.Contains(gone, s) })
}
