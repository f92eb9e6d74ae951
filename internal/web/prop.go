package web

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// propPage is one prop's whole story: what is asked now, and everything that led there.
type propPage struct {
	party
	Reader     words.Reader
	Open       string // the chapter that the address asks for
	Order      ledger.WorkOrder
	Deliveries []ledger.Delivery
	Earlier    bool // there are more deliveries than are shown
	Specs      []ledger.SpecHead
	Story      ledger.Story
	Lit        map[uuid.UUID]uuid.UUID // inspections by delivery that left a lit picture
	Now        []ledger.Milestone      // not done
	First      map[uuid.UUID]string    // the first issue of each inspection, in the reader's language
	Plain      []spec.Passage          // the spec in force in plain words
	Judged     spec.Milestone          // at which milestone
	Offered    []difference            // what the revision that waits would change
	Elsewhere  []ledger.WorkOrder      // of other vendors, where it could go on
	May        propPermission
	Refusal    refusal
}

// propPermission is what the reader may do on the page. The ledger decides again, whatever the page shows.
type propPermission struct {
	Acknowledge, Ask, Answer, AskPermit, AnswerChange, OfferChange, Deliver, ChangeSpec, Declare, Reassign bool
}

// deliveriesShown is how many of a prop's newest deliveries a page lists.
const deliveriesShown = 200

func (p *Pages) prop(c echo.Context) error {
	page, err := p.loadProp(c)
	if err != nil {
		return err
	}
	return p.showProp(c, http.StatusOK, page)
}

func (p *Pages) showProp(c echo.Context, status int, page propPage) error {
	return p.render(c, status, "prop", frame{Title: page.Prop.Title, At: "work"}, page)
}

func (p *Pages) loadProp(c echo.Context) (propPage, error) {
	id, err := idOf(c)
	if err != nil {
		return propPage{}, err
	}
	who, _ := httpapi.Caller(c.Request().Context())
	page, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (page propPage, err error) {
		page.Reader = p.reader(c)
		if page.Prop, err = tx.Prop(ctx, id); err != nil {
			return page, err
		}
		if page.Order, err = tx.WorkOrder(ctx, page.Prop.WorkOrderID); err != nil {
			return page, err
		}
		list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Prop: id}, ledger.Page{Limit: deliveriesShown})
		if err != nil {
			return page, err
		}
		page.Deliveries, page.Earlier = list.Items, list.Next != ""
		if err = page.loadFirst(ctx, tx); err != nil {
			return page, err
		}
		if page.Specs, err = tx.SpecRevisions(ctx, id); err != nil {
			return page, err
		}
		if page.Story, err = tx.Story(ctx, page.Prop); err != nil {
			return page, err
		}
		if page.Lit, err = tx.PicturesOf(ctx, page.Prop, "prop_lit.png"); err != nil {
			return page, err
		}
		if who.Has(ledger.Producer) {
			orders, err := tx.WorkOrders(ctx, ledger.Page{Limit: listed})
			if err != nil {
				return page, err
			}
			page.Elsewhere = slices.DeleteFunc(orders.Items, func(o ledger.WorkOrder) bool { return o.VendorID == page.Prop.VendorID })
		}
		return page, page.loadSpecs(ctx, tx)
	})
	if err != nil {
		return page, err
	}
	page.Studio, page.Open = who.Side == ledger.StudioSide, c.QueryParam("open")
	page.look(who)
	return page, nil
}

// loadFirst says the first issue of each delivery in the reader's language. Where it is not kept, the headline's English stands.
func (page *propPage) loadFirst(ctx context.Context, tx *ledger.Tx) error {
	var ids []uuid.UUID
	page.First = map[uuid.UUID]string{}
	for _, d := range page.Deliveries {
		if d.Inspection != nil && d.Inspection.Verdict != "" {
			ids = append(ids, d.Inspection.ID)
			page.First[d.Inspection.ID] = verdictMore(d.Inspection.Headline)
		}
	}
	says, err := tx.FirstIssues(ctx, page.Prop.StudioID, ids)
	if err != nil {
		return err
	}
	for id, data := range says {
		var phrases []words.Phrase
		if json.Unmarshal(data, &phrases) == nil && len(phrases) > 0 && page.Reader.Has(phrases[0].Code) {
			page.First[id] = sentenceCase(page.Reader.Language.Text(phrases))
		}
	}
	return nil
}

