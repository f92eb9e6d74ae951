package acceptance

import (
	"context"
	"math"

	"proofhouse/internal/acceptance/chart"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var paddingDef = spec.Check{
	Name: "uv.padding", Scope: spec.PerSet, Title: "UV padding",
	What:   "The smallest gap between islands, and between islands and the border of their tile, by distance between their outlines' edges in pixels at ship size; and how many smaller mip levels the gap survives. Stacked islands count as one.",
	Why:    "Smaller mip levels mix neighbouring texels: where the gap is too small, the colour of one island shows on the other's edge at a distance.",
	Source: "distance between segments, exact; sizes: " + spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "edge_per_gap", Kind: spec.Target, Unit: "", Default: same(256),
			What: "The gap that is wanted is the map's longer edge over this number: 4 px at 1024, 8 at 2048, 16 at 4096, four clean mip levels at 2048.", Origin: spec.CommonPractice},
		{Key: "gap_px", Kind: spec.Target, Unit: "px", Optional: true,
			What: "The gap that is wanted, whatever the map's size.", Origin: spec.CommonPractice},
		{Key: "blocks_below_share", Kind: spec.Target, Unit: "share", Default: same(0.5),
			What: "Below this share of the wanted gap the check blocks, between it and the whole it warns.", Origin: spec.CommonPractice},
		{Key: "border_share", Kind: spec.Target, Unit: "share", Default: same(0.5),
			What: "Share of the wanted gap that is wanted to the tile's border: what lies beyond it is another such border, or the same map again.", Origin: spec.CommonPractice},
		{Key: "slack_px", Kind: spec.Target, Unit: "px", Default: same(0.25),
			What: "How much less than a limit still keeps it, at most a quarter of it: packers place islands on texels of their own, and a gap set to 4 px comes out as 3.9.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh, NotForSet: sharedTexels,
	Metrics: []string{"min_px", "island_px", "border_px", "mip_levels"},
}

// padding is what the gaps of a layout come to.
type padding struct {
	slots   []slotPadding
	islands []islandGap // gaps under what is wanted, one for each group of islands, in order
}

// slotPadding is the smallest gaps of one tile.
type slotPadding struct {
	want   float64   // in pixels of the tile
	least  islandGap // between islands; infinite where there is only one group
	border islandGap // to the tile's border; infinite where the tile is empty
}

// islandGap is one gap, in texels of its tile.
type islandGap struct {
	px       float64
	slot     int32
	at, to   chart.Vec
	triangle int32 // one of the island's
	other    int32 // one of the other island's, -1 for the border
}

func uvPadding(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	p, err := l.padding(ctx, r)
	if err != nil {
		return unable("uv.overlap.stopped")
	}
	share := r.Numbers["border_share"]
	slot := p.worst(share)
	if slot < 0 {
		return unable("uv.overlap.no_area")
	}
	tile := p.slots[slot]
	want, border := tile.want, float64(tile.want*share)
	// Where nothing is beside an island, or an island runs on over its border, the gap there is the map's own size.
	free := max(l.slots[slot].px[0], l.slots[slot].px[1])
	between, toBorder := min(tile.least.px, free), min(tile.border.px, free)
	gap := min(between, toBorder)
	rule := paddingLimits(r, want)
	f := judge(rule, map[string]float64{"min_px": roundPx(gap), "island_px": roundPx(between), "border_px": roundPx(toBorder),
		"mip_levels": float64(mipLevels(roundPx(gap)))},
		atLeast("island_px", "island_blocks_px"), atLeast("border_px", "border_blocks_px"),
		atLeast("island_px", "island_px").warns(), atLeast("border_px", "border_px").warns())
	f.Tile = l.tileOf(int32(slot))
	f.say("uv.padding.measured", words.Px(roundPx(between)), words.Px(roundPx(toBorder)), words.Count(mipLevels(roundPx(gap))), words.Px(want), words.Px(border))
	if l.assumed {
		f.also("uv.assumed_size", words.SizePx(assumedPx, assumedPx))
	}
	if broke(f) {
		f.Where = l.paddingPlaces(p, share)
		f.remedy("uv.padding.spread")
	}
	return f
}

// paddingLimits adds what follows from the gap that is wanted: what warns and what blocks, between islands and to the border.
func paddingLimits(r spec.Rule, wantPx float64) spec.Rule {
	slack, share, hard := r.Numbers["slack_px"], r.Numbers["border_share"], r.Numbers["blocks_below_share"]
	less := func(px float64) float64 { return px - min(slack, float64(px/4)) }
	return withNumbers(r, map[string]float64{"wanted_px": wantPx,
		"island_px": less(wantPx), "border_px": less(float64(wantPx * share)),
		"island_blocks_px": less(float64(wantPx * hard)), "border_blocks_px": less(float64(float64(wantPx*share) * hard))})
}

// paddingDerived works the limits out anew for others of the spec's: the map's size stands in what was wanted before.
func paddingDerived(r spec.Rule, f Finding, changed []string) (spec.Rule, []string) {
	want, has := f.Limit["wanted_px"]
	px, fixed := r.Num("gap_px")
	was, now := f.Limit["edge_per_gap"], r.Numbers["edge_per_gap"]
	_, wasFixed := f.Limit["gap_px"]
	switch {
	case fixed:
		want = px
	case wasFixed || !has || !(now > 0):
		return r, changed // the evidence does not say how large the map is
	default:
		want *= was / now
	}
	return paddingLimits(r, want), leaving(changed, "gap_px", "edge_per_gap", "border_share", "blocks_below_share", "slack_px")
}

// worst is the slot whose gaps fall shortest of what it wants, -1 where all are empty.
func (p *padding) worst(borderShare float64) int {
	at, least := -1, math.Inf(1)
	for k, s := range p.slots {
		if math.IsInf(s.border.px, 1) && math.IsInf(s.least.px, 1) && s.border.slot < 0 {
			continue
		}
		ratio := min(s.least.px, s.border.px/max(borderShare, 1e-9)) / s.want
		if at < 0 || ratio < least {
			at, least = k, ratio
		}
	}
	return at
}

// roundPx rounds a gap to a thousandth of a texel: stored UVs hold no more at any size of map, and a gap of 8 px must
// not break a limit of 8 by 7.9999999.
func roundPx(px float64) float64 { return math.Round(px*1000) / 1000 }

// mipLevels is how many levels below the full one still have a gap of a pixel: each halves it.
func mipLevels(px float64) int {
	n := 0
	for ; px >= 2 && n < 32; px /= 2 {
		n++
	}
	return n
}

// padding finds every gap that is under what is wanted, and the smallest of each tile.
func (l *uvLayout) padding(ctx context.Context, r spec.Rule) (padding, error) {
	var p padding
	groups, count := l.groups()
	firsts := l.firstTriangles()
	lead := make([]int32, count) // a triangle of each group
	for c := len(groups) - 1; c >= 0; c-- {
		lead[groups[c]] = firsts[c]
	}
	for slot := range l.slots {
		none := islandGap{px: math.Inf(1), slot: -1}
		s := slotPadding{l.wantedGap(slot, r), none, none}
		segments, chartOf := l.segments(int32(slot), groups)
		gapOf := func(g chart.Gap) islandGap {
			return islandGap{g.Distance, int32(slot), g.At, g.To, firsts[chartOf[g.Segment]], lead[g.Other]}
		}
		l.borderGap(int32(slot), &s.border)
		gaps, err := chart.Gaps(ctx, segments, count, s.want)
		if err != nil {
			return p, err
		}
		for _, g := range gaps {
			if g.Other < 0 || g.Other < g.Group && gaps[g.Other].Other == g.Group {
				continue // none within reach, or told by the other island
			}
			at := gapOf(g)
			p.islands = append(p.islands, at)
			if at.px < s.least.px {
				s.least = at
			}
		}
		if s.least.slot < 0 {
			g, err := chart.Least(ctx, segments)
			if err != nil {
				return p, err
			}
			if g.Other >= 0 {
				s.least = gapOf(g)
			}
		}
		p.slots = append(p.slots, s)
	}
	return p, nil
}

func (l *uvLayout) wantedGap(slot int, r spec.Rule) float64 {
	if px, on := r.Num("gap_px"); on {
		return px
	}
	per, on := r.Num("edge_per_gap")
	if !on || !(per > 0) {
		return 0 // nothing is wanted
	}
	px := l.slots[slot].px
	return max(px[0], px[1]) / per
}

// groups numbers what counts as one island: charts of one island, and charts that lie on each other.
func (l *uvLayout) groups() (of []int32, n int) {
	lead := make([]int32, len(l.islands)) // by island, a union-find forest
	for i := range lead {
		lead[i] = int32(i)
	}
	root := func(i int32) int32 {
		for lead[i] != i {
			lead[i] = lead[lead[i]]
			i = lead[i]
		}
		return i
	}
	for c, first := range l.stack {
		a, b := root(l.chartIsland[c]), root(l.chartIsland[first])
		lead[max(a, b)] = min(a, b)
	}
	number := make([]int32, len(l.islands))
	for i := range number {
		number[i] = -1
	}
	of = make([]int32, len(l.stack))
	for c := range l.stack {
		i := root(l.chartIsland[c])
		if number[i] < 0 {
			number[i] = int32(n)
			n++
		}
		of[c] = number[i]
	}
	return of, n
}

// segments are the outlines in a slot, of stacks the first chart's alone, with the chart of each.
func (l *uvLayout) segments(slot int32, groups []int32) (out []chart.Segment, chartOf []int32) {
	for c, first := range l.stack {
		if first != int32(c) || l.outlines.Tile[c] != slot {
			continue
		}
		for _, e := range l.outlines.Edges[l.outlines.First[c]:l.outlines.First[c+1]] {
			if finite(e[0][0] + e[0][1] + e[1][0] + e[1][1]) {
				out = append(out, chart.Segment{A: e[0], B: e[1], Group: groups[c]})
				chartOf = append(chartOf, int32(c))
			}
		}
	}
	return out, chartOf
}

// borderGap lowers least to the smallest gap between an island of a slot and the tile's border. An island that reaches
// both borders across runs on over them, as a strip once around a drum does: that way it has no border.
func (l *uvLayout) borderGap(slot int32, least *islandGap) {
	px := l.slots[slot].px
	for k := range l.islands {
		i := &l.islands[k]
		if i.first < 0 || i.slot != slot {
			continue
		}
		least.slot = slot
		for a := range 2 {
			low := float64((i.box[a] - i.shift[a]) * px[a])
			high := float64((i.shift[a] + 1 - i.box[a+2]) * px[a])
			if low <= stackTexels && high <= stackTexels {
				continue
			}
			if gap := max(0, min(low, high)); gap < least.px {
				middle := float64((i.box[1-a] + i.box[3-a]) / 2)
				at := chart.Vec{}
				at[a], at[1-a] = low, float64((middle-i.shift[1-a])*px[1-a])
				if high < low {
					at[a] = px[a] - high
				}
				*least = islandGap{gap, slot, at, at, i.first, -1}
			}
		}
	}
}

// paddingPlaces names the smallest gaps: to a border where that is too small, then between islands.
func (l *uvLayout) paddingPlaces(p padding, borderShare float64) []Place {
	var out []Place
	for _, s := range p.slots {
		if s.border.px < float64(s.want*borderShare) && len(out) < maxPlaces/2 {
			place := l.gapPlace(s.border)
			place.note("uv.padding.border")
			out = append(out, place)
		}
	}
	w := worst{}
	for k, g := range p.islands {
		w.add(-g.px, k)
	}
	for _, e := range w.top() {
		g := p.islands[e.at]
		place, other := l.gapPlace(g), l.place(g.other)
		place.note("uv.padding.to", words.Name(orElse(other.Node, "-")), words.Name(itoa(firstOf(other.Triangles))))
		out = append(out, place)
	}
	return out[:min(len(out), maxPlaces)]
}

// gapPlace is where a gap is in the folded layout; the triangle is one of its island.
func (l *uvLayout) gapPlace(g islandGap) Place {
	p := l.place(g.triangle)
	px, at := l.slots[g.slot].px, l.slots[g.slot].at
	p.UV = &[2]float64{roundUV((g.at[0]+g.to[0])/2/px[0] + at[0]), roundUV((g.at[1]+g.to[1])/2/px[1] + at[1])}
	p.Value = &Value{Value: roundPx(g.px), Unit: "px"}
	return p
}
