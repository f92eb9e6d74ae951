package web

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// The scripts of the two pages that have any. They hold third-party code, are bundled by scripts/viewer and not committed;
// without them the pages say so and offer what works without.
//
//go:embed all:viewer/dist
var bundles embed.FS

// bundled says whether a script was built into this program.
func bundled(name string) bool {
	_, err := fs.Stat(bundles, "viewer/dist/"+name)
	return err == nil
}

// bundle serves a script.
func bundle(name string) echo.HandlerFunc {
	return func(c echo.Context) error {
		data, err := bundles.ReadFile("viewer/dist/" + name)
		if err != nil {
			return ledger.ErrNotFound
		}
		c.Response().Header().Set(echo.HeaderCacheControl, "public, max-age=300")
		return c.Blob(http.StatusOK, "text/javascript; charset=utf-8", data)
	}
}

// viewPage is the 3D view of one delivery.
type viewPage struct {
	deliveryPage
	Still     *picture
	Revisions []viewRevision
	Places    []viewPlace
	Bundled   bool
	Data      viewSetup
}

// viewRevision is one delivery of the milestone with the addresses of its models.
type viewRevision struct {
	Number    int    `json:"number"`
	Title     string `json:"title"`
	Game      string `json:"game"`
	Sculpt    string `json:"sculpt,omitempty"`
	Deviation string `json:"deviation,omitempty"`
}

// viewPlace is a place that a finding names.
type viewPlace struct {
	Number  int
	Heading string
	Detail  string
	Mark    string
	At      string // x,y,z in millimetres
}

// viewSetup is what the script is given.
type viewSetup struct {
	Revisions []viewRevision    `json:"revisions"`
	Pins      []viewPin         `json:"pins,omitempty"`
	Words     map[string]string `json:"words"`
}

// viewWordsIn are what the script says, in the reader's language. {0} is a measure that the script sets in.
func viewWordsIn(r words.Reader) map[string]string {
	out := map[string]string{}
	for name, takes := range map[string]bool{
		"no_webgl": false, "loading": false, "not_loaded": false, "outside": true, "inside": true, "measure": false, "distance": true, "copied": false,
		"in_address": false, "pin": false, "pinned": false, "changed": false, "unchanged": false, "before": false,
	} {
		if takes {
			out[name] = r.Text(words.P("view.script_"+name, words.Name("{0}")))
		} else {
			out[name] = r.Text(words.P("view.script_" + name))
		}
	}
	return out
}

// placesShown bounds the places of one view; a finding carries ten at most, and there may be many findings.
const placesShown = 60

func (p *Pages) view(c echo.Context) error {
	page, err := p.loadView(c)
	if err != nil {
		return err
	}
	title := words.P("view.title", words.Name(page.Prop.Title), words.Term("milestone."+page.Delivery.MilestoneKind), words.Name(strconv.Itoa(page.Delivery.Number)))
	return p.render(c, http.StatusOK, "view", frame{Title: title, At: "work"}, page)
}

func (p *Pages) loadView(c echo.Context) (viewPage, error) {
	base, err := p.loadDelivery(c)
	if err != nil {
		return viewPage{}, err
	}
	reader := p.reader(c)
	page := viewPage{deliveryPage: base, Bundled: bundled("viewer.js"), Data: viewSetup{Words: viewWordsIn(reader)}}
	if len(base.Stills) > 0 {
		page.Still = &base.Stills[0]
	}
	if base.Evidence != nil {
		page.Places = placesOf(reader, base.Evidence.Findings)
	}
	var earlier []ledger.EarlierNote
	page.Revisions, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (list []viewRevision, err error) {
		if earlier, err = tx.EarlierNotes(ctx, base.Delivery); err != nil {
			return nil, err
		}
		return revisionsOf(ctx, tx, base.Delivery)
	})
	for i := range page.Revisions {
		page.Revisions[i].Title = reader.Text(words.P("view.revision", words.Name(strconv.Itoa(page.Revisions[i].Number))))
	}
	page.Data.Revisions, page.Data.Pins = page.Revisions, pinsOf(reader, base.By, base.Notes, earlier)
	return page, err
}

// revisionsOf are the deliveries of the milestone up to this one whose inspection left a model, oldest first.
func revisionsOf(ctx context.Context, tx *ledger.Tx, d ledger.Delivery) ([]viewRevision, error) {
	list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Milestone: d.MilestoneID}, ledger.Page{Limit: deliveriesShown})
	if err != nil {
		return nil, err
	}
	var out []viewRevision
	for _, each := range list.Items {
		if each.Inspection == nil || each.Number > d.Number {
			continue
		}
		objects, err := tx.EvidenceObjects(ctx, each.Inspection.ID)
		if err != nil {
			return nil, err
		}
		r := viewRevision{Number: each.Number}
		for _, o := range objects {
			address := "/v1/inspections/" + each.Inspection.ID.String() + "/pictures/" + o.Name
			switch o.Name {
			case "model_game.glb":
				r.Game = address
			case "model_sculpt.glb":
				r.Sculpt = address
			case "deviation.glb":
				r.Deviation = address
			}
		}
		if r.Game != "" {
			out = append(out, r)
		}
	}
	slices.SortFunc(out, func(a, b viewRevision) int { return a.Number - b.Number })
	return out, nil
}

// placesOf lists the places of what is wrong or worth a look, in the order of the findings.
func placesOf(r words.Reader, all []acceptance.Finding) []viewPlace {
	var out []viewPlace
	for _, f := range all {
		if f.Outcome != acceptance.Fail && f.Outcome != acceptance.Warn {
			continue
		}
		for _, w := range f.Where {
			if w.PointMM == nil || len(out) == placesShown {
				continue
			}
			at := *w.PointMM
			out = append(out, viewPlace{
				Number: len(out) + 1, Heading: checkTitle(r, f.Check), Detail: placeIn(r, w), Mark: mark(f.Outcome),
				At: fmt.Sprintf("%g,%g,%g", at[0], at[1], at[2]),
			})
		}
	}
	return out
}
