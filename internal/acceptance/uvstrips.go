package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var stripsDef = spec.Check{
	Name: "uv.strips", Scope: spec.PerSet, Title: "trim strips",
	What:   "Whether every chart of a trim sheet stays inside one of the strips that the spec names.",
	Why:    "A chart that leaves its strip shows the neighbouring trim along its edge.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Charts that leave their strip.", Origin: spec.CommonPractice},
		{Key: "borders_px", Kind: spec.Target, Unit: "px", List: true, Optional: true,
			What: "Where the strips meet, in pixels at ship size from the map's upper edge (its left one where they stand), 0 and the map's edge included. Without it nothing is judged.", Origin: spec.CommonPractice},
		{Key: "run", Kind: spec.Option, Words: []string{"across", "down"},
			What: "Which way the strips run over the map.", Origin: spec.CommonPractice},
		{Key: "over_px", Kind: spec.Target, Unit: "px", Default: same(2),
			What: "How far over its strip a chart may reach.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh,
	Metrics: []string{"count", "max_overhang_px", "share_outside"},
}

func uvStrips(_ context.Context, _ *Subject, t Target, r spec.Rule) Finding {
	if t.Set.Def.Kind != spec.Trim {
		return Finding{} // only a trim sheet has strips: nothing to say
	}
	borders := numbers(r.Lists["borders_px"])
	if len(borders) < 2 {
		return exempt("uv.strips.none")
	}
	l := t.Set.layout()
	if l == nil {
		return unable("uv.none")
	}
	axis := 1
	if r.Words["run"] == "down" {
		axis = 0
	}
	count, overhang, outside := 0, 0.0, 0.0
	w := worst{}
	for c := range l.charts.Charts {
		lo, hi := l.extent(int32(c), axis)
		over := stripOverhang(lo, hi, l.slots[0].px[axis], borders)
		if over <= r.Numbers["over_px"] {
			continue
		}
		count++
		overhang = max(overhang, over)
		outside += l.chartM2[c]
		w.add(over, c)
	}
	share := 0.0
	if area := l.m2(); area > 0 {
		share = min(1, outside/area)
	}
	f := judge(r, map[string]float64{"count": float64(count), "max_overhang_px": overhang, "share_outside": share}, atMost("count", "max_count"))
	f.say("uv.strips.inside", words.Count(l.charts.Charts))
	if count > 0 {
		f.say("uv.strips.outside", words.Count(count), words.Count(l.charts.Charts), words.Px(overhang))
		f.remedy("uv.strips.move")
		firsts := l.firstTriangles()
		for _, e := range w.top() {
			p := l.place(firsts[e.at])
			p.Value = &Value{Value: roundPx(e.value), Unit: "px"}
			f.Where = append(f.Where, p)
		}
	}
	return f
}

// extent is a chart's range along an axis of the map, in texels of its tile.
func (l *uvLayout) extent(c int32, axis int) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, e := range l.outlines.Edges[l.outlines.First[c]:l.outlines.First[c+1]] {
		lo, hi = min(lo, e[0][axis], e[1][axis]), max(hi, e[0][axis], e[1][axis])
	}
	return lo, hi
}

// stripOverhang is how far a range reaches over the strip that its middle is in, in texels. The sheet repeats.
func stripOverhang(lo, hi, edge float64, borders []float64) float64 {
	middle := float64((lo + hi) / 2)
	turn := math.Floor(middle / edge)
	lo, hi, middle = lo-float64(turn*edge), hi-float64(turn*edge), middle-float64(turn*edge)
	for k := 1; k < len(borders); k++ {
		if middle <= borders[k] || k == len(borders)-1 {
			return max(0, borders[k-1]-lo, hi-borders[k])
		}
	}
	return 0
}
