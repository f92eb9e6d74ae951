package acceptance

import (
	"context"
	"math"
	"regexp"
	"strings"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

func lodChecks() []Check {
	return []Check{
		{Def: lodCountDef, Run: lodCount},
		{Def: lodStepsDef, Run: lodSteps},
		{Def: lodSilhouetteDef, Run: lodSilhouette},
	}
}

var fromFinal = []spec.Milestone{spec.Final}

var lodCountDef = spec.Check{
	Name: "lod.count", Scope: spec.PerDelivery, Title: "number of LODs",
	What:   "LODs with triangles, LOD 0 counted.",
	Why:    "A prop without LODs costs as much far away as near by.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "min_lods", Kind: spec.AtLeast, Unit: "count", Default: spec.ByTier{2, 3, 4, 1},
		What: "LODs that the tier asks for; 1 where the engine makes its own.", Origin: spec.CommonPractice}},
	Mode: warnsAll, From: fromFinal, Metrics: []string{"lods"},
}

var lodStepsDef = spec.Check{
	Name: "lod.steps", Scope: spec.PerLOD, Title: "steps between LODs",
	What: "For each further LOD triangles against the LOD before; and against LOD 0 the material slots and their order, " +
		"the pivots of nodes of one name, the bounding box, the texels outside LOD 0's UV islands, and the hard edges. A LOD that is declared a card is held to its place and step alone.",
	Why:    "A LOD that is hardly lighter costs memory for nothing; one with other slots, pivot or islands changes colour, jumps or shows texels that nobody painted.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_step_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.5, 0.5, 0.5, 0.6},
			What: "Triangles of a LOD as a share of the LOD before.", Origin: spec.CommonPractice},
		{Key: "max_slots", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Material slots that are not LOD 0's in its order; slots may be missing at the end.", Origin: spec.CommonPractice},
		{Key: "max_pivot_mm", Kind: spec.AtMost, Unit: "mm", Default: same(0.1), What: "Distance of a node's pivot from that of LOD 0's node of the same name.", Origin: spec.CommonPractice},
		{Key: "max_bounds_px", Kind: spec.AtMost, Unit: "px", Default: spec.ByTier{2, 2, 1.5, 1},
			What: "How far a side of the bounding box may move, in pixels where the LOD takes over; twice that where LODs cross-fade.", Origin: spec.CommonPractice},
		{Key: "max_outside_share", Kind: spec.AtMost, Unit: "share", Default: same(0.01),
			What: "Share of the LOD's texels that lie outside LOD 0's islands and what is filled around them.", Origin: spec.CommonPractice},
		{Key: "bleed_px", Kind: spec.Target, Unit: "px", Default: same(2), What: "How far around an island the map is filled, at ship size.", Origin: spec.CommonPractice},
		{Key: "max_extra_hard_share", Kind: spec.AtMost, Unit: "share", Default: same(0.02),
			What: "Length of hard edges beyond LOD 0's, as a share of all the LOD's edges.", Origin: spec.CommonPractice},
		{Key: "last", Kind: spec.Option, Words: []string{"mesh", "card"}, What: "Whether the last LOD is a card with the prop's picture.", Origin: spec.CommonPractice},
	},
	Mode: warnsAll, From: fromFinal,
	Metrics: []string{"triangles", "step_share", "slots", "pivot_mm", "bounds_mm", "bounds_px", "outside_share", "hard_mm", "extra_hard_share"},
}

