package ledger

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
	_ "time/tzdata" // zones are the same on every machine

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// NewCalendar is a party's working days from now on.
type NewCalendar struct {
	TimeZone string // of the IANA time zone database: "Europe/Oslo"
	Workdays []int  // ISO 8601: 1 is Monday, 7 Sunday
	Holidays []Date
}

// Calendar is one revision of a party's working days. Orders pin a revision: holidays that come later change no promise.
type Calendar struct {
	ID        uuid.UUID
	Number    int
	TimeZone  string
	Workdays  []int
	Holidays  []Date
	CreatedAt time.Time
}

// plainCalendar counts where a side has pinned none: Monday to Friday in UTC, no holidays.
var plainCalendar = Calendar{TimeZone: "UTC", Workdays: []int{1, 2, 3, 4, 5}}

const holidaysMax = 1000

// AfterWorkingDays is the end of the n-th working day after the day of t: the day in which the event falls does not
// count, and the period ends with the last hour of its last day (Regulation (EEC, Euratom) No 1182/71, Articles 2(2) and
// 3(1) to (3)). n is at least 1.
func (c Calendar) AfterWorkingDays(t time.Time, n int) (time.Time, error) {
	zone, err := zoneOf(c.TimeZone)
	if err != nil {
		return time.Time{}, err
	}
	y, m, d := t.In(zone).Date()
	// One working day a week, and each holiday on one of them: no calendar needs longer.
	last := 7 * (n + len(c.Holidays) + 1)
	for days := 1; days <= last; days++ {
		day := time.Date(y, m, d+days, 0, 0, 0, 0, time.UTC)
		if !c.works(day) {
			continue
		}
		if n--; n <= 0 {
			return beginning(y, m, d+days+1, zone), nil
		}
	}
	return time.Time{}, invalid("workdays", "are days of ISO 8601: 1 is Monday, 7 is Sunday")
}

// zoneOf is a zone by its name in the IANA database: not the machine's own, which Go calls Local, nor the empty name.
func zoneOf(name string) (*time.Location, error) {
	zone, err := time.LoadLocation(name)
	if err != nil || name == "" || name == time.Local.String() {
		return nil, invalid("time_zone", "%q is not in the IANA time zone database", name)
	}
	return zone, nil
}

// beginning is the first moment of a day in a zone. That is not midnight where summer time begins then: for such a time time.Date
// does not say which side it answers.
func beginning(y int, m time.Month, d int, zone *time.Location) time.Time {
	at := time.Date(y, m, d, 0, 0, 0, 0, zone)
	yy, mm, dd := at.Date()
	if time.Date(yy, mm, dd, 0, 0, 0, 0, time.UTC).Before(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)) { // still the day before: the day begins with the new time
		_, at = at.ZoneBounds()
	}
	return at
}

// works says whether a day, given as its midnight in UTC, is a working day.
func (c Calendar) works(day time.Time) bool {
	weekday := int(day.Weekday()+6)%7 + 1
	return slices.Contains(c.Workdays, weekday) && !slices.ContainsFunc(c.Holidays, day.Equal)
}

// SetCalendar adds a revision to the caller's own party's calendar.
func (tx *Tx) SetCalendar(ctx context.Context, in NewCalendar) (Calendar, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return Calendar{}, fmt.Errorf("%w: the calendar is set by a producer or a vendor's lead", ErrForbidden)
	}
	slices.Sort(in.Workdays)
	c := Calendar{ID: newID(), TimeZone: in.TimeZone, Workdays: slices.Compact(in.Workdays), Holidays: in.Holidays}
	switch {
	case len(c.Workdays) == 0 || c.Workdays[0] < 1 || c.Workdays[len(c.Workdays)-1] > 7:
		return Calendar{}, invalid("workdays", "are days of ISO 8601: 1 is Monday, 7 is Sunday")
	case len(c.Holidays) > holidaysMax:
		return Calendar{}, invalid("holidays", "are over %d", holidaysMax)
	}
	c.Holidays = append([]Date{}, c.Holidays...) // none is not NULL
	slices.SortFunc(c.Holidays, time.Time.Compare)
	var now time.Time
	if err := tx.QueryRow(ctx, `SELECT now()`).Scan(&now); err != nil {
		return Calendar{}, fmt.Errorf("set the calendar: %w", err)
	}
	if _, err := c.AfterWorkingDays(now, 1); err != nil {
		return Calendar{}, err
	}
	err := tx.QueryRow(ctx, `INSERT INTO ph.calendar (party_id, id, number, time_zone, workdays, holidays, by_member, by_name)
		VALUES ($1, $2, (SELECT coalesce(max(number), 0) + 1 FROM ph.calendar WHERE party_id = $1), $3, $4, $5, $6, $7) RETURNING number, created_at`,
		tx.Who.Party, c.ID, c.TimeZone, c.Workdays, c.Holidays, tx.Who.Member, tx.Who.Name).Scan(&c.Number, &c.CreatedAt)
	if err != nil {
		return Calendar{}, fmt.Errorf("set the calendar: %w", err)
	}
	return c, nil
}

