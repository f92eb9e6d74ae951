package acceptance

import (
	"fmt"
	"math"

	"proofhouse/internal/acceptance/mesh"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// mend is what would put a body right: scale by factor, then turn.
type mend struct {
	factor float64
	turn   turn
}

var asIs = mend{factor: 1, turn: noTurn}

func (m mend) nothing() bool { return m.factor == 1 && m.turn == noTurn }

// unitSlips are factors between a file's unit and the metre that its numbers are read in, and how well a size must match
// for the slip to be believed: a factor of 2.54 is near enough to plain wrong sizes that it has to fit closely, the
// others are near nothing else.
var unitSlips = []struct {
	factor float64 // to the true size
	fit    float64
	code   string
}{
	{0.01, 0.15, "scene.slip.cm"},
	{0.001, 0.15, "scene.slip.mm"},
	{0.0254, 0.15, "scene.slip.inch"},
	{100, 0.15, "scene.slip.down_cm"},
	{1000, 0.15, "scene.slip.down_mm"},
	{1 / 0.0254, 0.15, "scene.slip.down_inch"},
	{2.54, 0.03, "scene.slip.inch_as_cm"},
	{1 / 2.54, 0.03, "scene.slip.cm_as_inch"},
}

// sharesMistake is how well a further body must match the mended game mesh to be taken as the same prop: sculpts and
// cages differ from it by floaters and reach, not by half.
const sharesMistake = 0.35

// rootCause looks for one fault that explains many others: a wrong unit, a wrong axis. It returns the headline finding
// and the subject as it would be with that fault mended, or nil and the subject itself. s is not changed.
//
// The game mesh (the sculpt where there is none) is tried against the contracted size under each unit slip and each of
// the 24 turns. Every other body that only fits the mended game mesh after a slip or turn is mended with it. Where the
// game mesh is right, a sculpt or cage that is not is a headline of its own. The sentence names the fault alone: the
// engine adds how many findings follow from it.
func rootCause(s *Subject) (headline *Finding, mended *Subject) {
	return findRootCause(s, s.Spec.Rule(sizeDef.Name, nil, nil), s.Spec.Rule(uprightDef.Name, nil, nil))
}

func findRootCause(s *Subject, sizeRule, uprightRule spec.Rule) (*Finding, *Subject) {
	lo, hi, what, ok := boxOf(s)
	if !ok {
		return nil, s
	}
	game := asIs
	if s.Spec.SizeMM != nil && sizeRule.Mode != spec.NotAppl {
		game = contractMend(lo, hi, s.Spec, sizeRule)
	}
	reference := game.turn.size(scaled([3]float64{hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]}, game.factor))
	plan := planMends(s, game, reference)
	if plan.nothing() {
		return nil, s
	}
	f := headlineOf(s, what, plan, sizeRule, uprightRule)
	return &f, plan.apply(s)
}

// contractMend is what makes a box fit the contracted size: nothing where it fits as it is or nothing helps.
func contractMend(lo, hi [3]float64, sp *spec.Spec, sizeRule spec.Rule) mend {
	want := *sp.SizeMM
	slack := sizeSlack(want, sizeRule)
	size := [3]float64{hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]}
	if within(size, want, slack) {
		return asIs
	}
	if t := bestTurn(lo, hi, 1, sp, slack); t != noTurn {
		return mend{1, t}
	}
	best, bestFit := asIs, math.Inf(1)
	for _, u := range unitSlips {
		m := mend{u.factor, bestTurn(lo, hi, u.factor, sp, slack)}
		fit := misfit(m.turn.size(scaled(size, u.factor)), want)
		if fit <= u.fit && fit < bestFit {
			best, bestFit = m, fit
		}
	}
	return best
}

// mends says what to do with each body.
type mends struct {
	lods                []mend
	sculpt, cage, hulls mend
}

func (p mends) nothing() bool {
	for _, m := range p.lods {
		if !m.nothing() {
			return false
		}
	}
	return p.sculpt.nothing() && p.cage.nothing() && p.hulls.nothing()
}

