package acceptance

import (
	"math"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// bound ties one metric of a finding to the limit of the rule that it must keep.
type bound struct {
	metric string // key in Finding.Metrics
	limit  string // key in spec.Rule.Numbers; an absent key is a limit that is off
	kind   spec.LimitKind
	soft   bool // breaking it warns at most, however strict the rule
}

// atMost says that a metric must not be above a limit.
func atMost(metric, limit string) bound { return bound{metric, limit, spec.AtMost, false} }

// atLeast says that a metric must not be below a limit.
func atLeast(metric, limit string) bound { return bound{metric, limit, spec.AtLeast, false} }

// warns makes a bound soft: breaking it warns at most.
func (b bound) warns() bound { b.soft = true; return b }

// holds says whether v keeps limit. Equality keeps it: a limit is the last value that is still good.
func (b bound) holds(v, limit float64) bool {
	if b.kind == spec.AtLeast {
		return v >= limit
	}
	return v <= limit
}

// judge is the one place where limits are applied. It returns a finding with Outcome, Measured, Limit and Metrics
// set: Measured is the metric of the first broken bound in the order given, a hard one before a soft one, and of the
// first bound where none is broken. So the caller lists the bound that matters most first. Limit holds every limit that
// is on, also those without a bound, so that a reader sees what the numbers were read against.
//
// A broken bound fails under a rule that blocks and warns under one that warns. A rule that only reports passes; where
// a limit would have been broken, the label "limit" says "broken, reported only". A metric that is missing or not a
// finite number makes the finding not evaluated: it must never count as kept.
func judge(r spec.Rule, metrics map[string]float64, bounds ...bound) Finding {
	f := Finding{Outcome: Pass, Metrics: metrics, Limit: limitsOf(r)}
	var broken *bound
	for i := range bounds {
		b := &bounds[i]
		f.Bounds = append(f.Bounds, Bound{b.metric, b.limit, b.kind, b.soft}) // also where the limit is off: it may be tried later
		limit, on := r.Num(b.limit)
		if !on {
			continue
		}
		v, have := metrics[b.metric]
		if !have || !finite(v) {
			f.Outcome = NotEvaluated
			f.say("engine.not_measured", words.Name(b.metric))
			return f
		}
		if !b.holds(v, limit) && (broken == nil || broken.soft && !b.soft) {
			broken = b
		}
	}
	if broken != nil {
		f.Outcome = brokenOutcome(r.Mode, broken.soft)
		if r.Mode == spec.Reports {
			f.Labels = map[string]string{"limit": "broken, reported only"}
		}
		f.Measured = measured(metrics, broken.metric)
	} else if len(bounds) > 0 {
		f.Measured = measured(metrics, bounds[0].metric)
	}
	return f
}

// broke says whether a judged finding broke a limit, whatever the rule makes of that. Checks use it to choose words.
func broke(f Finding) bool {
	return f.Outcome == Fail || f.Outcome == Warn || f.Labels["limit"] != ""
}

// judgeWord is judge for a yes-or-no rule without a number: broken says whether the rule is broken.
func judgeWord(r spec.Rule, isBroken bool) Finding {
	f := Finding{Outcome: Pass, Limit: limitsOf(r)}
	if isBroken {
		f.Outcome = brokenOutcome(r.Mode, false)
		if r.Mode == spec.Reports {
			f.Labels = map[string]string{"limit": "broken, reported only"}
		}
	}
	return f
}

func brokenOutcome(m spec.Mode, soft bool) Outcome {
	switch {
	case m == spec.Reports:
		return Pass
	case m == spec.Blocks && !soft:
		return Fail
	}
	return Warn
}

func limitsOf(r spec.Rule) map[string]float64 {
	if len(r.Numbers) == 0 {
		return nil
	}
	limits := make(map[string]float64, len(r.Numbers))
	for k, v := range r.Numbers {
		limits[k] = v
	}
	return limits
}

func measured(metrics map[string]float64, name string) *Value {
	v, ok := metrics[name]
	if !ok || !finite(v) {
		return nil
	}
	return &Value{Value: v, Unit: unitOf(name)}
}

func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// counts are the metric names that count things without saying so by an ending.
var counts = []string{
	"count", "triangles", "triangles_non_degenerate", "vertices", "patches", "loops", "bowtie_vertices",
	"inverted_shells", "stray_vertices", "vertices_stored", "mirrored", "warnings", "sculpt_pieces", "tiny_shells", "unjoined_vertices", "missing", "steep_soft", "poles", "mip_levels", "lods", "slots", "flat", "dented", "corners", "changed", "rounded", "parts", "maps", "numbers", "failed", "warned", "mended", "missing", "constant", "outside", "influences", "removable", "at_step",
}

// endings maps the end of a metric's or limit's name to its unit; the longer ending stands first.
var endings = []struct{ end, unit string }{
	{"_px_per_m", "px/m"}, {"_share_outside", "share"}, {"_share_of_diagonal", "share"}, {"_mm2", "mm²"}, {"_mm", "mm"}, {"_deg", "deg"},
	{"_10deg", "share"}, {"_share", "share"}, {"_px", "px"}, {"_m", "m"}, {"_bytes", "bytes"}, {"_count", "count"},
}

// unitOf reads the unit out of a metric's or limit's name: the unit is part of the name.
func unitOf(name string) string {
	if slices.Contains(counts, name) {
		return "count"
	}
	switch name {
	case "share", "share_outside":
		return "share"
	case "pixels":
		return "px"
	case "bytes":
		return "bytes"
	}
	for _, e := range endings {
		if strings.HasSuffix(name, e.end) {
			return e.unit
		}
	}
	return ""
}
