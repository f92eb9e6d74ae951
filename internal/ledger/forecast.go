package ledger

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Planned is one milestone as a plan sees it.
type Planned struct {
	AmountMinor int64
	Currency    string
	Due         *Date
	FirstSealed *time.Time // of its first delivery
	Accepted    *time.Time
}

// PlanWeek is the end of one week: what was to be accepted by then, what was, and between what it is likely to be. Sums
// grow over the weeks.
type PlanWeek struct {
	Ends          Date  // the Monday after it, in UTC
	PlannedMinor  int64 // by due date
	AcceptedMinor int64
	LowMinor      int64 // of the draws, a tenth lies below
	MiddleMinor   int64 // half lies below
	HighMinor     int64 // nine tenths lie below
}

// Plan is accepted value against what was planned, in one currency.
type Plan struct {
	Currency   string
	TotalMinor int64
	Seed       uint64
	Draws      int
	Past       int // turn-round times that were drawn from
	Weeks      []PlanWeek
}

const (
	planDraws     = 1000
	planDrawsMin  = 100
	planDrawsMost = 1_000_000 // over all milestones: a large plan, whose sums vary less, is drawn fewer times
	planWeeksMax  = 520
	planWeeksPast = 104                 // before now; what is older counts in the first week
	fallbackTurns = 14 * 24 * time.Hour // where nothing was accepted yet; common practice, no source
)

// Forecast draws, for every milestone that is not accepted, how long it takes from its first delivery to its acceptance,
// out of the turn-round times of the past, with replacement (the bootstrap, Efron 1979). An undelivered milestone counts
// from its due date, or from now where that is past or there is none; one under way takes a time that is longer than it
// has taken already, where the past has one. The same seed gives the same plan.
func Forecast(list []Planned, past []time.Duration, now time.Time, seed uint64) Plan {
	open := 0
	for _, m := range list {
		if m.Accepted == nil {
			open++
		}
	}
	p := Plan{Seed: seed, Draws: min(planDraws, max(planDrawsMin, planDrawsMost/max(open, 1))), Past: len(past)}
	past = slices.Clone(past)
	slices.Sort(past)
	if len(past) == 0 {
		past = []time.Duration{fallbackTurns}
	}
	first, last := monday(now), monday(now)
	for _, m := range list {
		p.Currency = m.Currency
		p.TotalMinor += m.AmountMinor
		for _, at := range []*time.Time{m.Due, m.Accepted} {
			if at != nil && monday(*at).Before(first) {
				first = monday(*at)
			}
			if at != nil && monday(*at).After(last) {
				last = monday(*at)
			}
		}
	}
	if far := monday(now).AddDate(0, 0, -7*planWeeksPast); first.Before(far) {
		first = far
	}
	last = last.AddDate(0, 0, 7).Add(past[len(past)-1])
	for end := first.AddDate(0, 0, 7); len(p.Weeks) < planWeeksMax && end.Before(last.AddDate(0, 0, 7)); end = end.AddDate(0, 0, 7) {
		p.Weeks = append(p.Weeks, PlanWeek{Ends: end})
	}
	p.fill(list, past, now)
	return p
}

// monday is the Monday at or before an instant, in UTC.
func monday(t time.Time) time.Time {
	y, m, d := t.UTC().Date()
	return time.Date(y, m, d-int(t.UTC().Weekday()+6)%7, 0, 0, 0, 0, time.UTC)
}

// week is the index of the first week that ends after an instant; beyond the last one, the number of weeks.
func (p *Plan) week(t time.Time) int {
	i, _ := slices.BinarySearchFunc(p.Weeks, t, func(w PlanWeek, t time.Time) int {
		if w.Ends.After(t) {
			return 1
		}
		return -1
	})
	return i
}

