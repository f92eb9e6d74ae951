package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/image"
	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/texels"
	"proofhouse/internal/acceptance/words"
)

func alphaChecks() []Check {
	return []Check{
		{Def: alphaModeDef, Run: alphaMode},
		{Def: alphaEmptyDef, Run: alphaEmpty},
		{Def: alphaMipsDef, Run: alphaMips},
		{Def: alphaFillDef, Run: alphaFill},
	}
}

// alphaMeasure is what the base colour map's alpha channel says of itself.
type alphaMeasure struct {
	from    *mapRead
	clear   int           // texels that are not opaque
	empty   float64       // share of the cards' texels that the cut-off drops; -1 where the set has no cards
	kept    float64       // share of the layout's texels that pass the cut-off, at full size
	mip     float64       // the same at the smallest mip judged
	mipEdge int           // its longer edge
	fill    *texels.Bleed // how far colour is carried under clear texels; nil where colour and opacity have other sizes
}

// usesAlpha says whether a set cuts out or blends: by the spec, or by its materials.
func usesAlpha(set *Set) bool {
	if set.Def.Alpha == "mask" || set.Def.Alpha == "blend" {
		return true
	}
	for _, m := range materialsOf(set) {
		if m.AlphaMode == "MASK" || m.AlphaMode == "BLEND" {
			return true
		}
	}
	return false
}

// materialsOf lists the materials of a set's draws, each once, in the order of draws.
func materialsOf(set *Set) []*mesh.Material {
	var out []*mesh.Material
	for _, r := range set.Game.Of {
		if i := r.Scene.Prims[r.Draw.Prim].Material; i >= 0 && i < len(r.Scene.Materials) {
			if m := &r.Scene.Materials[i]; !slices.Contains(out, m) {
				out = append(out, m)
			}
		}
	}
	return out
}

// cutoffOf is the cut-off of a set's first masked material in steps of 8 bits; glTF's default is a half (glTF 2.0, 3.9.4).
func cutoffOf(set *Set) uint8 {
	for _, m := range materialsOf(set) {
		if m.AlphaMode == "MASK" {
			return uint8(min(255, max(1, math.Ceil(m.AlphaCutoff*255))))
		}
	}
	return 128
}

// fillReach is how far colour is looked for under clear texels, in texels: as far as four mip levels mix.
const fillReach = 8

// opacity measures a base colour map's alpha channel, or the opacity map beside it; nil where there is neither or the set
// does not use it.
func (rd *reading) opacity(r *mapRead, img *image.Image) *alphaMeasure {
	if !usesAlpha(rd.set) {
		return nil
	}
	var o *texels.Opacity
	if apart := rd.channel("opacity", r.tile); apart != nil {
		o = texels.OpacityOf(apart.Img, apart.C)
	} else if img.HasAlpha() {
		o = texels.OpacityOf(img, img.Channels-1)
	} else {
		return nil
	}
	cutoff := cutoffOf(rd.set)
	a := &alphaMeasure{from: r, empty: -1}
	a.clear = o.W*o.H - o.From(255).Count()
	cards := rd.cards()
	if len(cards) > 0 && rd.uv != nil {
		mask := texels.Cover(o.W, o.H, rd.uv, cards, true, [2]float64{}, rd.threads)
		if mask.Count() > 0 {
			a.empty = 1 - o.Kept(cutoff, mask)
		}
	}
	a.kept = o.Kept(cutoff, nil)
	w, _ := shipSize(rd.set.Def, o.W, o.H)
	level := o
	for level.W > w {
		level = level.Half()
	}
	for i := 0; i < mipsJudged && min(level.W, level.H) > leastMipEdge; i++ {
		level = level.Half()
	}
	a.mip, a.mipEdge = level.Kept(cutoff, nil), max(level.W, level.H)
	if o.W != img.Width || o.H != img.Height {
		return a // texels of the two maps cannot be told together
	}
	shown := o.From(cutoff)
	fill := texels.CarriedPast(img, shown, texels.NearestIn(shown, fillReach, rd.threads), rd.threads)
	a.fill = &fill
	return a
}

// Mip levels that coverage is judged over: a card that is shown at a sixteenth of its map's size is a few pixels high.
const (
	mipsJudged   = 4
	leastMipEdge = 16
)

// cards are the triangles of a set that belong to parts of the kind card.
func (rd *reading) cards() []uint32 {
	parts := partsByDraw(rd.s)
	var tri []uint32
	for _, g := range rd.set.Game.Of {
		if p := parts[keyOf(g)]; p != nil && p.Def.Kind == spec.Card {
			tri = append(tri, rd.set.Game.Tri[3*g.First:3*g.End]...)
		}
	}
	return tri
}

var alphaModeDef = spec.Check{
	Name: "alpha.mode", Scope: spec.PerSet, Title: "alpha mode",
	What:   "Materials whose alpha mode is not what the spec says of the set. Glass and decals may blend and cards may cut out whatever it says.",
	Why:    "Blended surfaces are sorted, cast no proper shadow and are drawn over each other; opaque and cut-out ones are not.",
	Source: "glTF 2.0, 3.9.4 (alpha coverage)",
	Limits: []spec.Limit{{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
		What: "Materials with another mode.", Origin: "glTF 2.0, 3.9.4"}},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"count"},
}

