package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Kinds of sets whose islands are meant to share texels.
const (
	repeatsTiling = "A tiling map repeats: surfaces share its texels on purpose."
	repeatsTrim   = "A trim sheet is shared: many surfaces read the same strip on purpose."
	repeatsDecals = "A decal atlas is read in cut-outs: several surfaces may show the same one."
)

var sharedTexels = map[spec.SetKind]string{spec.Tiling: repeatsTiling, spec.Trim: repeatsTrim, spec.DecalAtlas: repeatsDecals}

var overlapDef = spec.Check{
	Name: "uv.overlap", Scope: spec.PerSet, Title: "UV overlap",
	What:   "UV area covered more than once, exactly, by clipping triangles after whole tiles are folded. Charts whose outlines agree within half a texel everywhere, mirrored or not, are a stack and counted apart; everything else that overlaps is partial overlap.",
	Why:    "Where two surfaces share texels by mistake, the bake of one is painted over the other; a stack on purpose saves texels but repeats its dirt.",
	Source: "exact polygon clipping (Sutherland & Hodgman 1974) along a Morton order; what is a stack: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_partial_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.0005, 0.0002, 0.0002, 0.0002},
			What: "Share of the covered UV area under islands that overlap but are no stack; what remains below is rounding.", Origin: spec.CommonPractice},
		{Key: "max_stacked_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{1, 1, 0.60, 0.30},
			What: "Share of the covered UV area under stacks; 1 allows any. More than this only warns.", Origin: spec.CommonPractice},
		{Key: "max_unpermitted_share", Kind: spec.AtMost, Unit: "share", Default: same(0.0002),
			What: "Share of the covered UV area under stacks that the set's own word stack: none or mirrored does not allow.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh, NotForSet: sharedTexels,
	Metrics: []string{"area_share", "stacked_share", "partial_share", "unpermitted_share"},
}

func uvOverlap(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	slots, err := l.overlap(ctx)
	if err != nil {
		return unable("uv.overlap.stopped")
	}
	sum := overlapSum(slots)
	if !(sum.Covered > 0) {
		return unable("uv.overlap.no_area")
	}
	partial := min(1, max(0, sum.Partial)/sum.Covered)
	stacked := min(1, max(0, sum.Stacked)/sum.Covered)
	refused := min(stacked, l.refusedArea()/sum.Covered)
	f := judge(r, map[string]float64{"area_share": min(1, partial+stacked), "stacked_share": stacked, "partial_share": partial, "unpermitted_share": refused},
		atMost("partial_share", "max_partial_share"), atMost("unpermitted_share", "max_unpermitted_share"),
		atMost("stacked_share", "max_stacked_share").warns())
	if sum.Cut {
		if limit, on := r.Num("max_partial_share"); !on || partial <= limit {
			return unable("uv.overlap.too_deep")
		}
		delete(f.Metrics, "stacked_share")
		f.say("uv.overlap.at_least", words.ShareFine(partial))
	} else if partial == 0 {
		f.say("uv.overlap.none", words.Share(stacked), words.Count(l.stacks()))
	} else {
		f.say("uv.overlap.measured", words.ShareFine(partial), words.Share(stacked), words.Count(l.stacks()))
	}
	limit, on := r.Num("max_partial_share")
	switch {
	case on && partial > limit:
		f.Where = l.overlapPlaces(slots)
		f.remedy("uv.overlap.part")
		if l.nearStack(slots) {
			f.alsoRemedy("uv.overlap.snap")
		}
	case broke(f):
		f.Where = l.stackPlaces()
		f.remedy("uv.overlap.unstack")
	}
	return f
}

func overlapSum(slots []chart.Overlaps) chart.Overlaps {
	var sum chart.Overlaps
	for _, o := range slots {
		sum.Covered += o.Covered
		sum.InTile += o.InTile
		sum.Stacked += o.Stacked
		sum.Partial += o.Partial
		sum.Cut = sum.Cut || o.Cut
	}
	return sum
}

