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
)

const trySpecUsage = `Try a draft of a spec on past deliveries, from their evidence alone: who would newly fail, who would newly pass, and by how
much. Nothing is measured again; where a change needs that, it says so.

  worker tryspec --spec draft.yaml EVIDENCE.json|FOLDER…

A FOLDER is searched for files named evidence.json.

Exit: 0 when every delivery could be told, 3 when some must be measured again, 2 called wrongly.
`

// tried is one past delivery with how it would have fared.
type tried struct {
	File string `json:"file"`
	acceptance.Trial
}

// TrySpec is the command `worker tryspec`.
func TrySpec(s Streams, args []string) int {
	f := flag.NewFlagSet("tryspec", flag.ContinueOnError)
	specPath := f.String("spec", "", "the `file` of the draft, YAML or JSON")
	asJSON := f.Bool("json", false, "print the trials as JSON")
	f.Usage = func() { fmt.Fprintf(s.Out, "%s\n", trySpecUsage); f.PrintDefaults() }
	l := s.Said(args)
	rest, code, done := ParseFlags(s, f, args)
	if done {
		return code
	}
	if *specPath == "" || len(rest) == 0 {
		return wrongCall(s, l, f, "desk.tryspec_takes")
	}
	_, draft, err := readSpec(l, *specPath, "")
	if err != nil {
		return wrongly(s, l, f, err.Error())
	}
	names, past, err := pastEvidence(rest)
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
		err = tellTrials(s.Out, draft, list)
	}
	if err != nil {
		fmt.Fprintf(s.Err, "worker tryspec: %v\n", err)
		return ExitNotEvaluated
	}
	return code
}

// pastEvidence reads the named files, and those named evidence.json under the named folders, in the order of their paths.
func pastEvidence(args []string) (names []string, past []*acceptance.Evidence, err error) {
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
			if err == nil && d.Type().IsRegular() && d.Name() == "evidence.json" {
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
			return nil, nil, fmt.Errorf("%s is no evidence of an inspection", name)
		}
		past = append(past, e)
	}
	if len(past) == 0 {
		return nil, nil, errors.New("there is no evidence.json under what was named")
	}
	return names, past, nil
}

// tellTrials prints one line for each delivery and, under it, what would change and what cannot be told.
func tellTrials(w io.Writer, draft *spec.Spec, list []tried) error {
	p := &lines{w: w}
	var fails, passes, open int
	for _, t := range list {
		after := string(t.After)
		switch {
		case t.NewlyFails():
			fails++
			after += "  NEWLY FAILS"
		case t.NewlyPasses():
			passes++
			after += "  NEWLY PASSES"
		case t.After == "":
			open++
			after = "must be measured again"
		}
		p.line("%s  %s, %s: %s -> %s", t.File, t.Prop, t.Milestone, t.Before, after)
		if t.LimitsOnly {
			p.line("    the draft is of another prop, or sees parts, sets or the view differently: its limits alone were tried")
		}
		if t.OtherEngine {
			p.line("    another version of the engine measured it: checks that it lacked were not tried")
		}
		for _, c := range t.Changes {
			p.line("    %s: %s -> %s%s", ofWords(c.TrialOf), c.Before, c.After, marginWords(c.Margin))
		}
		for _, a := range againLines(t.Again) {
			p.line("    must be measured again: %s", a)
		}
		if m := t.Closest; m != nil && len(t.Changes) == 0 {
			p.line("    closest limit that counts: %s%s", ofWords(m.TrialOf), marginWords(m))
		}
	}
	p.line("\nDraft of %s on %d deliveries: %d would newly fail, %d would newly pass, %d must be measured again.", draft.Prop, len(list), fails, passes, open)
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
	words := of.Check
	for _, w := range []string{of.Part, of.Set, of.File} {
		if w != "" {
			words += " " + w
		}
	}
	if of.LOD != nil {
		words += fmt.Sprintf(" LOD %d", *of.LOD)
	}
	return words
}

func marginWords(m *acceptance.TrialMargin) string {
	if m == nil {
		return ""
	}
	side := "to spare"
	room := m.Room
	if room < 0 {
		side, room = "over", -room
	}
	if m.Limit == 0 {
		return fmt.Sprintf(" (%s %.4g, limit 0)", m.Metric, m.Value)
	}
	return fmt.Sprintf(" (%s %.4g, limit %.4g: %.1f %% %s)", m.Metric, m.Value, m.Limit, 100*room, side)
}

// againLines says each check that must be measured again once, with why.
func againLines(list []acceptance.TrialAgain) []string {
	var out []string
	for _, a := range list {
		why := map[string]string{"limit": "a limit of it steers what is measured", "options": "an option of it changed", "not measured": "it did not apply then"}[a.Why]
		if a.Key != "" {
			why = a.Key + " steers what is measured"
		}
		if text := a.Check + ": " + why; !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return out
}
