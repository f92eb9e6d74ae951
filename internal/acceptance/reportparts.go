package acceptance

import (
	"strconv"
	"strings"

	"proofhouse/internal/acceptance/words"
)

// Section is a part of a report: findings that matter alike.
type Section struct {
	Code     string // of its title in the message catalogue
	Findings []Finding
}

// sections in the order in which they matter.
var sections = []struct {
	code  string
	holds func(f Finding) bool
}{
	{"report.issues", func(f Finding) bool { return f.Outcome == Fail && f.Blocks }},
	{"report.not_evaluated", func(f Finding) bool { return f.Outcome == NotEvaluated && f.Blocks }},
	{"report.warnings", func(f Finding) bool { return f.Outcome == Warn || f.Outcome == Fail && !f.Blocks }},
	{"report.not_evaluated_soft", func(f Finding) bool { return f.Outcome == NotEvaluated && !f.Blocks }},
	{"report.reported_only", func(f Finding) bool { return f.Outcome == Pass && f.Labels["limit"] != "" }},
	{"report.since", func(f Finding) bool { return f.Outcome == Pass && f.Labels["limit"] == "" && tellsOfBefore(f) }},
}

// Sections sorts what is not in order into the parts of a report, in the order in which they matter. What follows from a
// headline is left to it (Followers), and empty parts are left out.
func Sections(e *Evidence) []Section {
	var out []Section
	for _, s := range sections {
		part := Section{Code: s.code}
		for _, f := range e.Findings {
			if s.holds(f) && f.FollowsFrom == "" {
				part.Findings = append(part.Findings, f)
			}
		}
		if part.Findings != nil {
			out = append(out, part)
		}
	}
	return out
}

// Followers are the findings that a headline explains, each named once.
func Followers(l *words.Language, findings []Finding, cause Finding) []string {
	var out []string
	for _, f := range findings {
		if f.FollowsFrom != cause.Check || cause.FollowsFrom != "" {
			continue
		}
		name := f.Check
		if target := TargetWords(l, f); target != "" {
			name += " (" + target + ")"
		}
		if !contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// Counted is how many findings are in order, and which checks do not apply.
type Counted struct {
	Clear         int
	Following     int // in order once the headline is put right
	Unrun         int // not evaluated until the headline is put right
	NotApplicable []string
}

// Tally counts what no section of a report names.
func Tally(findings []Finding) Counted {
	var c Counted
	for _, f := range findings {
		switch {
		case f.FollowsFrom != "" && f.Outcome == NotEvaluated:
			c.Unrun++
		case f.FollowsFrom != "":
			c.Following++
		case f.Outcome == Pass && f.Labels["limit"] == "" && !tellsOfBefore(f):
			c.Clear++
		case f.Outcome == NotApplicable && !contains(c.NotApplicable, f.Check):
			c.NotApplicable = append(c.NotApplicable, f.Check)
		}
	}
	return c
}

// TargetWords say what a finding is about.
func TargetWords(l *words.Language, f Finding) string {
	var list []string
	add := func(code string, a words.Arg) { list = append(list, l.Say(code, a)) }
	if f.File != "" {
		add(words.Literal, words.Name(f.File))
	}
	if f.Part != "" {
		add("report.part", words.Name(f.Part))
	}
	if f.Set != "" {
		add("report.set", words.Name(f.Set))
	}
	if f.LOD != nil {
		add("report.lod", words.Count(*f.LOD))
	}
	if f.Tile != nil {
		add("report.tile", words.Count(*f.Tile))
	}
	if f.Pose != "" {
		add("report.pose", words.Name(f.Pose))
	}
	return strings.Join(list, ", ")
}

// NumberWords writes a number with up to four digits and its unit.
func NumberWords(l *words.Language, v float64, unit string) string {
	switch unit {
	case "share":
		return l.Digits(v*100, 4) + " %"
	case "count":
		return l.Digits(v, 17)
	case "bytes":
		return l.Digits(v, 17) + " bytes"
	case "deg":
		return l.Digits(v, 4) + "°"
	case "":
		return l.Digits(v, 4)
	}
	return l.Digits(v, 4) + " " + unit
}

// PlaceWords say where a place is, what was measured there and what is to be said of it.
func PlaceWords(l *words.Language, p Place) string {
	var list []string
	add := func(s string) { list = append(list, s) }
	if p.Node != "" {
		add(l.Say("report.node", words.Name(p.Node)))
	}
	if p.Side != "" {
		add(l.Say(words.Literal, words.Term(p.Side)))
	}
	if p.PointMM != nil {
		add(l.Say("report.at", words.Name(l.List(l.Fixed(p.PointMM[0], 1), l.Fixed(p.PointMM[1], 1), l.Fixed(p.PointMM[2], 1)))))
	}
	if p.UV != nil {
		add("UV " + l.List(l.Fixed(p.UV[0], 4), l.Fixed(p.UV[1], 4)))
	}
	if len(p.Triangles) > 0 {
		shown := make([]string, min(len(p.Triangles), 5))
		for i := range shown {
			shown[i] = strconv.Itoa(p.Triangles[i])
		}
		add(l.Say("report.triangles", words.Names(shown...)))
	}
	if p.Pointer != "" {
		add(l.Say(words.Literal, words.Name(p.Pointer)))
	}
	if p.Offset != nil {
		add(l.Say("report.byte", words.Count(*p.Offset)))
	}
	if p.Value != nil {
		add(NumberWords(l, p.Value.Value, p.Value.Unit))
	}
	if p.Note != "" {
		add(p.Note)
	}
	return strings.Join(list, ", ")
}
