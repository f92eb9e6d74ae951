package ledger_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"proofhouse/internal/ledger"
)

// TestFiguresAddUp: what is added up day by day is what a scan of the rows gives.
func TestFiguresAddUp(t *testing.T) {
	s := newScene(t)
	ms := s.yardProp.Milestones
	d := s.deliver(s.yard, ms[0].ID) // first pass
	s.inspect(passing())
	_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	s.deliver(s.yard, ms[1].ID) // second round, for the vendor's fault
	s.inspect(failing())
	d = s.deliver(s.yard, ms[1].ID)
	s.inspect(passing())
	_, err = s.signOff(s.studio, d.ID, ledger.Accept, "")
	require.NoError(t, err)
	figures := func(who ledger.Who, by string, f ledger.FigureFilter) (out []ledger.Performance, err error) {
		err = s.try(who, func(tx *ledger.Tx) (err error) { out, err = tx.Performances(s.ctx(), by, f); return err })
		return out, err
	}
	for _, by := range []string{"vendor", "project", "tier"} {
		got, err := figures(s.studio, by, ledger.FigureFilter{})
		require.NoError(t, err)
		require.Len(t, got, 1, by)
		p := got[0]
		require.EqualValues(t, []int64{2, 1, 3, 1, 0, 0}, []int64{p.Accepted, p.FirstPass, p.Rounds, p.ReworkVendor, p.ReworkStudio, p.WithDue}, by)
		require.InDelta(t, 0.5, p.FirstPassYield(), 0)
	}
	got, err := figures(s.lamp, "vendor", ledger.FigureFilter{})
	require.NoError(t, err)
	require.Empty(t, got, "a vendor sees its own figures")
	_, err = figures(s.yard, "project", ledger.FigureFilter{})
	require.ErrorIs(t, err, ledger.ErrForbidden)
	got, err = figures(s.studio, "tier", ledger.FigureFilter{Tier: "hero"})
	require.NoError(t, err)
	require.Empty(t, got)
	s.as(s.yard, func(tx *ledger.Tx) error {
		checks, err := tx.FailingChecks(s.ctx(), ledger.FigureFilter{}, 10)
		require.NoError(t, err)
		require.Equal(t, []ledger.CheckFigure{{Check: "surface.deviation", Judged: 1, Failed: 1}, {Check: "uv.range", Judged: 1, Failed: 1}}, checks)
		plans, err := tx.Plans(s.ctx(), ledger.PlanFilter{WorkOrder: s.yardOrder.ID}, 7)
		require.NoError(t, err)
		require.Len(t, plans, 1)
		p := plans[0]
		require.Equal(t, s.yardProp.PriceMinor, p.TotalMinor)
		require.Equal(t, 2, p.Past)
		last := p.Weeks[len(p.Weeks)-1]
		require.Equal(t, ms[0].AmountMinor+ms[1].AmountMinor, last.AcceptedMinor)
		require.Equal(t, p.TotalMinor, last.LowMinor, "in the end all of it")
		return nil
	})
	var direct int64
	require.NoError(t, s.owner.QueryRow(s.ctx(), `SELECT sum(vendor_secs + studio_secs + inspector_secs) FROM ph.milestone WHERE state = 'accepted'`).Scan(&direct))
	got, err = figures(s.studio, "vendor", ledger.FigureFilter{})
	require.NoError(t, err)
	require.Equal(t, time.Duration(direct)*time.Second, got[0].Vendor+got[0].Studio+got[0].Inspector)
}

// TestForecastRangeCovers: where turn-round times are drawn from one distribution, the range between the tenth and the
// ninetieth hundredth holds four fifths of what then comes (the bootstrap's percentile interval: Efron 1979, "Bootstrap
// methods: another look at the jackknife", The Annals of Statistics 7; from memory). The seed is fixed.
func TestForecastRangeCovers(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(20261127, 1))
	turn := func() time.Duration { return time.Duration(random.ExpFloat64() * 20 * 24 * float64(time.Hour)) }
	now := time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)
	past := make([]time.Duration, 400)
	for i := range past {
		past[i] = turn()
	}
	list := make([]ledger.Planned, 40)
	for i := range list {
		list[i] = ledger.Planned{AmountMinor: 100, Currency: "EUR"}
	}
	p := ledger.Forecast(list, past, now, 5)
	within, below, tries, week := 0, 0, 2000, 3
	for range tries {
		var sum int64
		for range list {
			if now.Add(turn()).Before(p.Weeks[week].Ends) {
				sum += 100
			}
		}
		if sum >= p.Weeks[week].LowMinor && sum <= p.Weeks[week].HighMinor {
			within++
		}
		if sum < p.Weeks[week].MiddleMinor {
			below++
		}
	}
	require.InDelta(t, 0.85, float64(within)/float64(tries), 0.07, "both ends of a range of whole props belong to it")
	require.InDelta(t, 0.45, float64(below)/float64(tries), 0.12)
	require.Equal(t, p, ledger.Forecast(list, past, now, 5), "the same seed, the same plan")
	require.NotEqual(t, p.Weeks, ledger.Forecast(list, past, now, 6).Weeks)
}

