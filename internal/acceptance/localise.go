package acceptance

import (
	"slices"

	"proofhouse/internal/acceptance/words"
)

// In returns the evidence with everything that people read said in another language, for showing it: the stored document
// and its digest are English and stay so. What was written before a sentence became data stays English.
func In(l *words.Language, e *Evidence) *Evidence {
	out := *e
	out.Findings = make([]Finding, len(e.Findings))
	for i, f := range e.Findings {
		out.Findings[i] = FindingIn(l, f)
	}
	out.Exempt = slices.Clone(e.Exempt)
	for i := range out.Exempt {
		x := &out.Exempt[i]
		x.What, x.Reason = saidIn(l, x.Says, x.What), saidIn(l, x.Because, x.Reason)
	}
	out.Pictures = slices.Clone(e.Pictures)
	for i := range out.Pictures {
		p := &out.Pictures[i]
		if p.Says != nil {
			p.What = l.Sentence(*p.Says)
		}
	}
	if l.Tag != words.English().Tag {
		out.Headline = headlineText(l, &out)
	}
	return &out
}

// FindingIn is In for one finding.
func FindingIn(l *words.Language, f Finding) Finding {
	f.Sentence, f.Remedy = saidIn(l, f.Says, f.Sentence), saidIn(l, f.Does, f.Remedy)
	f.Why = l.Or(f.Check+"/why", f.Why)
	f.Where = slices.Clone(f.Where)
	for i := range f.Where {
		if p := &f.Where[i]; p.Says != nil {
			p.Note = l.Sentence(*p.Says)
		}
	}
	return f
}

func saidIn(l *words.Language, says []words.Phrase, english string) string {
	if len(says) == 0 {
		return english
	}
	return l.Text(says)
}
