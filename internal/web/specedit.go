package web

import (
	"context"
	"encoding/hex"
	"errors"
	"net/http"
	"slices"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// specDraftPage is where a spec is written: what is wrong with it, what it changes, and how past deliveries would fare.
type specDraftPage struct {
	Prop     ledger.Prop
	Document string
	Note     string
	Began    bool // a change now needs a price, if only nought
	Price    string
	Faults   []httpapi.SpecFault
	Looked   bool
	Against  *ledger.SpecRevision
	Changes  []difference
	Trials   []httpapi.PastTrial
	Untried  int
	Plain    []spec.Passage // of a first spec that can be read
	Rules    []ruleGroup
	Start    specStart // of a first spec
	Help     []helpFamily
	Refusal  refusal
}

// specDraft shows the newest revision to go on from, or the least that a spec needs.
func (p *Pages) specDraft(c echo.Context) error {
	page := specDraftPage{}
	if err := p.loadDraft(c, &page); err != nil {
		return err
	}
	status := http.StatusOK
	if page.Against != nil {
		page.Document = string(page.Against.Document)
	} else if page.Document = page.Start.document(page.Prop); page.Start.Wrong != "" {
		status = http.StatusUnprocessableEntity
	}
	return p.showDraft(c, status, page)
}

func (p *Pages) showDraft(c echo.Context, status int, page specDraftPage) error {
	return p.render(c, status, "specdraft", frame{Title: words.P("specdraft.title", page.Prop.Title), At: "orders"}, page)
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
		page.Help = helpOf(p.reader(c), page.Prop.Tier)
		page.Began = page.Prop.WorkBeganAt != nil
		if page.Against, err = newestSpec(ctx, tx, id); err != nil || page.Against != nil {
			return none, err
		}
		page.Start = readStart(c)
		page.Start.Parents, err = loadParents(ctx, tx, page.Prop)
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
	var past []httpapi.PastDelivery
	draft, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (*spec.Spec, error) {
		draft, err := httpapi.DraftSpec(ctx, tx, page.Prop, []byte(page.Document))
		if err != nil {
			return draft, err
		}
		if page.Against == nil {
			page.Plain, page.Rules = draft.InPlainWords(), rulesByMode(p.reader(c), draft)
			return draft, nil
		}
		before, err := httpapi.ResolveSpec(ctx, tx, *page.Against, "")
		if err != nil {
			return draft, err
		}
		page.Changes = differences(p.reader(c), before, draft)
		past, err = httpapi.PastDeliveries(ctx, tx, page.Prop.ID)
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
	page.Trials, page.Untried, err = httpapi.TryOn(c.Request().Context(), p.storage, draft, past)
	return err
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

// markedLine is a line of the draft with a fault in it: up to the fault, and from there on.
type markedLine struct {
	Number     int
	Sound, Bad string
}

// Marked are the lines that faults name, in order, each once.
func (page specDraftPage) Marked() (out []markedLine) {
	lines := strings.Split(page.Document, "\n")
	for _, f := range page.Faults {
		line, column := f.Line, f.Column
		if line < 1 || line > len(lines) || slices.ContainsFunc(out, func(m markedLine) bool { return m.Number == line }) {
			continue
		}
		text := []rune(lines[line-1])
		cut := min(max(column-1, 0), len(text))
		out = append(out, markedLine{line, string(text[:cut]), string(text[cut:])})
	}
	slices.SortFunc(out, func(a, b markedLine) int { return a.Number - b.Number })
	return out
}