// TestForecastLaws: sums never fall, the range holds its middle, nothing is accepted before it was, and all of it comes.
func TestForecastLaws(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)
	rapid.Check(t, func(rt *rapid.T) {
		at := func(name string) *time.Time {
			if rapid.Bool().Draw(rt, name+" is there") {
				d := now.Add(time.Duration(rapid.IntRange(-200, 100).Draw(rt, name)) * 24 * time.Hour)
				return &d
			}
			return nil
		}
		var list []ledger.Planned
		for range rapid.IntRange(0, 8).Draw(rt, "milestones") {
			m := ledger.Planned{AmountMinor: rapid.Int64Range(0, 1e6).Draw(rt, "amount"), Currency: "EUR", Due: at("due"), FirstSealed: at("sealed"), Accepted: at("accepted")}
			for _, p := range []*time.Time{m.FirstSealed, m.Accepted} {
				if p != nil && p.After(now) {
					*p = now
				}
			}
			list = append(list, m)
		}
		var past []time.Duration
		for range rapid.IntRange(0, 6).Draw(rt, "past") {
			past = append(past, time.Duration(rapid.IntRange(0, 90).Draw(rt, "days"))*24*time.Hour)
		}
		p := ledger.Forecast(list, past, now, rapid.Uint64().Draw(rt, "seed"))
		var before ledger.PlanWeek
		for i, w := range p.Weeks {
			if w.PlannedMinor < before.PlannedMinor || w.AcceptedMinor < before.AcceptedMinor || w.LowMinor < before.LowMinor || w.HighMinor < before.HighMinor {
				rt.Fatalf("week %d falls: %+v after %+v", i, w, before)
			}
			if w.LowMinor > w.MiddleMinor || w.MiddleMinor > w.HighMinor || w.LowMinor < w.AcceptedMinor || w.HighMinor > p.TotalMinor {
				rt.Fatalf("week %d: %+v of %d", i, w, p.TotalMinor)
			}
			before = w
		}
		if before.LowMinor != p.TotalMinor {
			rt.Fatalf("in the end %d of %d", before.LowMinor, p.TotalMinor)
		}
	})
	require.False(t, math.IsNaN(ledger.Performance{}.FirstPassYield()))
}

// TestForecastOfAnOldPlan: one due date of long ago does not push today out of the plan.
func TestForecastOfAnOldPlan(t *testing.T) {
	t.Parallel()
	now := time.Date(2026, 11, 27, 12, 0, 0, 0, time.UTC)
	old, ahead, done := now.AddDate(-6, 0, 0), now.AddDate(4, 0, 0), now.AddDate(0, 0, -1)
	p := ledger.Forecast([]ledger.Planned{{AmountMinor: 5, Currency: "EUR", Due: &old}, {AmountMinor: 7, Currency: "EUR", Due: &ahead}, {AmountMinor: 11, Currency: "EUR", Due: &done, Accepted: &done}}, nil, now, 1)
	require.True(t, p.Weeks[0].Ends.Before(now))
	require.EqualValues(t, 5, p.Weeks[0].PlannedMinor, "what is older stands in the first week")
	last := p.Weeks[len(p.Weeks)-1]
	require.Equal(t, []int64{23, 11, 23, 23}, []int64{last.PlannedMinor, last.AcceptedMinor, last.LowMinor, last.HighMinor})
	require.True(t, last.Ends.After(ahead))
}

// A due day is the vendor's: what is sealed late on Friday on the American west coast came in time, though it is Saturday in UTC, and
// what is sealed early on Saturday in Wellington did not, though it still is Friday there.
func TestInTimeIsByTheVendorsDay(t *testing.T) {
	s := newScene(t)
	for i, row := range []struct {
		zone, sealed string
		onTime       int64
	}{
		{"America/Los_Angeles", "2026-03-07T02:00:00Z", 1}, // Friday, 18:00
		{"America/Los_Angeles", "2026-03-07T08:30:00Z", 1}, // Saturday, 00:30
		{"Pacific/Auckland", "2026-03-06T12:00:00Z", 1},    // Saturday, 01:00
		{"Pacific/Auckland", "2026-03-06T10:30:00Z", 2},    // Friday, 23:30
	} {
		s.as(s.yard, func(tx *ledger.Tx) error {
			_, err := tx.SetCalendar(s.ctx(), ledger.NewCalendar{TimeZone: row.zone, Workdays: []int{1, 2, 3, 4, 5}})
			return err
		})
		order, _ := s.order(s.yard, fmt.Sprintf("WO-DAY-%d", i), "lid")
		s.as(s.yard, func(tx *ledger.Tx) error { _, err := tx.PinCalendar(s.ctx(), order.ID, uuid.Nil); return err })
		var prop ledger.Prop
		due := ledger.Date(time.Date(2026, 3, 6, 0, 0, 0, 0, time.UTC)) // a Friday
		s.as(s.studio, func(tx *ledger.Tx) (err error) {
			prop, err = tx.CreateProp(s.ctx(), ledger.NewProp{WorkOrder: order.ID, Code: "hatch", Title: "Hatch", Tier: "mid", PriceMinor: 100, Milestones: []ledger.NewMilestone{{Kind: "sculpt", ShareBP: 10000, Due: &due}}})
			if err == nil {
				_, err = tx.CreateSpecRevision(s.ctx(), spec(prop.ID, "first"))
			}
			return err
		})
		d := s.deliver(s.yard, prop.Milestones[0].ID)
		s.inspect(passing())
		s.tamper(`UPDATE ph.delivery SET sealed_at = $1 WHERE id = $2`, row.sealed, d.ID)
		_, err := s.signOff(s.studio, d.ID, ledger.Accept, "")
		require.NoError(t, err)
		s.as(s.studio, func(tx *ledger.Tx) error {
			got, err := tx.Performances(s.ctx(), "vendor", ledger.FigureFilter{})
			require.NoError(t, err)
			require.Equal(t, []int64{int64(i + 1), row.onTime}, []int64{int64(got[0].WithDue), int64(got[0].OnTime)}, "%s at %s", row.zone, row.sealed)
			return nil
		})
	}
}
