//go:build full

package words

import (
	"encoding/json"
	"html"
	"math"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// asked is one value as ECMA-402's Intl (Node.js with full ICU, which carries the Unicode CLDR's data) writes it.
type asked struct {
	Locale   string  `json:"locale"`
	How      string  `json:"how"` // number, money, day, date, clock, weekday
	Value    float64 `json:"value"`
	Digits   int     `json:"digits"`
	Currency string  `json:"currency,omitempty"`
	Zone     string  `json:"zone,omitempty"`
}

const intlScript = `
const asked = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const of = {
  number: (a) => new Intl.NumberFormat(a.locale, { minimumFractionDigits: a.digits, maximumFractionDigits: a.digits, useGrouping: 'min2' }).format(a.value),
  money: (a) => { const f = new Intl.NumberFormat(a.locale, { style: 'currency', currency: a.currency, currencyDisplay: 'code' }); return f.format(a.value / 10 ** f.resolvedOptions().maximumFractionDigits); },
  day: (a) => new Intl.DateTimeFormat(a.locale, { day: 'numeric', month: 'short', year: 'numeric', timeZone: a.zone }).format(a.value),
  date: (a) => new Intl.DateTimeFormat(a.locale, { day: 'numeric', month: 'long', year: 'numeric', timeZone: a.zone }).format(a.value),
  clock: (a) => new Intl.DateTimeFormat(a.locale, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23', timeZone: a.zone }).format(a.value),
  weekday: (a) => new Intl.DateTimeFormat(a.locale, { weekday: 'long', timeZone: a.zone }).format(a.value),
};
console.log(JSON.stringify(asked.map((a) => of[a.how](a))));`

// TestAgainstIntl holds numbers, money and dates against Intl. English is written as in the United Kingdom, with the clock of
// ISO 8601; thousands from five digits on (Intl's min2), in money from four.
func TestAgainstIntl(t *testing.T) {
	var list []asked
	var ours []string
	bare := func(s string) string {
		return html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(s, ""))
	}
	for tag, locale := range map[string]string{"en": "en-GB", "de": "de"} {
		for _, v := range []float64{0, 1, 12, 999, 1000, 4096, 9999, 10000, 12480, 999999, 1234567.891, 0.6, 0.26, 1.006, -3, -12345.678, 0.001, 1e9} {
			for _, digits := range []int{0, 1, 2} {
				list = append(list, asked{Locale: locale, How: "number", Value: v, Digits: digits})
				ours = append(ours, In(tag).Fixed(v, digits))
			}
		}
		for _, currency := range []string{"EUR", "USD", "NOK", "JPY", "KWD", "CLP", "ISK"} { // not HUF: ISO 4217 has two digits, the CLDR of today shows none
			for _, minor := range []int64{0, 5, 99, 100, 1180, 118050, 123456789, -118050} {
				list = append(list, asked{Locale: locale, How: "money", Value: float64(minor), Currency: currency})
				ours = append(ours, reader(t, tag, "UTC").Money(minor, currency))
			}
		}
		for _, zone := range []string{"UTC", "Europe/Berlin", "Pacific/Auckland", "America/St_Johns", "Asia/Kathmandu"} {
			r := reader(t, tag, zone)
			for month := time.January; month <= time.December; month++ {
				at := time.Date(2026, month, 28, 23, 17, 5, 0, time.UTC)
				here := at.In(r.Zone)
				one := asked{Locale: locale, Value: float64(at.UnixMilli()), Zone: zone}
				for how, said := range map[string]string{"day": bare(string(r.DayOf(at))), "date": r.Date(here), "clock": bare(string(r.Moment(at))), "weekday": r.Weekday(here)} {
					one.How = how
					list = append(list, one)
					if how == "clock" {
						_, said, _ = strings.Cut(said, ", ")
					}
					ours = append(ours, said)
				}
			}
		}
	}
	in, err := json.Marshal(list)
	require.NoError(t, err)
	node := exec.CommandContext(t.Context(), "node", "-e", intlScript)
	node.Stdin = strings.NewReader(string(in))
	out, err := node.Output()
	require.NoError(t, err, "Node.js with Intl")
	var theirs []string
	require.NoError(t, json.Unmarshal(out, &theirs))
	require.Len(t, theirs, len(list))
	same := 0
	for i, a := range list {
		if math.Signbit(a.Value) && strings.Trim(theirs[i], "-0.,") == "" {
			continue // Intl keeps the sign of a zero; exact halves, which it rounds away from zero, are not asked for
		}
		require.Equal(t, strings.ReplaceAll(theirs[i], "\u00a0", " "), strings.ReplaceAll(ours[i], "\u00a0", " "), "%+v", a)
		same++
	}
	require.Greater(t, same, 500)
}

// TestPluralsAgainstIntl: which form of a noun goes with a number.
func TestPluralsAgainstIntl(t *testing.T) {
	out, err := exec.CommandContext(t.Context(), "node", "-e", `console.log(JSON.stringify(['en', 'de'].map((l) => Array.from({ length: 1200 }, (_, n) => new Intl.PluralRules(l).select(n)))))`).Output()
	require.NoError(t, err)
	var theirs [][]string
	require.NoError(t, json.Unmarshal(out, &theirs))
	for i, tag := range []string{"en", "de"} {
		one, many := map[string]string{"en": " place", "de": " Stelle"}[tag], map[string]string{"en": " places", "de": " Stellen"}[tag]
		for n, form := range theirs[i] {
			want := In(tag).Fixed(float64(n), 0) + map[string]string{"one": one, "other": many}[form]
			require.Equal(t, want, reader(t, tag, "UTC").Text(P("finding.places", n)))
		}
	}
}