// fill adds up the weeks. What is accepted is the same in every draw and is added once.
func (p *Plan) fill(list []Planned, past []time.Duration, now time.Time) {
	n := len(p.Weeks)
	begins := p.begins()
	base, planned, accepted := make([]int64, n+1), make([]int64, n+1), make([]int64, n+1)
	var open []openDraw
	for _, m := range list {
		if m.Due != nil {
			planned[p.week(*m.Due)] += m.AmountMinor
		}
		if m.Accepted != nil {
			accepted[p.week(*m.Accepted)] += m.AmountMinor
			continue
		}
		from, among := m.open(past, now)
		open = append(open, openDraw{m.AmountMinor, from.Sub(begins), among})
	}
	copy(base, accepted)
	random := rand.New(rand.NewPCG(p.Seed, 0))
	sums := make([]int64, p.Draws*n)
	one := make([]int64, n+1)
	for draw := range p.Draws { // a draw's sums at a time: they stay in the processor's nearest cache
		clear(one)
		for i := range open {
			m := &open[i]
			one[weekAfter(m.first+m.among[random.IntN(len(m.among))], n)] += m.amount
		}
		var sum int64
		for w := range n {
			sum += one[w]
			sums[w*p.Draws+draw] = sum
		}
	}
	for w := range p.Weeks {
		if w > 0 {
			base[w] += base[w-1]
			planned[w] += planned[w-1]
			accepted[w] += accepted[w-1]
		}
		at := sums[w*p.Draws : (w+1)*p.Draws]
		slices.Sort(at)
		p.Weeks[w].PlannedMinor, p.Weeks[w].AcceptedMinor = planned[w], accepted[w]
		p.Weeks[w].LowMinor, p.Weeks[w].MiddleMinor, p.Weeks[w].HighMinor = base[w]+at[p.Draws/10], base[w]+at[p.Draws/2], base[w]+at[p.Draws*9/10]
	}
}

// openDraw is a milestone that is not accepted: from when after the first week's beginning it is counted, and what it may take.
type openDraw struct {
	amount int64
	first  time.Duration
	among  []time.Duration
}

const weekLong = 7 * 24 * time.Hour

// begins is the Monday with which the first week begins.
func (p *Plan) begins() time.Time {
	if len(p.Weeks) == 0 {
		return time.Time{}
	}
	return p.Weeks[0].Ends.Add(-weekLong)
}

// weekAfter is the index of the week that an instant lies in, so long after the first week's beginning; at most n.
func weekAfter(d time.Duration, n int) int { return min(max(int(d/weekLong), 0), n) }

// open says from when a milestone that is not accepted is counted, and which of the past times may come: past is sorted.
func (m Planned) open(past []time.Duration, now time.Time) (from time.Time, among []time.Duration) {
	if m.FirstSealed == nil {
		if m.Due != nil && m.Due.After(now) {
			return *m.Due, past
		}
		return now, past
	}
	// Those that are longer than what it has taken already.
	i, _ := slices.BinarySearch(past, now.Sub(*m.FirstSealed)+1)
	if i == len(past) {
		return now, past // longer than any of the past: begins anew
	}
	return *m.FirstSealed, past[i:]
}

// PlanFilter is a project (the studio's) or a work order.
type PlanFilter struct{ Project, WorkOrder uuid.UUID }

// firstSealed is when the first delivery of milestone m was sealed: deliveries of a milestone are sealed in the order of their numbers.
// Index: delivery_number_key.
const firstSealed = `(SELECT d.sealed_at FROM ph.delivery d WHERE d.studio_id = m.studio_id AND d.milestone_id = m.id AND d.state = 'sealed' ORDER BY d.number LIMIT 1)`

