package web

import (
	"maps"
	"math"
	"slices"
	"strings"
	"sync"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// shown is one finding with what has been decided about it.
type shownFinding struct {
	acceptance.Finding
	Ord        int // place among the inspection's findings, by which the ledger knows it
	Concession *ledger.Concession
	MayConcede bool
	Limits     []measure
	Metrics    []measure
}

// group is the findings of one check that came out alike, or, where checks could not be made, those of one reason.
type group struct {
	Heading  string // what is the matter; for several findings the check's title
	Check    string
	Outcome  acceptance.Outcome
	Blocks   bool
	Why      string
	Remedy   string // where all have the same
	Findings []shownFinding
	Conceded int
}

// Settled says that every finding of the group is accepted as it is.
func (g group) Settled() bool { return len(g.Findings) > 0 && g.Conceded == len(g.Findings) }

// Mark is the group's outcome for the eye.
func (g group) Mark() string {
	switch {
	case g.Settled():
		return "review"
	case g.Outcome == acceptance.Fail && !g.Blocks:
		return "warning"
	}
	return mark(g.Outcome)
}

// sorted is an inspection's findings in the order in which a reader needs them.
type sortedFindings struct {
	Issues   []group // block and failed
	Unable   []group // block and could not be evaluated
	Folded   []group // explained by a headline finding
	Warnings []group
	Rest     []group // clear, does not apply, or could not be evaluated and does not matter
	counts   map[string]int
}

// sortFindings groups an inspection's findings, said in the reader's language.
func sortFindings(r words.Reader, all []acceptance.Finding, concessions []ledger.Concession, mayConcede bool) sortedFindings {
	byOrd := map[int]*ledger.Concession{}
	for i := range concessions {
		byOrd[concessions[i].Ord] = &concessions[i]
	}
	var issues, unable, folded, warnings, rest []shownFinding
	for ord, f := range all {
		f = acceptance.FindingIn(r.Language, f)
		s := shownFinding{Finding: f, Ord: ord, Concession: byOrd[ord], Limits: limitsOf(r, f), Metrics: metricsOf(r, f)}
		s.MayConcede = mayConcede && f.Blocks && f.Outcome == acceptance.Fail && s.Concession == nil
		switch {
		case f.FollowsFrom != "" && f.Outcome != acceptance.Pass:
			folded = append(folded, s)
		case f.Blocks && f.Outcome == acceptance.Fail:
			issues = append(issues, s)
		case f.Blocks && f.Outcome == acceptance.NotEvaluated:
			unable = append(unable, s)
		case f.Outcome == acceptance.Warn || f.Outcome == acceptance.Fail:
			warnings = append(warnings, s)
		default:
			rest = append(rest, s)
		}
	}
	return sortedFindings{
		Issues: grouped(r, issues), Unable: grouped(r, unable), Folded: grouped(r, folded), Warnings: grouped(r, warnings), Rest: grouped(r, rest),
		counts: map[string]int{"issues": len(issues), "unable": len(unable), "folded": len(folded), "warnings": len(warnings), "rest": len(rest)},
	}
}

// Count is the number of findings of a kind, groups or not.
func (s sortedFindings) Count(kind string) int { return s.counts[kind] }

// offers says whether one of the findings has this form under it.
func (s sortedFindings) offers(form string) bool {
	for _, groups := range [][]group{s.Issues, s.Folded} {
		for _, g := range groups {
			for _, f := range g.Findings {
				if f.MayConcede && concessionForm(f.Ord) == form {
					return true
				}
			}
		}
	}
	return false
}

// grouped puts findings together that say the same of several parts, sets or files: by check and outcome, and where a
// check could not be made, by the reason, which many checks share.
func grouped(r words.Reader, findings []shownFinding) []group {
	var groups []group
	at := map[string]int{}
	for _, f := range findings {
		key := f.Check + "|" + string(f.Outcome)
		if f.Blocks {
			key += "|blocks"
		}
		if f.Outcome == acceptance.NotEvaluated {
			key = "because|" + f.Sentence
		}
		i, known := at[key]
		if !known {
			i = len(groups)
			at[key] = i
			groups = append(groups, group{Check: f.Check, Outcome: f.Outcome, Blocks: f.Blocks, Why: f.Why, Remedy: f.Remedy, Heading: f.Sentence})
		}
		g := &groups[i]
		g.Findings = append(g.Findings, f)
		if f.Concession != nil {
			g.Conceded++
		}
		if g.Remedy != f.Remedy {
			g.Remedy = ""
		}
		if g.Why != f.Why {
			g.Why = ""
		}
		g.Blocks = g.Blocks || f.Blocks
	}
	for i := range groups {
		g := &groups[i]
		if g.Heading == "" || len(g.Findings) > 1 && g.Outcome != acceptance.NotEvaluated {
			g.Heading = checkTitle(r, g.Check)
		}
	}
	return groups
}

// farthest is the finding whose measured value lies farthest beyond its limit, in parts of the limit; the first where that
// cannot be said.
func farthest(findings []shownFinding) shownFinding {
	out, most := findings[0], 0.0
	for _, f := range findings {
		limit := firstLimit(&f.Finding)
		if f.Measured == nil || limit == nil || *limit == 0 {
			continue
		}
		if by := math.Abs(f.Measured.Value-*limit) / math.Abs(*limit); by > most {
			out, most = f, by
		}
	}
	return out
}

var catalogue = sync.OnceValue(func() map[string]spec.Check {
	byName := map[string]spec.Check{}
	for _, c := range acceptance.Catalogue() {
		byName[c.Name] = c
	}
	return byName
})

// checkTitle is a check's name in words, for a heading. A check of another engine's has its name only.
func checkTitle(r words.Reader, check string) string {
	c, known := catalogue()[check]
	if !known || c.Title == "" {
		return check
	}
	return sentenceCase(r.Or(check+"/title", c.Title))
}

// measure is a number of a finding in words with its unit.
type measure struct{ What, Value string }

func limitsOf(r words.Reader, f acceptance.Finding) []measure {
	var out []measure
	known := map[string]spec.Limit{}
	for _, l := range catalogue()[f.Check].Limits {
		known[l.Key] = l
		if v, on := f.Limit[l.Key]; on { // in the catalogue's order
			out = append(out, measure{strings.TrimSuffix(r.Or(f.Check+"/limit/"+l.Key, l.What), "."), bound(r, l, v)})
		}
	}
	for _, key := range slices.Sorted(maps.Keys(f.Limit)) {
		if _, listed := known[key]; !listed {
			name, unit := unitOf(key)
			out = append(out, measure{metricName(r, name), r.Unit(f.Limit[key], unit)})
		}
	}
	return out
}

func metricsOf(r words.Reader, f acceptance.Finding) []measure {
	var out []measure
	names := catalogue()[f.Check].Metrics
	for _, name := range slices.Sorted(maps.Keys(f.Metrics)) {
		if !slices.Contains(names, name) {
			names = append(slices.Clip(names), name)
		}
	}
	for _, key := range names {
		if v, there := f.Metrics[key]; there {
			name, unit := unitOf(key)
			out = append(out, measure{metricName(r, name), r.Unit(v, unit)})
		}
	}
	return out
}

// metricName is what is measured, in words; one that the catalogue of words lacks has its name.
func metricName(r words.Reader, name string) string {
	return r.Or("metric."+strings.Trim(name, "_"), strings.ReplaceAll(name, "_", " "))
}

// bound is a limit's value with its unit and the way it binds.
func bound(r words.Reader, l spec.Limit, v float64) string {
	unit := l.Unit
	if unit == "" {
		_, unit = unitOf(l.Key)
	}
	value := words.Name(r.Unit(v, unit))
	switch l.Kind {
	case spec.AtMost:
		return r.Text(words.P("finding.at_most", value))
	case spec.AtLeast:
		return r.Text(words.P("finding.at_least", value))
	}
	return value.Text
}

// units are the ends of keys that name a unit, the longer before those they end in.
var units = []struct{ end, unit string }{
	{"_px_per_m", "px/m"}, {"_mm2", "mm²"}, {"_mm", "mm"}, {"_px2", "px²"}, {"_px", "px"}, {"_deg", "deg"}, {"_share", "share"}, {"_bytes", "bytes"}, {"_m2", "m²"}, {"_m", "m"},
}

// unitOf splits a key such as "max_height_mm" into name and unit.
func unitOf(key string) (name, unit string) {
	for _, u := range units {
		if rest, ok := strings.CutSuffix(key, u.end); ok && rest != "" {
			return rest, u.unit
		}
	}
	if strings.HasPrefix(key, "share_") {
		return key, "share"
	}
	return key, ""
}
