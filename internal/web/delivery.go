package web

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/google/uuid"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
	"proofhouse/internal/web/words"
)

// deliveryPage is one delivery with what was found and what was decided.
type deliveryPage struct {
	Delivery    ledger.Delivery
	Prop        ledger.Prop
	Order       ledger.WorkOrder
	Inspection  *ledger.Inspection // the one that counts or runs
	Runs        []ledger.Inspection
	Evidence    *acceptance.Evidence
	Missing     words.Phrase // why there is no evidence to show
	Stills      []picture
	Details     []picture
	True        *picture               // the prop alone in real pixels
	Model       *ledger.EvidenceObject // of the deviation, to take away
	Turns       bool                   // there is a model for the 3D view
	Found       sortedFindings
	SignOffs    []ledger.SignOff
	Concessions []ledger.Concession
	Notes       []ledger.Note
	Asked       *ledger.SignOff // what the return of an earlier delivery asked for
	Newer       *ledger.Delivery
	May         permission
	Studio      bool
	Watch       bool
	Refusal     refusal
	Beside      []ledger.Beside // to look at beside this one
	Compared    *comparison
	Pending     *ledger.PendingSignOff // a decision that the vendor does not know yet; the studio's alone
	Reader      uuid.UUID              // the member who looks
	Told        words.Phrase           // what the reader has just done
	Side        ledger.Side
	reader      words.Reader
	EvidenceURL string
	Server      string
}

// picture is one picture of the evidence with where to fetch it, whole or small. Number tells it from the page's others.
type picture struct {
	Name, What, URL, Thumb string
	Number                 int
}

func (p *Pages) delivery(c echo.Context) error {
	page, err := p.loadDelivery(c)
	if err != nil {
		return err
	}
	return p.showDelivery(c, http.StatusOK, page)
}

// watchSeconds is how often a page that was asked to keep looking does so.
const watchSeconds = "4"

// showDelivery shows the page. It looks again by itself only for a reader who has asked for that, and only while there
// is something to come.
func (p *Pages) showDelivery(c echo.Context, status int, page deliveryPage) error {
	page.Server = p.server.PublicURL()
	if page.Watch = page.Running() && c.QueryParam("watch") != ""; page.Watch {
		c.Response().Header().Set("Refresh", watchSeconds)
	}
	before, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (before ledger.PastEvidence, err error) {
		if page.Beside, err = tx.BesideOf(ctx, page.Delivery); err != nil {
			return before, err
		}
		if page.Pending, err = tx.PendingOn(ctx, page.Delivery.MilestoneID); err != nil {
			return before, err
		}
		return tx.EvidenceBefore(ctx, page.Delivery)
	})
	if err != nil {
		return err
	}
	page.Compared = p.compareWithBefore(c.Request().Context(), page.reader, page.Delivery, before, page.Evidence)
	title := words.P("delivery.title", words.Name(page.Prop.Title), words.Term("milestone."+page.Delivery.MilestoneKind), words.Name(strconv.Itoa(page.Delivery.Number)))
	return p.render(c, status, "delivery", frame{Title: title, At: "work"}, page)
}

// Lit is the address of the lit still; "" where there is none.
func (page deliveryPage) Lit() string {
	for _, s := range page.Stills {
		if s.Name == "prop_lit.png" {
			return s.URL
		}
	}
	return ""
}

// First is the first issue's sentence in the reader's language, where there is none the first warning's; the recorded
// English one where the evidence is missing.
func (page deliveryPage) First() string {
	for _, list := range [][]group{page.Found.Issues, page.Found.Unable, page.Found.Warnings} {
		for _, g := range list {
			return farthest(g.Findings).Sentence
		}
	}
	return verdictMore(page.Inspection.Headline)
}

// RunSaid is how far the inspection is.
func (page deliveryPage) RunSaid() words.Phrase {
	return deliveryRun{page.Delivery, page.Inspection}.said(time.Now())
}

// Threads are the notes under those that they answer.
func (page deliveryPage) Threads() []thread { return threadsOf(page.Notes, page.Side) }

// Sketched is the picture that somebody drew on, and the drawing as lines: it may be a picture of an earlier inspection.
func (deliveryPage) Sketched(n ledger.Note) *sketched {
	if n.Sketch == nil {
		return nil
	}
	return sketchedOf(*n.Sketch)
}

// Running says whether an inspection is still to come or under way.
func (page deliveryPage) Running() bool {
	return page.Delivery.State == ledger.DSealed && (page.Inspection == nil || page.Inspection.State != ledger.IDone)
}

