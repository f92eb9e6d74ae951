package web

import (
	"bytes"
	"context"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// newOrderPage is the form that places a work order.
type newOrderPage struct {
	Projects []ledger.Project
	Vendors  []ledger.Vendor
	Refusal  refusal
}

// listed bounds what a form offers to choose from; a studio with more names the rest by the interface.
const listed = 200

// producer says no to everybody else, as to somebody for whom there is no such page.
func producer(c echo.Context) error {
	if who, _ := httpapi.Caller(c.Request().Context()); !who.Has(ledger.Producer) {
		return ledger.ErrNotFound
	}
	return nil
}

func (p *Pages) newOrder(c echo.Context) error {
	return p.showNewOrder(c, http.StatusOK, newOrderPage{})
}

func (p *Pages) showNewOrder(c echo.Context, status int, page newOrderPage) error {
	if err := producer(c); err != nil {
		return err
	}
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		projects, err := tx.Projects(ctx, ledger.Page{Limit: listed})
		if err != nil {
			return none, err
		}
		vendors, err := tx.Vendors(ctx, ledger.Page{Limit: listed})
		page.Projects, page.Vendors = projects.Items, vendors.Items
		return none, err
	})
	if err != nil {
		return err
	}
	return p.render(c, status, "neworder", frame{Title: words.P("neworder.title"), At: "orders"}, page)
}

// placeOrder places a work order, with a project of its own where none is chosen.
func (p *Pages) placeOrder(c echo.Context) error {
	in := ledger.NewWorkOrder{
		Code: typed(c, "code"), Title: typed(c, "title"), Currency: strings.ToUpper(typed(c, "currency")), Terms: typed(c, "terms"), SilenceAccepts: field(c, "silence") == "yes",
		Codename: typed(c, "codename"), Secret: field(c, "secret") == "yes", OriginRequired: field(c, "origin") == "yes", SourceRoles: strings.Fields(strings.ReplaceAll(typed(c, "source_roles"), ",", " ")),
	}
	var err error
	if in.Vendor, err = uuid.Parse(field(c, "vendor")); err != nil {
		return ledger.ErrNotFound
	}
	project, chosen := uuid.Parse(field(c, "project"))
	placed, again, err := act(c, p, "work_order", func(ctx context.Context, tx *ledger.Tx) (o ledger.WorkOrder, id uuid.UUID, err error) {
		if in.RoundsIncluded, err = whole("rounds", typed(c, "rounds")); err != nil {
			return o, id, err
		}
		if in.ReviewDays, err = whole("review_days", typed(c, "review_days")); err != nil {
			return o, id, err
		}
		if in.KillFeeBP, err = wholePercent("kill_fee", typed(c, "kill_fee")); err != nil {
			return o, id, err
		}
		in.Project = project
		if chosen != nil {
			made, err := tx.CreateProject(ctx, ledger.NewProject{Code: typed(c, "project_code"), Title: typed(c, "project_title")})
			if err != nil {
				return o, id, err
			}
			in.Project = made.ID
		}
		o, err = tx.CreateWorkOrder(ctx, in)
		return o, o.ID, err
	})
	switch {
	case err != nil && refused(err):
		r := p.refuse(c, "order", err)
		return p.showNewOrder(c, r.Status, newOrderPage{Refusal: r})
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/orders")
	}
	return c.Redirect(http.StatusSeeOther, "/orders/"+placed.ID.String())
}

// whole reads a number of a form.
func whole(name, text string) (int, error) {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0, &ledger.Invalid{Field: name, Why: "is not a whole number"}
	}
	return n, nil
}

// wholePercent reads a share of a hundred as basis points; nothing is nought.
func wholePercent(name, text string) (int, error) {
	if text == "" {
		return 0, nil
	}
	n, err := whole(name, text)
	return n * 100, err
}

// propListPage is where a producer orders props from a list.
type propListPage struct {
	Order   ledger.WorkOrder
	List    string
	Looked  bool // the list was looked through, and nothing ordered
	Found   int
	Faults  []ledger.BadRow
	Refusal refusal
}

// listExample is what the field holds at first: headings and one row of the harbour's.
const listExample = "code,title,tier,price,game_mesh_share,game_mesh_due,final_share,final_due\n" +
	"fender,Tyre fender,background,180.00,60,%s,40,%s\n"

func (p *Pages) propList(c echo.Context) error {
	days := func(n int) string { return time.Now().AddDate(0, 0, n).Format(time.DateOnly) }
	list := strings.Replace(strings.Replace(listExample, "%s", days(14), 1), "%s", days(28), 1)
	return p.showPropList(c, http.StatusOK, propListPage{List: list})
}

