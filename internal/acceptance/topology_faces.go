package acceptance

import (
	"context"
	"math"
	"slices"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/topo"
	"proofhouse/internal/acceptance/words"
)

var degenerateDef = spec.Check{
	Name: "topology.degenerate", Scope: spec.PerPartAndLOD, Title: "faces without area",
	What:   "Triangles without an area, with a corner used twice, or with a position that is no number. Joints of strips are free.",
	Why:    "A face without area has no direction: its tangents become no numbers, which lights the surface black in some engines and stops bakers.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{{Key: "max_share", Kind: spec.AtMost, Unit: "share", Default: spec.ByTier{0.001, 0, 0, 0},
		What: "Share of the triangles that may be without area.", Origin: spec.CommonPractice}},
	Mode: blocksAll, From: fromGameMesh, Metrics: []string{"count", "share", "repeated", "not_finite"},
}

func topologyDegenerate(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, degenerateDef)
	if !ok {
		return f
	}
	count, repeated, odd := 0, 0, 0
	var places []int
	for i := range x.part {
		if !x.has(i) || x.strip != nil && x.strip[i] && x.State[i] == topo.Repeated {
			continue
		}
		switch {
		case x.State[i] == topo.NotFinite:
			odd++
		case x.State[i] == topo.Repeated:
			repeated++
		case worldArea(corners(x.sf, i)) > 0:
			continue
		}
		count++
		if len(places) < maxPlaces {
			places = append(places, i)
		}
	}
	share := 0.0
	if x.no > 0 {
		share = float64(count) / float64(x.no)
	}
	r = withNumbers(r, map[string]float64{"allowed_count": math.Floor(r.Numbers["max_share"] * float64(x.no))})
	f = judge(r, map[string]float64{"count": float64(count), "share": share, "repeated": float64(repeated), "not_finite": float64(odd)},
		atMost("count", "allowed_count"))
	if count == 0 {
		f.say("topology.degenerate.none")
		return x.close(f)
	}
	f.say("topology.degenerate.found", words.Count(count), words.Share(share), words.Count(repeated), words.Count(odd))
	if broke(f) {
		f.remedy("topology.degenerate.remove")
	}
	for _, i := range places {
		p := x.place(i, 0, "mm²")
		switch x.State[i] {
		case topo.NotFinite:
			p.note("topology.degenerate.not_finite")
		case topo.Repeated:
			p.note("topology.degenerate.repeated")
		}
		f.Where = append(f.Where, p)
	}
	return x.close(f)
}

var duplicateDef = spec.Check{
	Name: "topology.duplicate", Scope: spec.PerPartAndLOD, Title: "faces drawn twice",
	What:   "Triangles over the same three places as another: the same way round, or the other way round where that is not said to be meant. Faces on which two shells touch are only counted.",
	Why:    "Two faces in one place flicker against each other and are paid for twice; on a two-sided material a doubled sheet is drawn four times.",
	Source: spec.CommonPractice,
	Limits: []spec.Limit{
		{Key: "max_drawn_twice", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "Triangles that lie on another the same way round, or the other way round with a two-sided material.", Origin: spec.CommonPractice},
		{Key: "max_count", Kind: spec.AtMost, Unit: "count", Default: same(0),
			What: "All of these and sheets doubled face to face, where the part does not say two_sided: geometry. More only warns.", Origin: spec.CommonPractice},
	},
	Mode: blocksAll, From: fromGameMesh, Metrics: []string{"count", "drawn_twice", "back_to_back", "touching"},
}

