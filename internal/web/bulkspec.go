package web

import (
	"context"
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

// bulkSpecPage is one change laid over the specs of many props: what it does to each, and then a new revision of each.
type bulkSpecPage struct {
	Change  string // a part of a spec, as YAML
	Note    string
	Price   string
	Order   string // whose open props are asked for
	Props   []bulkProp
	Began   bool // work on one of them has begun: a change needs a price, if only nought
	Looked  bool
	Left    int // props over the bound, which are not in it
	Untried int
	Fault   string // of the change itself
	Refusal refusal
}

// bulkProp is one prop with what the change does to it.
type bulkProp struct {
	ledger.Prop
	Against  *ledger.SpecRevision
	Document []byte // with the change laid over
	Faults   []httpapi.SpecFault
	Changes  []difference
	Trials   int // past deliveries that it was tried on
	Fails    int // of them, those that would newly fail
	Passes   int // and newly pass
	draft    *spec.Spec
	past     []httpapi.PastDelivery
}

// bulkMost bounds the props of one change: each is tried on its past deliveries.
const bulkMost = 60

func (p *Pages) bulkSpec(c echo.Context) error {
	q := c.QueryParams()
	page := bulkSpecPage{Change: q.Get("change"), Order: strings.TrimSpace(q.Get("order"))}
	if page.Change == "" {
		page.Change = "checks:\n  budget.triangles: {mode: warns}\n"
	}
	if err := p.loadBulk(c, &page, q["prop"]); err != nil {
		return err
	}
	return p.showBulk(c, http.StatusOK, page)
}

func (p *Pages) showBulk(c echo.Context, status int, page bulkSpecPage) error {
	return p.render(c, status, "bulkspec", frame{Title: words.P("bulkspec.title"), At: "work"}, page)
}

// loadBulk reads the chosen props, or the open ones of an order, with their newest revisions.
func (p *Pages) loadBulk(c echo.Context, page *bulkSpecPage, chosen []string) error {
	if who, _ := httpapi.Caller(c.Request().Context()); !who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector) {
		return ledger.ErrNotFound
	}
	var ids []uuid.UUID
	for _, text := range chosen {
		id, err := uuid.Parse(text)
		if err != nil {
			return ledger.ErrNotFound
		}
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		return none, page.load(ctx, tx, ids)
	})
	return err
}

func (page *bulkSpecPage) load(ctx context.Context, tx *ledger.Tx, ids []uuid.UUID) error {
	if len(ids) == 0 && page.Order != "" {
		list, err := tx.Lines(ctx, ledger.LineFilter{OrderCode: page.Order, Open: true}, ledger.LineOrder{}, ledger.Page{Limit: 200})
		if err != nil {
			return err
		}
		for _, l := range list.Items {
			ids = append(ids, l.PropID)
		}
	}
	if page.Left = len(ids) - bulkMost; page.Left > 0 {
		ids = ids[:bulkMost]
	}
	page.Props, page.Began = nil, false
	for _, id := range ids {
		prop, err := tx.Prop(ctx, id)
		if err != nil {
			return err
		}
		against, err := newestSpec(ctx, tx, id)
		if err != nil {
			return err
		}
		page.Began = page.Began || prop.WorkBeganAt != nil
		page.Props = append(page.Props, bulkProp{Prop: prop, Against: against})
	}
	return nil
}

// newestSpec is a prop's revision with the highest number, or nil.
func newestSpec(ctx context.Context, tx *ledger.Tx, prop uuid.UUID) (*ledger.SpecRevision, error) {
	heads, err := tx.SpecRevisions(ctx, prop)
	if err != nil || len(heads) == 0 {
		return nil, err
	}
	newest := slices.MaxFunc(heads, func(a, b ledger.SpecHead) int { return a.Number - b.Number })
	r, err := tx.SpecRevision(ctx, newest.ID)
	return &r, err
}

// changeSpecs looks at what a change does to each of the props, or publishes it for all of them or none.
func (p *Pages) changeSpecs(c echo.Context) error {
	page := bulkSpecPage{Change: field(c, "change"), Note: typed(c, "note"), Price: typed(c, "price"), Looked: true}
	if err := p.loadBulk(c, &page, c.Request().PostForm["prop"]); err != nil {
		return err
	}
	if len(page.Props) == 0 {
		return p.showBulk(c, http.StatusUnprocessableEntity, page)
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		return none, page.lay(ctx, tx, p.reader(c))
	}); err != nil {
		return err
	}
	if field(c, "do") == "publish" && page.Sound() {
		return p.publishBulk(c, page)
	}
	for i := range page.Props {
		if err := p.tryBulk(c, &page, &page.Props[i]); err != nil {
			return err
		}
	}
	status := http.StatusOK
	if field(c, "do") == "publish" {
		status = http.StatusUnprocessableEntity
	}
	return p.showBulk(c, status, page)
}

