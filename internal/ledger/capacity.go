package ledger

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Week is what one vendor can take on in one week against what is due in it.
type Week struct {
	VendorID   uuid.UUID
	VendorName string
	On         Date // its Monday
	Slots      *int // milestones that the vendor can deliver; nil: not said
	Planned    int  // open milestones that are due in it
}

// Open is how many slots are left, below 0 where more is due than fits; false where the vendor has not said.
func (w Week) Open() (int, bool) {
	if w.Slots == nil {
		return 0, false
	}
	return *w.Slots - w.Planned, true
}

const weeksMax = 53

// Monday is the first day of a day's week, by ISO 8601.
func Monday(t time.Time) Date {
	y, m, d := t.Date()
	return time.Date(y, m, d-(int(t.Weekday())+6)%7, 0, 0, 0, 0, time.UTC)
}

// Capacity lists weeks from the one that holds the day on, by vendor and week: a vendor its own, a studio all of its
// vendors'. Index: milestone_work_of_*.
func (tx *Tx) Capacity(ctx context.Context, from Date, weeks int) ([]Week, error) {
	if weeks < 1 || weeks > weeksMax {
		return nil, invalid("weeks", "are not within 1 to %d", weeksMax)
	}
	first := Monday(from)
	planned, err := remembered(ctx, tx, "due in weeks", dueWeeks{first, weeks}, func() (map[dueWeek]int, error) { return tx.dueInWeeks(ctx, first, weeks) })
	if err != nil {
		return nil, fmt.Errorf("capacity: %w", err)
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT e.studio_id, e.vendor_id, e.vendor_name, w.week_on::date, c.slots
		FROM ph.engagement e CROSS JOIN generate_series($2::date, $2::date + 7 * ($3::int - 1), interval '7 days') AS w (week_on)
		LEFT JOIN ph.capacity c ON c.studio_id = e.studio_id AND c.vendor_id = e.vendor_id AND c.week_on = w.week_on::date
		WHERE e.{me} = $1 ORDER BY e.vendor_name, e.vendor_id, w.week_on`), tx.Who.Party, first, weeks)
	if err != nil {
		return nil, fmt.Errorf("capacity: %w", err)
	}
	return pgx.CollectRows(rows, func(row pgx.CollectableRow) (w Week, err error) {
		due := dueWeek{}
		err = row.Scan(&due.studio, &w.VendorID, &w.VendorName, &w.On, &w.Slots)
		due.vendor, due.on = w.VendorID, w.On.Format(time.DateOnly)
		w.Planned = planned[due]
		return w, err
	})
}

// dueWeeks are the weeks that are asked for.
type dueWeeks struct {
	first Date
	weeks int
}

// dueWeek is one week of a vendor's work for one studio.
type dueWeek struct {
	studio, vendor uuid.UUID
	on             string // its Monday, by ISO 8601
}

// dueInWeeks counts open milestones by the week that they are due in.
func (tx *Tx) dueInWeeks(ctx context.Context, first Date, weeks int) (map[dueWeek]int, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT m.studio_id, m.vendor_id, date_trunc('week', m.due_sort::timestamp)::date, count(*)::int FROM ph.milestone m
		WHERE m.{me} = $1 AND m.state NOT IN ('accepted', 'cancelled') AND m.due_sort >= $2::date AND m.due_sort < $2::date + 7 * $3::int GROUP BY 1, 2, 3`), tx.Who.Party, first, weeks)
	if err != nil {
		return nil, err
	}
	out := map[dueWeek]int{}
	var due dueWeek
	var on Date
	var n int
	_, err = pgx.ForEachRow(rows, []any{&due.studio, &due.vendor, &on, &n}, func() error {
		due.on = on.Format(time.DateOnly)
		out[due] = n
		return nil
	})
	return out, err
}

// SetCapacity says how many milestones the caller's party can deliver in the week that holds the day. It is a plan: saying it
// again changes it.
func (tx *Tx) SetCapacity(ctx context.Context, day Date, slots int) (Week, error) {
	if err := tx.allow("saying what fits into a week", VendorSide, VendorLead); err != nil {
		return Week{}, err
	}
	if slots < 0 || slots > 1000 {
		return Week{}, invalid("slots", "are not within 0 to 1000")
	}
	monday := Monday(day)
	tag, err := tx.Exec(ctx, `INSERT INTO ph.capacity (studio_id, vendor_id, week_on, slots, by_member, by_name)
		SELECT studio_id, vendor_id, $2, $3, $4, $5 FROM ph.engagement WHERE vendor_id = $1
		ON CONFLICT (studio_id, vendor_id, week_on) DO UPDATE SET slots = excluded.slots, by_member = excluded.by_member, by_name = excluded.by_name, at = now()`,
		tx.Who.Party, monday, slots, tx.Who.Member, tx.Who.Name)
	if err != nil {
		return Week{}, fmt.Errorf("capacity of %s: %w", monday.Format(time.DateOnly), err)
	}
	if tag.RowsAffected() == 0 {
		return Week{}, ErrNotFound
	}
	all, err := tx.Capacity(ctx, monday, 1)
	if err != nil || len(all) == 0 {
		return Week{}, fmt.Errorf("capacity of %s: %w", monday.Format(time.DateOnly), cmpErr(err, ErrNotFound))
	}
	return all[0], nil
}

// Left is Open where the vendor has said, else 0.
func (w Week) Left() int { open, _ := w.Open(); return open }
