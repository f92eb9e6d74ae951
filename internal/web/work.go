package web

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
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

// workPage is a list of milestones: what lies on whose desk.
type workPage struct {
	Items   []ledger.WorkItem
	Next    string
	Show    string // "mine", "open" or "all"
	HasDesk bool
	Vendor  bool
	Later   bool // not the first page
}

func (p *Pages) work(c echo.Context) error {
	if c.QueryParam("show") == "" {
		return p.today(c)
	}
	who, _ := httpapi.Caller(c.Request().Context())
	mine := ownDesks(who)
	page := workPage{Show: c.QueryParam("show"), HasDesk: len(mine) > 0, Vendor: who.Side == ledger.VendorSide, Later: c.QueryParam("after") != ""}
	filter := ledger.WorkFilter{Open: true}
	switch {
	case page.Show == "all":
		filter.Open = false
	case page.HasDesk && page.Show != "open":
		page.Show, filter.Desks = "mine", mine
	default: // a producer's work is everybody's
		page.Show = "open"
	}
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.WorkItem], error) {
		return tx.MyWork(ctx, filter, ledger.Page{After: c.QueryParam("after"), Limit: 100})
	})
	if err != nil {
		return err
	}
	page.Items, page.Next = list.Items, list.Next
	return p.render(c, http.StatusOK, "work", frame{Title: words.P("work.title"), At: "work"}, page)
}
