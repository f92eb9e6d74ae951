package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// deliverPage is where a vendor drops a folder. Its script speaks to the interface as any other program does; the page
// adds only the telling of roles from names, which reads the spec.
type deliverPage struct {
	Prop    ledger.Prop
	Open    []ledger.Milestone // that something can be delivered for
	Chosen  ledger.Milestone
	Bundled bool
	Disk    ownDisk
	SpecID  string
	Data    deliverSetup
	NoSpec  bool
}

type deliverSetup struct {
	Milestone string            `json:"milestone"`
	Roles     string            `json:"roles"` // where to ask for roles
	Delivery  string            `json:"delivery"`
	Words     map[string]string `json:"words"`
	Batch     *batchSetup       `json:"batch,omitempty"`
}

// batchSetup is what the script needs for many props of an order.
type batchSetup struct {
	Order string               `json:"order"`
	Props map[string]batchProp `json:"props"` // by code, which their folders bear
	After string               `json:"after"` // where to go when all is sealed
}

type batchProp struct {
	Milestone string `json:"milestone"`
	Roles     string `json:"roles"`
}

// deliverCodes are what the script says: codes with how many values it sets in.
var deliverCodes = map[string]int{
	"reading": 0, "empty": 0, "missing": 1, "odd_role": 1, "asking": 0, "ready": 2, "hashing": 2, "sending": 2, "waiting": 1, "sealing": 0, "there": 0, "waits": 0, "failed": 1, "again": 0, "changed": 1, "abandoned": 0,
	"unknown": 1, "column_role": 0, "column_size": 0, "column_sent": 0,
}

// deliverWords says them in the reader's language, with places {0}, {1} … for the script's values.
func deliverWords(r words.Reader) map[string]string {
	out := map[string]string{}
	for code, values := range deliverCodes {
		var places []any
		for i := range values {
			places = append(places, fmt.Sprintf("{%d}", i))
		}
		out[code] = r.Text(words.P("deliver."+code, places...))
	}
	return out
}

func (p *Pages) deliver(c echo.Context) error {
	page, err := p.loadDeliver(c)
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "deliver", frame{Title: words.P("deliver.title", page.Prop.Title), At: "work"}, page)
}

func (p *Pages) loadDeliver(c echo.Context) (deliverPage, error) {
	id, err := idOf(c)
	if err != nil {
		return deliverPage{}, err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	if who.Side != ledger.VendorSide {
		return deliverPage{}, ledger.ErrNotFound // the studio delivers nothing
	}
	page := deliverPage{Bundled: bundled("deliver.js")}
	page.Prop, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) { return tx.Prop(ctx, id) })
	if err != nil {
		return page, err
	}
	for _, m := range page.Prop.Milestones {
		if takesDelivery(m.State) {
			page.Open = append(page.Open, m)
		}
	}
	if len(page.Open) > 0 {
		page.Chosen = page.Open[0]
	}
	asked := c.QueryParam("milestone")
	for _, m := range page.Open {
		if m.Kind == asked {
			page.Chosen = m
		}
	}
	if page.Prop.SpecInForce == nil {
		page.NoSpec = true
		return page, nil
	}
	page.SpecID = page.Prop.SpecInForce.ID.String()
	page.Data = deliverSetup{
		Milestone: page.Chosen.ID.String(), Roles: "/props/" + id.String() + "/roles?milestone=" + page.Chosen.Kind, Delivery: "/deliveries/", Words: deliverWords(p.reader(c)),
	}
	page.Disk, err = p.ownDiskOf(c, page.Prop, page.Chosen.Kind)
	return page, err
}

// batchPage is where a vendor drops a folder of folders, one for each prop of an order: one seal, a delivery each.
type batchPage struct {
	Order   ledger.WorkOrder
	Waiting []batchLine
	Bundled bool
	Data    deliverSetup
}

// batchLine is one prop that something can be delivered for.
type batchLine struct {
	Prop      ledger.Prop
	Milestone ledger.Milestone
}

// batchPropsShown bounds the props of an order that a batch may name: as many as a batch may hold, in whole pages.
const batchPropsShown = 600

