package acceptance

import (
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"proofhouse/internal/acceptance/words"
)

// WriteTable prints an inspection for a terminal or a pipe: one line that sums up, then every issue, what could not be
// checked, warnings, what is exempt, and how much is clear. A finding says first in words what is the matter, then the
// number against its limit, where, why it matters and how to put it right. Nothing is told by colour. e is in the language
// already (In).
func WriteTable(w io.Writer, l *words.Language, e *Evidence) error {
	t := &table{w: w, l: l}
	t.line("%s", e.Headline)
	t.line("%s", l.Say("report.head", words.Name(e.Spec.Prop), words.Name(string(e.Spec.Tier)), words.Name(string(e.Spec.Milestone)),
		words.Name(fmt.Sprintf("%.12s", e.Spec.Digest)), words.Name(fmt.Sprintf("%s %.12s", e.Engine.Version, e.Engine.Commit))))
	for _, s := range Sections(e) {
		t.section(s, e.Findings)
	}
	t.exempt(e)
	t.tally(e.Findings)
	return t.err
}

// width is how many characters a line may have.
const width = 100

type table struct {
	w   io.Writer
	l   *words.Language
	err error
}

func (t *table) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format+"\n", args...)
	}
}

// heading prints a section's title, its first words in capitals: a pipe has no other way to set it apart.
func (t *table) heading(title string) {
	first, rest, ok := strings.Cut(title, ":")
	if !ok {
		first, rest, ok = strings.Cut(title, ",")
		if ok {
			rest = "," + rest
		}
	} else {
		rest = ":" + rest
	}
	t.line("\n%s%s", strings.ToUpper(first), rest)
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

// labelled prints text behind a word of the catalogue.
func (t *table) labelled(code, text string) {
	t.wrapped("     "+t.l.Say(code)+": ", "       ", text)
}

func (t *table) section(s Section, findings []Finding) {
	t.heading(t.l.Say(s.Code))
	for i, f := range s.Findings {
		t.finding(i+1, f)
		if followers := Followers(t.l, findings, f); len(followers) > 0 {
			t.labelled("report.follows", strings.Join(followers, ", "))
		}
	}
}

func (t *table) finding(n int, f Finding) {
	head := f.Check
	if target := TargetWords(t.l, f); target != "" {
		head += " · " + target
	}
	t.line("%3d  %s", n, head)
	t.wrapped("     ", "     ", f.Sentence)
	if f.Measured != nil {
		t.labelled("report.measured", NumberWords(t.l, f.Measured.Value, f.Measured.Unit)+limitWords(t.l, f))
	}
	for i, p := range f.Where {
		if i == 3 {
			t.wrapped("     ", "       ", t.l.Say("report.more_places", words.Count(len(f.Where)-3)))
			break
		}
		if where := PlaceWords(t.l, p); where != "" {
			t.labelled("report.where", where)
		}
	}
	if f.Why != "" {
		t.labelled("report.why", f.Why)
	}
	if f.Remedy != "" {
		t.labelled("report.do", f.Remedy)
	}
	if from := f.Labels["counts_from"]; from != "" {
		t.wrapped("     ", "       ", t.l.Say("report.counts_from", words.Name(from)))
	}
}

func limitWords(l *words.Language, f Finding) string {
	if len(f.Limit) == 0 {
		return ""
	}
	var list []string
	for _, k := range sortedKeys(f.Limit) {
		list = append(list, k+" "+NumberWords(l, f.Limit[k], unitOf(k)))
	}
	return " (" + l.Say("report.limits", words.Name(strings.Join(list, ", "))) + ")"
}

func (t *table) exempt(e *Evidence) {
	if len(e.Exempt) == 0 {
		return
	}
	t.heading(t.l.Say("report.exempt"))
	for _, x := range e.Exempt {
		t.wrapped("     ", "       ", t.l.Say("report.exempt_line", words.Share(x.AreaShare), words.Name(x.What), words.Name(x.Reason)))
	}
}

// tally counts what is in order, and what does not apply, by check.
func (t *table) tally(findings []Finding) {
	c := Tally(findings)
	t.heading(t.l.Say("report.clear", words.Count(c.Clear)))
	if c.Following > 0 {
		t.line("%s", t.l.Say("report.clear_once", words.Count(c.Following)))
	}
	if c.Unrun > 0 {
		t.line("%s", t.l.Say("report.unrun", words.Count(c.Unrun)))
	}
	if len(c.NotApplicable) > 0 {
		t.wrapped("", "       ", t.l.Say("report.not_applicable", words.Names(c.NotApplicable...)))
	}
}
