package web

import (
	"context"
	"net/http"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/money"
	"proofhouse/internal/web/words"
)

// storedPage is what lies in storage, and what it costs the studio each month where the operator named a price.
type storedPage struct {
	All             storedRow
	Vendors, Orders []storedRow // the largest first; vendors for the studio alone
	Props           []storedRow // of Order, where one is asked for
	Order           *ledger.WorkOrder
	More            map[string]int // rows beyond those shown
	Currency        string         // "" without a price
	Studio          bool
	Limits          []ledger.Quota
	LimitsFor       []quotaFor // whom the reader may set one for
	Said            bool
	Refusal         refusal
}

// storedRow is one line with its share of all bytes and its price a month, in the currency's smallest unit.
type storedRow struct {
	ledger.Stored
	Share    float64
	PerMonth int64
}

// storedShown is how many rows a table holds; the interface has all.
const storedShown = 200

func (p *Pages) stored(c echo.Context) error { return p.showStored(c, http.StatusOK, refusal{}) }

func (p *Pages) showStored(c echo.Context, status int, r refusal) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page := storedPage{Studio: who.Side == ledger.StudioSide, More: map[string]int{}, Said: c.QueryParam("said") != "", Refusal: r}
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if err := page.loadLimits(ctx, tx); err != nil {
			return none, err
		}
		return none, page.load(ctx, tx, p.server.StoragePrice(), c.QueryParam("order"))
	})
	if err != nil {
		return err
	}
	return p.render(c, status, "stored", frame{Title: words.P("stored.title"), At: "orders"}, page)
}

func (page *storedPage) load(ctx context.Context, tx *ledger.Tx, price httpapi.StoragePrice, order string) error {
	if !page.Studio {
		price = httpapi.StoragePrice{} // the studio's to pay
	}
	page.Currency = price.Currency
	orders, err := tx.StoredByOrder(ctx)
	if err != nil {
		return err
	}
	for _, o := range orders {
		page.All.DeliveredBytes += o.DeliveredBytes
		page.All.RemovedBytes += o.RemovedBytes
		page.All.EvidenceBytes += o.EvidenceBytes
	}
	rows := func(name string, list []ledger.Stored) (out []storedRow) {
		page.More[name] = max(0, len(list)-storedShown)
		for _, s := range list[:min(len(list), storedShown)] {
			out = append(out, page.row(s, price))
		}
		return out
	}
	page.All, page.Orders = page.row(page.All.Stored, price), rows("orders", orders)
	if page.Studio {
		vendors, err := tx.StoredByVendor(ctx)
		if err != nil {
			return err
		}
		page.Vendors = rows("vendors", vendors)
	}
	id, err := uuid.Parse(order)
	if err != nil {
		return nil // no order is asked for
	}
	one, err := tx.WorkOrder(ctx, id)
	if err != nil {
		return err
	}
	props, err := tx.StoredByProp(ctx, id)
	page.Order, page.Props = &one, rows("props", props)
	return err
}

func (page *storedPage) row(s ledger.Stored, price httpapi.StoragePrice) storedRow {
	r := storedRow{Stored: s}
	if all := page.All.Bytes(); all > 0 {
		r.Share = float64(s.Bytes()) / float64(all)
	}
	if cost := price.PerMonth(s.Bytes()); cost != nil {
		r.PerMonth = money.Minor(*cost, price.Currency)
	}
	return r
}

// storedTable is one table of the page.
type storedTable struct {
	Of       string
	Rows     []storedRow
	More     int
	Currency string
}

// Table picks the rows by vendor, order or prop.
func (page storedPage) Table(of string) storedTable {
	rows := map[string][]storedRow{"vendors": page.Vendors, "orders": page.Orders, "props": page.Props}[of]
	return storedTable{of, rows, page.More[of], page.Currency}
}
