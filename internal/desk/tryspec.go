package desk

import (
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// tried is one past delivery with how it would have fared.
type tried struct {
	File string `json:"file"`
	acceptance.Trial
}

// TrySpec is the command `worker tryspec`.
func TrySpec(s Streams, args []string) int {
	l := s.Said(args)
	f := flag.NewFlagSet("tryspec", flag.ContinueOnError)
	specPath := f.String("spec", "", l.Say("desk.flag_draft"))
	asJSON := f.Bool("json", false, l.Say("desk.flag_trials_json"))
	language := f.String("language", "", l.Say("desk.flag_language"))
	f.Usage = func() { fmt.Fprintln(s.Out, l.Say("desk.usage_tryspec")); f.PrintDefaults() }
	rest, code, done := ParseFlags(s, f, args)
	if done {
		return code
	}
	if _, ok := words.In(*language); *language != "" && !ok {
		return wrongCall(s, l, f, "desk.speaks_not", words.Name(*language))
	}
	if *specPath == "" || len(rest) == 0 {
		return wrongCall(s, l, f, "desk.tryspec_takes")
	}
	_, draft, err := readSpec(l, *specPath, "")
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	names, past, err := pastEvidence(l, rest)
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	trials, err := acceptance.WhatIf(draft, past)
	if err != nil {
		fmt.Fprintf(s.Err, "worker tryspec: %v\n", err)
		return ExitNotEvaluated
	}
	list := make([]tried, len(trials))
	code = ExitPass
	for i, t := range trials {
		list[i] = tried{names[i], t}
		if t.After == "" {
			code = ExitNotEvaluated
		}
	}
	if *asJSON {
		err = json.NewEncoder(s.Out).Encode(list)
	} else {
		err = tellTrials(s.Out, l, draft, list)
	}
	if err != nil {
		fmt.Fprintf(s.Err, "worker tryspec: %v\n", err)
		return ExitNotEvaluated
	}
	return code
}

// pastEvidence reads the named files, and those named evidence.json under the named folders, in the order of their paths.
func pastEvidence(l *words.Language, args []string) (names []string, past []*acceptance.Evidence, err error) {
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil {
			return nil, nil, err
		}
		if !info.IsDir() {
			names = append(names, arg)
			continue
		}
		err = filepath.WalkDir(arg, func(path string, d fs.DirEntry, err error) error {
			if err == nil && d.Type().IsRegular() && d.Name() == evidenceName {
				names = append(names, path)
			}
			return err
		})
		if err != nil {
			return nil, nil, err
		}
	}
	slices.Sort(names)
	names = slices.Compact(names)
	for _, name := range names {
		data, err := os.ReadFile(name)
		if err != nil {
			return nil, nil, err
		}
		e := &acceptance.Evidence{}
		if err := json.Unmarshal(data, e); err != nil || !strings.HasPrefix(e.Schema, "proofhouse/evidence/") {
			return nil, nil, errors.New(l.Say("desk.evidence_not", words.Name(name)))
		}
		past = append(past, e)
	}
	if len(past) == 0 {
		return nil, nil, errors.New(l.Say("desk.evidence_none"))
	}
	return names, past, nil
}

// tellTrials prints one line for each delivery and, under it, what would change and what cannot be told.
func tellTrials(w io.Writer, l *words.Language, draft *spec.Spec, list []tried) error {
	p := &lines{w: w}
	var fails, passes, open int
	for _, t := range list {
		after := string(t.After)
		switch {
		case t.NewlyFails():
			fails++
			after += "  " + l.Say("desk.trial_fails")
		case t.NewlyPasses():
			passes++
			after += "  " + l.Say("desk.trial_passes")
		case t.After == "":
			open++
			after = l.Say("desk.trial_open")
		case len(t.Changes)+len(t.Again) == 0:
			after += "  " + l.Say("desk.trial_same")
		}
		p.line("%s  %s, %s: %s -> %s", t.File, t.Prop, t.Milestone, t.Before, after)
		if t.LimitsOnly {
			p.line("    %s", l.Say("desk.trial_limits_only"))
		}
		if t.OtherEngine {
			p.line("    %s", l.Say("desk.trial_other_engine"))
		}
		for _, c := range t.Changes {
			p.line("    %s: %s -> %s%s", ofWords(c.TrialOf), c.Before, c.After, marginWords(l, c.Margin))
		}
		for _, a := range againLines(l, t.Again) {
			p.line("    %s", l.Say("desk.trial_again", words.Name(a)))
		}
		if m := t.Closest; m != nil && len(t.Changes) == 0 {
			p.line("    %s", l.Say("desk.trial_closest", words.Name(ofWords(m.TrialOf)+marginWords(l, m))))
		}
	}
	p.line("\n%s", l.Say("desk.trial_sum", words.Name(draft.Prop), words.Count(len(list)), words.Count(fails), words.Count(passes), words.Count(open)))
	return p.err
}

// lines prints line by line and keeps the first error.
type lines struct {
	w   io.Writer
	err error
}

func (l *lines) line(format string, args ...any) {
	if l.err == nil {
		_, l.err = fmt.Fprintf(l.w, format+"\n", args...)
	}
}

func ofWords(of acceptance.TrialOf) string {
	text := of.Check
	for _, w := range []string{of.Part, of.Set, of.File} {
		if w != "" {
			text += " " + w
		}
	}
	if of.LOD != nil {
		text += fmt.Sprintf(" LOD %d", *of.LOD)
	}
	return text
}

// marginWords says how far a value is from its limit. A limit of 0 has no share that is left.
func marginWords(l *words.Language, m *acceptance.TrialMargin) string {
	if m == nil {
		return ""
	}
	metric, value, limit := words.Name(m.Metric), words.Name(l.Digits(m.Value, 4)), words.Name(l.Digits(m.Limit, 4))
	switch {
	case m.Limit == 0:
		return " (" + l.Say("desk.trial_margin", metric, value, limit) + ")"
	case m.Room < 0:
		return " (" + l.Say("desk.trial_over", metric, value, limit, words.Share(-m.Room)) + ")"
	}
	return " (" + l.Say("desk.trial_spare", metric, value, limit, words.Share(m.Room)) + ")"
}

// againLines says each check that must be measured again once, with why.
func againLines(l *words.Language, list []acceptance.TrialAgain) []string {
	var out []string
	for _, a := range list {
		check := words.Name(a.Check)
		var text string
		switch {
		case a.Key != "":
			text = l.Say("desk.trial_why_key", check, words.Name(a.Key))
		case a.Why == "limit":
			text = l.Say("desk.trial_why_limit", check)
		case a.Why == "options":
			text = l.Say("desk.trial_why_options", check)
		default:
			text = l.Say("desk.trial_why_not_measured", check)
		}
		if !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out
}