func alphaMode(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	want := map[string]string{"mask": "MASK", "blend": "BLEND"}[t.Set.Def.Alpha]
	if want == "" {
		want = "OPAQUE"
	}
	parts := partsByDraw(s)
	var seen, opaque []*mesh.Material
	var where, ifNone []Place
	said := want == "OPAQUE"
	for _, g := range t.Set.Game.Of {
		i := g.Scene.Prims[g.Draw.Prim].Material
		if i < 0 || i >= len(g.Scene.Materials) {
			continue
		}
		m := &g.Scene.Materials[i]
		mode := orElse(m.AlphaMode, "OPAQUE")
		said = said || mode == want
		if mode == want || freeMode(mode, parts[keyOf(g)]) || slices.Contains(seen, m) || slices.Contains(opaque, m) {
			continue
		}
		place := Place{Node: g.NodeName(), Pointer: m.Pointer}
		place.note("alpha.mode.material", words.Name(m.Name), words.Name(mode), words.Name(want))
		if mode == "OPAQUE" { // a set that cuts out may have opaque materials beside those that do
			opaque, ifNone = append(opaque, m), append(ifNone, place)
			continue
		}
		seen, where = append(seen, m), append(where, place)
	}
	if !said {
		seen, where = append(seen, opaque...), append(where, ifNone...)
	}
	f := judge(r, map[string]float64{"count": float64(len(seen))}, atMost("count", "max_count"))
	f.say("alpha.mode.as_said", words.Name(want))
	if len(seen) > 0 {
		f.say("alpha.mode.other", words.Count(len(seen)), words.Name(want))
		f.Where = where
		f.remedy("alpha.mode.set")
	}
	return f
}

// freeMode says whether a kind of part may have a mode whatever the spec says of the set.
func freeMode(mode string, p *Part) bool {
	if p == nil {
		return false
	}
	switch p.Def.Kind {
	case spec.Glass, spec.Decal:
		return mode == "BLEND"
	case spec.Card:
		return mode == "MASK"
	}
	return false
}

var alphaEmptyDef = spec.Check{
	Name: "alpha.empty", Scope: spec.PerSet, Title: "empty cards",
	What:   "Share of the cards' texels that the cut-off drops.",
	Why:    "Empty parts of a card are drawn all the same, layer over layer.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_empty_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.60, 0.50, 0.40, 0.40},
		What: "Share of the cards that is empty.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"empty_share"},
}

// alphaOf is what was measured of a set's alpha, or the finding that says why there is nothing; without an outcome where
// the set uses none.
func alphaOf(ctx context.Context, s *Subject, set *Set) (*alphaMeasure, Finding) {
	if !usesAlpha(set) {
		return nil, Finding{}
	}
	m := measuredMaps(ctx, s, set)
	read, broken := m.named("base_color")
	switch {
	case broken != nil:
		return nil, unreadMap(broken)
	case len(read) == 0:
		return nil, Finding{}
	case m.alpha == nil:
		return nil, unable("alpha.no_channel", words.Name(read[0].from))
	}
	return m.alpha, Finding{}
}

func alphaEmpty(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	a, f := alphaOf(ctx, s, t.Set)
	if a == nil || a.empty < 0 {
		return f
	}
	f = judge(r, map[string]float64{"empty_share": a.empty}, atMost("empty_share", "max_empty_share"))
	f.say("alpha.empty.share", words.Share(a.empty), words.Share(r.Numbers["max_empty_share"]))
	if broke(f) {
		f.remedy("alpha.empty.trim")
	}
	return f
}

var alphaMipsDef = spec.Check{
	Name: "alpha.mips", Scope: spec.PerSet, Title: "cut-outs through mips",
	What:   "How much of what passes the cut-off at full size still passes four mip levels further down, with levels averaged two by two.",
	Why:    "Thin cut-outs fade with distance: leaves and fringes vanish where they should only get smaller.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "min_coverage_share", Kind: spec.AtLeast, Unit: "share", Default: same(0.6),
		What: "Share of the coverage that must be left.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"coverage_share"},
}

func alphaMips(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	a, f := alphaOf(ctx, s, t.Set)
	if a == nil || a.kept == 0 || a.clear == 0 || t.Set.Def.Alpha == "blend" {
		return f
	}
	left := a.mip / a.kept
	f = judge(r, map[string]float64{"coverage_share": left}, atLeast("coverage_share", "min_coverage_share"))
	f.say("alpha.mips.left", words.Share(min(1, left)), words.Px(float64(a.mipEdge)), words.Share(r.Numbers["min_coverage_share"]))
	if broke(f) {
		f.remedy("alpha.mips.widen")
	}
	return f
}

var alphaFillDef = spec.Check{
	Name: "alpha.fill", Scope: spec.PerSet, Title: "colour under clear texels",
	What:   "Share of the clear texels around what is shown that have the background's colour instead of their neighbour's.",
	Why:    "Filtering mixes clear texels in at the edge of a cut-out: without colour there, leaves get a dark or bright rim.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.2, 0.1, 0.05, 0.05},
		What: "Share of clear texels without colour.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromMaps, Metrics: []string{"share"},
}

func alphaFill(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	a, f := alphaOf(ctx, s, t.Set)
	if a == nil || a.clear == 0 || a.fill == nil {
		return f
	}
	share := shareOf(a.fill.Bare, a.fill.Telling)
	f = judge(r, map[string]float64{"share": share}, atMost("share", "max_share"))
	f.say("alpha.fill.share", words.Share(share), words.Share(r.Numbers["max_share"]))
	if broke(f) {
		f.remedy("alpha.fill.carry")
		for _, spot := range a.fill.Spots {
			p := a.from.at(spot.X, spot.Y)
			p.note("maps.texel", words.Count(spot.X), words.Count(spot.Y))
			f.Where = append(f.Where, p)
		}
	}
	return f
}