// Plans compares accepted value with plan, for each currency, with a forecast drawn under a seed. Past turn-round times are
// those of the newest thousand acceptances that the caller may see, of the last year.
func (tx *Tx) Plans(ctx context.Context, f PlanFilter, seed uint64) ([]Plan, error) {
	of, id := "w.project_id", f.Project // never both in one query: an OR over two tables reads every milestone
	if f.Project != uuid.Nil {
		if _, err := tx.Project(ctx, f.Project); err != nil {
			return nil, err
		}
	} else {
		if of, id = "w.id", f.WorkOrder; f.WorkOrder == uuid.Nil {
			return nil, ErrNotFound
		}
		if _, err := tx.WorkOrder(ctx, f.WorkOrder); err != nil {
			return nil, err
		}
	}
	list, err := remembered(ctx, tx, "planned", f, func() ([]Planned, error) { return tx.planned(ctx, of, id) })
	if err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	turns, err := remembered(ctx, tx, "turn-rounds", nil, func() ([]turnRound, error) { return tx.turnRounds(ctx) })
	if err != nil {
		return nil, fmt.Errorf("past turn-round times: %w", err)
	}
	var now time.Time
	if err := tx.QueryRow(ctx, `SELECT now()`).Scan(&now); err != nil {
		return nil, fmt.Errorf("plan: %w", err)
	}
	var past []time.Duration
	for _, t := range turns {
		if t.At.After(now.AddDate(-1, 0, 0)) {
			past = append(past, time.Duration(t.Secs)*time.Second)
		}
	}
	var plans []Plan
	for len(list) > 0 { // by currency: amounts of two have no sum
		n := slices.IndexFunc(list, func(m Planned) bool { return m.Currency != list[0].Currency })
		if n < 0 {
			n = len(list)
		}
		plans = append(plans, Forecast(list[:n], past, now, seed))
		list = list[n:]
	}
	return plans, nil
}

// planned lists the milestones of a project or an order, by currency: those that are not accepted one by one, the accepted ones added up
// by the weeks in which they were due and were accepted, as a forecast counts them by nothing else.
func (tx *Tx) planned(ctx context.Context, of string, id uuid.UUID) ([]Planned, error) {
	// No event leads on from accepted: since is when it was.
	rows, err := tx.Query(ctx, tx.sql(`WITH m AS (SELECT m.studio_id, m.id, m.amount_minor + m.change_minor AS amount, w.currency, coalesce(m.due_moved, m.due_on) AS due, m.state = 'accepted' AS accepted, m.since, m.rounds
			FROM ph.work_order w JOIN ph.milestone m ON m.studio_id = w.studio_id AND m.work_order_id = w.id
			WHERE w.{me} = $1 AND `+of+` = $2 AND m.state <> 'cancelled' AND m.kind <> 'maintenance')
		SELECT sum(amount)::bigint, currency, date_trunc('week', due::timestamp)::date, NULL::timestamptz, date_trunc('week', since AT TIME ZONE 'UTC') AT TIME ZONE 'UTC', NULL::uuid
			FROM m WHERE accepted GROUP BY 2, 3, 5
		UNION ALL SELECT amount, currency, due, CASE WHEN rounds > 0 THEN `+firstSealed+` END, NULL, id FROM m WHERE NOT accepted ORDER BY 2, 6, 5, 3`), tx.Who.Party, id)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (p Planned, err error) {
		var id *uuid.UUID // for the order alone: a seed draws for the milestones in turn
		return p, row.Scan(&p.AmountMinor, &p.Currency, &p.Due, &p.FirstSealed, &p.Accepted, &id)
	})
}

// turnRound is how long a milestone took from its first delivery to its acceptance.
type turnRound struct {
	At   time.Time // of the acceptance
	Secs int64
}

// turnRounds lists those of the newest thousand acceptances. The newest: ids begin with their time. Index: the primary key,
// sign_off_by_vendor.
func (tx *Tx) turnRounds(ctx context.Context) ([]turnRound, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT m.at, extract(epoch FROM m.at - `+firstSealed+`)::bigint FROM (SELECT studio_id, milestone_id AS id, at FROM ph.sign_off
		WHERE {me} = $1 AND decision <> 'return' ORDER BY sign_off.id DESC LIMIT 1000) m`), tx.Who.Party)
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[turnRound])
}