// stacks is how many places more than one chart lies on.
func (l *uvLayout) stacks() int {
	n := 0
	for _, c := range l.copies {
		if c > 1 {
			n++
		}
	}
	return n
}

// refused says whether the set's word for stacks forbids the one that begins with a chart: "none" allows none, "mirrored"
// those in which as many charts lie one way up as the other.
func (l *uvLayout) refused(first int32, backwards []int32) bool {
	switch l.set.Def.Stack {
	case "none":
		return l.copies[first] > 1
	case "mirrored":
		return l.copies[first] > 1 && 2*backwards[first] != l.copies[first]
	}
	return false
}

// refusedArea is the UV area of stacks that the set's word forbids, in tiles.
func (l *uvLayout) refusedArea() float64 {
	backwards := make([]int32, len(l.stack))
	for c, first := range l.stack {
		if l.charts.Backwards[c] {
			backwards[first]++
		}
	}
	sum := 0.0
	for c := range l.stack {
		if l.refused(int32(c), backwards) {
			sum += l.chartArea[c]
		}
	}
	return sum
}

// overlapPlaces names the pairs of charts that overlap most: one place for each, in the middle of the triangle on top.
func (l *uvLayout) overlapPlaces(slots []chart.Overlaps) []Place {
	type spot struct {
		pair chart.Pair
		slot int32
	}
	var all []spot
	w := worst{}
	for s, o := range slots {
		px := l.slots[s].px
		for _, p := range o.Pairs[:min(len(o.Pairs), maxPlaces)] {
			w.add(float64(float64(p.Area*px[0])*px[1]), len(all))
			all = append(all, spot{p, int32(s)})
		}
	}
	var out []Place
	for _, e := range w.top() {
		p := all[e.at].pair
		place, other := l.place(p.Triangles[0]), l.place(p.Triangles[1])
		place.Value = &Value{Value: e.value, Unit: "px²"}
		if p.Charts[0] == p.Charts[1] {
			place.note("uv.overlap.itself")
		} else {
			place.note("uv.overlap.with", words.Name(orElse(other.Node, "-")), words.Name(itoa(firstOf(other.Triangles))))
		}
		out = append(out, place)
	}
	return out
}

func firstOf(list []int) int {
	if len(list) == 0 {
		return 0
	}
	return list[0]
}

// stackPlaces names the stacks of the largest area.
func (l *uvLayout) stackPlaces() []Place {
	w := worst{}
	for c, n := range l.copies {
		if n > 1 {
			w.add(l.chartArea[c], c)
		}
	}
	firsts := l.firstTriangles()
	var out []Place
	for _, e := range w.top() {
		p := l.place(firsts[e.at])
		p.note("uv.overlap.stack", words.Count(l.copies[e.at]))
		out = append(out, p)
	}
	return out
}

// firstTriangles is the first triangle of each chart.
func (l *uvLayout) firstTriangles() []int32 {
	out := make([]int32, l.charts.Charts)
	for t := len(l.charts.Chart) - 1; t >= 0; t-- {
		if c := l.charts.Chart[t]; c >= 0 {
			out[c] = int32(t)
		}
	}
	return out
}

// Bounds within which two charts that overlap look like a stack that slipped: nearly the same size, and nearly all of
// the smaller under the other.
const (
	slippedAlike = 0.05
	slippedUnder = 0.8
)

// nearStack says whether the charts that overlap most look like copies that were meant to lie on each other.
func (l *uvLayout) nearStack(slots []chart.Overlaps) bool {
	for _, o := range slots {
		if len(o.Pairs) == 0 {
			continue
		}
		p := o.Pairs[0]
		a, b := l.chartArea[p.Charts[0]], l.chartArea[p.Charts[1]]
		if p.Charts[0] != p.Charts[1] && min(a, b) >= (1-slippedAlike)*max(a, b) && p.Area >= slippedUnder*min(a, b) {
			return true
		}
	}
	return false
}
