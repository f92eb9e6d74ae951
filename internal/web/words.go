package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
)

// words are what the templates call things by.
var words = template.FuncMap{
	"milestone": milestoneWord, "state": stateWord, "desk": deskWord, "money": money, "day": day, "moment": moment, "iso": iso,
	"outcome": outcomeWord, "mark": mark, "number": number, "value": value, "bytes": bytesWord, "decision": decisionWord, "tier": tierWord,
	"short": func(b []byte) string { return fmt.Sprintf("%.12x", b) },
	"hex":   func(b []byte) string { return fmt.Sprintf("%x", b) },
	"share": func(v float64) string { return number(100*v) + " %" },
	"anchor": func(s string) string {
		return strings.Map(func(r rune) rune {
			if r == '.' || r == '_' {
				return '-'
			}
			return r
		}, s)
	},
	"late":    func(d *time.Time) bool { return d != nil && time.Now().After(d.AddDate(0, 0, 1)) },
	"percent": func(bp int) string { return number(float64(bp)/100) + " %" },
}

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
	return group(whole) + rest + "\u00a0" + currency
}

// group sets thin spaces between groups of three digits.
func group(n int64) string {
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
	return t.Format("2 Jan 2006")
}

func moment(t any) string {
	at, ok := at(t)
	if !ok {
		return "–"
	}
	return at.UTC().Format("2 Jan 2006, 15:04") + " UTC"
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
		return group(int64(v))
	case a >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case a >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case a >= 0.1:
		return strconv.FormatFloat(v, 'f', 2, 64)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// value writes a measured value; a share reads better as a percentage.
func value(v *acceptance.Value) string {
	switch v.Unit {
	case "share":
		return number(100*v.Value) + " %"
	case "count", "":
		return number(v.Value)
	case "deg":
		return number(v.Value) + "°"
	}
	return number(v.Value) + " " + v.Unit
}

func bytesWord(n int64) string {
	switch {
	case n >= 1e9:
		return number(float64(n)/1e9) + " GB"
	case n >= 1e6:
		return number(math.Round(float64(n)/1e5)/10) + " MB"
	case n >= 1e3:
		return number(math.Round(float64(n)/1e2)/10) + " kB"
	}
	return number(float64(n)) + " B"
}
