package web

import (
	"context"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// ordersPage is a list of work orders, newest first.
type ordersPage struct {
	Items    []ledger.WorkOrder
	Projects map[uuid.UUID]ledger.Project // the studio's own; empty for a vendor
	Next     string
	Later    bool
	Studio   bool
	Producer bool
}

func (p *Pages) orders(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page ordersPage, err error) {
		list, err := tx.WorkOrders(ctx, ledger.Page{After: c.QueryParam("after"), Limit: 100})
		if err != nil {
			return page, err
		}
		page.Items, page.Next, page.Projects = list.Items, list.Next, map[uuid.UUID]ledger.Project{}
		if page.Studio = who.Side == ledger.StudioSide; !page.Studio {
			return page, nil
		}
		for _, o := range page.Items {
			if _, known := page.Projects[o.ProjectID]; known {
				continue
			}
			if page.Projects[o.ProjectID], err = tx.Project(ctx, o.ProjectID); err != nil {
				return page, err
			}
		}
		return page, nil
	})
	if err != nil {
		return err
	}
	page.Later, page.Producer = c.QueryParam("after") != "", who.Has(ledger.Producer)
	return p.render(c, http.StatusOK, "orders", frame{Title: words.P("orders.title"), At: "orders"}, page)
}

// orderPage is one work order: what was agreed, its props, what changed, and what has been released or waits for it.
type orderPage struct {
	Order     ledger.WorkOrder
	Project   *ledger.Project // for the studio only
	Props     []ledger.Line
	Payables  []ledger.Payable
	Calendars map[ledger.Side]ledger.OrderCalendar
	Changes   []ledger.ChangeOrder
	Holds     []ledger.PaymentHold
	Permits   []ledger.Permission
	Named     map[string]ledger.Line // their props, by id
	Next      string                 // further props
	Later     bool
	MorePaid  bool
	MoreMoved bool
	Studio    bool
	Producer  bool
	MayPin    bool            // the reader's side has no calendar on this order yet
	Newest    ledger.Calendar // of the reader's party, where it may be pinned
	Refusal   refusal
}

func (p *Pages) order(c echo.Context) error { return p.showOrder(c, http.StatusOK, refusal{}) }

func (p *Pages) showOrder(c echo.Context, status int, r refusal) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page := orderPage{Studio: who.Side == ledger.StudioSide, Producer: who.Has(ledger.Producer), Later: c.QueryParam("after") != "", Refusal: r, Calendars: map[ledger.Side]ledger.OrderCalendar{}}
	if _, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		return none, page.load(ctx, tx, id, c.QueryParam("after"))
	}); err != nil {
		return err
	}
	_, pinned := page.Calendars[who.Side]
	page.MayPin = !pinned && who.Has(ledger.Producer, ledger.VendorLead)
	if page.MayPin {
		if page.Newest, err = as(c, p, newestCalendar); err != nil {
			return err
		}
	}
	return p.render(c, status, "order", frame{Title: page.Order.Code + ", " + page.Order.Title, At: "orders"}, page)
}

func (page *orderPage) load(ctx context.Context, tx *ledger.Tx, id uuid.UUID, after string) (err error) {
	if page.Order, err = tx.WorkOrder(ctx, id); err != nil {
		return err
	}
	if page.Studio {
		project, err := tx.Project(ctx, page.Order.ProjectID)
		if err != nil {
			return err
		}
		page.Project = &project
	}
	props, err := tx.Lines(ctx, ledger.LineFilter{WorkOrder: id}, ledger.LineOrder{}, ledger.Page{After: after, Limit: 100})
	if err != nil {
		return err
	}
	page.Props, page.Next = props.Items, props.Next
	paid, err := tx.Payables(ctx, id, ledger.Page{Limit: 50})
	if err != nil {
		return err
	}
	page.Payables, page.MorePaid = paid.Items, paid.Next != ""
	calendars, err := tx.OrderCalendars(ctx, id)
	if err != nil {
		return err
	}
	for _, c := range calendars {
		page.Calendars[c.Side] = c
	}
	changes, err := tx.ChangeOrders(ctx, id, ledger.Page{Limit: 50})
	if err != nil {
		return err
	}
	page.Changes, page.MoreMoved = changes.Items, changes.Next != ""
	permits, err := tx.Permissions(ctx, id, ledger.Page{Limit: 50})
	if err != nil {
		return err
	}
	page.Permits = permits.Items
	if page.Named, err = propsOfPermits(ctx, tx, page.Permits); err != nil {
		return err
	}
	page.Holds, err = tx.PaymentHolds(ctx, id)
	return err
}

// Calendar is one side's, or nothing.
func (page orderPage) Calendar(side string) *ledger.OrderCalendar {
	if c, ok := page.Calendars[ledger.Side(side)]; ok {
		return &c
	}
	return nil
}

// Upcoming are the holidays of a calendar that are still to come, the first few.
func (page orderPage) Upcoming(c *ledger.OrderCalendar) (days []time.Time) {
	for _, d := range c.Holidays {
		if d.After(time.Now()) && len(days) < 8 {
			days = append(days, d)
		}
	}
	return days
}

// cancelMilestone stops one milestone of the order, for a fee where work had begun.
func (p *Pages) cancelMilestone(c echo.Context) error {
	return p.onOrder(c, "cancel", "milestone", func(ctx context.Context, tx *ledger.Tx, order uuid.UUID) (id uuid.UUID, err error) {
		if id, err = uuid.Parse(field(c, "milestone")); err != nil {
			return id, &ledger.Invalid{Field: "milestone", Why: "is not chosen"}
		}
		o, err := tx.WorkOrder(ctx, order)
		if err != nil {
			return id, err
		}
		var fee *int64
		if text := typed(c, "fee"); text != "" {
			minor, err := amount(text, o.Currency)
			if err != nil {
				return id, err
			}
			fee = &minor
		}
		_, err = tx.CancelMilestone(ctx, id, typed(c, "reason"), fee)
		return id, err
	})
}

// endHold lets an accepted milestone be paid whose source files are owed.
func (p *Pages) endHold(c echo.Context) error {
	return p.onOrder(c, "hold-"+field(c, "hold"), "payment_hold", func(ctx context.Context, tx *ledger.Tx, _ uuid.UUID) (id uuid.UUID, err error) {
		if id, err = uuid.Parse(field(c, "hold")); err != nil {
			return id, ledger.ErrNotFound
		}
		_, err = tx.EndPaymentHold(ctx, id, typed(c, "reason"))
		return id, err
	})
}

// onOrder does what a form of an order's page asks for. A refusal stands beside the form, with what was typed.
func (p *Pages) onOrder(c echo.Context, form, kind string, effect func(ctx context.Context, tx *ledger.Tx, order uuid.UUID) (uuid.UUID, error)) error {
	order, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, kind, func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		id, err = effect(ctx, tx, order)
		return none, id, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, form, err)
		return p.showOrder(c, r.Status, r)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/orders/"+order.String())
}
