package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
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

// propsPage is the props of a party in one table. The whole view stands in the address.
type propsPage struct {
	Rows     []propRow
	Next     string
	Later    bool
	Count    int
	Over     bool // more than were counted
	View     propsView
	Views    []ledger.SavedView
	Projects []ledger.Project
	Vendors  []ledger.Vendor
	Project  *ledger.Project // the one that is asked for
	Studio   bool
	MayBump  bool
	Refusal  refusal
}

// propRow is one prop, and what begins with it where the table is grouped.
type propRow struct {
	ledger.Line
	Begins string // a group's value, "" within it
	Of     int    // props in the group
}

// propsView is the address in parts.
type propsView struct {
	Text, Order               string
	State, Desk, Tier, Stage  string
	Vendor, ProjectID         string
	Late, Open                bool
	Sort                      string // a column; with a minus before it, largest first
	Group                     string
	States, Desks, Tiers      []string // to choose from
	Stages, Groups, SortWords []string
}

// propsShown is how many props a page of the table holds.
const propsShown = 100

// propsViewOf reads a view from an address. What no list has a word for is left out.
func propsViewOf(q url.Values) propsView {
	v := propsView{Text: strings.TrimSpace(q.Get("q")), Order: strings.TrimSpace(q.Get("order")), Vendor: q.Get("vendor"), ProjectID: q.Get("project"), Late: q.Get("late") == "yes", Open: q.Get("open") == "yes"}
	for _, s := range ledger.MilestoneStates {
		v.States = append(v.States, string(s))
	}
	for _, d := range []ledger.Desk{ledger.DeskVendor, ledger.DeskInspector, ledger.DeskTechnicalArtist, ledger.DeskArtDirector, ledger.DeskNone} {
		v.Desks = append(v.Desks, string(d))
	}
	v.Tiers, v.Stages = []string{"background", "mid", "hero", "close_up"}, []string{"block_out", "sculpt", "game_mesh", "maps", "final"}
	for _, c := range ledger.LineColumns {
		v.SortWords = append(v.SortWords, c.Name)
		if c.Group {
			v.Groups = append(v.Groups, c.Name)
		}
	}
	known := func(name string, list []string) string {
		if slices.Contains(list, q.Get(name)) {
			return q.Get(name)
		}
		return ""
	}
	v.State, v.Desk, v.Tier, v.Stage, v.Group = known("state", v.States), known("desk", v.Desks), known("tier", v.Tiers), known("milestone", v.Stages), known("group", v.Groups)
	if s := q.Get("sort"); slices.Contains(v.SortWords, strings.TrimPrefix(s, "-")) {
		v.Sort = s
	}
	return v
}

// values is the view as it stands in an address, without what is not chosen.
func (v propsView) values() url.Values {
	q := url.Values{}
	for name, value := range map[string]string{
		"q": v.Text, "order": v.Order, "state": v.State, "desk": v.Desk, "tier": v.Tier, "milestone": v.Stage, "vendor": v.Vendor, "project": v.ProjectID, "sort": v.Sort, "group": v.Group,
	} {
		if value != "" {
			q.Set(name, value)
		}
	}
	for name, on := range map[string]bool{"late": v.Late, "open": v.Open} {
		if on {
			q.Set(name, "yes")
		}
	}
	return q
}

// Query is the view as an address has it behind the question mark.
func (v propsView) Query() string { return v.values().Encode() }

// At is the address of the view with further pairs of name and value.
func (v propsView) At(path string, pairs ...string) string {
	q := v.values()
	for i := 0; i+1 < len(pairs); i += 2 {
		q.Set(pairs[i], pairs[i+1])
	}
	if len(q) == 0 {
		return path
	}
	return path + "?" + q.Encode()
}

// Sorted is the address of the view sorted by a column: the other way round where it is already.
func (v propsView) Sorted(column string) string {
	if v.by() == column && !strings.HasPrefix(v.Sort, "-") {
		column = "-" + column
	}
	return v.At("/props", "sort", column)
}

func (v propsView) by() string {
	if v.Sort == "" {
		return "due"
	}
	return strings.TrimPrefix(v.Sort, "-")
}

// Direction is how a column is sorted, as aria-sort says it; "" where it is not.
func (v propsView) Direction(column string) string {
	switch {
	case v.by() != column:
		return ""
	case strings.HasPrefix(v.Sort, "-"):
		return "descending"
	}
	return "ascending"
}

