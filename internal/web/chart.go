package web

import (
	"fmt"
	"math"
	"strings"
	"time"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// chart is accepted value against plan as a drawing: three lines and a band, which differ in stroke and not in colour alone,
// each with its name at its end. Coordinates are in the drawing's own units.
type chart struct {
	Plan     ledger.Plan
	Accepted string // points of lines
	Planned  string
	Middle   string
	Band     string // of a closed shape
	NowX     string
	YTicks   []chartTick
	XTicks   []chartTick
	AtEnd    [3]chartTick // where the names of accepted, planned and forecast stand
	Rows     []ledger.PlanWeek
	Done     int64 // accepted so far
	Promised int64 // planned by now
	Likely   *ledger.PlanWeek
}

// chartTick is a mark at an axis.
type chartTick struct {
	At    string
	Minor int64
	Label string
}

// The drawing, in its own units.
const (
	chartWidth, chartHeight             = 860.0, 340.0
	chartLeft, chartRight               = 96.0, 700.0 // right of it stand the lines' names
	chartTop, chartBottom               = 16.0, 296.0
	chartTicks                          = 4
	chartLabelGap                       = 18.0 // between names
	chartRowsMost                       = 53
	chartNamesX                         = chartRight + 10
	acceptedAt, plannedAt, forecastedAt = 0, 1, 2
)

// drawPlan draws a plan. now divides what was from what is likely.
func drawPlan(p ledger.Plan, now time.Time, r words.Reader) chart {
	c := chart{Plan: p}
	n := len(p.Weeks)
	if n == 0 || p.TotalMinor == 0 {
		return c
	}
	top := niceAbove(p.TotalMinor)
	x := func(i int) float64 { return chartLeft + (chartRight-chartLeft)*float64(i+1)/float64(n) }
	y := func(minor int64) float64 { return chartBottom - (chartBottom-chartTop)*float64(minor)/float64(top) }
	past := 0 // weeks that have begun
	for past < n && !p.Weeks[past].Ends.AddDate(0, 0, -7).After(now) {
		past++
	}
	begin := point(chartLeft, chartBottom)
	accepted, planned, upper, lower, middle := []string{begin}, []string{begin}, []string{}, []string{}, []string{}
	for i, w := range p.Weeks {
		planned = append(planned, point(x(i), y(w.PlannedMinor)))
		if i < past {
			accepted = append(accepted, point(x(i), y(w.AcceptedMinor)))
			c.Done, c.Promised = w.AcceptedMinor, w.PlannedMinor
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
	c.Accepted, c.Planned, c.Middle, c.Band = strings.Join(accepted, " "), strings.Join(planned, " "), strings.Join(middle, " "), strings.Join(upper, " ")
	c.NowX = coordinate(x(max(past-1, 0)))
	c.ticks(p, top, x, y, r)
	c.names(p, past, y)
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

func (c *chart) ticks(p ledger.Plan, top int64, x func(int) float64, y func(int64) float64, r words.Reader) {
	for i := range int64(chartTicks + 1) {
		c.YTicks = append(c.YTicks, chartTick{At: coordinate(y(top * i / chartTicks)), Minor: top * i / chartTicks})
	}
	n := len(p.Weeks)
	step := max(1, (n+5)/6)
	for i := step - 1; i < n; i += step {
		c.XTicks = append(c.XTicks, chartTick{At: coordinate(x(i)), Label: r.ShortDate(p.Weeks[i].Ends)})
	}
}

// names places the lines' names at their ends, apart from each other.
func (c *chart) names(p ledger.Plan, past int, y func(int64) float64) {
	last := p.Weeks[len(p.Weeks)-1]
	at := [3]float64{acceptedAt: y(c.Done), plannedAt: y(last.PlannedMinor), forecastedAt: y(last.MiddleMinor)}
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
	over := max(0, at[order[2]]-chartBottom)
	for i, v := range at {
		c.AtEnd[i] = chartTick{At: coordinate(v - over + 4)}
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
