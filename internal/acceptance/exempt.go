package acceptance

import (
	"math"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// exemptions lists what the spec or a name takes out of checks, with the share of the game surface that it covers, in
// the order of parts, sets, checks. An exemption that covers nothing is listed too: it was said.
func exemptions(s *Subject, variants []*variant) []Exempt {
	var out []Exempt
	for i, p := range s.Parts {
		if what := partExemption(p.Def); len(what) > 0 {
			out = append(out, exemption(words.P("exempt.part", words.Name(p.Name), words.List(what...)), whoSaid(p.Def, variants[i]), p.AreaShare))
		}
		out = append(out, asked(p, variants[i])...)
	}
	total := 0.0
	if len(s.LODs) > 0 {
		total = areaM2(&s.LODs[0].Surface)
	}
	for _, t := range s.Sets {
		if t.Def.Kind == spec.Baked {
			continue
		}
		share := 0.0
		if total > 0 {
			share = areaM2(&t.Game) / total
		}
		out = append(out, exemption(words.P("exempt.set", words.Name(t.Name), words.Name(string(t.Def.Kind))), words.P("exempt.by_spec"), share))
	}
	for i := range out {
		out[i].AreaShare = math.Round(out[i].AreaShare*1e6) / 1e6 // coordinates hold no more
	}
	for _, c := range s.Spec.Catalogue() {
		if r := s.Spec.Rule(c.Name, nil, nil); r.Mode == spec.NotAppl {
			out = append(out, exemption(words.P("exempt.check", words.Name(c.Name)), words.P(words.Literal, words.Name(r.Reason)), 1))
		}
	}
	return out
}

func exemption(what, reason words.Phrase, share float64) Exempt {
	en := words.English()
	return Exempt{What: en.Sentence(what), Reason: en.Sentence(reason), Says: []words.Phrase{what}, Because: []words.Phrase{reason}, AreaShare: share}
}

// partExemption says what a part is let off.
func partExemption(p spec.Part) []words.Arg {
	var list []words.Arg
	if p.Kind != spec.Solid && p.Kind != spec.Moving {
		list = append(list, words.Name(string(p.Kind)))
	}
	if len(p.Open) > 0 || len(p.OpenAt) > 0 {
		places := words.Names(p.Open...)
		if len(p.OpenAt) > 0 {
			places.Of = append(places.Of, words.Said("exempt.planes", words.Count(len(p.OpenAt))))
		}
		list = append(list, words.Said("exempt.open_at", places))
	}
	if len(p.Sculpt) > 0 && p.Sculpt[0] == "none" {
		list = append(list, words.Said("exempt.no_sculpt"))
	}
	if p.Density == 0 {
		list = append(list, words.Said("exempt.any_density"))
	}
	if p.TwoSided != "" && p.TwoSided != "no" {
		list = append(list, words.Said("exempt.two_sided", words.Name(p.TwoSided)))
	}
	return list
}

func whoSaid(p spec.Part, v *variant) words.Phrase {
	if p.By != "name suffix" {
		return words.P("exempt.by_spec")
	}
	var suffixes []string
	for _, piece := range append(append([]*piece(nil), v.game...), v.sculpt...) {
		for _, a := range piece.says {
			if !contains(suffixes, a.Suffix) {
				suffixes = append(suffixes, a.Suffix)
			}
		}
	}
	return words.P("exempt.by_suffix", words.Names(suffixes...))
}

// asked lists what the vendor asks for by name and the studio has not confirmed: it is not applied.
func asked(p *Part, v *variant) []Exempt {
	area := map[string]float64{}
	var order []string
	for i := range p.Game.Of {
		if i >= len(v.game) {
			break
		}
		for _, a := range v.game[i].asks {
			if !contains(order, a.Suffix) {
				order = append(order, a.Suffix)
			}
			w := window(&p.Game, i, i+1)
			area[a.Suffix] += areaM2(&w)
		}
	}
	whole := areaM2(&p.Game)
	var out []Exempt
	for _, suffix := range order {
		share := 0.0
		if whole > 0 {
			share = p.AreaShare * area[suffix] / whole
		}
		out = append(out, exemption(words.P("exempt.asked", words.Name(p.Name), words.Name(suffix)), words.P("exempt.unconfirmed"), share))
	}
	return out
}

func contains(list []string, s string) bool {
	for _, x := range list {
		if x == s {
			return true
		}
	}
	return false
}