// Filtered says whether anything is left out.
func (v propsView) Filtered() bool {
	v.Sort, v.Group = "", ""
	return len(v.values()) > 0
}

func (v propsView) filter() (f ledger.LineFilter) {
	f = ledger.LineFilter{Text: v.Text, OrderCode: v.Order, Late: v.Late, Open: v.Open}
	f.Vendor, _ = uuid.Parse(v.Vendor) // what is no id is no choice
	f.Project, _ = uuid.Parse(v.ProjectID)
	if v.State != "" {
		f.States = []ledger.MilestoneState{ledger.MilestoneState(v.State)}
	}
	if v.Desk != "" {
		f.Desks = []ledger.Desk{ledger.Desk(v.Desk)}
	}
	if v.Tier != "" {
		f.Tiers = []string{v.Tier}
	}
	if v.Stage != "" {
		f.Milestones = []string{v.Stage}
	}
	return f
}

func (v propsView) order() ledger.LineOrder {
	return ledger.LineOrder{By: v.by(), Down: strings.HasPrefix(v.Sort, "-"), Group: v.Group}
}

func (p *Pages) props(c echo.Context) error {
	return p.showProps(c, http.StatusOK, propsPage{View: propsViewOf(c.QueryParams())})
}

func (p *Pages) showProps(c echo.Context, status int, page propsPage) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page.Studio, page.MayBump = who.Side == ledger.StudioSide, who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector)
	page.Later = c.QueryParam("after") != ""
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		return none, page.load(ctx, tx, c.QueryParam("after"))
	})
	if err != nil {
		return err
	}
	title := words.P("props.title")
	if page.Project != nil {
		title = words.P("props.title_of", page.Project.Title)
	}
	return p.render(c, status, "props", frame{Title: title, At: "work"}, page)
}

func (page *propsPage) load(ctx context.Context, tx *ledger.Tx, after string) (err error) {
	filter, order := page.View.filter(), page.View.order()
	list, err := tx.Lines(ctx, filter, order, ledger.Page{After: after, Limit: propsShown})
	if err != nil {
		return err
	}
	page.Next = list.Next
	if page.Count, err = tx.CountLines(ctx, filter); err != nil {
		return err
	}
	if page.Over = page.Count > ledger.CountedMost; page.Over {
		page.Count = ledger.CountedMost
	}
	groups := map[string]int{}
	if page.View.Group != "" {
		if groups, err = tx.GroupCounts(ctx, filter, page.View.Group); err != nil {
			return err
		}
	}
	last := ""
	for _, l := range list.Items {
		row := propRow{Line: l}
		if g := groupOf(l, page.View.Group); g != last {
			row.Begins, row.Of, last = g, groups[g], g
		}
		page.Rows = append(page.Rows, row)
	}
	if page.Views, err = tx.SavedViews(ctx); err != nil || !page.Studio {
		return err
	}
	vendors, err := tx.Vendors(ctx, ledger.Page{Limit: listed})
	if err != nil {
		return err
	}
	projects, err := tx.Projects(ctx, ledger.Page{Limit: listed})
	page.Vendors, page.Projects = vendors.Items, projects.Items
	for i := range page.Projects {
		if page.Projects[i].ID == filter.Project {
			page.Project = &page.Projects[i]
		}
	}
	return err
}

func groupOf(l ledger.Line, by string) string {
	switch by {
	case "order":
		return l.OrderCode
	case "vendor":
		return l.VendorName
	case "tier":
		return l.Tier
	case "state":
		return string(l.State)
	}
	return ""
}

// exportedProp is one prop as the export has it: the names are those of the spreadsheet's columns.
type exportedProp struct {
	Prop       uuid.UUID `json:"prop_id"`
	Code       string    `json:"code"`
	Title      string    `json:"title"`
	Tier       string    `json:"tier"`
	Order      string    `json:"work_order"`
	Vendor     string    `json:"vendor"`
	Milestone  string    `json:"milestone"`
	State      string    `json:"state"`
	Desk       string    `json:"desk"`
	Due        *string   `json:"due_on"`
	Late       bool      `json:"late"`
	Blocked    bool      `json:"blocked"`
	Since      string    `json:"since"` // RFC 3339
	Deliveries int       `json:"deliveries"`
	PriceMinor int64     `json:"price_minor"`
	Currency   string    `json:"currency"`
}

