package web

import (
	"context"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// incomePage is what a vendor is still paid: each open milestone with its share of the price, and what has to happen first.
type incomePage struct {
	Rows  []incomeRow
	Sums  []sum // of all that is to come; nil where the page does not hold it all
	Shown int
	More  bool
}

// incomeRow is one open milestone in the currency of its order.
type incomeRow struct {
	ledger.WorkItem
	Currency string
}

// incomeShown is how many milestones the page holds, those that are due first.
const incomeShown = 200

func (p *Pages) income(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	if who.Side != ledger.VendorSide {
		return ledger.ErrNotFound // a studio sees what it owes by project
	}
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page incomePage, err error) {
		list, err := tx.MyWork(ctx, ledger.WorkFilter{Open: true}, ledger.Page{Limit: incomeShown})
		if err != nil {
			return page, err
		}
		page.More = list.Next != ""
		currencies := map[uuid.UUID]string{}
		for _, item := range list.Items {
			currency, known := currencies[item.WorkOrder]
			if !known {
				order, err := tx.WorkOrder(ctx, item.WorkOrder)
				if err != nil {
					return page, err
				}
				currency, currencies[item.WorkOrder] = order.Currency, order.Currency
			}
			page.add(incomeRow{item, currency})
		}
		return page, nil
	})
	if err != nil {
		return err
	}
	if page.Shown = len(page.Rows); page.More {
		page.Sums = nil // a sum of the first would be taken for the whole
	}
	return p.render(c, http.StatusOK, "income", frame{Title: words.P("income.title"), At: "income"}, page)
}

// add puts a milestone on the list, and its amount to all of its currency.
func (page *incomePage) add(row incomeRow) {
	page.Rows = append(page.Rows, row)
	i := slices.IndexFunc(page.Sums, func(s sum) bool { return s.Currency == row.Currency })
	if i < 0 {
		i, page.Sums = len(page.Sums), append(page.Sums, sum{Currency: row.Currency})
	}
	page.Sums[i].Minor += row.Milestone.AmountMinor
}
