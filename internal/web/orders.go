package web

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
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
	return p.render(c, http.StatusOK, "orders", frame{Title: "Work orders", At: "orders"}, page)
}

// orderPage is one work order: what was agreed, its props, and what has been released.
type orderPage struct {
	Order    ledger.WorkOrder
	Project  *ledger.Project // for the studio only
	Props    []ledger.Prop
	Payables []ledger.Payable
	Next     string // further props
	Later    bool
	MorePaid bool
	Studio   bool
	Producer bool
}

func (p *Pages) order(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page orderPage, err error) {
		if page.Order, err = tx.WorkOrder(ctx, id); err != nil {
			return page, err
		}
		if page.Studio = who.Side == ledger.StudioSide; page.Studio {
			project, err := tx.Project(ctx, page.Order.ProjectID)
			if err != nil {
				return page, err
			}
			page.Project = &project
		}
		props, err := tx.Props(ctx, ledger.PropFilter{WorkOrder: id}, ledger.Page{After: c.QueryParam("after"), Limit: 100})
		if err != nil {
			return page, err
		}
		page.Props, page.Next = props.Items, props.Next
		paid, err := tx.Payables(ctx, id, ledger.Page{Limit: 100})
		page.Payables, page.MorePaid = paid.Items, paid.Next != ""
		return page, err
	})
	if err != nil {
		return err
	}
	page.Later, page.Producer = c.QueryParam("after") != "", who.Has(ledger.Producer)
	return p.render(c, http.StatusOK, "order", frame{Title: page.Order.Code + ", " + page.Order.Title, At: "orders"}, page)
}
