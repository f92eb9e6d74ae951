package web

import (
	"context"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
)

// askPermit asks for a permit before the work: one check, as far as is said, for this prop.
func (p *Pages) askPermit(c echo.Context) error {
	return onProp(c, p, "permit", "permission", "permits", func(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (m ledger.Permission, id uuid.UUID, err error) {
		in := ledger.NewPermission{WorkOrder: prop.WorkOrderID, Kind: "permit", Prop: prop.ID, Check: typed(c, "check"), Part: typed(c, "part"), Set: typed(c, "set"), Reason: typed(c, "reason")}
		if in.Worst, err = decimal("worst", typed(c, "worst")); err != nil {
			return m, id, err
		}
		if in.Until, err = dayTyped("until", typed(c, "until")); err != nil {
			return m, id, err
		}
		m, err = tx.Permit(ctx, in)
		return m, m.ID, err
	})
}

// withdrawPermit takes a request back that nobody has answered.
func (p *Pages) withdrawPermit(c echo.Context) error {
	return onProp(c, p, "permits", "permission", "permits", func(ctx context.Context, tx *ledger.Tx, _ ledger.Prop) (m ledger.Permission, id uuid.UUID, err error) {
		if id, err = uuid.Parse(field(c, "permission")); err != nil {
			return m, id, ledger.ErrNotFound
		}
		m, err = tx.DecidePermission(ctx, id, "withdraw", typed(c, "reason"))
		return m, m.ID, err
	})
}

// answerChange agrees to, declines or withdraws a change order of the prop.
func (p *Pages) answerChange(c echo.Context) error {
	form := "change-" + field(c, "change")
	return onProp(c, p, form, "change_order", "changes", func(ctx context.Context, tx *ledger.Tx, _ ledger.Prop) (o ledger.ChangeOrder, id uuid.UUID, err error) {
		if id, err = uuid.Parse(field(c, "change")); err != nil {
			return o, id, ledger.ErrNotFound
		}
		o, err = tx.DecideChange(ctx, id, field(c, "answer"), typed(c, "reason"))
		return o, o.ID, err
	})
}

// offerChange offers the other side a change with its price.
func (p *Pages) offerChange(c echo.Context) error {
	return onProp(c, p, "offer", "change_order", "changes", func(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (o ledger.ChangeOrder, id uuid.UUID, err error) {
		in := ledger.NewChangeOrder{Title: typed(c, "title"), Reason: typed(c, "reason")}
		if in.Milestone, err = uuid.Parse(field(c, "milestone")); err != nil {
			return o, id, ledger.ErrNotFound
		}
		if in.DeltaMinor, err = amount(typed(c, "price"), prop.Currency); err != nil {
			return o, id, err
		}
		if in.Due, err = dayTyped("due", typed(c, "due")); err != nil {
			return o, id, err
		}
		o, err = tx.OfferChange(ctx, in)
		return o, o.ID, err
	})
}

// decimal reads a number of a form, with a point or a comma; nil where nothing was typed.
func decimal(name, text string) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		return nil, &ledger.Invalid{Field: name, Why: "is not a number"}
	}
	return &v, nil
}

// dayTyped reads a day of a form; nil where nothing was typed.
func dayTyped(name, text string) (*ledger.Date, error) {
	if text == "" {
		return nil, nil
	}
	day, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return nil, &ledger.Invalid{Field: name, Why: "is not a day such as 2026-11-27"}
	}
	return &day, nil
}
