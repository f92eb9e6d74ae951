package spec

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
)

// Rule returns a check's limits as they are in force for a part or set; either may be nil. What is said nearest wins:
// the set's own checks, then the part's, then the spec's, then the parents', then the tier's preset. A kind of part or
// set to which the check does not apply makes it not applicable, unless the part or set itself gives it a mode.
// Before the milestone from which it counts, a rule only reports and CountsFrom says from when on it counts.
func (s *Spec) Rule(check string, part *Part, set *Set) Rule {
	base, known := s.rules[check]
	if !known {
		return Rule{Check: check, Mode: Reports, Numbers: map[string]float64{}}
	}
	r := base.clone()
	said := false // a mode said for this very part or set
	var partSays, setSays Rule
	if part != nil {
		partSays = part.Rules[check]
		said = said || partSays.Mode != ""
		overlay(&r, partSays)
	}
	if set != nil {
		setSays = set.Rules[check]
		said = said || setSays.Mode != ""
		overlay(&r, setSays)
	}
	if r.Mode == NotAppl {
		return r
	}
	if why, origin := s.notForKind(check, part, set); why != "" && !said {
		r.Mode, r.Reason = NotAppl, why
		r.Origins["mode"] = origin
		return r
	}
	if r.From != nil && !slices.Contains(r.From, s.Milestone) {
		r.Mode, r.CountsFrom = Reports, r.From
	}
	return r
}

func (s *Spec) notForKind(check string, part *Part, set *Set) (why, origin string) {
	i := slices.IndexFunc(s.catalogue, func(c Check) bool { return c.Name == check })
	if i < 0 {
		return "", ""
	}
	def := s.catalogue[i]
	if part != nil {
		if why := def.NotForPart[part.Kind]; why != "" {
			return why, fmt.Sprintf("kind %s of part %q, by %s", part.Kind, part.Name, part.By)
		}
	}
	if set != nil {
		if why := def.NotForSet[set.Kind]; why != "" {
			return why, fmt.Sprintf("kind %s of set %q", set.Kind, set.Name)
		}
	}
	return "", ""
}

// Catalogue returns the checks that the spec was resolved against.
func (s *Spec) Catalogue() Catalogue { return s.catalogue }

func (r Rule) clone() Rule {
	r.Numbers, r.Words, r.Lists, r.Origins = maps.Clone(r.Numbers), maps.Clone(r.Words), maps.Clone(r.Lists), maps.Clone(r.Origins)
	return r
}

// preset is what the tier alone says of a check.
func (b *builder) preset(c Check) Rule {
	tier := string(Tiers[b.tier])
	r := Rule{Check: c.Name, Mode: c.Mode[b.tier], From: c.From, Numbers: map[string]float64{}, Words: map[string]string{},
		Lists: map[string][]string{}, Origins: map[string]string{}}
	if r.Mode == "" {
		r.Mode = Warns
	}
	r.Origins["mode"] = "preset " + tier
	r.Origins["from"] = "preset"
	for _, l := range c.Limits {
		origin := "preset " + tier
		if l.Origin != "" {
			origin += " (" + l.Origin + ")"
		}
		v := l.Default[b.tier]
		switch {
		case l.List && (l.DefaultList != nil || !l.Optional):
			r.Lists[l.Key] = slices.Clone(l.DefaultList)
		case l.List:
			continue
		case l.Kind == Option && len(l.Words) > 0:
			r.Words[l.Key] = l.Words[0]
		case l.Kind == Option, l.Optional, math.IsNaN(v) || math.IsInf(v, 0):
			continue // off until a spec sets it
		default:
			r.Numbers[l.Key] = v
		}
		r.Origins[l.Key] = origin
	}
	return r
}

// overlays reads the checks of a part or set.
func (b *builder) overlays(checks *value) map[string]Rule {
	if checks == nil {
		return nil
	}
	out := map[string]Rule{}
	for _, c := range b.c {
		if v := checks.get(c.Name); v != nil {
			out[c.Name] = b.ruleOf(c, v)
		}
	}
	return out
}

// ruleOf reads what one place says of a check. A numeric limit that is turned off is turnedOff in Words.
func (b *builder) ruleOf(c Check, v *value) Rule {
	r := Rule{Check: c.Name, Numbers: map[string]float64{}, Words: map[string]string{}, Lists: map[string][]string{}, Origins: map[string]string{}}
	if v == nil {
		return r
	}
	if m := v.get("mode"); m != nil {
		r.Mode = Mode(m.text)
		r.Origins["mode"] = m.origin
	}
	setText(&r.Reason, v.get("reason"))
	if f := v.get("from"); f != nil {
		r.From = milestones(f)
		r.Origins["from"] = f.origin
	}
	for _, l := range c.Limits {
		lv := v.get(l.Key)
		if lv == nil {
			continue
		}
		r.Origins[l.Key] = lv.origin
		switch {
		case l.List:
			r.Lists[l.Key] = listTexts(lv)
		case l.Kind == Option:
			r.Words[l.Key] = lv.text
		case lv.isNum:
			r.Numbers[l.Key] = lv.num
		default:
			r.Words[l.Key] = turnedOff
		}
	}
	return r
}

// turnedOff stands in an overlay's Words for a numeric limit that is off. No option can hold it: words have no brackets.
const turnedOff = "(off)"

func milestones(v *value) []Milestone {
	if !v.isList {
		return Milestones[slices.Index(Milestones[:], Milestone(v.text)):]
	}
	out := []Milestone{}
	for _, t := range texts(v) {
		out = append(out, Milestone(t))
	}
	return out
}

func listTexts(v *value) []string {
	out := []string{}
	for _, item := range v.items {
		if item.isNum {
			out = append(out, strconv.FormatFloat(item.num, 'g', -1, 64))
			continue
		}
		out = append(out, item.text)
	}
	return out
}

// overlay lays what one place says of a check over another's.
func overlay(r *Rule, over Rule) {
	if over.Mode != "" {
		r.Mode, r.Reason = over.Mode, over.Reason
	}
	if over.From != nil {
		r.From = over.From
	}
	for k, v := range over.Numbers {
		r.Numbers[k] = v
	}
	for k, v := range over.Words {
		if v == turnedOff {
			delete(r.Numbers, k)
			continue
		}
		r.Words[k] = v
	}
	for k, v := range over.Lists {
		r.Lists[k] = v
	}
	for k, v := range over.Origins {
		r.Origins[k] = v
	}
}