func (p *Pages) deliverBatch(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	if who.Side != ledger.VendorSide {
		return ledger.ErrNotFound // the studio delivers nothing
	}
	page := batchPage{Bundled: bundled("deliver.js")}
	setup := &batchSetup{Order: id.String(), Props: map[string]batchProp{}, After: "/orders/" + id.String()}
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if page.Order, err = tx.WorkOrder(ctx, id); err != nil {
			return none, err
		}
		for at := (ledger.Page{Limit: 200}); len(page.Waiting) < batchPropsShown; {
			list, err := tx.Props(ctx, ledger.PropFilter{WorkOrder: id}, at)
			if err != nil {
				return none, err
			}
			page.take(list.Items, setup)
			if at.After = list.Next; at.After == "" {
				break
			}
		}
		return none, nil
	})
	if err != nil {
		return err
	}
	page.Data = deliverSetup{Words: deliverWords(p.reader(c)), Batch: setup}
	return p.render(c, http.StatusOK, "batch", frame{Title: words.P("batch.title", page.Order.Title), At: "orders"}, page)
}

// take adds the props whose first milestone that is not done waits for a delivery.
func (page *batchPage) take(props []ledger.Prop, setup *batchSetup) {
	for _, prop := range props {
		for _, m := range prop.Milestones {
			if m.State.Final() {
				continue
			}
			if prop.SpecInForce == nil || !takesDelivery(m.State) {
				break
			}
			page.Waiting = append(page.Waiting, batchLine{prop, m})
			setup.Props[prop.Code] = batchProp{Milestone: m.ID.String(), Roles: "/props/" + prop.ID.String() + "/roles?milestone=" + m.Kind}
			break
		}
	}
}

// takesDelivery says whether a milestone's state lets its vendor deliver.
func takesDelivery(s ledger.MilestoneState) bool {
	return slices.Contains([]ledger.MilestoneState{ledger.MOpen, ledger.MFailed, ledger.MStuck, ledger.MReturned}, s)
}

// toldRole is one file with the role that its name tells.
type toldRole struct {
	Path       string   `json:"path"`
	Role       string   `json:"role"`
	Why        string   `json:"why,omitempty"` // a question is open
	Candidates []string `json:"candidates,omitempty"`
}

// roles tells the roles of files from their names, by the spec in force.
func (p *Pages) roles(c echo.Context) error {
	m, questions, requires, err := p.tellRoles(c, strings.Split(field(c, "paths"), "\n"))
	if err != nil {
		return err
	}
	out := make([]toldRole, len(m.Files))
	for i, f := range m.Files {
		out[i] = toldRole{Path: f.Path, Role: f.Role}
		for _, q := range questions {
			if q.Path == f.Path {
				out[i].Why, out[i].Candidates = q.In(p.reader(c).Language), q.Candidates
			}
		}
	}
	return c.JSON(http.StatusOK, map[string]any{"files": out, "requires": append([]string{}, requires...)})
}

// tellRoles also says which roles the milestone asks for.
func (p *Pages) tellRoles(c echo.Context, paths []string) (*acceptance.Manifest, []acceptance.Question, []string, error) {
	sp, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (*spec.Spec, error) {
		id, err := idOf(c)
		if err != nil {
			return nil, err
		}
		prop, err := tx.Prop(ctx, id)
		if err != nil {
			return nil, err
		}
		if prop.SpecInForce == nil {
			return nil, ledger.ErrNotFound
		}
		r, err := tx.SpecRevision(ctx, prop.SpecInForce.ID)
		if err != nil {
			return nil, err
		}
		sp, err := httpapi.ResolveSpec(ctx, tx, r, judgedAs(c.QueryParam("milestone")))
		var faults *httpapi.Problem
		if errors.As(err, &faults) {
			return nil, ledger.ErrNotFound // no engine of today reads it; the page's own message says to ask the studio
		}
		return sp, err
	})
	if err != nil {
		return nil, nil, nil, err
	}
	m, questions, err := acceptance.InferNames(sp, paths)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("web: roles of files: %w", err)
	}
	return m, questions, sp.Requires, nil
}
