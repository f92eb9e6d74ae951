package web

import (
	"fmt"
	"math"
	"strings"
	"time"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// chart is accepted value against plan: what its page says of it, and the drawing of it for wide and for narrow screens.
type chart struct {
	Plan     ledger.Plan
	Drawings []drawing // none where there is nothing to draw
	Rows     []ledger.PlanWeek
	Done     int64 // accepted so far
	Promised int64 // planned by now
	Likely   *ledger.PlanWeek
}

// drawing is a plan as three lines and a band, which differ in stroke and not in colour alone, each with its name.
// Coordinates are in the drawing's own units.
type drawing struct {
	sheet
	Accepted string // points of lines
	Planned  string
	Middle   string
	Band     string // of a closed shape
	NowX     string
	YTicks   []chartTick
	XTicks   []chartTick
	AtEnd    [3]chartTick // where the names of accepted, planned and forecast stand; on a narrow sheet they stand above
}

// chartTick is a mark at an axis.
type chartTick struct {
	At    string
	Label string
}

// sheet is what a drawing is made on, in its own units.
type sheet struct {
	Name                     string
	Width, Height            float64
	Left, Right, Top, Bottom float64 // of the field within the axes
	weeksNamed               int     // marks at the axis of time, about
}

// The sheets: one with the lines' names at their ends, and one for the narrowest phones with a key above, which is as wide as
// their page.
var chartSheets = []sheet{
	{Name: "wide", Width: 860, Height: 340, Left: 96, Right: 700, Top: 16, Bottom: 296, weeksNamed: 6},
	{Name: "narrow", Width: 328, Height: 330, Left: 66, Right: 318, Top: 88, Bottom: 296, weeksNamed: 2},
}

// How charts are laid out.
const (
	chartTicks                          = 4
	chartLabelGap                       = 18.0 // between names
	chartRowsMost                       = 53
	acceptedAt, plannedAt, forecastedAt = 0, 1, 2
)

// drawPlan draws a plan. now divides what was from what is likely.
func drawPlan(p ledger.Plan, now time.Time, r words.Reader) chart {
	c := chart{Plan: p}
	n := len(p.Weeks)
	if n == 0 || p.TotalMinor == 0 {
		return c
	}
	past := 0 // weeks that have begun
	for past < n && !p.Weeks[past].Ends.AddDate(0, 0, -7).After(now) {
		past++
	}
	if past > 0 {
		c.Done, c.Promised = p.Weeks[past-1].AcceptedMinor, p.Weeks[past-1].PlannedMinor
	}
	for _, s := range chartSheets {
		c.Drawings = append(c.Drawings, drawOn(s, p, past, r))
	}
	step := (n + chartRowsMost - 1) / chartRowsMost
	for i := step - 1; i < n; i += step {
		c.Rows = append(c.Rows, p.Weeks[i])
	}
	for i := range p.Weeks { // the last day that was promised
		if w := &p.Weeks[i]; w.PlannedMinor == p.Weeks[n-1].PlannedMinor {
			c.Likely = w
			break
		}
	}
	return c
}

func drawOn(s sheet, p ledger.Plan, past int, r words.Reader) drawing {
	d := drawing{sheet: s}
	n := len(p.Weeks)
	top := niceAbove(p.TotalMinor)
	x := func(i int) float64 { return s.Left + (s.Right-s.Left)*float64(i+1)/float64(n) }
	y := func(minor int64) float64 { return s.Bottom - (s.Bottom-s.Top)*float64(minor)/float64(top) }
	begin := point(s.Left, s.Bottom)
	accepted, planned, upper, lower, middle := []string{begin}, []string{begin}, []string{}, []string{}, []string{}
	for i, w := range p.Weeks {
		planned = append(planned, point(x(i), y(w.PlannedMinor)))
		if i < past {
			accepted = append(accepted, point(x(i), y(w.AcceptedMinor)))
		}
		if i >= past-1 {
			low, mid, high := w.LowMinor, w.MiddleMinor, w.HighMinor
			if i == past-1 { // the band begins where the line ends
				low, mid, high = w.AcceptedMinor, w.AcceptedMinor, w.AcceptedMinor
			}
			lower, middle, upper = append(lower, point(x(i), y(low))), append(middle, point(x(i), y(mid))), append(upper, point(x(i), y(high)))
		}
	}
	for i := len(lower) - 1; i >= 0; i-- {
		upper = append(upper, lower[i])
	}
	d.Accepted, d.Planned, d.Middle, d.Band = strings.Join(accepted, " "), strings.Join(planned, " "), strings.Join(middle, " "), strings.Join(upper, " ")
	d.NowX = coordinate(x(max(past-1, 0)))
	for i := range int64(chartTicks + 1) {
		d.YTicks = append(d.YTicks, chartTick{At: coordinate(y(top * i / chartTicks)), Label: r.Whole(top*i/chartTicks, p.Currency)})
	}
	step := max(1, (n+s.weeksNamed-1)/s.weeksNamed)
	for i := step - 1; i < n; i += step {
		if x(i) < s.Right-20 || s.Name == "wide" { // a day is wider than what is left beside a narrow field
			d.XTicks = append(d.XTicks, chartTick{At: coordinate(x(i)), Label: r.ShortDate(p.Weeks[i].Ends)})
		}
	}
	d.names(p, past, y)
	return d
}

// names places the lines' names at their ends, apart from each other.
func (d *drawing) names(p ledger.Plan, past int, y func(int64) float64) {
	last := p.Weeks[len(p.Weeks)-1]
	done := int64(0)
	if past > 0 {
		done = p.Weeks[past-1].AcceptedMinor
	}
	at := [3]float64{acceptedAt: y(done), plannedAt: y(last.PlannedMinor), forecastedAt: y(last.MiddleMinor)}
	if past >= len(p.Weeks) {
		at[forecastedAt] = at[acceptedAt]
	}
	// Plan above the forecast above what is accepted, where they meet.
	order := []int{plannedAt, forecastedAt, acceptedAt}
	for i := 1; i < len(order); i++ {
		for j := i; j > 0 && at[order[j]] < at[order[j-1]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	for i := 1; i < len(order); i++ {
		at[order[i]] = max(at[order[i]], at[order[i-1]]+chartLabelGap)
	}
	over := max(0, at[order[2]]-d.Bottom)
	for i, v := range at {
		d.AtEnd[i] = chartTick{At: coordinate(v - over + 4)}
	}
}

// niceAbove is the least top of an axis that is not below a value and whose four ticks are 1, 2, 2.5, 4, 5 or 8 times a power of
// ten apart.
func niceAbove(v int64) int64 {
	for power := int64(1); ; power *= 10 {
		for _, m := range []float64{1, 2, 2.5, 4, 5, 8} {
			if n := int64(math.Round(m*float64(power))) * chartTicks; n >= v {
				return n
			}
		}
	}
}

func point(x, y float64) string { return coordinate(x) + "," + coordinate(y) }

func coordinate(v float64) string { return fmt.Sprintf("%.1f", v) }
