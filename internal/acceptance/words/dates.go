package words

import (
	"math"
	"strconv"
	"strings"
	"time"
)

// nbsp keeps a date, and a number and its currency, on one line.
const nbsp = "\u00a0"

// Date writes a day: "27 November 2026", "27. November 2026".
func (l *Language) Date(t time.Time) string { return l.dated(l.dateLayout, l.months, t) }

// ShortDate writes a day in little room and on one line: "27 Nov 2026", "27. Nov. 2026".
func (l *Language) ShortDate(t time.Time) string {
	return strings.ReplaceAll(l.dated(l.shortLayout, l.shortMonths, t), " ", nbsp)
}

func (l *Language) dated(layout string, months []string, t time.Time) string {
	return strings.NewReplacer("{d}", strconv.Itoa(t.Day()), "{month}", months[t.Month()-1], "{y}", strconv.Itoa(t.Year())).Replace(layout)
}

// Weekday names the day of the week.
func (l *Language) Weekday(t time.Time) string { return l.weekdays[t.Weekday()] }

// Time writes a day and the minute.
func (l *Language) Time(t time.Time) string { return l.Date(t) + ", " + t.Format("15:04") }

// Money writes an amount in a currency's minor units, of which the major has ten to the power of digits, with the currency's
// code. Thousands are set apart from the first on, as in a ledger.
func (l *Language) Money(minor int64, digits int, currency string) string {
	sign, s := "", strconv.FormatUint(magnitude(minor), 10)
	if minor < 0 {
		sign = "-"
	}
	if short := digits + 1 - len(s); short > 0 {
		s = strings.Repeat("0", short) + s
	}
	if at := len(s) - digits; digits > 0 {
		s = s[:at] + "." + s[at:]
	}
	return sign + strings.NewReplacer("{amount}", l.grouped(s, 4), "{currency}", currency, " ", nbsp).Replace(l.money)
}

func magnitude(n int64) uint64 {
	if n == math.MinInt64 {
		return 1 << 63
	}
	return uint64(max(n, -n))
}
