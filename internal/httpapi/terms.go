package httpapi

import (
	"context"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) ListCalendars(ctx context.Context, _ api.ListCalendarsRequestObject) (api.ListCalendarsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Calendar, error) { return tx.Calendars(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListCalendars200JSONResponse{Items: each(list, calendarOf)}, nil
}

func (h *handlers) SetCalendar(ctx context.Context, r api.SetCalendarRequestObject) (api.SetCalendarResponseObject, error) {
	in := ledger.NewCalendar{TimeZone: r.Body.TimeZone, Workdays: r.Body.Workdays, Holidays: each(or(r.Body.Holidays, nil), dateOf)}
	c, _, err := once(ctx, h.Server, "calendar", func(tx *ledger.Tx) (ledger.Calendar, uuid.UUID, error) {
		c, err := tx.SetCalendar(ctx, in)
		return c, c.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Calendar, error) {
		all, err := tx.Calendars(ctx)
		return among(all, err, func(c ledger.Calendar) bool { return c.ID == id })
	})
	if err != nil {
		return nil, err
	}
	return api.SetCalendar201JSONResponse(calendarOf(c)), nil
}

func dateOf(d openapi_types.Date) ledger.Date  { return d.Time }
func apiDate(d ledger.Date) openapi_types.Date { return openapi_types.Date{Time: d} }

// dueOf is an optional day of a request.
func dueOf(d *openapi_types.Date) *ledger.Date {
	if d == nil {
		return nil
	}
	return &d.Time
}

func calendarOf(c ledger.Calendar) api.Calendar {
	return api.Calendar{Id: c.ID, Number: c.Number, TimeZone: c.TimeZone, Workdays: c.Workdays, Holidays: each(c.Holidays, apiDate), CreatedAt: c.CreatedAt.UTC()}
}

func orderCalendarOf(c ledger.OrderCalendar) api.OrderCalendar {
	return api.OrderCalendar{Id: c.ID, Side: api.Side(c.Side), Number: c.Number, TimeZone: c.TimeZone, Workdays: c.Workdays, Holidays: each(c.Holidays, apiDate), At: c.At.UTC()}
}

func (h *handlers) ListOrderCalendars(ctx context.Context, r api.ListOrderCalendarsRequestObject) (api.ListOrderCalendarsResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) ([]ledger.OrderCalendar, error) { return tx.OrderCalendars(ctx, r.WorkOrderId) })
	if err != nil {
		return nil, err
	}
	return api.ListOrderCalendars200JSONResponse{Items: each(list, orderCalendarOf)}, nil
}

// ofOrder reads something of a work order that the caller can see.
func ofOrder[T any](ctx context.Context, s *Server, id uuid.UUID, fn func(tx *ledger.Tx) (T, error)) (T, error) {
	return read(ctx, s, func(tx *ledger.Tx) (out T, err error) {
		if _, err := tx.WorkOrder(ctx, id); err != nil {
			return out, err
		}
		return fn(tx)
	})
}

func (h *handlers) PinCalendar(ctx context.Context, r api.PinCalendarRequestObject) (api.PinCalendarResponseObject, error) {
	c, _, err := once(ctx, h.Server, "order_calendar", func(tx *ledger.Tx) (ledger.OrderCalendar, uuid.UUID, error) {
		c, err := tx.PinCalendar(ctx, r.WorkOrderId, or(r.Body.CalendarId, uuid.Nil))
		return c, c.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.OrderCalendar, error) {
		all, err := tx.OrderCalendars(ctx, r.WorkOrderId)
		return among(all, err, func(c ledger.OrderCalendar) bool { return c.ID == id })
	})
	if err != nil {
		return nil, err
	}
	return api.PinCalendar201JSONResponse(orderCalendarOf(c)), nil
}

func (h *handlers) ListChangeOrders(ctx context.Context, r api.ListChangeOrdersRequestObject) (api.ListChangeOrdersResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) (ledger.List[ledger.ChangeOrder], error) {
		return tx.ChangeOrders(ctx, r.WorkOrderId, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListChangeOrders200JSONResponse{Items: each(list.Items, changeOf), Next: next(list.Next)}, nil
}

func (h *handlers) GetChangeOrder(ctx context.Context, r api.GetChangeOrderRequestObject) (api.GetChangeOrderResponseObject, error) {
	c, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.ChangeOrder, error) { return tx.ChangeOrder(ctx, r.ChangeOrderId) })
	if err != nil {
		return nil, err
	}
	return api.GetChangeOrder200JSONResponse(changeOf(c)), nil
}

