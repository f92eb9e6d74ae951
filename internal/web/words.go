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
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/ledger"
)

// words are what the templates call things by.
var words = template.FuncMap{
	"milestone": milestoneWord, "milestoneOf": func(m spec.Milestone) string { return milestoneWord(string(m)) },
	"state": stateWord, "deliveryState": deliveryStateWord, "desk": deskWord, "decision": decisionWord, "tier": tierWord, "role": roleWord, "scope": scopeWord,
	"mode": modeWord, "outcome": outcomeWord, "mark": mark, "verdict": verdictTitle, "more": verdictMore, "check": titleOf,
	"money": money, "day": day, "date": func(t *time.Time) string { return t.Format(time.DateOnly) }, "moment": moment, "iso": iso, "late": late,
	"number": number, "value": value, "bytes": bytesWord, "count": count, "percent": func(bp int) string { return number(float64(bp)/100) + "\u00a0%" },
	"share": func(v float64) string { return withUnit(v, "share") }, "place": placeWords,
	"short": func(b []byte) string { return fmt.Sprintf("%.6x", b) }, "hex": func(b []byte) string { return fmt.Sprintf("%x", b) },
	"once": once, "concession": concessionForm, "last": func(list []viewRevision) int { return len(list) - 1 },
	"keys": sync.OnceValue(specKeys), "checks": sync.OnceValue(acceptance.Catalogue), "json": dataBlock,
	"verdictWord": func(v acceptance.Verdict) string { return outcomeWord(acceptance.Outcome(v)) }, "both": func(it, page any) both { return both{it, page} },
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

var milestoneWords = map[string]string{"block_out": "Block-out", "sculpt": "Sculpt", "game_mesh": "Game mesh", "maps": "Maps", "final": "Final"}

func milestoneWord(kind string) string { return orItself(milestoneWords[kind], kind) }

func orItself(word, key string) string {
	if word == "" {
		return key
	}
	return word
}

var stateWords = map[ledger.MilestoneState]string{
	ledger.MOpen: "open", ledger.MInspecting: "being inspected", ledger.MFailed: "issues found", ledger.MStuck: "not evaluated",
	ledger.MReview: "waits for review", ledger.MReturned: "returned", ledger.MAccepted: "accepted", ledger.MCancelled: "cancelled",
}

func stateWord(s ledger.MilestoneState) string { return orItself(stateWords[s], string(s)) }

var deskWords = map[ledger.Desk]string{
	ledger.DeskVendor: "vendor", ledger.DeskInspector: "inspector", ledger.DeskTechnicalArtist: "technical artist",
	ledger.DeskArtDirector: "art director", ledger.DeskNone: "nobody",
}

func deskWord(d ledger.Desk) string { return orItself(deskWords[d], string(d)) }

var tierWords = map[string]string{"background": "background", "mid": "mid-ground", "hero": "hero", "close_up": "close-up"}

func tierWord(t string) string { return orItself(tierWords[t], t) }

var decisionWords = map[ledger.Decision]string{
	ledger.Accept: "accepted", ledger.AcceptNote: "accepted with a note", ledger.AcceptAsIs: "accepted as is", ledger.Return: "returned",
}

func decisionWord(d ledger.Decision) string { return orItself(decisionWords[d], string(d)) }

// minorDigits are the currencies whose minor unit is not a hundredth (ISO 4217, list one; from memory).
var minorDigits = map[string]int{"JPY": 0, "KRW": 0, "VND": 0, "CLP": 0, "ISK": 0, "BHD": 3, "KWD": 3, "TND": 3, "OMR": 3, "JOD": 3}

func money(minor int64, currency string) string {
	digits, ok := minorDigits[currency]
	if !ok {
		digits = 2
	}
	whole := minor
	rest := ""
	if digits > 0 {
		unit := int64(math.Pow10(digits))
		whole = minor / unit
		rest = fmt.Sprintf(".%0*d", digits, minor%unit)
	}
	return group3(whole) + rest + "\u00a0" + currency
}

// group3 sets thin spaces between groups of three digits.
func group3(n int64) string {
	s := strconv.FormatInt(n, 10)
	for i := len(s) - 3; i > 0 && s[i-1] != '-'; i -= 3 {
		s = s[:i] + "\u202f" + s[i:]
	}
	return s
}

func day(t *time.Time) string {
	if t == nil || t.IsZero() {
		return "–"
	}
	return unbroken(t.Format("2 Jan 2006"))
}

// unbroken keeps a text on one line.
func unbroken(s string) string { return strings.ReplaceAll(s, " ", "\u00a0") }

func moment(t any) string {
	at, ok := at(t)
	if !ok {
		return "–"
	}
	return unbroken(at.UTC().Format("2 Jan 2006")) + ", " + unbroken(at.UTC().Format("15:04 MST"))
}

func iso(t any) string {
	at, ok := at(t)
	if !ok {
		return ""
	}
	return at.UTC().Format(time.RFC3339)
}

func at(t any) (time.Time, bool) {
	switch v := t.(type) {
	case time.Time:
		return v, !v.IsZero()
	case *time.Time:
		if v != nil {
			return *v, !v.IsZero()
		}
	}
	return time.Time{}, false
}

var deliveryStateWords = map[ledger.DeliveryState]string{
	ledger.DOpen: "being uploaded", ledger.DSealing: "being sealed", ledger.DSealed: "sealed", ledger.DAbandoned: "abandoned",
}

func deliveryStateWord(s ledger.DeliveryState) string {
	return orItself(deliveryStateWords[s], string(s))
}

var roleWords = map[ledger.Role]string{
	ledger.Producer: "producer", ledger.ArtDirector: "art director", ledger.TechnicalArtist: "technical artist",
	ledger.VendorLead: "lead", ledger.VendorArtist: "artist",
}

func roleWord(r ledger.Role) string { return orItself(roleWords[r], string(r)) }

var scopeWords = map[ledger.Scope]string{
	ledger.ScopeRead: "read what you may see", ledger.ScopeDeliver: "deliver, and acknowledge specs", ledger.ScopeOrder: "order: projects, props, specs, vendors",
	ledger.ScopeReview: "review: sign off, return, accept issues, write notes", ledger.ScopeAdmin: "invite people, make tokens",
}

func scopeWord(s ledger.Scope) string { return orItself(scopeWords[s], string(s)) }

var modeWords = map[spec.Mode]string{
	spec.Blocks: "must hold", spec.Warns: "warns", spec.Reports: "is only measured", spec.NotAppl: "does not apply",
}

func modeWord(m spec.Mode) string { return orItself(modeWords[m], string(m)) }

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

var outcomeWords = map[acceptance.Outcome]string{
	acceptance.Pass: "clear", acceptance.Warn: "warning", acceptance.Fail: "issue",
	acceptance.NotEvaluated: "not evaluated", acceptance.NotApplicable: "does not apply",
}

func outcomeWord(o acceptance.Outcome) string { return orItself(outcomeWords[o], string(o)) }

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
