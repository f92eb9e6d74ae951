package acceptance

import (
	"context"
	"fmt"
	"sort"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// step is one check on one target, in the order of the report.
type step struct {
	check Check
	to    Target
	rule  spec.Rule
	ready *Finding // set where the outcome is known without measuring
}

// plan lists every check on every target it applies to, in the order of the catalogue.
func plan(s *Subject, all []Check) []step {
	var steps []step
	for _, c := range all {
		for _, t := range targets(s, c.Def) {
			st := step{check: c, to: t, rule: ruleFor(s, c.Def.Name, t)}
			if st.rule.Mode == spec.NotAppl {
				f := exempt(words.Literal, reasonOf(c.Def, t, st.rule.Reason))
				f.Labels = withLabel(f.Labels, "by", bySpec)
				st.ready = &f
			} else if why := nothingToMeasure(s, c.Def, t); why.Code != "" {
				f := unable(why.Code, why.Args...)
				st.ready = &f
			}
			steps = append(steps, st)
		}
	}
	return steps
}

func ruleFor(s *Subject, check string, t Target) spec.Rule {
	var part *spec.Part
	var set *spec.Set
	if t.Part != nil {
		part = &t.Part.Def
	}
	if t.Set != nil {
		set = &t.Set.Def
	}
	return s.Spec.Rule(check, part, set)
}

// noLOD marks the empty target of a check that is made for each LOD.
const noLOD = -1

// targets are what a check makes one finding each about. A scope with nothing in it gives one empty target, so that a
// check that had nothing to look at is told as such and not left out.
func targets(s *Subject, def spec.Check) []Target {
	var out []Target
	switch def.Scope {
	case spec.PerFile:
		for _, f := range s.Files {
			out = append(out, Target{File: f})
		}
	case spec.PerLOD:
		for i := range s.LODs {
			out = append(out, Target{LOD: i})
		}
	case spec.PerPart, spec.PerPartAndLOD:
		for _, p := range s.Parts {
			if p.Def.Kind != spec.Collision && p.Def.Kind != spec.CagePart && p.Def.Kind != spec.Helper {
				out = append(out, Target{Part: p})
			}
		}
		for i := 1; i < len(s.LODs) && def.Scope == spec.PerPartAndLOD; i++ {
			out = append(out, Target{LOD: i})
		}
	case spec.PerSet:
		for _, t := range s.Sets {
			out = append(out, Target{Set: t})
		}
	}
	if len(out) == 0 {
		out = append(out, Target{LOD: noLOD})
	}
	return out
}

// reasonOf is why a check does not apply: the spec's own words, or those of the check's definition.
func reasonOf(def spec.Check, t Target, reason string) words.Arg {
	if t.Part != nil && def.NotForPart[t.Part.Def.Kind] == reason {
		return words.Own(def.Name+"/not_for/"+string(t.Part.Def.Kind), reason)
	}
	if t.Set != nil && def.NotForSet[t.Set.Def.Kind] == reason {
		return words.Own(def.Name+"/not_for/"+string(t.Set.Def.Kind), reason)
	}
	return words.Name(reason)
}

// nothingToMeasure says why a target holds nothing for a check of its scope, or nothing.
func nothingToMeasure(s *Subject, def spec.Check, t Target) words.Phrase {
	switch def.Scope {
	case spec.PerFile:
		if t.File == nil {
			return words.P("engine.no_files")
		}
	case spec.PerLOD, spec.PerPart, spec.PerPartAndLOD, spec.PerSet:
		if len(s.LODs) == 0 || s.LODs[0].Triangles() == 0 {
			return words.P("engine.no_game_mesh")
		}
		if def.Scope == spec.PerLOD && s.LODs[t.LOD].Triangles() == 0 {
			return words.P("engine.lod_missing", words.Count(t.LOD))
		}
		if t.Part == nil && (def.Scope == spec.PerPart || def.Scope == spec.PerPartAndLOD && t.LOD == noLOD) {
			return words.P("engine.no_part")
		}
		if t.Part != nil && t.Part.Game.Triangles() == 0 {
			return words.P("engine.part_empty", words.Name(t.Part.Name))
		}
		if def.Scope == spec.PerSet && (t.Set == nil || t.Set.Game.Triangles() == 0) {
			return words.P("engine.set_empty")
		}
	}
	return words.Phrase{}
}

// runStep measures one step. A panic inside a check is "not evaluated": one broken check never takes the others down.
func runStep(ctx context.Context, s *Subject, st step) (f Finding) {
	defer func() {
		if p := recover(); p != nil {
			f = finish(st, unable("engine.own_fault", words.Name(fmt.Sprint(p))))
		}
	}()
	if st.ready != nil {
		return finish(st, *st.ready)
	}
	return finish(st, st.check.Run(ctx, s, st.to, st.rule))
}

// finish fills in what the check leaves to the engine: who, why and blocking. A finding without an outcome stays so:
// the check had nothing to say about the target.
func finish(st step, f Finding) Finding {
	if f.Outcome == "" {
		return f
	}
	def := st.check.Def
	f.Check = def.Name
	if f.Why == "" {
		f.Why = def.Why
	}
	if t := st.to; t.File != nil && f.File == "" {
		f.File = t.File.Path
	}
	if st.to.Part != nil {
		f.Part = st.to.Part.Name
	}
	if st.to.Set != nil {
		f.Set = st.to.Set.Name
	}
	if def.Scope == spec.PerLOD && f.LOD == nil && st.to.LOD != noLOD {
		lod := st.to.LOD
		f.LOD = &lod
	}
	f.Settings, f.Mode = settingsOf(st.rule), st.rule.Mode
	f.Blocks = st.rule.Mode == spec.Blocks && f.Outcome != NotApplicable && f.Outcome != Warn
	if from := st.rule.CountsFrom; len(from) > 0 && f.Outcome != NotApplicable {
		f.Labels = withLabel(f.Labels, "counts_from", string(from[0]))
	}
	return clean(f)
}

// clean keeps what JSON cannot hold out of the evidence. A number that is not finite means the measurement failed.
func clean(f Finding) Finding {
	bad := f.Measured != nil && !finite(f.Measured.Value)
	for _, k := range sortedKeys(f.Metrics) {
		if !finite(f.Metrics[k]) {
			bad = true
			delete(f.Metrics, k)
		}
	}
	for k, v := range f.Limit {
		if !finite(v) {
			delete(f.Limit, k)
		}
	}
	if bad {
		f.Measured, f.Outcome = nil, NotEvaluated
		f.Says = append([]words.Phrase{words.P("engine.not_finite")}, f.Says...)
		f.Sentence = words.English().Text(f.Says)
	}
	if len(f.Where) > maxPlaces {
		f.Where = f.Where[:maxPlaces]
	}
	for i := range f.Where {
		p := &f.Where[i]
		if p.PointMM != nil && !(finite(p.PointMM[0]) && finite(p.PointMM[1]) && finite(p.PointMM[2])) {
			p.PointMM = nil
		}
		if p.UV != nil && !(finite(p.UV[0]) && finite(p.UV[1])) {
			p.UV = nil
		}
		if p.Value != nil && !finite(p.Value.Value) {
			p.Value = nil
		}
	}
	return f
}

// maxPlaces is how many places a finding names: the worst ten. More do not help a reader.
const maxPlaces = 10

func withLabel(m map[string]string, k, v string) map[string]string {
	if m == nil {
		m = map[string]string{}
	}
	m[k] = v
	return m
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// verdictOf sums up the findings that block: fail where one failed, else not evaluated where one could not run.
func verdictOf(findings []Finding) Verdict {
	v := VerdictPass
	for _, f := range findings {
		switch {
		case f.Blocks && f.Outcome == Fail:
			return VerdictFail
		case f.Blocks && f.Outcome == NotEvaluated:
			v = VerdictNotEvaluated
		}
	}
	return v
}
