package web

import (
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/web/words"
)

// regressed is the check that says how much of what passed before does not pass now.
const regressed = "revision.regressed"

// Changed is the sentence that says what differs from the delivery before; "" for a first one.
func (page deliveryPage) Changed() string {
	for _, f := range page.Since() {
		if f.Check != regressed {
			return f.Sentence
		}
	}
	return ""
}

// Moved is what a place of such a finding says: checks and measured values by their names in words, where the evidence
// has their keys.
func (page deliveryPage) Moved(p acceptance.Place) string {
	if p.Says == nil || len(p.Says.Args) == 0 {
		return p.Note
	}
	args := p.Says.Args
	name, of, _ := strings.Cut(args[0].Text, " ")
	check := words.Name(strings.TrimSpace(checkTitle(page.reader, name) + " " + of))
	switch p.Says.Code {
	case "revision.regressed.finding":
		return page.reader.Text(words.P("delivery.passed_before", check))
	case "revision.changed.number":
		if len(args) != 4 || len(args[2].Numbers) != 1 || len(args[3].Numbers) != 1 {
			return p.Note
		}
		metric, unit := unitOf(args[1].Text)
		was, is := page.reader.Unit(args[2].Numbers[0], unit), page.reader.Unit(args[3].Numbers[0], unit)
		return page.reader.Text(words.P("delivery.moved", check, words.Name(metricName(page.reader, metric)), words.Name(was), words.Name(is)))
	}
	return p.Note
}
