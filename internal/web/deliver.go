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
)

// deliverPage is where a vendor drops a folder. Its script speaks to the interface as any other program does; the page
// adds only the telling of roles from names, which reads the spec.
type deliverPage struct {
	Prop    ledger.Prop
	Open    []ledger.Milestone // that something can be delivered for
	Chosen  ledger.Milestone
	Bundled bool
	Server  string
	SpecID  string
	Data    deliverSetup
	NoSpec  bool
}

type deliverSetup struct {
	Milestone string            `json:"milestone"`
	Roles     string            `json:"roles"` // where to ask for roles
	Delivery  string            `json:"delivery"`
	Words     map[string]string `json:"words"`
}

// deliverWords are what the script says.
var deliverWords = map[string]string{
	"reading": "Reading the folder …", "empty": "There is no file in what was dropped.", "several": "Drop one folder, the prop’s own.",
	"asking": "Asking what the files are …", "ready": "{0} files, {1}. Look through the roles, then deliver.", "hashing": "Hashing: {0} of {1}",
	"sending": "Sending: {0} of {1}", "waiting": "The connection broke; trying again in {0} s. Nothing that has arrived is sent again.",
	"sealing": "Everything has arrived; sealing …", "there": "there", "waits": "waits", "failed": "It did not work: {0}",
	"again": "Drop the same folder again to go on where it stopped.", "other": "not part of what is checked",
	"leave": "Files are still on their way.", "changed": "{0} has changed since it was read; drop the folder again.", "abandoned": "A delivery of the very same files was begun before and given up; change the note to send them again.",
}

func (p *Pages) deliver(c echo.Context) error {
	page, err := p.loadDeliver(c)
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "deliver", frame{Title: "Deliver " + page.Prop.Title, At: "work"}, page)
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
	page := deliverPage{Bundled: bundled("deliver.js"), Server: p.server.PublicURL()}
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
		Milestone: page.Chosen.ID.String(), Roles: "/props/" + id.String() + "/roles?milestone=" + page.Chosen.Kind, Delivery: "/deliveries/", Words: deliverWords,
	}
	return page, nil
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
	m, questions, err := p.tellRoles(c, strings.Split(field(c, "paths"), "\n"))
	if err != nil {
		return err
	}
	out := make([]toldRole, len(m.Files))
	for i, f := range m.Files {
		out[i] = toldRole{Path: f.Path, Role: f.Role}
		for _, q := range questions {
			if q.Path == f.Path {
				out[i].Why, out[i].Candidates = q.Why, q.Candidates
			}
		}
	}
	return c.JSON(http.StatusOK, map[string]any{"files": out})
}

func (p *Pages) tellRoles(c echo.Context, paths []string) (*acceptance.Manifest, []acceptance.Question, error) {
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
		sp, err := httpapi.ResolveSpec(ctx, tx, r, spec.Milestone(c.QueryParam("milestone")))
		var faults *httpapi.Problem
		if errors.As(err, &faults) {
			return nil, ledger.ErrNotFound // no engine of today reads it; the page's own message says to ask the studio
		}
		return sp, err
	})
	if err != nil {
		return nil, nil, err
	}
	m, questions, err := acceptance.InferNames(sp, paths)
	if err != nil {
		return nil, nil, fmt.Errorf("web: roles of files: %w", err)
	}
	return m, questions, nil
}
