package web

import (
	"context"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// specDraftPage is where a spec is written: what is wrong with it, what it changes, and how past deliveries would fare.
type specDraftPage struct {
	Prop     ledger.Prop
	Document string
	Note     string
	Began    bool // a change now needs a price, if only nought
	Price    string
	Faults   []string
	Looked   bool
	Against  *ledger.SpecRevision
	Changes  []specChange
	Trials   []specTrial
	Untried  int
	Refusal  refusal
}

// specChange is one limit that a draft changes.
type specChange struct{ Check, Of, Limit, Before, After, Change string }

// specTrial is one past delivery under a draft.
type specTrial struct {
	Number   int
	Delivery uuid.UUID
	acceptance.Trial
}

// trialsMost bounds how many past deliveries a draft is tried on from the page.
const trialsMost = 20

// specDraft shows the newest revision to go on from, or the least that a spec needs.
func (p *Pages) specDraft(c echo.Context) error {
	page := specDraftPage{}
	if err := p.loadDraft(c, &page); err != nil {
		return err
	}
	page.Document = "prop: " + page.Prop.Code + "\ntier: " + page.Prop.Tier + "\nsize_mm: [1000, 1000, 1000]   # width, height, depth as contracted\nchecks: {}\n"
	if page.Against != nil {
		page.Document = string(page.Against.Document)
	}
	return p.showDraft(c, http.StatusOK, page)
}

func (p *Pages) showDraft(c echo.Context, status int, page specDraftPage) error {
	return p.render(c, status, "specdraft", frame{Title: "Spec of " + page.Prop.Title, At: "orders"}, page)
}

// loadDraft reads the prop and its newest revision. Only the studio writes specs.
func (p *Pages) loadDraft(c echo.Context, page *specDraftPage) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if who, _ := httpapi.Caller(c.Request().Context()); !who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector) {
		return ledger.ErrNotFound
	}
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if page.Prop, err = tx.Prop(ctx, id); err != nil {
			return none, err
		}
		page.Began = page.Prop.WorkBeganAt != nil
		revisions, err := tx.SpecRevisions(ctx, id)
		if err != nil || len(revisions) == 0 {
			return none, err
		}
		newest := revisions[0]
		for _, r := range revisions {
			if r.Number > newest.Number {
				newest = r
			}
		}
		against, err := tx.SpecRevision(ctx, newest.ID)
		page.Against = &against
		return none, err
	})
	return err
}

// draftSpec looks at a draft, or publishes it.
func (p *Pages) draftSpec(c echo.Context) error {
	page := specDraftPage{Document: field(c, "document"), Note: typed(c, "note"), Price: typed(c, "price")}
	if err := p.loadDraft(c, &page); err != nil {
		return err
	}
	if field(c, "do") == "publish" {
		return p.publishDraft(c, page)
	}
	page.Looked = true
	if err := p.lookAtDraft(c, &page); err != nil {
		return err
	}
	return p.showDraft(c, http.StatusOK, page)
}

func (p *Pages) lookAtDraft(c echo.Context, page *specDraftPage) error {
	var past []*acceptance.Evidence
	var of []ledger.Delivery
	draft, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (*spec.Spec, error) {
		draft, err := httpapi.DraftSpec(ctx, tx, page.Prop, []byte(page.Document))
		if err != nil || page.Against == nil {
			return draft, err
		}
		before, err := httpapi.ResolveSpec(ctx, tx, *page.Against, "")
		if err != nil {
			return draft, err
		}
		for _, r := range httpapi.SpecChanges(before, draft) {
			row := specChange{Check: r.Check, Before: r.Before, After: r.After, Change: string(r.Change)}
			for _, s := range []*string{r.Part, r.Set} {
				if s != nil {
					row.Of = strings.TrimSpace(row.Of + " " + *s)
				}
			}
			if r.Limit != nil {
				row.Limit = *r.Limit
			}
			page.Changes = append(page.Changes, row)
		}
		past, of, err = p.pastEvidence(ctx, tx, page)
		return draft, err
	})
	var faults *httpapi.Problem
	if errors.As(err, &faults) {
		page.Faults = faults.Faults()
		return nil
	}
	if err != nil {
		return err
	}
	trials, err := acceptance.WhatIf(draft, past)
	for i, t := range trials {
		page.Trials = append(page.Trials, specTrial{of[i].Number, of[i].ID, t})
	}
	return err
}

// pastEvidence reads the evidence of the prop's newest deliveries.
func (p *Pages) pastEvidence(ctx context.Context, tx *ledger.Tx, page *specDraftPage) (past []*acceptance.Evidence, of []ledger.Delivery, err error) {
	list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Prop: page.Prop.ID}, ledger.Page{Limit: trialsMost})
	if err != nil {
		return nil, nil, err
	}
	for _, d := range list.Items {
		if d.Inspection == nil {
			continue
		}
		objects, err := tx.EvidenceObjects(ctx, d.Inspection.ID)
		if err != nil {
			return nil, nil, err
		}
		for _, o := range objects {
			if o.Name != "evidence.json" {
				continue
			}
			e, err := fetchEvidence(ctx, p.storage, o)
			if err != nil {
				page.Untried++
				continue
			}
			past, of = append(past, e), append(of, d)
		}
	}
	return past, of, nil
}

// publishDraft publishes. After work began the vendor is offered the change with its price; until it acknowledges, the
// revision in force judges.
func (p *Pages) publishDraft(c echo.Context, page specDraftPage) error {
	made, again, err := act(c, p, "spec", func(ctx context.Context, tx *ledger.Tx) (r ledger.SpecRevision, id uuid.UUID, err error) {
		draft, err := httpapi.DraftSpec(ctx, tx, page.Prop, []byte(page.Document))
		if err != nil {
			return r, id, err
		}
		in := ledger.NewSpecRevision{Prop: page.Prop.ID, Document: []byte(page.Document), Digest: fromHex(draft.Digest), Note: page.Note}
		if page.Began {
			if in.Change.DeltaMinor, err = amount(page.Price, page.Prop.Currency); err != nil {
				return r, id, err
			}
		}
		r, err = tx.CreateSpecRevision(ctx, in)
		return r, r.ID, err
	})
	var faults *httpapi.Problem
	switch {
	case errors.As(err, &faults):
		page.Looked, page.Faults = true, faults.Faults()
		return p.showDraft(c, http.StatusUnprocessableEntity, page)
	case err != nil && refused(err):
		page.Refusal = p.refuse(c, "draft", err)
		return p.showDraft(c, page.Refusal.Status, page)
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/props/"+page.Prop.ID.String())
	}
	return c.Redirect(http.StatusSeeOther, "/specs/"+made.ID.String())
}

// amount reads a sum that may be below nought, in minor units.
func amount(text, currency string) (int64, error) {
	below := strings.HasPrefix(text, "-") || strings.HasPrefix(text, "−")
	n, err := ledger.MinorUnits(strings.TrimLeft(text, "+-−"), currency)
	if err != nil {
		return 0, &ledger.Invalid{Field: "price", Why: err.Error()}
	}
	if below {
		n = -n
	}
	return n, nil
}

func fromHex(s string) []byte {
	b, _ := hex.DecodeString(s) // a digest of our own
	return b
}