// Again says whether the reader is the vendor, and it is for them to deliver this milestone once more.
func (page deliveryPage) Again() bool {
	return !page.Studio && page.Newer == nil && page.Counting() != nil && takesDelivery(page.Delivery.Milestone)
}

// Stage is the delivery's milestone as it stands today.
func (page deliveryPage) Stage() *ledger.Milestone {
	for i, m := range page.Prop.Milestones {
		if m.ID == page.Delivery.MilestoneID {
			return &page.Prop.Milestones[i]
		}
	}
	return nil
}

// Awaits is the milestone where this delivery waits for the studio's answer, or nil.
func (page deliveryPage) Awaits() *ledger.Milestone {
	m := page.Stage()
	if m == nil || m.State != ledger.MReview || page.Newer != nil || page.Counting() == nil {
		return nil
	}
	return m
}

// LastReturn is the decision that sent this delivery back, or nil.
func (page deliveryPage) LastReturn() *ledger.SignOff {
	for i, s := range page.SignOffs { // newest first
		if s.Decision == ledger.Return {
			return &page.SignOffs[i]
		}
	}
	return nil
}

// Since are the findings that tell what became of the delivery before.
func (page deliveryPage) Since() []acceptance.Finding {
	if page.Evidence == nil {
		return nil
	}
	return acceptance.SinceBefore(page.Evidence)
}

// Shown are the numbered pictures of the page that a finding names.
func (page deliveryPage) Shown(names []string) []picture {
	var out []picture
	for _, p := range page.Details {
		if slices.Contains(names, p.Name) {
			out = append(out, p)
		}
	}
	return out
}

// Owns says that the decision that waits on the milestone is the reader's own.
func (page deliveryPage) Owns() bool { return page.Pending != nil && page.Pending.By == page.Reader }

// Stray says that a form was refused which the page, read again, does not offer any more.
func (page deliveryPage) Stray() bool {
	switch form := page.Refusal.Form; form {
	case "", "note", "resolution":
		return false
	case "decision":
		return !page.May.Decide() || page.Pending != nil
	case "reinspection":
		return !page.May.Reinspect
	default:
		if strings.HasPrefix(form, "reply-") {
			return false
		}
		return !page.Found.offers(form)
	}
}

// Counting is the inspection that is done and counts, or nil.
func (page deliveryPage) Counting() *ledger.Inspection {
	if page.Inspection != nil && page.Inspection.State == ledger.IDone {
		return page.Inspection
	}
	return nil
}

func (p *Pages) loadDelivery(c echo.Context) (deliveryPage, error) {
	id, err := idOf(c)
	if err != nil {
		return deliveryPage{}, err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	var objects []ledger.EvidenceObject
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page deliveryPage, err error) {
		if page.Delivery, err = tx.Delivery(ctx, id); err != nil {
			return page, err
		}
		if page.Prop, err = tx.Prop(ctx, page.Delivery.PropID); err != nil {
			return page, err
		}
		if page.Order, err = tx.WorkOrder(ctx, page.Delivery.WorkOrderID); err != nil {
			return page, err
		}
		if page.SignOffs, err = tx.SignOffs(ctx, id); err != nil {
			return page, err
		}
		if page.Concessions, err = tx.Concessions(ctx, id); err != nil {
			return page, err
		}
		if page.Notes, err = tx.Notes(ctx, id); err != nil {
			return page, err
		}
		if err := page.loadNeighbours(ctx, tx); err != nil {
			return page, err
		}
		objects, err = page.loadInspection(ctx, tx, who)
		return page, err
	})
	if err != nil {
		return page, err
	}
	page.Studio, page.Side, page.Reader, page.reader = who.Side == ledger.StudioSide, who.Side, who.Member, p.reader(c)
	p.readEvidence(c.Request().Context(), &page, objects)
	return page, nil
}

// loadNeighbours finds the newest delivery of the same milestone, where this is not it, and what was asked for last.
func (page *deliveryPage) loadNeighbours(ctx context.Context, tx *ledger.Tx) error {
	list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Milestone: page.Delivery.MilestoneID}, ledger.Page{Limit: deliveriesShown})
	if err != nil {
		return err
	}
	var before *ledger.Delivery
	for i, d := range list.Items {
		if d.State != ledger.DSealed {
			continue
		}
		if d.Number > page.Delivery.Number && (page.Newer == nil || d.Number > page.Newer.Number) {
			page.Newer = &list.Items[i]
		}
		if d.Number < page.Delivery.Number && (before == nil || d.Number > before.Number) {
			before = &list.Items[i]
		}
	}
	if before == nil {
		return nil
	}
	decided, err := tx.SignOffs(ctx, before.ID)
	if err != nil {
		return err
	}
	for i, s := range decided { // newest first
		if s.Decision == ledger.Return {
			page.Asked = &decided[i]
			break
		}
	}
	return nil
}

