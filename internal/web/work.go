package web

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// ownDesks are the desks at which somebody sits.
func ownDesks(who ledger.Who) []ledger.Desk {
	var desks []ledger.Desk
	if who.Side == ledger.VendorSide {
		return []ledger.Desk{ledger.DeskVendor}
	}
	if who.Has(ledger.ArtDirector) {
		desks = append(desks, ledger.DeskArtDirector)
	}
	if who.Has(ledger.TechnicalArtist) {
		desks = append(desks, ledger.DeskTechnicalArtist)
	}
	return desks
}

func (p *Pages) work(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	mine := ownDesks(who)
	show := c.QueryParam("show")
	if show == "" {
		show = "mine"
		if len(mine) == 0 {
			show = "open" // a producer's work is everybody's
		}
	}
	filter := ledger.WorkFilter{Open: true}
	switch show {
	case "mine":
		filter.Desks = mine
	case "all":
		filter.Open = false
	default:
		show = "open"
	}
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.WorkItem], error) {
		return tx.MyWork(ctx, filter, ledger.Page{After: c.QueryParam("after"), Limit: 100})
	})
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "work", frame{Title: "Work"}, map[string]any{
		"Items": list.Items, "Next": list.Next, "Show": show, "HasDesk": len(mine) > 0, "Vendor": who.Side == ledger.VendorSide, "Later": c.QueryParam("after") != "",
	})
}

// propPage is one prop with everything that belongs to it.
type propPage struct {
	Prop       ledger.Prop
	Deliveries []ledger.Delivery
	Specs      []ledger.SpecHead
	MayAck     bool
	Studio     bool
}

func (p *Pages) prop(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page propPage, err error) {
		if page.Prop, err = tx.Prop(ctx, id); err != nil {
			return page, err
		}
		list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Prop: id}, ledger.Page{Limit: 200})
		if err != nil {
			return page, err
		}
		page.Deliveries = list.Items
		page.Specs, err = tx.SpecRevisions(ctx, id)
		return page, err
	})
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio = who.Side == ledger.StudioSide
	page.MayAck = who.Side == ledger.VendorSide && who.Has(ledger.VendorLead)
	return p.render(c, http.StatusOK, "prop", frame{Title: page.Prop.Title}, page)
}

func (p *Pages) acknowledge(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	rev, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.SpecRevision, error) {
		return tx.AcknowledgeSpec(ctx, id)
	})
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/props/"+rev.PropID.String())
}
