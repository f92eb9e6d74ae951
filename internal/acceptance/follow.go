package acceptance

import (
	"context"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// runAll measures every check. Where one fault explains many others, it is the headline: everything is measured as if
// it were mended, findings that were broken only by it are marked with follows_from, and the subject as mended is
// returned for the pictures.
func runAll(ctx context.Context, s *Subject, all []Check, progress func(string, float64)) (*Subject, []Finding, error) {
	headline, mended := findCause(s)
	if headline == nil {
		all = reusing(all, s.known) // known findings are of a delivery without such a fault
	}
	steps := plan(mended, all)
	var asIs []step
	if headline != nil {
		asIs = plan(s, all)
	}
	var findings []Finding
	followers, hidden := 0, ""
	for i, st := range steps {
		if err := ctx.Err(); err != nil {
			return nil, nil, err
		}
		progress("checking "+st.check.Def.Name, float64(i)/float64(len(steps)))
		mended.found = findings
		f := runStep(ctx, mended, st)
		if f.Outcome == "" {
			continue
		}
		if headline != nil {
			var followed bool
			if f, followed = follow(ctx, s, asIs, i, f, headline.Check); followed {
				followers++
			}
			if hidden == "" && hides(f) {
				hidden = f.Check
			}
		}
		findings = append(findings, f)
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	if headline != nil {
		findings = putHeadline(findings, steps, *headline, followers, hidden)
	}
	foldUnread(mended, findings)
	foldBakes(findings)
	return mended, findings, nil
}

// foldUnread marks what could not run because no game mesh could be read: it follows from the file that is broken,
// missing or not read here, and is no further issue.
func foldUnread(s *Subject, findings []Finding) {
	if len(s.LODs) > 0 && s.LODs[0].Triangles() > 0 {
		return
	}
	cause := unreadCause(s, findings)
	if cause == "" {
		return
	}
	for i := range findings {
		f := &findings[i]
		if f.Outcome == NotEvaluated && f.FollowsFrom == "" && !strings.HasPrefix(f.Check, "file.") {
			f.FollowsFrom = cause
		}
	}
}

// unreadCause is the file check that tells why there is no game mesh.
func unreadCause(s *Subject, findings []Finding) string {
	for _, f := range findings {
		broken := f.Outcome == Fail || f.Outcome == NotEvaluated
		if !broken || !strings.HasPrefix(f.Check, "file.") {
			continue
		}
		if f.Check == "file.required" {
			return f.Check
		}
		for _, file := range s.Files {
			if _, isGame := lodOf(file.Role); isGame && file.Path == f.File && file.Scene == nil {
				return f.Check
			}
		}
	}
	return ""
}

// findCause guards rootCause: if it stops on a fault of its own, there is no headline and everything is measured as it is.
func findCause(s *Subject) (headline *Finding, mended *Subject) {
	defer func() {
		if p := recover(); p != nil {
			headline, mended = nil, s
		}
	}()
	headline, mended = rootCause(s)
	if headline == nil || mended == nil {
		return nil, s
	}
	return headline, mended
}

// follow compares a finding measured as if mended with the same measured as it is. Comparing game mesh and sculpt when
// one of them is wrong by a factor says nothing and takes long, so those are only measured as mended.
func follow(ctx context.Context, s *Subject, asIs []step, i int, f Finding, cause string) (Finding, bool) {
	if f.Check == cause || f.Outcome == NotApplicable {
		return f, false
	}
	if strings.HasPrefix(f.Check, "surface.") || i >= len(asIs) || asIs[i].check.Def.Name != f.Check {
		f.Labels = withLabel(f.Labels, "measured", "as if mended")
		return f, false
	}
	before := runStep(ctx, s, asIs[i])
	if before.Outcome == f.Outcome && before.Sentence == f.Sentence {
		return f, false // the fault did not touch it
	}
	f.Labels = withLabel(f.Labels, "measured", "as if mended")
	worse := rank(before.Outcome) > rank(f.Outcome)
	if worse {
		f.FollowsFrom = cause
		f.Labels["as_delivered"] = string(before.Outcome)
	}
	return f, worse
}

// hides says whether a finding as if mended stands for one that would have stopped the delivery as it came: it was measured and
// failed or could not be measured, or, of surfaces that are not of one size or do not stand the same way, was never tried.
func hides(f Finding) bool {
	if f.Mode != spec.Blocks || f.Outcome == NotApplicable {
		return false
	}
	as := Outcome(f.Labels["as_delivered"])
	return as == Fail || as == NotEvaluated || as == "" && f.Labels["measured"] != "" && strings.HasPrefix(f.Check, "surface.")
}

// rank orders outcomes from good to bad.
func rank(o Outcome) int {
	switch o {
	case Fail:
		return 3
	case NotEvaluated:
		return 2
	case Warn:
		return 1
	}
	return 0
}

// putHeadline puts the headline first and takes out the finding of the same check as if mended where it would contradict
// it. One that is still broken once mended is another fault and stays. hidden is a check that the fault breaks and that would
// have stopped the delivery, "" where there is none: then so does the headline.
func putHeadline(findings []Finding, steps []step, headline Finding, followers int, hidden string) []Finding {
	for _, st := range steps {
		if st.check.Def.Name == headline.Check {
			st.to = Target{}
			headline = finish(st, headline)
			break
		}
	}
	if hidden != "" && !headline.Blocks {
		headline.Outcome, headline.Blocks = Fail, true
		headline.also("engine.headline_stops", words.Name(headline.Check), words.Name(hidden))
	}
	if followers > 0 {
		headline.also("engine.followers", words.Count(followers))
	}
	out := []Finding{headline}
	for _, f := range findings {
		if f.Check != headline.Check || f.Outcome == Fail || f.Outcome == Warn {
			out = append(out, f)
		}
	}
	return out
}
