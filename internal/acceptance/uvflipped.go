package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

var flippedDef = spec.Check{
	Name: "uv.flipped", Scope: spec.PerSet, Title: "mirrored islands",
	What:   "Charts that show the texture mirrored: with another chart under them that does not, alone, and on text or decals.",
	Why:    "A mirrored half on its stack is a saving; a mirrored chart alone is usually a slip that turns the normal map's light round in some engines, and mirrored text reads backwards.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_text_share", Kind: spec.AtMost, Unit: "share", Default: same(0),
			What: "Share of the set's surface on mirrored charts of decals and of nodes with text.", Origin: spec.CommonPractice},
		{Key: "max_alone_share", Kind: spec.AtMost, Unit: "share", Default: same(0.001),
			What: "Share of the set's surface on mirrored charts that no plain one lies under. More than this only warns.", Origin: spec.CommonPractice},
		{Key: "text_nodes", Kind: spec.Option, List: true, Pattern: true, DefaultList: []string{"*text*", "*label*", "*sign", "*sign_*", "*lettering*"},
			What: "Name patterns of nodes that carry text, which must never be mirrored.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh,
	NotForSet: map[spec.SetKind]string{
		spec.Tiling: "A tiling map is mirrored freely: what repeats has no side.",
		spec.Trim:   "A trim sheet is mirrored freely along its strips.",
	},
	Metrics: []string{"area_share", "alone_share", "text_share"},
}

func uvFlipped(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	l, none := layoutFor(s, t.Set)
	if l == nil {
		return none
	}
	area := l.m2()
	if !(area > 0) {
		return unable("uv.texel_density.no_area")
	}
	plain := make([]bool, len(l.stack)) // by first of a stack: a chart that is not mirrored lies there
	for c, first := range l.stack {
		// V points down in glTF, so a chart seen from outside winds negatively.
		plain[first] = plain[first] || l.charts.Backwards[c]
	}
	text := l.textCharts(s, r.Lists["text_nodes"])
	var all, alone, onText float64
	aloneWorst, textWorst := worst{}, worst{}
	for c, first := range l.stack {
		if l.charts.Backwards[c] {
			continue
		}
		m2 := l.chartM2[c]
		all += m2
		if text[c] {
			onText += m2
			textWorst.add(m2, c)
		} else if !plain[first] {
			alone += m2
			aloneWorst.add(m2, c)
		}
	}
	share := func(m2 float64) float64 { return min(1, m2/area) }
	f := judge(r, map[string]float64{"area_share": share(all), "alone_share": share(alone), "text_share": share(onText)},
		atMost("text_share", "max_text_share"), atMost("alone_share", "max_alone_share").warns())
	f.say("uv.flipped.measured", words.Share(share(all)), words.Share(share(alone)), words.Share(share(onText)))
	if all == 0 {
		f.say("uv.flipped.none")
	}
	if broke(f) {
		firsts := l.firstTriangles()
		for _, e := range append(textWorst.top(), aloneWorst.top()...) {
			p := l.place(firsts[e.at])
			p.note(map[bool]string{true: "uv.flipped.text", false: "uv.flipped.alone"}[text[e.at]])
			f.Where = append(f.Where, p)
		}
		f.Where = f.Where[:min(len(f.Where), maxPlaces)]
		switch {
		case onText > 0:
			f.remedy("uv.flipped.turn_text")
		case share(alone) > 0.99:
			f.remedy("uv.flipped.all")
		default:
			f.remedy("uv.flipped.turn")
		}
	}
	return f
}

// textCharts says of each chart whether it is read as text or a sign: in a decal atlas, on a decal, or on a node whose
// name says so.
func (l *uvLayout) textCharts(s *Subject, patterns []string) []bool {
	out := make([]bool, l.charts.Charts)
	tokens := s.Spec.Tokens()
	tokens.Fold = true
	names, err := spec.CompilePatterns(patterns, tokens)
	if err != nil {
		names = nil // the spec's reader has refused it already
	}
	parts := partsByDraw(s)
	for _, r := range l.sf.Of {
		p := parts[keyOf(r)]
		if l.set.Def.Kind == spec.DecalAtlas || p != nil && p.Def.Kind == spec.Decal || namesText(r, names) {
			for _, c := range l.charts.Chart[r.First:r.End] {
				if c >= 0 {
					out[c] = true
				}
			}
		}
	}
	return out
}

func namesText(r mesh.Range, names spec.Patterns) bool {
	return r.Scene != nil && len(names) > 0 && names.Fits(r.Scene.Nodes[r.Draw.Node].Name)
}