func (h *handlers) OfferChange(ctx context.Context, r api.OfferChangeRequestObject) (api.OfferChangeResponseObject, error) {
	in := ledger.NewChangeOrder{
		Milestone: r.MilestoneId, Title: r.Body.Title, Reason: r.Body.Reason, DeltaMinor: r.Body.Price.AmountMinor, Due: dueOf(r.Body.DueOn),
		Spec: or(r.Body.SpecId, uuid.Nil),
	}
	c, _, err := once(ctx, h.Server, "change_order", func(tx *ledger.Tx) (ledger.ChangeOrder, uuid.UUID, error) {
		if err := inCurrency(ctx, tx, r.MilestoneId, r.Body.Price); err != nil {
			return ledger.ChangeOrder{}, uuid.Nil, err
		}
		c, err := tx.OfferChange(ctx, in)
		return c, c.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.ChangeOrder, error) { return tx.ChangeOrder(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.OfferChange201JSONResponse(changeOf(c)), nil
}

// inCurrency refuses money in another currency than that of the milestone's order.
func inCurrency(ctx context.Context, tx *ledger.Tx, milestone uuid.UUID, m api.Money) error {
	ms, err := tx.Milestone(ctx, milestone)
	if err != nil {
		return err
	}
	p, err := tx.Prop(ctx, ms.PropID)
	if err == nil && m.Currency != p.Currency {
		return invalidField("price/currency", "must be the work order's currency, "+p.Currency)
	}
	return err
}

func (h *handlers) DecideChange(ctx context.Context, r api.DecideChangeRequestObject) (api.DecideChangeResponseObject, error) {
	c, _, err := once(ctx, h.Server, "change_order", func(tx *ledger.Tx) (ledger.ChangeOrder, uuid.UUID, error) {
		c, err := tx.DecideChange(ctx, r.ChangeOrderId, string(r.Body.Decision), or(r.Body.Reason, ""))
		return c, c.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.ChangeOrder, error) { return tx.ChangeOrder(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.DecideChange200JSONResponse(changeOf(c)), nil
}

func changeOf(c ledger.ChangeOrder) api.ChangeOrder {
	return api.ChangeOrder{
		Id: c.ID, WorkOrderId: c.WorkOrderID, PropId: c.PropID, PropCode: c.PropCode, MilestoneId: c.MilestoneID, MilestoneKind: api.MilestoneKind(c.Milestone),
		Title: c.Title, Reason: c.Reason, Price: money(c.DeltaMinor, c.Currency), DueOn: day(c.Due), SpecId: c.Spec, DeliveryId: c.Delivery,
		State: api.ChangeState(c.State), Since: c.Since.UTC(), OfferedAt: c.OfferedAt.UTC(), By: c.ByName, DecidedReason: c.DecidedReason,
	}
}

// priceOf is the price box of a request; nil where none was sent.
func priceOf(p *api.ChangePrice) *ledger.SpecChange {
	if p == nil {
		return nil
	}
	return &ledger.SpecChange{DeltaMinor: p.Price.AmountMinor, Due: dueOf(p.DueOn)}
}

// milestoneAct does one act on a milestone, once.
func (h *handlers) milestoneAct(ctx context.Context, id uuid.UUID, act func(tx *ledger.Tx) (ledger.Milestone, error)) (api.Milestone, error) {
	type made struct {
		milestone ledger.Milestone
		currency  string
	}
	with := func(tx *ledger.Tx, m ledger.Milestone, err error) (made, error) {
		if err != nil {
			return made{}, err
		}
		prop, err := tx.Prop(ctx, m.PropID)
		return made{m, prop.Currency}, err
	}
	out, _, err := once(ctx, h.Server, "milestone", func(tx *ledger.Tx) (made, uuid.UUID, error) {
		m, err := act(tx)
		done, err := with(tx, m, err)
		return done, id, err
	}, func(tx *ledger.Tx, id uuid.UUID) (made, error) {
		m, err := tx.Milestone(ctx, id)
		return with(tx, m, err)
	})
	return milestoneOf(out.milestone, out.currency), err
}

func (h *handlers) CancelMilestone(ctx context.Context, r api.CancelMilestoneRequestObject) (api.CancelMilestoneResponseObject, error) {
	m, err := h.milestoneAct(ctx, r.MilestoneId, func(tx *ledger.Tx) (ledger.Milestone, error) {
		var fee *int64
		if r.Body.Fee != nil {
			if err := inCurrency(ctx, tx, r.MilestoneId, *r.Body.Fee); err != nil {
				return ledger.Milestone{}, err
			}
			fee = &r.Body.Fee.AmountMinor
		}
		return tx.CancelMilestone(ctx, r.MilestoneId, r.Body.Reason, fee)
	})
	if err != nil {
		return nil, err
	}
	return api.CancelMilestone200JSONResponse(m), nil
}

func (h *handlers) HoldMilestone(ctx context.Context, r api.HoldMilestoneRequestObject) (api.HoldMilestoneResponseObject, error) {
	m, err := h.milestoneAct(ctx, r.MilestoneId, func(tx *ledger.Tx) (ledger.Milestone, error) {
		return tx.HoldMilestone(ctx, r.MilestoneId, r.Body.Reason)
	})
	if err != nil {
		return nil, err
	}
	return api.HoldMilestone200JSONResponse(m), nil
}

func (h *handlers) ResumeMilestone(ctx context.Context, r api.ResumeMilestoneRequestObject) (api.ResumeMilestoneResponseObject, error) {
	m, err := h.milestoneAct(ctx, r.MilestoneId, func(tx *ledger.Tx) (ledger.Milestone, error) {
		return tx.ResumeMilestone(ctx, r.MilestoneId, "")
	})
	if err != nil {
		return nil, err
	}
	return api.ResumeMilestone200JSONResponse(m), nil
}

func reworkOf(r ledger.Rework) api.Rework {
	return api.Rework{Vendor: r.Vendor, Studio: r.Studio, Included: r.Included, Beyond: r.Beyond()}
}

func clocksOf(c ledger.Clocks) api.Clocks {
	return api.Clocks{VendorSeconds: int64(c.Vendor / time.Second), StudioSeconds: int64(c.Studio / time.Second), InspectorSeconds: int64(c.Inspector / time.Second)}
}
