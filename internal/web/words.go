package web

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// functions are what the templates call things by, for one reader.
func functions(r *words.Reader) template.FuncMap {
	term := func(kind string) func(v any) string {
		return func(v any) string { return r.Term(kind + "." + fmt.Sprint(v)) }
	}
	return template.FuncMap{
		"lang": func() string { return r.Tag }, "zone": func() string { return r.Zone.String() }, "languages": words.Languages, "regions": words.Regions,
		"say":  func(what any, args ...any) (any, error) { return r.Say(what, args...) },
		"link": words.Link, "strong": words.Tagged("strong"), "code": words.Tagged("code"), "em": words.Tagged("em"),
		"word": func(kind string, v any) string { return r.Term(kind + "." + fmt.Sprint(v)) },
		"term": func(kind string, v any) words.Spoken { return r.Speak(kind + "." + fmt.Sprint(v)) },

		"milestone": term("milestone"), "milestoneOf": term("milestone"), "state": term("state"), "deliveryState": term("delivery_state"),
		"desk": term("desk"), "decision": term("decision"), "tier": term("tier"), "role": term("role"), "scope": term("scope"),
		"mode": term("mode"), "outcome": term("outcome"), "verdictWord": term("outcome"),

		"day": func(t any) template.HTML { return r.Day(t) }, "moment": func(t any) template.HTML { return r.Moment(t) }, "dayof": func(t any) template.HTML { return r.DayOf(t) },
		"late": late, "weekday": func(iso int) string { return r.Weekday(time.Date(2024, 1, iso, 0, 0, 0, 0, time.UTC)) }, // which began on a Monday

		"number": func(v float64) string { return r.Number(v) }, "unit": func(v float64, unit string) string { return r.Unit(v, unit) },
		"value": func(v *acceptance.Value) string { return r.Unit(v.Value, v.Unit) }, "bytes": func(n int64) string { return r.Bytes(n) },
		"percent": func(bp int) string { return r.Percent(bp) }, "share": func(v float64) string { return r.Unit(v, "share") },
		"money": func(minor int64, currency string) string { return r.Money(minor, currency) },
		"place": func(p acceptance.Place) string { return placeIn(*r, p) },

		"mark": mark, "verdict": func(headline string) string { return verdictTitle(*r, headline) },
		"check": func(name string) string { return checkTitle(*r, name) },
		"roles": func(list []ledger.Role) string {
			names := make([]string, len(list))
			for i, role := range list {
				names[i] = r.Term("role." + string(role))
			}
			return strings.Join(names, ", ")
		},
		"rework":   reworkSaid,
		"again":    func(english string) string { return tellIn(*r, english) },
		"retold":   func(english string) string { return r.Again(english) },
		"checksOf": func(list []shownFinding) string { return checksOf(*r, list) },
		"join":     func(list []string) string { return strings.Join(list, ", ") }, "underscored": func(s string) string { return strings.ReplaceAll(s, ".", "_") },
		"short": func(b []byte) string { return fmt.Sprintf("%.6x", b) }, "hex": func(b []byte) string { return fmt.Sprintf("%x", b) },
		"once": once, "concession": concessionForm, "last": func(list []viewRevision) int { return len(list) - 1 },
		"keys": spec.Keys, "meaning": func(k spec.Key) string { return strings.TrimSuffix(r.Or(k.Code(), k.What), ".") },
		"closest": func(m *acceptance.TrialMargin) string { return closest(*r, *m) },
		"checks":  sync.OnceValue(acceptance.Catalogue), "json": dataBlock,
		"marked": marked, "fault": fault, "agent": agentWords,
		"both": func(it, page any) both { return both{it, page} }, "undoing": func(q any, back string) (undoing, error) { return undoingOf(q, back) },
	}
}

// dataBlock is a value as it stands in a script element that holds data, which no browser runs. Marshal escapes what could
// end the element.
func dataBlock(v any) (template.JS, error) {
	data, err := json.Marshal(v)
	return template.JS(data), err
}

