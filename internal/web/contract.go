package web

import (
	"context"
	"errors"
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

// Further says whether something among the further terms has been filled in, or is wrong: they stand open then.
func (page newOrderPage) Further() bool {
	for _, name := range []string{"terms", "kill_fee", "silence", "source_roles", "origin", "codename", "secret"} {
		if typed := page.Refusal.Typed("order", name); typed != "" && typed != "0" || page.Refusal.Fault("order", name) != "" {
			return true
		}
	}
	return false
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

// orderFields are the fields of the form whose names are not the record's.
var orderFields = map[string]string{"rounds_included": "rounds", "kill_fee_bp": "kill_fee"}

// newOrderOf reads the form: an order, the project to start with it where none is chosen, and everything that is wrong.
func newOrderOf(c echo.Context) (in ledger.NewWorkOrder, project *ledger.NewProject, faults []*ledger.Invalid) {
	in = ledger.NewWorkOrder{
		Code: typed(c, "code"), Title: typed(c, "title"), Currency: strings.ToUpper(typed(c, "currency")), Terms: typed(c, "terms"), SilenceAccepts: field(c, "silence") == "yes",
		Codename: typed(c, "codename"), Secret: field(c, "secret") == "yes", OriginRequired: field(c, "origin") == "yes", SourceRoles: strings.Fields(strings.ReplaceAll(typed(c, "source_roles"), ",", " ")),
	}
	var err error
	if in.Vendor, err = uuid.Parse(field(c, "vendor")); err != nil {
		faults = append(faults, &ledger.Invalid{Field: "vendor", Why: "is not chosen"})
	}
	if in.Project, err = uuid.Parse(field(c, "project")); err != nil {
		project = &ledger.NewProject{Code: typed(c, "project_code"), Title: typed(c, "project_title")}
		for _, f := range project.Faults() {
			faults = append(faults, &ledger.Invalid{Field: "project_" + f.Field, Why: f.Why})
		}
	}
	number := func(name string, read func(name, text string) (int, error)) int {
		n, err := read(name, typed(c, name))
		var wrong *ledger.Invalid
		if errors.As(err, &wrong) {
			faults = append(faults, wrong)
		}
		return n
	}
	in.RoundsIncluded, in.ReviewDays, in.KillFeeBP = number("rounds", whole), number("review_days", whole), number("kill_fee", wholePercent)
	for _, f := range in.Faults() {
		if !slices.ContainsFunc(faults, func(had *ledger.Invalid) bool { return had.Field == f.Field || had.Field == orderFields[f.Field] }) {
			faults = append(faults, f)
		}
	}
	return in, project, faults
}

// placeOrder places a work order, with a project of its own where none is chosen.
func (p *Pages) placeOrder(c echo.Context) error {
	if err := producer(c); err != nil {
		return err
	}
	in, project, faults := newOrderOf(c)
	taken, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (taken []*ledger.Invalid, err error) {
		if len(faults) == 0 {
			return nil, nil // whether it is taken the record says when it is placed
		}
		return tx.CodesTaken(ctx, in, project)
	})
	if err != nil {
		return err
	}
	if faults = append(faults, taken...); len(faults) > 0 {
		r := p.refuseFields(c, "order", faults, orderFields)
		return p.showNewOrder(c, r.Status, newOrderPage{Refusal: r})
	}
	placed, again, err := act(c, p, "work_order", func(ctx context.Context, tx *ledger.Tx) (o ledger.WorkOrder, id uuid.UUID, err error) {
		if project != nil {
			made, err := tx.CreateProject(ctx, *project)
			if err != nil {
				return o, id, err
			}
			in.Project = made.ID
		}
		o, err = tx.CreateWorkOrder(ctx, in)
		return o, o.ID, err
	})
	switch {
	case errors.Is(err, ledger.ErrConflict):
		if taken, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]*ledger.Invalid, error) {
			return tx.CodesTaken(ctx, in, project)
		}); err != nil {
			return err
		}
		r := p.refuseFields(c, "order", taken, orderFields)
		r.Status = http.StatusConflict
		return p.showNewOrder(c, r.Status, newOrderPage{Refusal: r})
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
	if err == nil && (n < 0 || n > 100) {
		err = &ledger.Invalid{Field: name, Why: "is not within 0 to 100 per cent"}
	}
	return n * 100, err
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
