package web

import (
	"context"
	"math"
	"net/http"
	"net/url"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// figuresPage is how it went: by vendor, project or tier.
type figuresPage struct {
	By, From, To string
	Vendor       string
	ProjectID    string
	Tier         string
	Rows         []figureRow
	Checks       []ledger.CheckFigure
	Worths       []ledger.CheckWorth
	Decisions    int
	Vendors      []ledger.Vendor
	Projects     []ledger.Project
	Studio       bool
	MayPropose   bool
	Wrong        bool
	Kinds, Tiers []string
}

// figureRow is one line of figures. Times are means for each accepted milestone.
type figureRow struct {
	ledger.Performance
	Few                        bool // too few to compare
	RoundsEach                 float64
	VendorDays, StudioDays     float64
	InspectorHours             float64
	ReworkOfVendor, ReworkOfUs int
}

// fewFigures is below how many accepted milestones a share says little: with ten, one more or less moves it by ten in a
// hundred (common practice, no source).
const fewFigures = 10

func (p *Pages) figures(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	q := c.QueryParams()
	page := figuresPage{By: q.Get("by"), From: q.Get("from"), To: q.Get("to"), Vendor: q.Get("vendor"), ProjectID: q.Get("project"), Tier: q.Get("tier"),
		Studio: who.Side == ledger.StudioSide, MayPropose: who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector),
		Kinds: []string{"vendor", "project", "tier"}, Tiers: []string{"background", "mid", "hero", "close_up"}}
	if !page.Studio {
		page.Kinds = []string{"vendor", "tier"}
	}
	if !slices.Contains(page.Kinds, page.By) {
		page.By = "vendor"
	}
	if !slices.Contains(page.Tiers, page.Tier) {
		page.Tier = ""
	}
	f, ok := page.filter()
	if !ok {
		page.Wrong = true
		return p.render(c, http.StatusBadRequest, "figures", frame{Title: words.P("figures.title"), At: "work"}, page)
	}
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		return none, page.load(ctx, tx, f)
	})
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "figures", frame{Title: words.P("figures.title"), At: "work"}, page)
}

// filter reads the period and the choices. Without a period it is the last twelve months, up to and with this one.
func (page *figuresPage) filter() (f ledger.FigureFilter, ok bool) {
	now := time.Now().UTC()
	f.To = time.Date(now.Year(), now.Month()+1, 1, 0, 0, 0, 0, time.UTC)
	f.From = f.To.AddDate(-1, 0, 0)
	for _, d := range []struct {
		text *string
		at   *time.Time
	}{{&page.From, &f.From}, {&page.To, &f.To}} {
		if *d.text == "" {
			*d.text = d.at.Format(time.DateOnly)
		}
		at, err := time.Parse(time.DateOnly, *d.text)
		if err != nil {
			return f, false
		}
		*d.at = at
	}
	f.Tier = page.Tier
	f.Vendor, _ = uuid.Parse(page.Vendor) // what is no id is no choice
	f.Project, _ = uuid.Parse(page.ProjectID)
	return f, f.From.Before(f.To)
}

func (page *figuresPage) load(ctx context.Context, tx *ledger.Tx, f ledger.FigureFilter) error {
	list, err := tx.Performances(ctx, page.By, f)
	if err != nil {
		return err
	}
	for _, one := range list {
		row := figureRow{Performance: one, Few: one.Accepted < fewFigures, ReworkOfVendor: int(one.ReworkVendor), ReworkOfUs: int(one.ReworkStudio)}
		if n := float64(one.Accepted); n > 0 {
			row.RoundsEach, row.VendorDays, row.StudioDays, row.InspectorHours = tenths(float64(one.Rounds)/n), tenths(one.Vendor.Hours()/24/n), tenths(one.Studio.Hours()/24/n), tenths(one.Inspector.Hours()/n)
		}
		page.Rows = append(page.Rows, row)
	}
	if page.Checks, err = tx.FailingChecks(ctx, f, 20); err != nil {
		return err
	}
	if page.Worths, page.Decisions, err = tx.CheckWorths(ctx, f); err != nil || !page.Studio {
		return err
	}
	vendors, err := tx.Vendors(ctx, ledger.Page{Limit: listed})
	if err != nil {
		return err
	}
	projects, err := tx.Projects(ctx, ledger.Page{Limit: listed})
	page.Vendors, page.Projects = vendors.Items, projects.Items
	return err
}

// FailedShare is the part of what a check judged that failed.
func (figuresPage) FailedShare(c ledger.CheckFigure) float64 {
	return float64(c.Failed) / float64(max(c.Judged, 1))
}

// Fragment is the change that is proposed for a check, as a part of a spec.
func (figuresPage) Fragment(check string) string {
	return "/props/spec?" + url.Values{"change": {"checks:\n  " + check + ": {mode: warns}\n"}}.Encode()
}

// Int is a count for a sentence.
func (figuresPage) Int(n int64) int { return int(n) }

// tenths is a mean to the digit that a reader can use.
func tenths(v float64) float64 { return math.Round(v*10) / 10 }
