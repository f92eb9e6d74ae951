package acceptance

import (
	"fmt"
	"math"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

// exemptions lists what the spec or a name takes out of checks, with the share of the game surface that it covers, in
// the order of parts, sets, checks. An exemption that covers nothing is listed too: it was said.
func exemptions(s *Subject, variants []*variant) []Exempt {
	var out []Exempt
	for i, p := range s.Parts {
		if what := partExemption(p.Def); what != "" {
			out = append(out, Exempt{What: fmt.Sprintf("part %q: %s", p.Name, what), Reason: whoSaid(p.Def, variants[i]), AreaShare: p.AreaShare})
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
		out = append(out, Exempt{What: fmt.Sprintf("set %q: %s", t.Name, t.Def.Kind), Reason: "by the spec", AreaShare: share})
	}
	for i := range out {
		out[i].AreaShare = math.Round(out[i].AreaShare*1e6) / 1e6 // coordinates hold no more
	}
	for _, c := range s.Spec.Catalogue() {
		if r := s.Spec.Rule(c.Name, nil, nil); r.Mode == spec.NotAppl {
			out = append(out, Exempt{What: "check " + c.Name, Reason: r.Reason, AreaShare: 1})
		}
	}
	return out
}

// partExemption says in words what a part is let off, or "".
func partExemption(p spec.Part) string {
	var words []string
	if p.Kind != spec.Solid && p.Kind != spec.Moving {
		words = append(words, string(p.Kind))
	}
	if len(p.Open) > 0 || len(p.OpenAt) > 0 {
		places := append([]string(nil), p.Open...)
		if len(p.OpenAt) > 0 {
			places = append(places, plural(len(p.OpenAt), "plane", "planes"))
		}
		words = append(words, "open at "+strings.Join(places, ", "))
	}
	if len(p.Sculpt) > 0 && p.Sculpt[0] == "none" {
		words = append(words, "no sculpt")
	}
	if p.Density == 0 {
		words = append(words, "any texel density")
	}
	if p.TwoSided != "" && p.TwoSided != "no" {
		words = append(words, "two-sided by "+p.TwoSided)
	}
	return strings.Join(words, "; ")
}

func whoSaid(p spec.Part, v *variant) string {
	if p.By != "name suffix" {
		return "by the spec"
	}
	var suffixes []string
	for _, piece := range append(append([]*piece(nil), v.game...), v.sculpt...) {
		for _, a := range piece.says {
			if !contains(suffixes, a.Suffix) {
				suffixes = append(suffixes, a.Suffix)
			}
		}
	}
	return "by the vendor, name suffix " + strings.Join(suffixes, " ")
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
		out = append(out, Exempt{What: fmt.Sprintf("part %q: asked for by name suffix %s", p.Name, suffix),
			Reason: "not applied: the studio has not confirmed it", AreaShare: share})
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