// lay lays the change over each spec and reads what comes of it.
func (page *bulkSpecPage) lay(ctx context.Context, tx *ledger.Tx, r words.Reader) error {
	for i := range page.Props {
		b := &page.Props[i]
		if b.Against == nil {
			continue // there is no spec to change
		}
		var err error
		if b.Document, err = spec.Overlay(b.Against.Document, []byte(page.Change)); err != nil {
			page.Fault = err.Error()
			return nil
		}
		b.draft, err = httpapi.DraftSpec(ctx, tx, b.Prop, b.Document)
		var faults *httpapi.Problem
		if errors.As(err, &faults) {
			b.Faults = faults.Faults()
			continue
		}
		if err != nil {
			return err
		}
		before, err := httpapi.ResolveSpec(ctx, tx, *b.Against, "")
		if err != nil {
			return err
		}
		b.Changes = differences(r, before, b.draft)
		if b.past, err = httpapi.PastDeliveries(ctx, tx, b.Prop.ID); err != nil {
			return err
		}
	}
	return nil
}

func (p *Pages) tryBulk(c echo.Context, page *bulkSpecPage, b *bulkProp) error {
	if b.draft == nil || len(b.past) == 0 {
		return nil
	}
	trials, untried, err := httpapi.TryOn(c.Request().Context(), p.storage, b.draft, b.past)
	if err != nil {
		return err
	}
	page.Untried += untried
	b.Trials = len(trials)
	for _, t := range trials {
		if t.NewlyFails() {
			b.Fails++
		}
		if t.NewlyPasses() {
			b.Passes++
		}
	}
	return nil
}

// Sound says whether every spec can be read with the change, and at least one is changed.
func (page bulkSpecPage) Sound() bool {
	changed := false
	for _, b := range page.Props {
		if len(b.Faults) > 0 {
			return false
		}
		changed = changed || len(b.Changes) > 0
	}
	return page.Fault == "" && changed
}

// Changed is how many of the props the change changes anything of.
func (page bulkSpecPage) Changed() (n int) {
	for _, b := range page.Props {
		if len(b.Changes) > 0 {
			n++
		}
	}
	return n
}

// publishBulk makes a revision for each prop that the change changes, all in one transaction. After work began each is
// offered to the vendor with the price; the vendor acknowledges them together.
func (p *Pages) publishBulk(c echo.Context, page bulkSpecPage) error {
	_, _, err := act(c, p, "spec", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		for _, b := range page.Props {
			if len(b.Changes) == 0 {
				continue
			}
			in := ledger.NewSpecRevision{Prop: b.Prop.ID, Document: b.Document, Digest: fromHex(b.draft.Digest), Note: page.Note}
			if b.Prop.WorkBeganAt != nil {
				if in.Change.DeltaMinor, err = amount(page.Price, b.Prop.Currency); err != nil {
					return none, id, err
				}
			}
			r, err := tx.CreateSpecRevision(ctx, in)
			if err != nil {
				return none, id, err
			}
			id = r.ID
		}
		return none, id, nil
	})
	if err != nil && refused(err) {
		page.Refusal = p.refuse(c, "bulk", err)
		return p.showBulk(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/#specs")
}

// waitingSpecsPage lists the spec revisions that wait for the vendor's acknowledgement, to be acknowledged together.
type waitingSpecsPage struct {
	Items   []ledger.ChangeOrder
	MayAck  bool
	Studio  bool
	Done    bool
	Refusal refusal
}

// specsTogether bounds what is acknowledged at once.
const specsTogether = 200

func (p *Pages) waitingSpecs(c echo.Context) error {
	return p.showWaitingSpecs(c, http.StatusOK, refusal{})
}

func (p *Pages) showWaitingSpecs(c echo.Context, status int, r refusal) error {
	who, _ := httpapi.Caller(c.Request().Context())
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.Needs, error) { return tx.Needs(ctx, specsTogether) })
	if err != nil {
		return err
	}
	return p.render(c, status, "waitingspecs", frame{Title: words.P("bulkspec.waiting"), At: "work"},
		waitingSpecsPage{Items: list.Specs.Items, MayAck: who.Has(ledger.VendorLead), Studio: who.Side == ledger.StudioSide, Refusal: r})
}

// acknowledgeTogether acknowledges the chosen revisions, all or none.
func (p *Pages) acknowledgeTogether(c echo.Context) error {
	_, _, err := act(c, p, "spec", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		chosen := c.Request().PostForm["spec"]
		if len(chosen) == 0 || len(chosen) > specsTogether {
			return none, id, &ledger.Invalid{Field: "spec", Why: "is not chosen"}
		}
		for _, text := range chosen {
			if id, err = uuid.Parse(text); err != nil {
				return none, id, ledger.ErrNotFound
			}
			if _, err = tx.AcknowledgeSpec(ctx, id); err != nil {
				return none, id, err
			}
		}
		return none, id, nil
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "specs", err)
		return p.showWaitingSpecs(c, r.Status, r)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/specs")
}
