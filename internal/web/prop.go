package web

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// propPage is one prop with everything that belongs to it.
type propPage struct {
	Prop       ledger.Prop
	Deliveries []ledger.Delivery
	Earlier    bool // there are more deliveries than are shown
	Specs      []ledger.SpecHead
	MayAck     bool
	Studio     bool
	Server     string
}

// deliveriesShown is how many of a prop's newest deliveries a page lists.
const deliveriesShown = 200

func (p *Pages) prop(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page propPage, err error) {
		if page.Prop, err = tx.Prop(ctx, id); err != nil {
			return page, err
		}
		list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Prop: id}, ledger.Page{Limit: deliveriesShown})
		if err != nil {
			return page, err
		}
		page.Deliveries, page.Earlier = list.Items, list.Next != ""
		page.Specs, err = tx.SpecRevisions(ctx, id)
		return page, err
	})
	if err != nil {
		return err
	}
	page.Studio = who.Side == ledger.StudioSide
	page.MayAck = who.Has(ledger.VendorLead)
	page.Server = p.server.PublicURL()
	return p.render(c, http.StatusOK, "prop", frame{Title: page.Prop.Title, At: "work"}, page)
}