// both gives a piece of a template the thing it is about and the page around it.
type both struct{ It, Page any }

// headlines are how the engine's English headlines begin, with the code that says so much in any language. The record keeps no
// other; what the first issue is, the findings say.
var headlines = []struct {
	code  string
	shape *regexp.Regexp
}{
	{"finding.head_clear", regexp.MustCompile(`^technical: clear$`)},
	{"finding.head_warnings", regexp.MustCompile(`^technical: clear, ([0-9,]+) warnings?$`)},
	{"finding.head_issues", regexp.MustCompile(`^technical: ([0-9,]+) issues?; the first: `)},
	{"finding.head_not_evaluated", regexp.MustCompile(`^technical: not evaluated, ([0-9,]+) checks? could not run; the first: `)},
}

// verdictTitle is an inspection's headline in short.
func verdictTitle(r words.Reader, headline string) string {
	for _, h := range headlines {
		found := h.shape.FindStringSubmatch(headline)
		switch {
		case len(found) == 1:
			return r.Text(words.P(h.code))
		case len(found) == 2:
			n, err := strconv.Atoi(strings.ReplaceAll(found[1], ",", ""))
			if err == nil {
				return r.Text(words.P(h.code, n))
			}
		}
	}
	return sentenceCase(headline)
}

// verdictMore is the first issue's English sentence in a headline, where there is one.
func verdictMore(headline string) string {
	_, more, _ := strings.Cut(headline, "; the first: ")
	return sentenceCase(more)
}

func sentenceCase(s string) string {
	if s == "" {
		return s
	}
	r, size := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[size:]
}

// sentence begins large and ends with a stop.
func sentence(s string) string {
	if s = sentenceCase(strings.TrimSpace(s)); s != "" && !strings.ContainsAny(s[len(s)-1:], ".!?") {
		s += "."
	}
	return s
}

// late says whether a day is over. The day's own end counts, in the zone that is last to see it end.
func late(d *time.Time) bool {
	return d != nil && time.Now().After(d.AddDate(0, 0, 1).Add(12*time.Hour))
}

// placeIn says where a place is, in the order in which somebody looks for it.
func placeIn(r words.Reader, p acceptance.Place) string {
	var w []string
	if p.Node != "" {
		w = append(w, p.Node)
	}
	if p.Side != "" {
		side, known := r.TermIn(p.Side, "at")
		if !known {
			side = p.Side
		}
		w = append(w, side)
	}
	if p.PointMM != nil {
		w = append(w, r.Text(words.P("finding.at_point", words.Name(r.List(r.Number(nearMM(p.PointMM[0])), r.Number(nearMM(p.PointMM[1])), r.Number(nearMM(p.PointMM[2])))))))
	}
	if p.Note != "" {
		w = append(w, p.Note)
	}
	if p.Pointer != "" && len(w) == 0 {
		w = append(w, p.Pointer)
	}
	return strings.Join(w, ", ")
}

// nearMM is a coordinate as finely as somebody can look for it: in whole millimetres, below ten of them in tenths. The record has it whole.
func nearMM(v float64) float64 {
	if math.Abs(v) < 10 {
		return math.Round(10*v) / 10
	}
	return math.Round(v)
}

// checksOf names the checks of findings.
func checksOf(r words.Reader, list []shownFinding) string {
	names := make([]string, len(list))
	for i, f := range list {
		names[i] = checkTitle(r, f.Check)
	}
	return strings.Join(names, ", ")
}

// mark is the class of a state's mark; the word always stands beside it.
func mark(v any) string {
	switch fmt.Sprint(v) {
	case "pass", "accepted":
		return "clear"
	case "fail", "failed", "returned":
		return "issue"
	case "warn":
		return "warning"
	case "not_evaluated", "stuck":
		return "unknown"
	case "review":
		return "review"
	case "inspecting", "running", "queued":
		return "moving"
	}
	return "quiet"
}
