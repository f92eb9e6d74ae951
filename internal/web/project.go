package web

import (
	"context"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// projectPage is one project over time.
type projectPage struct {
	Project  ledger.Project
	Charts   []chart // one for each currency
	Weeks    []ledger.DueWeek
	Loads    []ledger.VendorLoad
	ThisWeek time.Time
}

// projectsPage lists the studio's projects.
type projectsPage struct {
	Items    []ledger.Project
	Next     string
	Later    bool
	Producer bool
}

// How many weeks the project's page shows before and after this one.
const (
	weeksBefore = 4
	weeksAfter  = 12
)

func (p *Pages) projects(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	if who.Side != ledger.StudioSide {
		return ledger.ErrNotFound
	}
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.Project], error) {
		return tx.Projects(ctx, ledger.Page{After: c.QueryParam("after"), Limit: 100})
	})
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "projects", frame{Title: words.P("project.all"), At: "orders"}, projectsPage{list.Items, list.Next, c.QueryParam("after") != "", who.Has(ledger.Producer)})
}

func (p *Pages) project(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if who, _ := httpapi.Caller(c.Request().Context()); who.Side != ledger.StudioSide {
		return ledger.ErrNotFound
	}
	now := time.Now().UTC()
	page := projectPage{ThisWeek: ledger.Monday(now)}
	// One seed for a day: the forecast does not flicker.
	seed := uint64(now.Year()*10000 + int(now.Month())*100 + now.Day()) //nolint:gosec // positive
	plans, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (plans []ledger.Plan, err error) {
		if page.Project, err = tx.Project(ctx, id); err != nil {
			return nil, err
		}
		if page.Weeks, err = tx.DueWeeks(ctx, id, page.ThisWeek.AddDate(0, 0, -7*weeksBefore), page.ThisWeek.AddDate(0, 0, 7*weeksAfter)); err != nil {
			return nil, err
		}
		if page.Loads, err = tx.VendorLoads(ctx, id); err != nil {
			return nil, err
		}
		return tx.Plans(ctx, ledger.PlanFilter{Project: id}, seed)
	})
	if err != nil {
		return err
	}
	for _, plan := range plans {
		page.Charts = append(page.Charts, drawPlan(plan, now, p.reader(c)))
	}
	return p.render(c, http.StatusOK, "project", frame{Title: page.Project.Title, At: "orders"}, page)
}
