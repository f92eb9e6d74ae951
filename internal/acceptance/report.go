package acceptance

import (
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// WriteTable prints an inspection for a terminal or a pipe: one line that sums up, then every issue, what could not be
// checked, warnings, what is exempt, and how much is clear. A finding says first in words what is the matter, then the
// number against its limit, where, why it matters and how to put it right. Nothing is told by colour.
func WriteTable(w io.Writer, e *Evidence) error {
	t := &table{w: w}
	t.line("%s", e.Headline)
	t.line("%s, %s, milestone %s; spec %.12s, engine %s %.12s", e.Spec.Prop, e.Spec.Tier, e.Spec.Milestone, e.Spec.Digest, e.Engine.Version, e.Engine.Commit)
	for _, s := range sections {
		t.section(s, e.Findings)
	}
	t.exempt(e)
	t.clear(e.Findings)
	return t.err
}

// sections of the report in the order in which they matter.
var sections = []struct {
	title string
	holds func(f Finding) bool
}{
	{"ISSUES: these stop the delivery", func(f Finding) bool { return f.Outcome == Fail && f.Blocks }},
	{"NOT EVALUATED: these must run before the delivery can be clear", func(f Finding) bool { return f.Outcome == NotEvaluated && f.Blocks }},
	{"WARNINGS: these do not stop it", func(f Finding) bool {
		return f.Outcome == Warn || f.Outcome == Fail && !f.Blocks
	}},
	{"NOT EVALUATED, does not count yet or only warns", func(f Finding) bool { return f.Outcome == NotEvaluated && !f.Blocks }},
	{"REPORTED ONLY: over a limit that does not count yet", func(f Finding) bool { return f.Outcome == Pass && f.Labels["limit"] != "" }},
}

// width is how many characters a line may have.
const width = 100

type table struct {
	w   io.Writer
	err error
}

func (t *table) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format+"\n", args...)
	}
}

// wrapped prints text under an indent, broken at spaces.
func (t *table) wrapped(first, indent, text string) {
	lead := first
	for text != "" {
		head := text
		if room := width - utf8.RuneCountInString(lead); utf8.RuneCountInString(head) > room {
			runes := []rune(head)
			cutAt := room
			for i := room; i > room/2; i-- {
				if runes[i] == ' ' {
					cutAt = i
					break
				}
			}
			head = string(runes[:cutAt])
		}
		text = strings.TrimLeft(text[len(head):], " ")
		t.line("%s%s", lead, strings.TrimRight(head, " "))
		lead = indent
	}
}

func (t *table) section(s struct {
	title string
	holds func(f Finding) bool
}, findings []Finding) {
	n := 0
	for _, f := range findings {
		if !s.holds(f) || f.FollowsFrom != "" {
			continue
		}
		if n++; n == 1 {
			t.line("\n%s", s.title)
		}
		t.finding(n, f)
		if followers := followersOf(findings, f); len(followers) > 0 {
			t.wrapped("     follows: ", "       ", strings.Join(followers, ", "))
		}
	}
}