func lodSteps(_ context.Context, s *Subject, t Target, r spec.Rule) Finding {
	if t.LOD == 0 {
		return Finding{} // LOD 0 is what the others are held against
	}
	ranges := shipped(s, t.LOD)
	before := trianglesOf(shipped(s, t.LOD-1))
	n := trianglesOf(ranges)
	if before == 0 || n == 0 {
		return unable("lod.steps.no_before", words.Count(t.LOD), words.Count(t.LOD-1))
	}
	m := map[string]float64{"triangles": float64(n), "step_share": float64(n) / float64(before)}
	bounds := []bound{atMost("step_share", "max_step_share")}
	var places []Place
	box, pixel := lodBounds(s, t.LOD), lodPixelMM(s, t.LOD)
	m["bounds_mm"] = box.mm
	if pixel > 0 {
		m["bounds_px"] = box.mm / pixel
		bounds = append(bounds, atMost("bounds_px", "allowed_bounds_px"))
		r = withNumbers(r, allowedOf(r, "max_bounds_px", "allowed_bounds_px", fadeFactor(s)))
	}
	var slot slotFault
	var pivot pivotFault
	var hard hardFault
	var islands islandFault
	card := isCardLOD(s, t.LOD, r)
	if !card {
		slot, pivot, hard = lodSlots(s, t.LOD), lodPivots(s, t.LOD), lodHardEdges(s, t.LOD)
		islands = lodIslands(s, t.LOD, r.Numbers["bleed_px"])
		m["slots"], m["pivot_mm"] = float64(slot.count), pivot.mm
		m["hard_mm"], m["extra_hard_share"] = hard.mm, hard.extraShare
		bounds = append(bounds, atMost("slots", "max_slots"), atMost("pivot_mm", "max_pivot_mm"))
		if islands.texels > 0 {
			m["outside_share"] = float64(islands.outside) / float64(islands.texels)
			bounds = append(bounds, atMost("outside_share", "max_outside_share"))
		}
		bounds = append(bounds, atMost("extra_hard_share", "max_extra_hard_share"))
	}
	f := judge(r, m, bounds...)
	f.say("lod.steps.step", words.Count(t.LOD), words.Count(n), words.Share(m["step_share"]), words.Count(t.LOD-1))
	if card {
		f.Labels = withLabel(f.Labels, "card", "declared: no slots, islands or hard edges are held against it")
		f.also("lod.steps.card")
	}
	over := func(metric, limit string) bool {
		l, on := r.Num(limit)
		return on && m[metric] > l
	}
	if over("step_share", "max_step_share") {
		f.remedy("lod.steps.lighter", words.Count(t.LOD), words.Count(int(math.Floor(r.Numbers["max_step_share"]*float64(before)))))
	}
	more := func(metric, limit string, say, do func(), at []Place) {
		if !over(metric, limit) {
			return
		}
		say()
		do()
		places = append(places, at...)
	}
	more("bounds_px", "allowed_bounds_px", func() { f.also("lod.steps.bounds", words.MM(box.mm), words.Px(m["bounds_px"])) },
		func() { f.alsoRemedy("lod.steps.keep_bounds") }, box.places())
	more("slots", "max_slots", func() { f.also("lod.steps.slots", words.Names(slot.have...), words.Names(slot.want...)) },
		func() { f.alsoRemedy("lod.steps.keep_slots") }, slot.places)
	more("pivot_mm", "max_pivot_mm", func() { f.also("lod.steps.pivot", words.Name(pivot.node), words.MM(pivot.mm)) },
		func() { f.alsoRemedy("lod.steps.keep_pivot") }, pivot.places)
	more("outside_share", "max_outside_share", func() { f.also("lod.steps.outside", words.Share(m["outside_share"])) },
		func() { f.alsoRemedy("lod.steps.keep_islands") }, islands.places)
	more("extra_hard_share", "max_extra_hard_share", func() { f.also("lod.steps.hard", words.MM(hard.mm), words.MM(hard.lod0MM)) },
		func() { f.alsoRemedy("lod.steps.keep_soft") }, hard.places)
	f.Where = places[:min(len(places), maxPlaces)]
	return f
}

func lodCount(_ context.Context, s *Subject, _ Target, r spec.Rule) Finding {
	if len(s.LODs) == 0 {
		return unable("lod.count.no_mesh")
	}
	n := 0
	for i := range s.LODs {
		if trianglesOf(shipped(s, i)) > 0 {
			n++
		}
	}
	f := judge(r, map[string]float64{"lods": float64(n)}, atLeast("lods", "min_lods"))
	f.say("lod.count.there", words.Count(n))
	if broke(f) {
		f.say("lod.count.too_few", words.Count(n), words.Count(int(r.Numbers["min_lods"])))
		f.remedy("lod.count.add")
	}
	return f
}

func trianglesOf(ranges []mesh.Range) int {
	n := 0
	for _, g := range ranges {
		n += g.End - g.First
	}
	return n
}

// allowedOf is a limit that follows from another by a factor; nothing where that one is off.
func allowedOf(r spec.Rule, key, as string, factor float64) map[string]float64 {
	if v, on := r.Num(key); on {
		return map[string]float64{as: v * factor}
	}
	return nil
}

// fadeFactor is 2 where LODs cross-fade: what changes slowly may change more.
func fadeFactor(s *Subject) float64 {
	if s.Spec.Rule(lodSilhouetteDef.Name, nil, nil).Words["transition"] == "cross_fade" {
		return 2
	}
	return 1
}

// lodDistanceM is how far the camera is where a LOD takes over: as the spec says, else twice as far for each LOD.
func lodDistanceM(s *Subject, lod int) float64 {
	list := numbers(s.Spec.Rule(lodSilhouetteDef.Name, nil, nil).Lists["switch_m"])
	if lod <= len(list) && lod > 0 {
		return list[lod-1]
	}
	d := s.Spec.View.DistanceM
	if len(list) > 0 {
		d, lod = list[len(list)-1], lod-len(list)
	}
	return math.Ldexp(d, lod)
}

// lodPixelMM is the size of a pixel there; 0 for a view without a screen.
func lodPixelMM(s *Subject, lod int) float64 {
	v := s.Spec.View
	v.DistanceM = lodDistanceM(s, lod)
	return v.PixelMM()
}

// isCardLOD says whether a LOD was declared a card: the last one by the spec, or one all of whose nodes are named cards.
func isCardLOD(s *Subject, lod int, r spec.Rule) bool {
	if r.Words["last"] == "card" && lod == len(s.LODs)-1 {
		return true
	}
	ranges := shipped(s, lod)
	for _, g := range ranges {
		if !isNamedCard(s, g) {
			return false
		}
	}
	return len(ranges) > 0
}

func isNamedCard(s *Subject, g mesh.Range) bool {
	for _, name := range lineageOf(g.Scene, g.Draw.Node) {
		_, says := readSuffixes(name, s.Spec.Annotations)
		for _, a := range says {
			if a.Who == spec.Free && a.Keys.Kind == spec.Card {
				return true
			}
		}
	}
	return false
}

// lodTail is what tells a node's LOD at the end of its name. Other numbers tell nodes apart.
var lodTail = regexp.MustCompile(`(?i)[._-]?lod[0-9]+$`)

// lodStem is a node's name without what tells its LOD.
func lodStem(name string) string { return strings.ToLower(lodTail.ReplaceAllString(name, "")) }