func exported(l ledger.Line) exportedProp {
	e := exportedProp{Prop: l.PropID, Code: l.Code, Title: l.Title, Tier: l.Tier, Order: l.OrderCode, Vendor: l.VendorName, Milestone: l.Milestone, State: string(l.State), Desk: string(l.Desk),
		Late: l.Late, Blocked: l.Blocked, Since: l.Since.UTC().Format(time.RFC3339), Deliveries: l.Rounds, PriceMinor: l.PriceMinor, Currency: l.Currency}
	if l.Due != nil {
		due := l.Due.Format(time.DateOnly)
		e.Due = &due
	}
	return e
}

// exportTime bounds how long a whole list is read; whoever takes it away may be slower.
const exportTime = 2 * time.Minute

// exportProps sends the same view whole, for a spreadsheet or a program, row by row as it is read.
func (p *Pages) exportProps(c echo.Context) error {
	view := propsViewOf(c.QueryParams())
	lines := func(ctx context.Context, line func(ledger.Line) error) error {
		ctx, cancel := context.WithTimeout(ctx, exportTime)
		defer cancel()
		who, _ := httpapi.Caller(ctx)
		return p.store.ReadingOnce(ctx, who, func(tx *ledger.Tx) error { return tx.EachLine(ctx, view.filter(), view.order(), line) })
	}
	h := c.Response().Header()
	if c.QueryParam("format") == "json" {
		h.Set(echo.HeaderContentDisposition, `attachment; filename="props.json"`)
		return httpapi.SendList(p.server, c, func(ctx context.Context, item func(exportedProp) error) error {
			return lines(ctx, func(l ledger.Line) error { return item(exported(l)) })
		})
	}
	h.Set(echo.HeaderContentDisposition, `attachment; filename="props.csv"`)
	return p.server.SendTable(c, []string{"prop_id", "code", "title", "tier", "work_order", "vendor", "milestone", "state", "desk", "due_on", "late", "blocked", "since", "deliveries", "price_minor", "currency"},
		func(ctx context.Context, row func([]string) error) error {
			return lines(ctx, func(l ledger.Line) error {
				e := exported(l)
				due := ""
				if e.Due != nil {
					due = *e.Due
				}
				return row([]string{e.Prop.String(), e.Code, e.Title, e.Tier, e.Order, e.Vendor, e.Milestone, e.State, e.Desk, due, strconv.FormatBool(e.Late), strconv.FormatBool(e.Blocked), e.Since,
					strconv.Itoa(e.Deliveries), strconv.FormatInt(e.PriceMinor, 10), e.Currency})
			})
		})
}

// saveView keeps the view that the form stands on under a name.
func (p *Pages) saveView(c echo.Context) error {
	q, err := url.ParseQuery(field(c, "view"))
	if err != nil {
		q = url.Values{}
	}
	view := propsViewOf(q) // only what is one of ours
	_, _, err = act(c, p, "saved_view", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		id, err = tx.SaveView(ctx, typed(c, "name"), view.Query())
		return none, id, err
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "view", err)
		return p.showProps(c, r.Status, propsPage{View: view, Refusal: r})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, view.At("/props"))
}

// putViewAway takes a saved view out of the list. What it says is in the address, from where it can be saved again.
func (p *Pages) putViewAway(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if _, _, err = act(c, p, "saved_view", func(ctx context.Context, tx *ledger.Tx) (none struct{}, _ uuid.UUID, err error) {
		return none, id, tx.PutViewAway(ctx, id)
	}); err != nil {
		return err
	}
	q, _ := url.ParseQuery(field(c, "view")) // the view that was looked at
	return c.Redirect(http.StatusSeeOther, propsViewOf(q).At("/props"))
}

// Columns are what the table shows, in order: names of ledger.LineColumns.
func (page propsPage) Columns() []string {
	list := []string{"prop", "order", "vendor", "tier", "milestone", "state", "due", "since", "rounds", "price"}
	if !page.Studio {
		list = slices.DeleteFunc(list, func(c string) bool { return c == "vendor" })
	}
	return list
}

// Wide is how many columns the table has.
func (page propsPage) Wide() int {
	n := len(page.Columns())
	if page.MayBump {
		n++
	}
	return n
}

// ColumnWord is a column's name.
func (propsPage) ColumnWord(name string) words.Phrase {
	return words.Phrase{Code: fmt.Sprintf("props.col_%s", name)}
}

// Saved is the address of a saved view.
func (propsPage) Saved(v ledger.SavedView) string { return "/props?" + v.Query }
