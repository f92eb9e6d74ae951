package web

import (
	"context"
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// gigabyte is what limits are said in on the page.
const gigabyte = 1_000_000_000

// quotaFor is whom a limit can be for.
type quotaFor struct{ Value, Name string }

// limitsMax is how many vendors, and how many orders, the form offers; the interface takes all.
const limitsMax = 200

// loadLimits reads the limits that stand and, for who may change them, whom they can be for: vendors, then orders.
func (page *storedPage) loadLimits(ctx context.Context, tx *ledger.Tx) (err error) {
	if page.Limits, err = tx.Quotas(ctx); err != nil || !tx.Who.Has(ledger.Producer) {
		return err
	}
	vendors, err := tx.Vendors(ctx, ledger.Page{Limit: limitsMax})
	if err != nil {
		return err
	}
	for _, v := range vendors.Items {
		page.LimitsFor = append(page.LimitsFor, quotaFor{"vendor:" + v.ID.String(), v.Name})
	}
	orders, err := tx.WorkOrders(ctx, ledger.Page{Limit: limitsMax})
	if err != nil {
		return err
	}
	for _, o := range orders.Items {
		page.LimitsFor = append(page.LimitsFor, quotaFor{"order:" + o.ID.String(), o.Code + " · " + o.VendorName})
	}
	return nil
}

// limit says how much is kept of a vendor or of an order; an empty field takes the limit away.
func (p *Pages) limit(c echo.Context) error {
	_, _, err := act(c, p, "quota", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		who, _ := httpapi.Caller(ctx)
		var in ledger.NewQuota
		kind, of, _ := strings.Cut(field(c, "of"), ":")
		if id, err = uuid.Parse(of); err != nil {
			return none, id, ledger.ErrNotFound
		}
		if kind == "order" {
			in.WorkOrder = id
		} else {
			in.Vendor = id
		}
		if text := typed(c, "gigabytes"); text != "" {
			gb, err := whole("gigabytes", text)
			if err != nil {
				return none, id, err
			}
			if gb < 0 || gb > 1_000_000 {
				return none, id, &ledger.Invalid{Field: "gigabytes", Why: "is not within 0 to 1000000"}
			}
			bytes := int64(gb) * gigabyte
			in.Bytes = &bytes
		}
		_, err = tx.SetQuota(ctx, in)
		return none, who.Party, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "limits", err)
		return p.showStored(c, r.Status, r)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/storage?said=1#limits")
}
