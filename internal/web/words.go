package web

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"
	"unicode/utf8"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/schema"
	acceptedWords "proofhouse/internal/acceptance/words"
	"proofhouse/internal/web/words"
)

// functions are what the templates call things by, for one reader.
func functions(r *words.Reader) template.FuncMap {
	term := func(kind string) func(v any) string {
		return func(v any) string { return r.Term(kind + "." + fmt.Sprint(v)) }
	}
	return template.FuncMap{
		"lang": func() string { return r.Tag }, "zone": func() string { return r.Zone.String() },
		"say":  func(what any, args ...any) (any, error) { return r.Say(what, args...) },
		"link": words.Link, "strong": words.Tagged("strong"), "code": words.Tagged("code"), "em": words.Tagged("em"),
		"term": func(kind string, v any) acceptedWords.Arg { return words.Term(kind + "." + fmt.Sprint(v)) },

		"milestone": term("milestone"), "milestoneOf": term("milestone"), "state": term("state"), "deliveryState": term("delivery_state"),
		"desk": term("desk"), "decision": term("decision"), "tier": term("tier"), "role": term("role"), "scope": term("scope"),
		"mode": term("mode"), "outcome": term("outcome"), "verdictWord": term("outcome"),

		"day": func(t any) template.HTML { return r.Day(t) }, "moment": func(t any) template.HTML { return r.Moment(t) }, "dayof": func(t any) template.HTML { return r.DayOf(t) },
		"late": late,

		"number": func(v float64) string { return r.Number(v) }, "unit": func(v float64, unit string) string { return r.Unit(v, unit) },
		"value": func(v *acceptance.Value) string { return r.Unit(v.Value, v.Unit) }, "bytes": func(n int64) string { return r.Bytes(n) },
		"percent": func(bp int) string { return r.Percent(bp) }, "share": func(v float64) string { return r.Unit(v, "share") },
		"money": func(minor int64, currency string) string { return r.Money(minor, currency) },
		"count": count, "place": placeWords,

		"mark": mark, "verdict": verdictTitle, "more": verdictMore, "check": titleOf,
		"short": func(b []byte) string { return fmt.Sprintf("%.6x", b) }, "hex": func(b []byte) string { return fmt.Sprintf("%x", b) },
		"once": once, "concession": concessionForm, "last": func(list []viewRevision) int { return len(list) - 1 },
		"keys": sync.OnceValue(specKeys), "checks": sync.OnceValue(acceptance.Catalogue), "json": dataBlock,
		"both": func(it, page any) both { return both{it, page} },
	}
}

// specKey is one key of a spec with what the schema says of it.
type specKey struct{ Name, What string }

// specKeys are the keys at the top of a spec, by the schema, in alphabetical order.
func specKeys() []specKey {
	var doc struct {
		Properties map[string]struct{ Description string }
	}
	_ = json.Unmarshal(schema.Spec, &doc) // our own, and its test reads it
	var out []specKey
	for name, p := range doc.Properties {
		if p.Description != "" {
			out = append(out, specKey{name, p.Description})
		}
	}
	slices.SortFunc(out, func(a, b specKey) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// dataBlock is a value as it stands in a script element that holds data, which no browser runs. Marshal escapes what could
// end the element.
func dataBlock(v any) (template.JS, error) {
	data, err := json.Marshal(v)
	return template.JS(data), err
}

// both gives a piece of a template the thing it is about and the page around it.
type both struct{ It, Page any }

// milestoneWord is for what has no reader yet.
func milestoneWord(kind string) string {
	return words.Reader{Language: words.In("en")}.Term("milestone." + kind)
}

// group3 sets thin spaces between groups of three digits.
func group3(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return s
}

// verdictTitle is an inspection's headline in short, verdictMore the first issue's sentence, where there is one.
func verdictTitle(headline string) string {
	title, _, _ := strings.Cut(strings.TrimPrefix(headline, headlineLead), headlineFirst)
	return sentenceCase(title)
}

func verdictMore(headline string) string {
	_, more, _ := strings.Cut(strings.TrimPrefix(headline, headlineLead), headlineFirst)
	return sentenceCase(more)
}

// How the engine begins a headline, and how it leads to the first issue.
const (
	headlineLead  = "technical: "
	headlineFirst = "; the first: "
)

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

// count is a number with the right form of its word.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return group3(int64(n)) + " " + many
}

// placeWords says where a place is, in the order in which somebody looks for it.
func placeWords(p acceptance.Place) string {
	var w []string
	if p.Node != "" {
		w = append(w, p.Node)
	}
	if p.Side != "" {
		w = append(w, p.Side+" side")
	}
	if p.PointMM != nil {
		w = append(w, fmt.Sprintf("at %s, %s, %s mm", number(p.PointMM[0]), number(p.PointMM[1]), number(p.PointMM[2])))
	}
	if p.Note != "" {
		w = append(w, p.Note)
	}
	if p.Pointer != "" && len(w) == 0 {
		w = append(w, p.Pointer)
	}
	return strings.Join(w, ", ")
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

// number gives a figure as many digits as a reader can use.
func number(v float64) string {
	switch a := math.Abs(v); {
	case v == math.Trunc(v) && a < 1e15:
		return group3(int64(v))
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case a >= 0.1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// value writes a measured value with its unit.
func value(v *acceptance.Value) string { return withUnit(v.Value, v.Unit) }

// withUnit writes a number with its unit; a share reads better as a percentage. A number and its unit stay on one line.
func withUnit(v float64, unit string) string {
	switch unit {
	case "share":
		return number(100*v) + "\u00a0%"
	case "count", "":
		return number(v)
	case "deg":
		return number(v) + "°"
	case "bytes":
		return bytesWord(int64(v))
	}
	return number(v) + "\u00a0" + unit
}

func bytesWord(n int64) string {
	switch {
	case n >= 1e9:
		return number(float64(n)/1e9) + "\u00a0GB"
	case n >= 1e6:
		return number(math.Round(float64(n)/1e5)/10) + "\u00a0MB"
	case n >= 1e3:
		return number(math.Round(float64(n)/1e2)/10) + "\u00a0kB"
	}
	return number(float64(n)) + "\u00a0B"
}
