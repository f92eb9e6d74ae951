package acceptance

import (
	"context"

	"proofhouse/internal/acceptance/spec"
)

// knownRun answers for one check from findings that are known.
func knownRun(check string, findings []Finding) func(context.Context, *Subject, Target, spec.Rule) Finding {
	return func(_ context.Context, _ *Subject, t Target, _ spec.Rule) Finding {
		for _, f := range findings {
			if f.Check == check && isOf(f, t) {
				return f
			}
		}
		return Finding{}
	}
}

// isOf says whether a finding is about a target.
func isOf(f Finding, t Target) bool {
	switch {
	case t.File != nil:
		return f.File == t.File.Path
	case t.Part != nil:
		return f.Part == t.Part.Name
	case t.Set != nil:
		return f.Set == t.Set.Name
	}
	return f.Part == "" && f.Set == "" && (f.LOD == nil || *f.LOD == t.LOD)
}