// look works out what is asked now and what the reader may do.
func (page *propPage) look(who ledger.Who) {
	page.Now = slices.DeleteFunc(slices.Clone(page.Prop.Milestones), func(m ledger.Milestone) bool { return m.State.Final() })
	vendor := who.Side == ledger.VendorSide
	page.May = propPermission{
		Acknowledge: who.Has(ledger.VendorLead), Ask: vendor, Answer: !vendor, AskPermit: vendor && len(page.Now) > 0,
		AnswerChange: who.Has(ledger.VendorLead, ledger.Producer), OfferChange: who.Has(ledger.VendorLead, ledger.Producer) && len(page.Now) > 0,
		Deliver:    vendor && page.Prop.SpecInForce != nil && slices.ContainsFunc(page.Now, func(m ledger.Milestone) bool { return takesDelivery(m.State) }),
		ChangeSpec: who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector), Declare: who.Has(ledger.VendorLead),
		Reassign: who.Has(ledger.Producer) && len(page.Now) > 0,
	}
}

// loadSpecs puts the spec in force into plain words, and what a revision that waits would change. A spec that no engine of
// today reads has neither; its document stands on its own page.
func (page *propPage) loadSpecs(ctx context.Context, tx *ledger.Tx) error {
	head := page.Prop.SpecInForce
	if head == nil {
		return nil
	}
	page.Judged = judgedNow(page.Prop)
	before, err := resolvedSpec(ctx, tx, head.ID, page.Judged)
	if err != nil || before == nil {
		return err
	}
	page.Plain = before.InPlainWords()
	if page.Prop.SpecOffered == nil {
		return nil
	}
	after, err := resolvedSpec(ctx, tx, page.Prop.SpecOffered.ID, page.Judged)
	if err != nil || after == nil {
		return err
	}
	page.Offered = differences(page.Reader, before, after)
	return nil
}

// judgedNow is the milestone that is being worked on, as a spec counts it; the last one where all are done.
func judgedNow(p ledger.Prop) spec.Milestone {
	for _, m := range p.Milestones {
		if !m.State.Final() && m.Kind != "maintenance" {
			return spec.Milestone(m.Kind)
		}
	}
	return spec.Final
}

// resolvedSpec reads a revision as it counts at a milestone; nil where the present engine refuses what an earlier one took.
func resolvedSpec(ctx context.Context, tx *ledger.Tx, id uuid.UUID, at spec.Milestone) (*spec.Spec, error) {
	r, err := tx.SpecRevision(ctx, id)
	if err != nil {
		return nil, err
	}
	s, err := httpapi.ResolveSpec(ctx, tx, r, at)
	var faults *httpapi.Problem
	if errors.As(err, &faults) {
		return nil, nil
	}
	return s, err
}

// onProp does one form of a prop's page: back to the page where it is done, the page with what had been typed where it is
// refused.
func onProp[T any](c echo.Context, p *Pages, form, kind, at string, effect func(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (T, uuid.UUID, error)) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	_, _, err = act(c, p, kind, func(ctx context.Context, tx *ledger.Tx) (none T, _ uuid.UUID, err error) {
		prop, err := tx.Prop(ctx, id)
		if err != nil {
			return none, uuid.Nil, err
		}
		return effect(ctx, tx, prop)
	})
	if err != nil && refused(err) {
		page, lerr := p.loadProp(c)
		if lerr != nil {
			return lerr
		}
		page.Refusal = p.refuse(c, form, err)
		return p.showProp(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/props/"+id.String()+"?open="+at+"#"+at)
}