// planMends decides for every body. reference is the true size of the prop in millimetres as the game mesh tells it.
func planMends(s *Subject, game mend, reference [3]float64) mends {
	var p mends
	for i, b := range s.LODs {
		if i == 0 && bodyThere(b) {
			p.lods = append(p.lods, game)
			continue
		}
		p.lods = append(p.lods, bodyMend(b, game, reference))
	}
	p.sculpt, p.cage = bodyMend(s.Sculpt, game, reference), bodyMend(s.Cage, game, reference)
	p.hulls = bodyMend(s.Hulls, game, reference)
	return p
}

// bodyMend is what makes a further body match the reference size: nothing, what the game mesh needs, or a slip of its own.
func bodyMend(b *Body, game mend, reference [3]float64) mend {
	if !bodyThere(b) {
		return asIs
	}
	lo, hi, ok := boundsOf(&b.Surface, b.Of)
	if !ok {
		return asIs
	}
	size := scaled([3]float64{hi[0] - lo[0], hi[1] - lo[1], hi[2] - lo[2]}, 1000)
	fit := func(m mend) float64 { return misfit(m.turn.size(scaled(size, m.factor)), reference) }
	best, bestFit := asIs, fit(asIs)
	// The game mesh's own mend wins wherever it is no worse: the bodies were exported together.
	if f := fit(game); f <= bestFit+1e-9 {
		best, bestFit = game, f
	}
	if bestFit <= sharesMistake {
		return best
	}
	for _, u := range unitSlips {
		if f := fit(mend{u.factor, noTurn}); f <= u.fit && f < bestFit {
			best, bestFit = mend{u.factor, noTurn}, f
		}
	}
	if bestFit > sharesMistake {
		return asIs
	}
	return best
}

// headlineOf words the fault. It is a finding of scene.size or, where only the axes are wrong, of scene.upright; its
// numbers are those of the body as it was delivered.
func headlineOf(s *Subject, what string, p mends, sizeRule, uprightRule spec.Rule) Finding {
	m, body, surface := p.first(s, what)
	def, rule := sizeDef, sizeRule
	if m.factor == 1 {
		def, rule = uprightDef, uprightRule
	}
	f := judgeWord(rule, true)
	f.Check, f.Why = def.Name, def.Why
	f.Blocks = rule.Mode == spec.Blocks
	f.sayMend(m, body)
	f.Labels = withLabel(f.Labels, "body", body)
	f.Metrics = map[string]float64{"times_too_big": 1 / m.factor, "turn_deg": m.turn.degrees}
	if lo, hi, ok := boundsOf(surface, surface.Of); ok && def.Name == sizeDef.Name {
		for k, axis := range axisNames {
			f.Metrics[axis+"_mm"] = roundMM((hi[k] - lo[k]) * 1000)
		}
	}
	f.Measured = &Value{Value: 1 / m.factor, Unit: "×"}
	if m.factor == 1 {
		f.Measured = &Value{Value: m.turn.degrees, Unit: "deg"}
	}
	return f
}

// first is the first body that needs mending, the game mesh before all others.
func (p mends) first(s *Subject, what string) (mend, string, *mesh.Surface) {
	type candidate struct {
		m    mend
		name string
		body *Body
	}
	var all []candidate
	if len(p.lods) > 0 {
		all = append(all, candidate{p.lods[0], what, s.LODs[0]})
	}
	all = append(all, candidate{p.sculpt, "sculpt", s.Sculpt}, candidate{p.cage, "cage", s.Cage}, candidate{p.hulls, "collision mesh", s.Hulls})
	for i := 1; i < len(p.lods); i++ {
		all = append(all, candidate{p.lods[i], fmt.Sprintf("LOD %d", i), s.LODs[i]})
	}
	for _, c := range all {
		if !c.m.nothing() {
			return c.m, c.name, &c.body.Surface
		}
	}
	return asIs, what, &mesh.Surface{}
}