func (p *Pages) showPropList(c echo.Context, status int, page propListPage) error {
	if err := producer(c); err != nil {
		return err
	}
	id, err := idOf(c)
	if err != nil {
		return err
	}
	page.Order, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) { return tx.WorkOrder(ctx, id) })
	if err != nil {
		return err
	}
	return p.render(c, status, "proplist", frame{Title: words.P("proplist.title", page.Order.Code), At: "orders"}, page)
}

// orderProps looks a list through, or orders what it holds: all of it or nothing.
func (p *Pages) orderProps(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	page := propListPage{List: field(c, "list")}
	order, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) { return tx.WorkOrder(ctx, id) })
	if err != nil {
		return err
	}
	list := ledger.ReadPropList(bytes.NewReader([]byte(page.List)), order.Currency)
	page.Found = len(list.Props)
	dry := field(c, "do") != "order"
	run := func(ctx context.Context, tx *ledger.Tx) (none struct{}, _ uuid.UUID, err error) {
		_, page.Faults, err = tx.ImportProps(ctx, id, list, dry)
		if err == nil && !dry && len(page.Faults) > 0 {
			err = &ledger.Invalid{Field: "list", Why: "was not taken: nothing is ordered before every row is right"}
		}
		return none, id, err
	}
	if dry {
		page.Looked = true
		_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
			none, _, err := run(ctx, tx)
			return none, err
		})
	} else {
		_, _, err = act(c, p, "prop_import", run)
	}
	switch {
	case err != nil && refused(err):
		page.Refusal = p.refuse(c, "list", err)
		return p.showPropList(c, page.Refusal.Status, page)
	case err != nil:
		return err
	case dry:
		return p.showPropList(c, http.StatusOK, page)
	}
	return c.Redirect(http.StatusSeeOther, "/orders/"+id.String())
}

// payablesPage is what was released in a period.
type payablesPage struct {
	From, To      string
	Before, After string // addresses of the months beside it, where it is a month
	Rows          []ledger.Payable
	All           int // rows in the period, of which the page shows the first
	Sums          []sum
	Vendors       []vendorSum // for the studio
	Studio        bool
	Wrong         bool
}

// payablesShown is how many rows the page holds; the spreadsheet has all.
const payablesShown = 200

// sum is an amount in one currency.
type sum struct {
	Currency string
	Minor    int64
}

// vendorSum is what one vendor has in one currency.
type vendorSum struct {
	Name string
	sum
}

func (p *Pages) payables(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	now := time.Now().UTC()
	page := payablesPage{From: c.QueryParam("from"), To: c.QueryParam("to"), Studio: who.Side == ledger.StudioSide}
	month := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, time.UTC)
	if page.From == "" {
		page.From = month.Format(time.DateOnly)
	}
	if page.To == "" {
		page.To = month.AddDate(0, 1, 0).Format(time.DateOnly)
	}
	from, ferr := time.Parse(time.DateOnly, page.From)
	to, terr := time.Parse(time.DateOnly, page.To)
	title := frame{Title: words.P("payables.title"), At: "orders"}
	if ferr != nil || terr != nil || !from.Before(to) {
		page.Wrong = true
		return p.render(c, http.StatusBadRequest, "payables", title, page)
	}
	if from.Day() == 1 && from.AddDate(0, 1, 0).Equal(to) {
		page.Before, page.After = monthOf(from.AddDate(0, -1, 0)), monthOf(to)
	}
	period := ledger.PayableFilter{From: from, To: to}
	sums, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (sums []ledger.PayableSum, err error) {
		if page.Rows, err = tx.FirstPayables(ctx, period, payablesShown); err != nil {
			return nil, err
		}
		return tx.PayableSums(ctx, period)
	})
	if err != nil {
		return err
	}
	for _, s := range sums {
		page.add(s)
	}
	return p.render(c, http.StatusOK, "payables", title, page)
}

func monthOf(first time.Time) string {
	return "/payables?from=" + first.Format(time.DateOnly) + "&to=" + first.AddDate(0, 1, 0).Format(time.DateOnly)
}

// add puts a vendor's sum beside the others, and to all of its currency.
func (page *payablesPage) add(v ledger.PayableSum) {
	page.All += v.Count
	page.Vendors = append(page.Vendors, vendorSum{v.VendorName, sum{v.Currency, v.AmountMinor}})
	i := slices.IndexFunc(page.Sums, func(s sum) bool { return s.Currency == v.Currency })
	if i < 0 {
		i, page.Sums = len(page.Sums), append(page.Sums, sum{Currency: v.Currency})
	}
	page.Sums[i].Minor += v.AmountMinor
}
