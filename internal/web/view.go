package web

import (
	"cmp"
	"context"
	"embed"
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

// viewPlace is a place that a finding names: a point, triangles of a node as the delivered file numbers them, or both.
type viewPlace struct {
	Number    int         `json:"number"`
	Check     string      `json:"-"`
	Heading   string      `json:"-"`
	Detail    string      `json:"-"`
	Mark      string      `json:"-"`
	AtMM      *[3]float64 `json:"at_mm,omitempty"`
	Node      string      `json:"node,omitempty"`
	Triangles []int       `json:"triangles,omitempty"`
}

// Before is how many places come before it: its place in the script's list.
func (v viewPlace) Before() int { return v.Number - 1 }

// viewSetup is what the script is given.
type viewSetup struct {
	Revisions []viewRevision    `json:"revisions"`
	Pins      []viewPin         `json:"pins,omitempty"`
	Places    []viewPlace       `json:"places,omitempty"`
	Words     map[string]string `json:"words"`
}

// viewWordsIn are what the script says, in the reader's language. {0} and {1} are what the script sets in.
func viewWordsIn(r words.Reader) map[string]string {
	out := map[string]string{}
	for name, takes := range map[string]int{
		"no_webgl": 0, "loading": 0, "not_loaded": 0, "outside": 1, "inside": 1, "measure": 0, "distance": 1, "copied": 0, "light": 0,
		"in_address": 0, "pin": 0, "pinned": 0, "changed": 0, "unchanged": 0, "before": 0, "place_of": 2, "nowhere": 0,
	} {
		var args []any
		for i := range takes {
			args = append(args, words.Name("{"+strconv.Itoa(i)+"}"))
		}
		out[name] = r.Text(words.P("view.script_"+name, args...))
	}
	return out
}

// placesShown bounds the places of one view; a finding carries ten at most, and there may be many findings. trianglesShown
// bounds those of one place: where there are more the picture tells no more.
const (
	placesShown    = 60
	trianglesShown = 500
)

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
	page.Data.Revisions, page.Data.Places, page.Data.Pins = page.Revisions, page.Places, pinsOf(reader, base.By, base.Notes, earlier)
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

// gravity sorts what blocks before what blocks but follows from it, and both before what only warns.
func gravity(f acceptance.Finding) int {
	switch {
	case !f.Blocks || f.Outcome != acceptance.Fail:
		return 2
	case f.FollowsFrom != "":
		return 1
	}
	return 0
}

// placesOf lists the places of what is wrong or worth a look, in the order of the findings.
func placesOf(r words.Reader, all []acceptance.Finding) []viewPlace {
	var out []viewPlace
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b acceptance.Finding) int { return cmp.Compare(gravity(a), gravity(b)) })
	for _, f := range all {
		if f.Outcome != acceptance.Fail && f.Outcome != acceptance.Warn {
			continue
		}
		f = acceptance.FindingIn(r.Language, f)
		for _, w := range f.Where {
			if w.PointMM == nil && (w.Node == "" || len(w.Triangles) == 0) || len(out) == placesShown {
				continue
			}
			out = append(out, viewPlace{
				Number: len(out) + 1, Check: f.Check, Heading: checkTitle(r, f.Check), Detail: placeIn(r, w), Mark: mark(f.Outcome),
				AtMM: w.PointMM, Node: w.Node, Triangles: w.Triangles[:min(len(w.Triangles), trianglesShown)],
			})
		}
	}
	return out
}