func topologyDuplicate(ctx context.Context, s *Subject, t Target, r spec.Rule) Finding {
	x, f, ok := topoFor(ctx, s, t, duplicateDef)
	if !ok {
		return f
	}
	sheets := x.doubledSheets()
	var again, backs, twice, touching int
	var doubled []int32
	for i, twin := range x.Twin {
		if twin < 0 || !x.has(i) {
			continue
		}
		switch {
		case x.State[i] == topo.Again:
			again++
		case !sheets[i]:
			touching++
			continue
		case x.look[i]&twoSided != 0 && x.look[twin]&twoSided != 0:
			twice++
		case x.look[i]&paired != 0 || x.look[twin]&paired != 0:
			continue
		default:
			backs++
		}
		doubled = append(doubled, int32(i))
	}
	f = judge(r, map[string]float64{"count": float64(again + twice + backs), "drawn_twice": float64(again + twice),
		"back_to_back": float64(backs), "touching": float64(touching)},
		atMost("drawn_twice", "max_drawn_twice"), atMost("count", "max_count").warns())
	f.Measured = measured(f.Metrics, "count")
	if again+twice+backs == 0 {
		f.say("topology.duplicate.none")
	} else {
		f.say("topology.duplicate.found", words.Count(again+twice+backs))
	}
	if twice > 0 {
		f.also("topology.duplicate.twice", words.Count(twice))
	}
	if backs > 0 {
		f.also("topology.duplicate.backs", words.Count(backs))
	}
	if touching > 0 {
		f.also("topology.duplicate.touching", words.Count(touching))
	}
	if broke(f) {
		if again+twice > 0 {
			f.remedy("topology.duplicate.remove")
		}
		if backs > 0 {
			f.alsoRemedy("topology.duplicate.say")
		}
	}
	for _, patch := range x.twinPatches(doubled) {
		if len(f.Where) == maxPlaces {
			break
		}
		p := x.patchPlace(patch, float64(len(patch)), "count")
		if other := trianglePlace(x.sf, nil, int(x.Twin[patch[0]])); other.Node != p.Node {
			p.note("topology.duplicate.on", words.Name(other.Node))
		}
		f.Where = append(f.Where, p)
	}
	return x.close(f)
}

// twinPatches groups doubled triangles by the patches of what they lie on: those set aside have no mates of their own.
func (x *topoTarget) twinPatches(doubled []int32) [][]int32 {
	under := map[int32][]int32{}
	var firsts []int32
	for _, t := range doubled {
		if _, known := under[x.Twin[t]]; !known {
			firsts = append(firsts, x.Twin[t])
		}
		under[x.Twin[t]] = append(under[x.Twin[t]], t)
	}
	slices.Sort(firsts)
	var out [][]int32
	for _, patch := range x.patches(firsts) {
		var on []int32
		for _, t := range patch {
			on = append(on, under[t]...)
		}
		out = append(out, on)
	}
	return out
}

// doubledSheets tells, of triangles that lie on another the other way round, those of a sheet made of two sides: around the
// patch that such triangles form there is nothing but the two of them, or one surface that a side too many was laid on. Where
// a face of each goes on from most of the patch's border, two shells touch there face to face.
func (b *topoBody) doubledSheets() []bool {
	n := b.Triangles()
	sheet := make([]bool, n)
	doubled := make([]bool, n)
	any := false
	for t, twin := range b.Twin {
		if twin >= 0 && b.State[t] == topo.Live {
			doubled[t], doubled[twin], any = true, true, true
		}
	}
	if !any {
		return sheet
	}
	// Patches grow over places that doubled triangles share.
	patch := topo.NewUnion(b.Places)
	for t := range n {
		if doubled[t] {
			h := uint32(3 * t)
			patch.Join(b.From(h), b.From(h+1))
			patch.Join(b.From(h), b.From(h+2))
		}
	}
	border, goesOn := make(map[uint32]float64), make(map[uint32]float64)
	for t := range n {
		for k := 0; k < 3 && doubled[t]; k++ {
			h := uint32(3*t + k)
			inside, others := b.aroundEdge(h, doubled)
			if inside > 2 {
				continue
			}
			a, c := b.Ends(h)
			l := math.Sqrt(lenSq(sub(c, a)))
			root := patch.Find(b.From(h))
			border[root] += l
			if others > 1 { // a face of each shell
				goesOn[root] += l
			}
		}
	}
	for t := range n {
		if doubled[t] {
			root := patch.Find(b.From(uint32(3 * t)))
			sheet[t] = goesOn[root] <= border[root]/2
		}
	}
	return sheet
}

// aroundEdge counts the live faces on the edge of h: doubled ones and others.
func (b *topoBody) aroundEdge(h uint32, doubled []bool) (inside, others int) {
	p, q := b.From(h), b.To(h)
	for _, c := range b.CornersAt(p) {
		if b.From(topo.Next(c)) != q && b.From(topo.Next(topo.Next(c))) != q {
			continue
		}
		if doubled[c/3] {
			inside++
		} else {
			others++
		}
	}
	return inside, others
}