// followersOf are the findings that a headline explains, each named once.
func followersOf(findings []Finding, cause Finding) []string {
	var out []string
	for _, f := range findings {
		if f.FollowsFrom != cause.Check || cause.FollowsFrom != "" {
			continue
		}
		name := f.Check
		if target := targetOf(f); target != "" {
			name += " (" + target + ")"
		}
		if !contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

func (t *table) finding(n int, f Finding) {
	head := f.Check
	if target := targetOf(f); target != "" {
		head += " · " + target
	}
	t.line("%3d  %s", n, head)
	t.wrapped("     ", "     ", f.Sentence)
	if f.Measured != nil {
		t.wrapped("     measured: ", "       ", numberWords(f.Measured.Value, f.Measured.Unit)+limitWords(f))
	}
	for i, p := range f.Where {
		if i == 3 {
			t.line("     and %s more in the evidence", plural(len(f.Where)-3, "place", "places"))
			break
		}
		if words := placeWords(p); words != "" {
			t.wrapped("     where: ", "       ", words)
		}
	}
	if f.Why != "" {
		t.wrapped("     why: ", "       ", f.Why)
	}
	if f.Remedy != "" {
		t.wrapped("     do: ", "       ", f.Remedy)
	}
	if from := f.Labels["counts_from"]; from != "" {
		t.line("     counts from the milestone %s on", from)
	}
}

func targetOf(f Finding) string {
	var words []string
	if f.File != "" {
		words = append(words, f.File)
	}
	if f.Part != "" {
		words = append(words, "part "+f.Part)
	}
	if f.Set != "" {
		words = append(words, "set "+f.Set)
	}
	if f.LOD != nil {
		words = append(words, "LOD "+strconv.Itoa(*f.LOD))
	}
	if f.Tile != nil {
		words = append(words, "tile "+strconv.Itoa(*f.Tile))
	}
	if f.Pose != "" {
		words = append(words, "pose "+f.Pose)
	}
	return strings.Join(words, ", ")
}

// numberWords writes a number with up to four digits and its unit.
func numberWords(v float64, unit string) string {
	switch unit {
	case "share":
		return strconv.FormatFloat(v*100, 'g', 4, 64) + " %"
	case "count", "bytes":
		return strconv.FormatFloat(v, 'f', -1, 64) + map[string]string{"count": "", "bytes": " bytes"}[unit]
	case "":
		return strconv.FormatFloat(v, 'g', 4, 64)
	}
	return strconv.FormatFloat(v, 'g', 4, 64) + " " + unit
}

func limitWords(f Finding) string {
	if len(f.Limit) == 0 {
		return ""
	}
	var words []string
	for _, k := range sortedKeys(f.Limit) {
		words = append(words, k+" "+numberWords(f.Limit[k], unitOf(k)))
	}
	return " (limits: " + strings.Join(words, ", ") + ")"
}

func placeWords(p Place) string {
	var words []string
	add := func(format string, args ...any) { words = append(words, fmt.Sprintf(format, args...)) }
	if p.Node != "" {
		add("node %s", p.Node)
	}
	if p.Side != "" {
		add("%s", p.Side)
	}
	if p.PointMM != nil {
		add("at %.1f, %.1f, %.1f mm", p.PointMM[0], p.PointMM[1], p.PointMM[2])
	}
	if p.UV != nil {
		add("UV %.4f, %.4f", p.UV[0], p.UV[1])
	}
	if len(p.Triangles) > 0 {
		shown := p.Triangles[:min(len(p.Triangles), 5)]
		add("triangles %s", strings.Trim(strings.ReplaceAll(fmt.Sprint(shown), " ", ", "), "[]"))
	}
	if p.Pointer != "" {
		add("%s", p.Pointer)
	}
	if p.Offset != nil {
		add("byte %d", *p.Offset)
	}
	if p.Value != nil {
		add("%s", numberWords(p.Value.Value, p.Value.Unit))
	}
	if p.Note != "" {
		add("%s", p.Note)
	}
	return strings.Join(words, ", ")
}

func (t *table) exempt(e *Evidence) {
	if len(e.Exempt) == 0 {
		return
	}
	t.line("\nEXEMPT: not held against the delivery, by word of the spec or of a name")
	for _, x := range e.Exempt {
		t.wrapped("     ", "       ", fmt.Sprintf("%s of the surface: %s (%s)", numberWords(x.AreaShare, "share"), x.What, x.Reason))
	}
}

// clear counts what is in order, and what does not apply, by check.
func (t *table) clear(findings []Finding) {
	var clear, following, unrun int
	var off []string
	for _, f := range findings {
		switch {
		case f.FollowsFrom != "" && f.Outcome == NotEvaluated:
			unrun++
		case f.FollowsFrom != "":
			following++
		case f.Outcome == Pass && f.Labels["limit"] == "":
			clear++
		case f.Outcome == NotApplicable && !contains(off, f.Check):
			off = append(off, f.Check)
		}
	}
	t.line("\nCLEAR: %s", plural(clear, "finding", "findings"))
	if following > 0 {
		t.line("CLEAR once the first issue is put right: %s", plural(following, "finding", "findings"))
	}
	if unrun > 0 {
		t.line("NOT EVALUATED until the first issue is put right: %s", plural(unrun, "finding", "findings"))
	}
	if len(off) > 0 {
		t.wrapped("NOT APPLICABLE: ", "       ", strings.Join(off, ", "))
	}
}
