package web

import (
	"strconv"
	"strings"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/web/words"
)

// difference is one limit, or what breaking a check leads to, that differs between two specs, in the reader's words with
// units. Before and After are empty where it is not there.
type difference struct {
	Check  string
	Of     string // a part or a set, "" for the whole prop
	Limit  string // the limit's key; "" where it is the check's mode
	What   string // the limit in a sentence
	Before string
	After  string
	Change string // "tighter", "looser" or "other"
}

// differences lists what differs between two specs, in the order of the later one.
func differences(r words.Reader, before, after *spec.Spec) []difference {
	var out []difference
	for _, row := range httpapi.SpecChanges(before, after) {
		d := difference{Check: row.Check, Change: string(row.Change)}
		for _, s := range []*string{row.Part, row.Set} {
			if s != nil {
				d.Of = strings.TrimSpace(d.Of + " " + *s)
			}
		}
		key := "mode"
		if row.Limit != nil {
			key = *row.Limit
		}
		d.What, _, _ = strings.Cut(limitWords(r, row.Check, key), ". ")
		if key != "mode" {
			d.Limit = key
		}
		d.Before, d.After = limitSaid(r, row.Check, key, row.Before), limitSaid(r, row.Check, key, row.After)
		if d.Change != "tighter" && d.Change != "looser" {
			d.Change = "other"
		}
		out = append(out, d)
	}
	return out
}

// limitOf is a limit of a check by its key.
func limitOf(check, key string) (spec.Limit, bool) {
	for _, l := range catalogue()[check].Limits {
		if l.Key == key {
			return l, true
		}
	}
	return spec.Limit{}, false
}

// limitWords is what a limit is, or a check's mode. A limit of another engine's has its key only.
func limitWords(r words.Reader, check, key string) string {
	if key == "mode" {
		return r.Text(words.P("specdraft.leads_to"))
	}
	l, known := limitOf(check, key)
	if !known {
		return key
	}
	return strings.TrimSuffix(r.Or(check+"/limit/"+key, l.What), ".")
}

// limitSaid is a limit's value, as the interface has it, in words with its unit.
func limitSaid(r words.Reader, check, key, value string) string {
	if value == "" {
		return ""
	}
	if key == "mode" {
		return r.Term("mode." + value)
	}
	l, known := limitOf(check, key)
	v, err := strconv.ParseFloat(value, 64)
	if !known || err != nil || l.List || len(l.Words) > 0 {
		return value
	}
	return bound(r, l, v)
}

// notForWords is why a check does not apply: in the reader's language where the check itself says so of a kind of part or set.
func notForWords(r words.Reader, check spec.Check, reason string) string {
	var kinds []string
	for kind, why := range check.NotForPart {
		if why == reason {
			kinds = append(kinds, string(kind))
		}
	}
	for kind, why := range check.NotForSet {
		if why == reason {
			kinds = append(kinds, string(kind))
		}
	}
	if len(kinds) == 0 { // the spec's own words
		return reason
	}
	least := kinds[0] // the same words for all of them, whichever comes first
	for _, k := range kinds {
		least = min(least, k)
	}
	return r.Or(check.Name+"/not_for/"+least, reason)
}

// closest is how near the closest limit of a trial is: what was measured, its value and the limit, with their unit.
func closest(r words.Reader, m acceptance.TrialMargin) string {
	name, unit := unitOf(m.Metric)
	of := r.Text(words.P("specdraft.of", words.Name(r.Unit(m.Value, unit)), words.Name(r.Unit(m.Limit, unit))))
	return checkTitle(r, m.Check) + ", " + metricName(r, name) + ": " + of
}
