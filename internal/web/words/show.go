package words

import (
	"html/template"
	"math"
	"strings"
	"time"

	"proofhouse/internal/money"
)

const nbsp = "\u00a0"

// Link is a link for a place in a sentence. Only addresses of this site and of the web are linked to.
func Link(to, text string) template.HTML {
	if !(strings.HasPrefix(to, "/") && !strings.HasPrefix(to, "//") || strings.HasPrefix(to, "#") || strings.HasPrefix(to, "https://") || strings.HasPrefix(to, "http://")) {
		return template.HTML(template.HTMLEscapeString(text)) //nolint:gosec // escaped
	}
	return template.HTML(`<a href="` + template.HTMLEscapeString(to) + `">` + template.HTMLEscapeString(text) + `</a>`) //nolint:gosec // escaped
}

// Tagged sets an element without attributes around text, for a place in a sentence.
func Tagged(element string) func(text any) template.HTML {
	return func(text any) template.HTML {
		s, ok := text.(template.HTML)
		if !ok {
			s = template.HTML(template.HTMLEscaper(text)) //nolint:gosec // escaped
		}
		return "<" + template.HTML(element) + ">" + s + "</" + template.HTML(element) + ">" //nolint:gosec // the element is ours
	}
}

// Number gives a figure as many digits as a reader can use, and never an exponent.
func (r Reader) Number(v float64) string {
	switch a := math.Abs(v); {
	case v == math.Trunc(v) && a < 1e15, a >= 100:
		return r.Fixed(v, 0)
	case a >= 10:
		return r.Fixed(v, 1)
	case a >= 0.1:
		return r.Fixed(v, 2)
	}
	return r.Digits(v, 2)
}

// Unit writes a number with its unit on one line; a share reads better as a percentage.
func (r Reader) Unit(v float64, unit string) string {
	switch unit {
	case "share":
		return r.Number(100*v) + nbsp + "%"
	case "count", "":
		return r.Number(v)
	case "deg":
		return r.Number(v) + "°"
	case "bytes":
		return r.Bytes(int64(v))
	}
	return r.Number(v) + nbsp + unit
}

// Bytes writes a size in decimal multiples.
func (r Reader) Bytes(n int64) string {
	v, a := float64(n), math.Abs(float64(n))
	switch {
	case a >= 1e9:
		return r.Number(math.Round(v/1e7)/100) + nbsp + "GB"
	case a >= 1e6:
		return r.Number(math.Round(v/1e5)/10) + nbsp + "MB"
	case a >= 1e3:
		return r.Number(math.Round(v/1e2)/10) + nbsp + "kB"
	}
	return r.Number(v) + nbsp + "B"
}

// Percent writes a share of basis points.
func (r Reader) Percent(basisPoints int) string {
	return r.Number(float64(basisPoints)/100) + nbsp + "%"
}

// Money writes an amount in minor units of a currency, by ISO 4217's code.
func (r Reader) Money(minor int64, code string) string {
	return r.Language.Money(minor, money.Digits(code), code)
}

// Whole writes an amount of whole units as a number without its currency, for an axis that names it once; one that is not whole as Money
// writes it.
func (r Reader) Whole(minor int64, code string) string {
	per := money.Minor(1, code)
	if minor%per != 0 {
		return r.Money(minor, code)
	}
	return r.Fixed(float64(minor/per), 0)
}

// Day is a day of the calendar, which is the same day everywhere: 27 Nov 2026. No day is a dash.
func (r Reader) Day(t any) template.HTML {
	day, ok := at(t)
	if !ok {
		return "–"
	}
	return timed(day.Format(time.DateOnly), r.Weekday(day)+", "+r.Date(day), r.ShortDate(day))
}

// Moment is a point in time, to the minute in the reader's zone, with the exact time there and in UTC as its title.
func (r Reader) Moment(t any) template.HTML {
	m, ok := at(t)
	if !ok {
		return "–"
	}
	here := m.In(r.Zone)
	return timed(m.UTC().Format(time.RFC3339), r.Exact(m), r.ShortDate(here)+", "+here.Format("15:04"))
}

// DayOf is the day on which a point in time fell in the reader's zone.
func (r Reader) DayOf(t any) template.HTML {
	m, ok := at(t)
	if !ok {
		return "–"
	}
	return timed(m.UTC().Format(time.RFC3339), r.Exact(m), r.ShortDate(m.In(r.Zone)))
}

// Exact is a point in time to the second in the reader's zone, with its offset, and in UTC.
func (r Reader) Exact(t time.Time) string {
	here, utc := t.In(r.Zone), t.UTC()
	s := r.Weekday(here) + ", " + r.Date(here) + ", " + here.Format("15:04:05")
	if _, offset := here.Zone(); offset == 0 {
		return s + " UTC"
	}
	s += here.Format(" UTC-07:00") + " (" + r.Zone.String() + "); "
	if here.YearDay() != utc.YearDay() {
		s += r.Date(utc) + ", "
	}
	return s + utc.Format("15:04:05") + " UTC"
}

func timed(machine, title, text string) template.HTML {
	return template.HTML(`<time datetime="` + machine + `" title="` + template.HTMLEscapeString(title) + `">` + template.HTMLEscapeString(text) + `</time>`) //nolint:gosec // escaped
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