func (page *deliveryPage) loadInspection(ctx context.Context, tx *ledger.Tx, who ledger.Who) (objects []ledger.EvidenceObject, err error) {
	if page.Runs, err = tx.Inspections(ctx, page.Delivery.ID); err != nil {
		return nil, err
	}
	head := page.Delivery.Inspection
	if head == nil {
		page.May = permit(who, page, nil)
		return nil, nil
	}
	run, err := tx.Inspection(ctx, head.ID)
	if err != nil {
		return nil, err
	}
	page.Inspection = &run
	if objects, err = tx.EvidenceObjects(ctx, head.ID); err != nil {
		return nil, err
	}
	var rows []ledger.Finding
	for at := (ledger.Page{Limit: 200}); ; {
		list, err := tx.Findings(ctx, head.ID, at)
		if err != nil {
			return nil, err
		}
		rows = append(rows, list.Items...)
		if at.After = list.Next; at.After == "" {
			break
		}
	}
	page.May = permit(who, page, rows)
	return objects, nil
}

// stillsFirst is the order in which somebody who decides looks at stills: lit, at the game's distance, in clay.
var stillsFirst = []string{"prop_lit.png", "prop_game_distance.png", "prop_clay.png"}

// readEvidence fetches evidence.json, checks its digest and sorts what is in it for a reader.
func (p *Pages) readEvidence(ctx context.Context, page *deliveryPage, objects []ledger.EvidenceObject) {
	if page.Counting() == nil {
		return
	}
	base := "/v1/inspections/" + page.Inspection.ID.String()
	for i, o := range objects {
		pic := picture{Name: o.Name, What: o.What, URL: base + "/pictures/" + o.Name, Thumb: "/inspections/" + page.Inspection.ID.String() + "/thumb/" + o.Name}
		switch {
		case o.Name == "evidence.json":
			page.EvidenceURL = base + "/evidence"
			e, err := httpapi.FetchEvidence(ctx, p.storage, o)
			if err != nil {
				page.Missing = words.P("delivery.missing")
				if errors.Is(err, storage.ErrChanged) {
					page.Missing = words.P("delivery.broken")
				}
				continue
			}
			page.Evidence = acceptance.In(page.reader.Language, e)
		case o.Name == "deviation.glb":
			page.Model = &objects[i]
		case o.Name == "model_game.glb":
			page.Turns = true
		case o.Name == truePixels: // to stand beside others
			page.True = &pic
		case strings.HasPrefix(o.Name, "prop_"):
			page.Stills = append(page.Stills, pic)
		case strings.HasPrefix(o.MediaType, "image/"):
			pic.Number = len(page.Details) + 1
			page.Details = append(page.Details, pic)
		}
	}
	rank := func(name string) int {
		if i := slices.Index(stillsFirst, name); i >= 0 {
			return i
		}
		return len(stillsFirst)
	}
	slices.SortStableFunc(page.Stills, func(a, b picture) int { return rank(a.Name) - rank(b.Name) })
	if page.Evidence != nil {
		page.sayPictures()
		page.Evidence.Exempt = acceptance.In(page.reader.Language, page.Evidence).Exempt
		page.Found = sortFindings(page.reader, page.Evidence.Findings, page.concededHere(), page.May.Concede)
	}
}

// concededHere is the concessions of the inspection that is shown; earlier runs have their own.
func (page *deliveryPage) concededHere() []ledger.Concession {
	return slices.DeleteFunc(slices.Clone(page.Concessions), func(c ledger.Concession) bool { return c.Inspection != page.Inspection.ID })
}

// sayPictures says in the reader's language what the pictures show.
func (page *deliveryPage) sayPictures() {
	said := map[string]string{}
	for _, ref := range page.Evidence.Pictures {
		if ref.Says != nil {
			said[ref.Name] = page.reader.Sentence(*ref.Says)
		}
	}
	for _, list := range [][]picture{page.Stills, page.Details} {
		for i := range list {
			if what := said[list[i].Name]; what != "" {
				list[i].What = what
			}
		}
	}
	if page.True != nil && said[page.True.Name] != "" {
		page.True.What = said[page.True.Name]
	}
}