// sayMend says what is wrong with a body and how to put it right.
func (f *Finding) sayMend(m mend, body string) {
	if m.factor == 1 {
		f.say("scene.wrong_axis", bodyWord(body), m.turn.said())
		f.remedy("scene.export_axes")
		return
	}
	code, times := "scene.too_big", 1/m.factor
	if m.factor > 1 {
		code, times = "scene.too_small", m.factor
	}
	subject := words.Term("everything")
	if body != "game mesh" {
		subject = bodyWord(body)
	}
	for _, u := range unitSlips {
		if u.factor == m.factor {
			f.say(code, subject, words.Num(times), words.Said(u.code))
		}
	}
	if m.turn != noTurn {
		f.also("scene.turned_too", m.turn.said())
	}
	f.remedy("scene.export_metres", words.Num(m.factor))
}

// apply returns a copy of the subject with every surface mended. Topology, UVs and scenes are shared with s.
func (p mends) apply(s *Subject) *Subject {
	out := *s
	game := asIs
	if len(p.lods) > 0 {
		game = p.lods[0]
	}
	out.LODs = nil
	for i, b := range s.LODs {
		out.LODs = append(out.LODs, p.lods[i].body(b))
	}
	out.Sculpt, out.Cage, out.Hulls = p.sculpt.body(s.Sculpt), p.cage.body(s.Cage), p.hulls.body(s.Hulls)
	out.Parts, out.Sets = nil, nil
	for _, q := range s.Parts {
		out.Parts = append(out.Parts, &Part{
			Name: q.Name, Def: q.Def, AreaShare: q.AreaShare, DiagonalMM: q.DiagonalMM * game.factor,
			Game:   game.surface(q.Game, lodBody(s, 0), lodBody(&out, 0)),
			Sculpt: p.sculpt.surface(q.Sculpt, s.Sculpt, out.Sculpt), Floaters: p.sculpt.surface(q.Floaters, s.Sculpt, out.Sculpt),
			Cage: p.cage.surface(q.Cage, s.Cage, out.Cage),
		})
	}
	for _, q := range s.Sets {
		c := *q
		c.Game = game.surface(q.Game, lodBody(s, 0), lodBody(&out, 0))
		out.Sets = append(out.Sets, &c)
	}
	out.mended = s.mended.then(game)
	return &out
}

func (m mend) body(b *Body) *Body {
	if b == nil || m.nothing() {
		return b
	}
	c := *b
	c.Pos, c.Nrm = m.points(b.Pos, m.factor), m.points(b.Nrm, 1)
	return &c
}

// surface mends a surface. Where its vertices are a window into a body's, the same window of the mended body is used:
// a sculpt of many millions of triangles is copied once and not once a part.
func (m mend) surface(sf mesh.Surface, body, mended *Body) mesh.Surface {
	if m.nothing() || len(sf.Pos) == 0 {
		return sf
	}
	if body != nil && len(sf.Of) > 0 {
		for _, r := range body.Of {
			first, end := 3*r.VFirst, 3*r.VFirst+len(sf.Pos)
			if keyOf(r) == keyOf(sf.Of[0]) && end <= len(body.Pos) && first < end && &body.Pos[first] == &sf.Pos[0] && len(body.Nrm) == len(body.Pos) {
				sf.Pos, sf.Nrm = mended.Pos[first:end:end], mended.Nrm[first:end:end]
				return sf
			}
		}
	}
	sf.Pos, sf.Nrm = m.points(sf.Pos, m.factor), m.points(sf.Nrm, 1)
	return sf
}

// points returns vectors of three scaled and turned.
func (m mend) points(v []float32, factor float64) []float32 {
	out := make([]float32, len(v))
	for i := 0; i+2 < len(v); i += 3 {
		p := m.turn.apply([3]float64{float64(v[i]), float64(v[i+1]), float64(v[i+2])})
		out[i], out[i+1], out[i+2] = float32(p[0]*factor), float32(p[1]*factor), float32(p[2]*factor)
	}
	return out
}
