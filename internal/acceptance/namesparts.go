package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// leftoverNames are names that nobody chose: a shape or a word for any thing, with the number that editors add, and the
// dotted number of a copy. Shapes that a prop may honestly be made of (a box, a tube) are leftovers only with the number
// set close ("Box001"); a vendor's own numbering ("plank_04", "box_04") fits none.
var leftoverNames = []string{
	`/(?i)(cube|sphere|cylinder|cone|torus)[ ._-]?[0-9]*/`,
	`/(?i)(box|plane|grid|quad|circle|disc|disk|tube|pyramid|capsule|line|curve|spline|path|text|polygon|surface|shape)[ .]?[0-9]+/`,
	`/(?i)(object|mesh|geometry|node|group|default|untitled|unnamed|new|temp|tmp|test)[ ._-]?[0-9]*/`,
	`/(?i)(material|default[ ._-]?material|shader|texture|image|bitmap)[ ._-]?[0-9]*/`,
	`/.*\.[0-9]{3}/`,
	`/(?i).*[ ._-]copy[ ._-]?[0-9]*/`,
}

var nameDefaultDef = spec.Check{
	Name: "names.default", Scope: spec.PerDelivery, Title: "leftover names",
	What:   "Nodes, meshes, materials and images that ship under a name that an editor gave them: from a list in the spec.",
	Why:    "A leftover name says that nobody meant the thing to be found, and two vendors' leftovers collide.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Leftover names.", Origin: spec.CommonPractice},
		{Key: "leftovers", Kind: spec.Option, List: true, Pattern: true, DefaultList: leftoverNames,
			What: "Patterns of names that are leftovers.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromGameMesh, Metrics: []string{"count"},
}

func namesDefault(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	leftovers, err := spec.CompilePatterns(r.Lists["leftovers"], s.Spec.Tokens())
	if err != nil {
		return unable("names.default.bad_pattern", words.Name(err.Error()))
	}
	var left []named
	for _, n := range shippedNames(s) {
		if n.kind != 0 && n.name != "" && leftovers.Fits(n.name) {
			left = append(left, n)
		}
	}
	f := judge(r, map[string]float64{"count": float64(len(left))}, atMost("count", "max_count"))
	f.say("names.default.none")
	if len(left) > 0 {
		n := left[0]
		f.say("names.default.left_over", words.Count(len(left)), n.term(), words.Name(n.name))
		f.Where = namePlaces(left, func(p *Place, n named) { p.note("names.default.which", n.term(), words.Name(n.name)) })
		f.remedy("names.default.rename")
	}
	return f
}

var namePairingDef = spec.Check{
	Name: "names.pairing", Scope: spec.PerDelivery, Title: "parts paired",
	What:   "Parts of the game mesh for which no sculpt is found by the spec's patterns, and sculpt pieces that belong to no part.",
	Why:    "A part without its sculpt bakes flat, or from its neighbour.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0), What: "Parts without a sculpt.", Origin: spec.CommonPractice},
		{Key: "max_sculpt_pieces", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Sculpt pieces that belong to no part; more than that warns.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromSculpt, Metrics: []string{"count", "sculpt_pieces"},
}

func namesPairing(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	var alone []*Part
	wanting := 0
	for _, p := range s.Parts {
		if !wantsSculpt(s, p) {
			continue
		}
		wanting++
		if p.Sculpt.Triangles() == 0 && p.Floaters.Triangles() == 0 {
			alone = append(alone, p)
		}
	}
	switch {
	case wanting == 0:
		return exempt("names.pairing.none_sculpted")
	case !bodyThere(s.Sculpt) && !asksFor(s.Spec, "sculpt"):
		return exempt("surface.no_sculpt_asked")
	case !bodyThere(s.Sculpt):
		return unable("names.pairing.no_sculpt")
	}
	orphans := unpairedSculpt(s)
	f := judge(r, map[string]float64{"count": float64(len(alone)), "sculpt_pieces": float64(len(orphans))},
		atMost("count", "max_count"), atMost("sculpt_pieces", "max_sculpt_pieces").warns())
	f.say("names.pairing.paired", words.Count(wanting))
	switch {
	case len(alone) > 0:
		f.say("names.pairing.alone", words.Count(len(alone)), words.Name(alone[0].Name))
		f.remedy("names.pairing.name_sculpt")
		for _, p := range alone[:min(len(alone), maxPlaces)] {
			pl := Place{}
			pl.note(words.Literal, words.Name(p.Name))
			if len(p.Game.Of) > 0 {
				pl.Node = p.Game.Of[0].NodeName()
			}
			f.Where = append(f.Where, pl)
		}
	case len(orphans) > 0:
		f.say("names.pairing.orphans", words.Count(len(orphans)), words.Name(orphans[0].NodeName()))
		f.remedy("names.pairing.name_pieces")
		for _, g := range orphans[:min(len(orphans), maxPlaces)] {
			f.Where = append(f.Where, Place{Node: g.NodeName(), Pointer: g.Scene.Nodes[g.Draw.Node].Pointer})
		}
	}
	return f
}

// wantsSculpt says whether a part should have a sculpt of its own: not where the spec says that it has none or shares
// one, where nothing of it is drawn, or where all its surface is on sheets that are sculpted apart. Glass, cards and
// decals are painted as often as sculpted: they want a sculpt only where they have one.
func wantsSculpt(s *Subject, p *Part) bool {
	if notShipped(p.Def.Kind) || p.Game.Triangles() == 0 {
		return false
	}
	if len(p.Def.Sculpt) == 1 && (p.Def.Sculpt[0] == "none" || p.Def.Sculpt[0] == "shared") {
		return false
	}
	switch p.Def.Kind {
	case spec.Glass, spec.Card, spec.Decal:
		return p.Sculpt.Triangles()+p.Floaters.Triangles() > 0
	}
	sheets := map[drawKey]bool{}
	for _, t := range s.Sets {
		if t.Def.Kind == spec.Tiling || t.Def.Kind == spec.Trim || t.Def.Kind == spec.DecalAtlas {
			for _, r := range t.Game.Of {
				sheets[keyOf(r)] = true
			}
		}
	}
	for _, r := range p.Game.Of {
		if !sheets[keyOf(r)] {
			return true
		}
	}
	return false
}

func asksFor(sp *spec.Spec, role string) bool {
	for _, r := range sp.Requires {
		if r == role {
			return true
		}
	}
	return false
}

// unpairedSculpt lists the draws of the sculpt that no part claims.
func unpairedSculpt(s *Subject) []mesh.Range {
	claimed := map[drawKey]bool{}
	for _, p := range s.Parts {
		for _, r := range p.Sculpt.Of {
			claimed[keyOf(r)] = true
		}
		for _, r := range p.Floaters.Of {
			claimed[keyOf(r)] = true
		}
	}
	var out []mesh.Range
	for _, r := range s.Sculpt.Of {
		if !claimed[keyOf(r)] {
			out = append(out, r)
		}
	}
	return out
}