// Calendars lists the revisions of the caller's own party, newest first.
func (tx *Tx) Calendars(ctx context.Context) ([]Calendar, error) {
	rows, err := tx.Query(ctx, `SELECT id, number, time_zone, workdays, holidays, created_at FROM ph.calendar WHERE party_id = $1 ORDER BY number DESC LIMIT 100`, tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("calendars: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Calendar])
}

// OrderCalendar is the revision by which one side promised to work on an order.
type OrderCalendar struct {
	ID       uuid.UUID
	Side     Side
	Number   int
	TimeZone string
	Workdays []int
	Holidays []Date
	At       time.Time
}

func (o OrderCalendar) calendar() Calendar {
	return Calendar{Number: o.Number, TimeZone: o.TimeZone, Workdays: o.Workdays, Holidays: o.Holidays}
}

// PinCalendar makes a revision of the caller's calendar, the newest where none is named, the one that counts on an order.
// It is done once for each side.
func (tx *Tx) PinCalendar(ctx context.Context, order, calendar uuid.UUID) (OrderCalendar, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return OrderCalendar{}, fmt.Errorf("%w: a calendar is pinned by a producer or a vendor's lead", ErrForbidden)
	}
	var studio, vendor uuid.UUID
	if err := tx.QueryRow(ctx, tx.sql(`SELECT studio_id, vendor_id FROM ph.work_order WHERE {me} = $1 AND id = $2`), tx.Who.Party, order).Scan(&studio, &vendor); err != nil {
		return OrderCalendar{}, fmt.Errorf("work order %s: %w", order, mapError(err))
	}
	id := newID()
	tag, err := tx.Exec(ctx, `INSERT INTO ph.order_calendar (studio_id, vendor_id, work_order_id, id, side, calendar_id, number, time_zone, workdays, holidays, by_member, by_name)
		SELECT $1, $2, $3, $4, $5, id, number, time_zone, workdays, holidays, $6, $7 FROM ph.calendar
		WHERE party_id = $8 AND ($9::uuid IS NULL OR id = $9) ORDER BY number DESC LIMIT 1`,
		studio, vendor, order, id, tx.Who.Side, tx.Who.Member, tx.Who.Name, tx.Who.Party, idOrNull(calendar))
	if err != nil {
		return OrderCalendar{}, fmt.Errorf("pin a calendar to work order %s: %w", order, err)
	}
	if tag.RowsAffected() == 0 && calendar == uuid.Nil {
		return OrderCalendar{}, fmt.Errorf("%w: your party has set no calendar yet", ErrState)
	}
	if tag.RowsAffected() == 0 {
		return OrderCalendar{}, fmt.Errorf("calendar %s: %w", calendar, ErrNotFound)
	}
	tx.fact(FactCalendarPinned, studio, order, id)
	all, err := tx.OrderCalendars(ctx, order)
	if err != nil {
		return OrderCalendar{}, err
	}
	for _, c := range all {
		if c.ID == id {
			return c, nil
		}
	}
	return OrderCalendar{}, ErrNotFound
}

// OrderCalendars are the calendars that count on an order, by side.
func (tx *Tx) OrderCalendars(ctx context.Context, order uuid.UUID) ([]OrderCalendar, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT id, side, number, time_zone, workdays, holidays, at FROM ph.order_calendar
		WHERE {me} = $1 AND work_order_id = $2 ORDER BY side`), tx.Who.Party, order)
	if err != nil {
		return nil, fmt.Errorf("calendars of work order %s: %w", order, err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[OrderCalendar])
}

// reviewDue is when the studio's time to review ends that begins now, by the database's clock.
func (tx *Tx) reviewDue(ctx context.Context, studio, order uuid.UUID) (time.Time, error) {
	var now time.Time
	var days int
	if err := tx.QueryRow(ctx, `SELECT now(), review_days FROM ph.work_order WHERE studio_id = $1 AND id = $2`, studio, order).Scan(&now, &days); err != nil {
		return now, fmt.Errorf("review window of work order %s: %w", order, err)
	}
	c, err := tx.studioCalendar(ctx, studio, order)
	if err != nil {
		return now, err
	}
	return c.AfterWorkingDays(now, days)
}

// studioCalendar is the calendar by which the studio's time on an order is counted.
func (tx *Tx) studioCalendar(ctx context.Context, studio, order uuid.UUID) (Calendar, error) {
	var c Calendar
	err := tx.QueryRow(ctx, `SELECT time_zone, workdays, holidays FROM ph.order_calendar WHERE studio_id = $1 AND work_order_id = $2 AND side = 'studio'`, studio, order).
		Scan(&c.TimeZone, &c.Workdays, &c.Holidays)
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return plainCalendar, nil
	case err != nil:
		return c, fmt.Errorf("calendar of work order %s: %w", order, err)
	}
	return c, nil
}

// idOrNull is NULL for the zero id.
func idOrNull(id uuid.UUID) *uuid.UUID {
	if id == uuid.Nil {
		return nil
	}
	return &id
}
