package acceptance

import (
	"math"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

// Trial is how one past delivery would have fared under a draft of a spec, told from its evidence alone: nothing is
// measured again. Where a changed limit steers the measurement itself, or the draft sees the prop differently, the
// evidence cannot tell, and the trial says so.
type Trial struct {
	Prop      string         `json:"prop"`
	Milestone spec.Milestone `json:"milestone"`
	Before    Verdict        `json:"before"`
	After     Verdict        `json:"after,omitempty"` // empty: it must be measured again
	Changes   []TrialChange  `json:"changes,omitempty"`
	Again     []TrialAgain   `json:"again,omitempty"`
	Closest   *TrialMargin   `json:"closest,omitempty"` // the blocking limit that is kept by the least, or broken by the most

	// LimitsOnly says that the draft is of another prop or sees the prop differently (parts, sets, view, conventions), so
	// that its limits alone were tried on what was measured.
	LimitsOnly bool `json:"limits_only,omitempty"`
	// OtherEngine says that another version of the engine made the evidence: checks that it lacked are not tried.
	OtherEngine bool `json:"other_engine,omitempty"`
}

// TrialChange is one finding that would come out differently.
type TrialChange struct {
	TrialOf
	Before  Outcome      `json:"before"`
	After   Outcome      `json:"after"`
	Blocked bool         `json:"blocked"` // whether it counted for the verdict
	Blocks  bool         `json:"blocks"`  // whether it would
	Margin  *TrialMargin `json:"margin,omitempty"`
}

// TrialAgain is one finding that the evidence cannot tell.
type TrialAgain struct {
	TrialOf
	Why string `json:"why"` // "limit", "options", "not measured"
	Key string `json:"key,omitempty"`
}

// TrialOf names the finding.
type TrialOf struct {
	Check string `json:"check"`
	Part  string `json:"part,omitempty"`
	Set   string `json:"set,omitempty"`
	LOD   *int   `json:"lod,omitempty"`
	File  string `json:"file,omitempty"`
}

// TrialMargin is how far a value is from a limit of the draft: the room that is left as a share of the limit, below zero
// where it is broken.
type TrialMargin struct {
	TrialOf
	Metric string  `json:"metric"`
	Value  float64 `json:"value"`
	Limit  float64 `json:"limit"`
	Room   float64 `json:"room"`
}

// NewlyFails says that the delivery passed and would not any more.
func (t Trial) NewlyFails() bool { return t.Before == VerdictPass && t.After == VerdictFail }

// NewlyPasses says that the delivery failed and would pass.
func (t Trial) NewlyPasses() bool { return t.Before == VerdictFail && t.After == VerdictPass }

// WhatIf tries a draft of a spec on the evidence of past deliveries, in their order.
func WhatIf(draft *spec.Spec, past []*Evidence) ([]Trial, error) {
	setting, err := draft.SettingDigest()
	if err != nil {
		return nil, err
	}
	out := make([]Trial, len(past))
	for i, e := range past {
		out[i] = try(draft.At(e.Spec.Milestone), e, e.Spec.Setting != setting)
	}
	return out, nil
}

func try(draft *spec.Spec, e *Evidence, limitsOnly bool) Trial {
	t := Trial{Prop: e.Spec.Prop, Milestone: e.Spec.Milestone, Before: e.Verdict, LimitsOnly: limitsOnly, OtherEngine: e.Engine.Commit != EngineNow().Commit}
	var after []Finding
	open := false                         // whether a finding that would count cannot be told
	same := draft.Digest == e.Spec.Digest // nothing in force is otherwise than it was
	diagonals, pixelMM := diagonalsOf(e), draft.View.PixelMM()
	for _, f := range e.Findings {
		rule, known := draftRule(draft, f)
		if !known {
			after = append(after, f)
			continue
		}
		rule = withMillimetres(rule, f, diagonals[f.Part], pixelMM)
		g := f
		var again *TrialAgain
		if !same {
			rule, g, again = rejudge(rule, f)
		}
		if again != nil {
			again.TrialOf = trialOf(f)
			t.Again = append(t.Again, *again)
			open = open || rule.Mode == spec.Blocks || isHeadline(f)
			continue
		}
		after = append(after, g)
		m := closest(rule, g)
		if m != nil {
			m.TrialOf = trialOf(f)
			if g.Blocks && (t.Closest == nil || m.Room < t.Closest.Room) {
				t.Closest = m
			}
		}
		if g.Outcome != f.Outcome || g.Blocks != f.Blocks && f.Outcome != Pass {
			t.Changes = append(t.Changes, TrialChange{TrialOf: trialOf(f), Before: f.Outcome, After: g.Outcome,
				Blocked: f.Blocks, Blocks: g.Blocks, Margin: m})
		}
	}
	if t.After = verdictOf(after); open && t.After != VerdictFail {
		t.After = ""
	}
	return t
}

func trialOf(f Finding) TrialOf { return TrialOf{f.Check, f.Part, f.Set, f.LOD, f.File} }

// draftRule is the draft's rule for what a finding is about. known is false for a check that the engine no longer has.
func draftRule(draft *spec.Spec, f Finding) (r spec.Rule, known bool) {
	if !slices.ContainsFunc(draft.Catalogue(), func(c spec.Check) bool { return c.Name == f.Check }) {
		return r, false
	}
	var set *spec.Set
	if i := slices.IndexFunc(draft.Sets, func(s spec.Set) bool { return s.Name == f.Set }); f.Set != "" && i >= 0 {
		set = &draft.Sets[i]
	}
	return draft.Rule(f.Check, draftPart(draft, f.Part), set), true
}

// draftPart is a part of the draft by the name that a finding gives it: the spec's own, or one with what name suffixes
// said of it behind.
func draftPart(draft *spec.Spec, name string) *spec.Part {
	if name == "" {
		return nil
	}
	said := spec.Part{Name: name}
	for base := name; ; {
		if i := slices.IndexFunc(draft.Parts, func(p spec.Part) bool { return p.Name == base }); i >= 0 {
			said.Rules = draft.Parts[i].Rules
			if said.Kind == "" {
				said.Kind = draft.Parts[i].Kind
			}
			return &said
		}
		i := slices.IndexFunc(draft.Annotations, func(a spec.Annotation) bool { return strings.HasSuffix(base, a.Suffix) && a.Suffix != "" })
		if i < 0 {
			return &said
		}
		if said.Kind == "" {
			said.Kind = draft.Annotations[i].Keys.Kind
		}
		base = strings.TrimSuffix(base, draft.Annotations[i].Suffix)
	}
}

// rejudge judges a finding's numbers by another rule, or says why that cannot be done. It returns the rule with the limits
// that the check makes out of others.
func rejudge(r spec.Rule, f Finding) (spec.Rule, Finding, *TrialAgain) {
	g := f
	switch {
	case r.Mode == spec.NotAppl:
		g.Outcome, g.Blocks = NotApplicable, false
		return r, g, nil
	case f.Outcome == NotApplicable && f.Labels["by"] == bySpec:
		return r, f, &TrialAgain{Why: "not measured"}
	case f.Outcome == NotApplicable:
		return r, f, nil
	case f.Outcome == NotEvaluated:
		g.Blocks = r.Mode == spec.Blocks
		return r, g, nil
	case settingsOf(r) != f.Settings:
		return r, f, &TrialAgain{Why: "options"}
	}
	changed := changedLimits(r, f)
	if len(changed) == 0 && r.Mode == f.Mode {
		return r, f, nil
	}
	if isHeadline(f) {
		return r, f, &TrialAgain{Why: "limit"} // a headline stops for what it explains, too, which was measured as if mended
	}
	if was := outcomeBy(f, f.Mode, func(key string) (float64, bool) { v, on := f.Limit[key]; return v, on }); was != f.Outcome {
		return r, f, &TrialAgain{Why: "limit"} // the check decides by more than its limits
	}
	if derive := derivedLimits[f.Check]; derive != nil && len(changed) > 0 {
		r, changed = derive(r, f, changed)
	}
	for _, key := range changed {
		held := slices.ContainsFunc(f.Bounds, func(b Bound) bool { _, have := f.Metrics[b.Metric]; return b.Limit == key && have })
		if !held || slices.Contains(steering[f.Check], key) {
			return r, f, &TrialAgain{Why: "limit", Key: key}
		}
	}
	g.Outcome = outcomeBy(f, r.Mode, func(key string) (float64, bool) { return limitNow(r, f, key) })
	g.Blocks = r.Mode == spec.Blocks && g.Outcome != Warn
	return r, g, nil
}

// isHeadline says whether a finding is the one fault that explains others: it alone names the body that it is of.
func isHeadline(f Finding) bool { return f.Labels["body"] != "" }

// outcomeBy judges a finding's numbers, as judge does, or its yes or no where it has none.
func outcomeBy(f Finding, mode spec.Mode, limitOf func(key string) (float64, bool)) Outcome {
	broken, hard := false, false
	if len(f.Bounds) == 0 {
		broken = f.Outcome != Pass || f.Labels["limit"] != ""
		hard = broken
	}
	for _, b := range f.Bounds {
		limit, on := limitOf(b.Limit)
		if v, have := f.Metrics[b.Metric]; on && have && !(bound{kind: b.Kind}).holds(v, limit) {
			broken, hard = true, hard || !b.Soft
		}
	}
	if !broken {
		return Pass
	}
	return brokenOutcome(mode, !hard)
}

// limitNow is a limit of the draft, or one that the check made out of others and that did not change.
func limitNow(r spec.Rule, f Finding, key string) (float64, bool) {
	if v, on := r.Num(key); on {
		return v, true
	}
	if isOwnLimit(f.Check, key) {
		return 0, false // it is off
	}
	v, on := f.Limit[key]
	return v, on
}

// isOwnLimit says whether a key is one of the check's own limits, and not one that was made out of others.
func isOwnLimit(check, key string) bool {
	for _, l := range ownLimits()[check] {
		if l.Key == key {
			return true
		}
	}
	return false
}

// changedLimits are the numeric limits of the check that the draft sets otherwise than they were.
func changedLimits(r spec.Rule, f Finding) []string {
	if f.Limit == nil && len(f.Bounds) == 0 {
		return nil
	}
	var out []string
	for _, l := range ownLimits()[f.Check] {
		if l.List || l.Kind == spec.Option {
			continue
		}
		now, on := r.Num(l.Key)
		was, wasOn := f.Limit[l.Key]
		if on != wasOn || on && now != was {
			out = append(out, l.Key)
		}
	}
	return out
}

// closest is the bound that a finding keeps by the least or breaks by the most.
func closest(r spec.Rule, f Finding) *TrialMargin {
	var out *TrialMargin
	for _, b := range f.Bounds {
		limit, on := limitNow(r, f, b.Limit)
		v, have := f.Metrics[b.Metric]
		if !on || !have || b.Soft {
			continue
		}
		room := limit - v
		if b.Kind == spec.AtLeast {
			room = v - limit
		}
		if size := math.Abs(limit); size > 0 {
			room /= size
		}
		if out == nil || room < out.Room {
			out = &TrialMargin{Metric: b.Metric, Value: v, Limit: limit, Room: room}
		}
	}
	return out
}
