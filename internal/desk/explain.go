package desk

import (
	"flag"
	"fmt"
	"io"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// Explain is the command `worker explain`.
func Explain(s Streams, args []string) int {
	l := s.Said(args)
	var path, milestone, language string
	f := flag.NewFlagSet("explain", flag.ContinueOnError)
	f.StringVar(&path, "spec", "", l.Say("desk.flag_spec"))
	f.StringVar(&milestone, "milestone", "", l.Say("desk.flag_explain_milestone"))
	f.StringVar(&language, "language", "", l.Say("desk.flag_language"))
	f.Usage = func() { fmt.Fprintln(s.Out, l.Say("desk.usage_explain")); f.PrintDefaults() }
	rest, code, done := ParseFlags(s, f, args)
	switch {
	case done:
		return code
	case len(rest) > 0:
		return wrongCall(s, l, f, "desk.explain_alone")
	case path == "":
		return wrongCall(s, l, f, "desk.say_spec_file")
	case milestone != "" && !isMilestone(milestone):
		return wrongCall(s, l, f, "desk.milestone_none", words.Name(milestone), words.Name(milestoneWords))
	}
	if _, ok := words.In(language); language != "" && !ok {
		return wrongCall(s, l, f, "desk.speaks_not", words.Name(language))
	}
	_, resolved, err := readSpec(l, path, milestone)
	if err != nil {
		fmt.Fprintf(s.Err, "worker explain: %v\n", err)
		return ExitWrongCall
	}
	e := explainer{w: s.Out, b: &reportBuilder{l: l, defs: map[string]spec.Check{}}}
	e.explain(resolved)
	if e.err != nil {
		fmt.Fprintln(s.Err, e.err)
		return ExitNotEvaluated
	}
	return ExitPass
}

// explainer prints a spec for whoever makes the prop. It remembers the first fault of writing.
type explainer struct {
	w   io.Writer
	b   *reportBuilder
	err error
}

func (e *explainer) line(text string) {
	if e.err == nil {
		_, e.err = fmt.Fprintln(e.w, text)
	}
}

func (e *explainer) explain(sp *spec.Spec) {
	l := e.b.l
	e.line(l.Say("desk.explain_digest", words.Name(sp.Digest[:12]), words.Term("stage."+string(sp.Milestone))))
	for _, p := range sp.InPlainWords() {
		e.line("")
		if p.Heading.Code != "" {
			e.line(l.Sentence(p.Heading) + ":")
		}
		if len(p.Sentences) > 0 {
			e.line(l.Text(p.Sentences))
		}
		for _, point := range p.Points {
			e.line("  - " + l.Sentence(point))
		}
	}
	e.line("")
	for _, c := range sp.Catalogue() {
		e.b.defs[c.Name] = c
		e.rule(c, "", sp.Rule(c.Name, nil, nil))
		for i := range sp.Parts {
			if _, own := sp.Parts[i].Rules[c.Name]; own {
				e.rule(c, l.Say("desk.explain_part", words.Name(sp.Parts[i].Name)), sp.Rule(c.Name, &sp.Parts[i], nil))
			}
		}
		for i := range sp.Sets {
			if _, own := sp.Sets[i].Rules[c.Name]; own {
				e.rule(c, l.Say("desk.explain_set", words.Name(sp.Sets[i].Name)), sp.Rule(c.Name, nil, &sp.Sets[i]))
			}
		}
	}
}

// rule prints a check as it counts, of the whole prop or of one part or set.
func (e *explainer) rule(c spec.Check, of string, r spec.Rule) {
	l := e.b.l
	rule := e.b.rule(c, r)
	head := rule.Title + of + " (" + c.Name + "): " + rule.Mode
	if origin := r.Origins["mode"]; origin != "" {
		head += "  <- " + origin
	}
	e.line(head)
	if r.Mode == spec.NotAppl {
		if r.Reason != "" {
			e.line("    " + l.Say("desk.explain_because", words.Name(r.Reason)))
		}
		return
	}
	if len(r.CountsFrom) > 0 {
		e.line("    " + l.Say("desk.explain_from", words.Term("stage."+string(r.CountsFrom[0]))))
	}
	for _, row := range rule.Rows {
		text := fmt.Sprintf("    %-24s %s", row.Key, row.Value)
		if row.Origin != "" {
			text += "  <- " + row.Origin
		}
		e.line(text)
		e.line("      " + strings.TrimSpace(row.What))
	}
}
