package web

import (
	"context"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// comparison says of each finding that is or was wrong what became of it since the delivery before.
type comparison struct {
	Number int  // of the delivery before
	Past   bool // deliveries since then could not be measured
	Fixed  []compared
	Still  []compared
	New    []compared
}

// compared is one finding: Was as it stood in the delivery before, Now as it stands in this one.
type compared struct {
	Was, Now       *acceptance.Finding
	Better, Worse  bool // still wrong, by a measured value that moved
	Check, Subject string
}

// compareFindings sets the findings of two deliveries side by side, in the order of the later one and then of the earlier one.
func compareFindings(before, now []acceptance.Finding) comparison {
	was := map[string]*acceptance.Finding{}
	for i := range before {
		if wrong(before[i]) {
			was[findingKey(before[i])] = &before[i]
		}
	}
	var out comparison
	evaluated := map[string]bool{}
	for i := range now {
		f := &now[i]
		evaluated[findingKey(*f)] = f.Outcome != acceptance.NotEvaluated
		if !wrong(*f) {
			continue
		}
		old := was[findingKey(*f)]
		delete(was, findingKey(*f))
		c := compared{Was: old, Now: f, Check: f.Check, Subject: subjectOf(*f)}
		if old == nil {
			out.New = append(out.New, c)
			continue
		}
		c.Better, c.Worse = moved(old, f)
		out.Still = append(out.Still, c)
	}
	for i := range before {
		f := &before[i]
		key := findingKey(*f)
		if old, left := was[key]; left && old == f {
			c := compared{Was: f, Check: f.Check, Subject: subjectOf(*f)}
			if looked, there := evaluated[key]; there && !looked {
				out.Still = append(out.Still, c) // nobody knows that it is mended
				continue
			}
			out.Fixed = append(out.Fixed, c)
		}
	}
	return out
}

// wrong says whether a finding is one that a vendor is to do something about or to look at. What follows from a headline
// goes with that, and what only tells what became of the delivery before is the comparison itself.
func wrong(f acceptance.Finding) bool {
	return (f.Outcome == acceptance.Fail || f.Outcome == acceptance.Warn) && f.FollowsFrom == "" && f.Check != regressed
}

func findingKey(f acceptance.Finding) string {
	key := f.Check + "\x00" + f.Part + "\x00" + f.Set + "\x00" + f.Pose
	if f.LOD != nil {
		key += "\x00lod" + string(rune('0'+*f.LOD))
	}
	if f.Part == "" && f.Set == "" {
		key += "\x00" + f.File
	}
	return key
}

// moved says whether a measured value came nearer to its limit, or went farther from it: over a limit less is better, under
// it more.
func moved(was, now *acceptance.Finding) (better, worse bool) {
	a, b, limit := was.Measured, now.Measured, firstLimit(now)
	if a == nil || b == nil || a.Unit != b.Unit || a.Value == b.Value || limit == nil {
		return false, false
	}
	less := b.Value < a.Value
	over := b.Value > *limit
	return less == over, less != over
}

// firstLimit is the limit that a finding's measured value is held against, where it has only one.
func firstLimit(f *acceptance.Finding) *float64 {
	if len(f.Limit) != 1 {
		return nil
	}
	for _, v := range f.Limit {
		return &v
	}
	return nil
}

func subjectOf(f acceptance.Finding) string {
	for _, s := range []string{f.Part, f.Set, f.File} {
		if s != "" {
			return s
		}
	}
	return ""
}

// compareWithBefore reads the evidence of the delivery before and sets it beside this one's, in the reader's language. It
// is nil for a first delivery, and where the earlier evidence cannot be read: the page tells the rest all the same.
func (p *Pages) compareWithBefore(ctx context.Context, r words.Reader, d ledger.Delivery, before ledger.PastEvidence, now *acceptance.Evidence) *comparison {
	if now == nil || before.Object.ObjectKey == "" {
		return nil
	}
	old, err := httpapi.FetchEvidence(ctx, p.storage, before.Object)
	if err != nil {
		return nil
	}
	c := compareFindings(acceptance.In(r.Language, old).Findings, now.Findings)
	c.Number, c.Past = before.Number, before.Number < d.Number-1
	return &c
}
