package web

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
)

// newestCalendar is the calendar that the caller's party set last; without one what counts where nothing is pinned.
func newestCalendar(ctx context.Context, tx *ledger.Tx) (ledger.Calendar, error) {
	all, err := tx.Calendars(ctx)
	if err != nil || len(all) == 0 {
		return ledger.Calendar{TimeZone: "UTC", Workdays: []int{1, 2, 3, 4, 5}}, err
	}
	return all[0], nil
}

// Week are the days of the week, by their numbers in ISO 8601.
func (orderPage) Week() []int { return []int{1, 2, 3, 4, 5, 6, 7} }

// Works says whether the form of the calendar begins with a working day.
func (page orderPage) Works(day int) bool {
	if page.Refusal.Is("calendar") {
		return page.Refusal.Chose("calendar", "workday", strconv.Itoa(day))
	}
	return slices.Contains(page.Newest.Workdays, day)
}

// Holidays are those of the newest calendar as they are typed.
func (page orderPage) Holidays() string {
	var days []string
	for _, d := range page.Newest.Holidays {
		days = append(days, d.Format(time.DateOnly))
	}
	return strings.Join(days, "\n")
}

// pinCalendar sets the days that a side works, where the form says others than its newest calendar has, and pins them to the order.
func (p *Pages) pinCalendar(c echo.Context) error {
	return p.onOrder(c, "calendar", "order_calendar", func(ctx context.Context, tx *ledger.Tx, order uuid.UUID) (uuid.UUID, error) {
		in, err := typedCalendar(c)
		if err != nil {
			return uuid.Nil, err
		}
		last, err := newestCalendar(ctx, tx)
		if err != nil {
			return uuid.Nil, err
		}
		if last.ID == uuid.Nil || in.TimeZone != last.TimeZone || !slices.Equal(in.Workdays, last.Workdays) || !slices.EqualFunc(in.Holidays, last.Holidays, time.Time.Equal) {
			if last, err = tx.SetCalendar(ctx, in); err != nil {
				return uuid.Nil, err
			}
		}
		pinned, err := tx.PinCalendar(ctx, order, last.ID)
		return pinned.ID, err
	})
}

// typedCalendar reads the form: days one a line, or with blanks or commas between them.
func typedCalendar(c echo.Context) (in ledger.NewCalendar, err error) {
	in.TimeZone = typed(c, "zone")
	for _, text := range c.Request().PostForm["workday"] {
		day, err := strconv.Atoi(text)
		if err != nil {
			return in, &ledger.Invalid{Field: "workdays", Why: "are days of ISO 8601: 1 is Monday, 7 is Sunday"}
		}
		in.Workdays = append(in.Workdays, day)
	}
	slices.Sort(in.Workdays)
	for _, text := range strings.FieldsFunc(field(c, "holidays"), func(r rune) bool { return strings.ContainsRune(" ,;\t\r\n", r) }) {
		day, err := time.Parse(time.DateOnly, text)
		if err != nil {
			return in, &ledger.Invalid{Field: "holidays", Why: "is not a day such as 2026-11-27"}
		}
		in.Holidays = append(in.Holidays, day)
	}
	slices.SortFunc(in.Holidays, time.Time.Compare)
	return in, nil
}
