package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// originRows is how many things the form of a declaration takes; a longer list goes by the interface.
const originRows = 6

// OriginRows numbers the rows of the form.
func (propPage) OriginRows() []int {
	out := make([]int, originRows)
	for i := range out {
		out[i] = i + 1
	}
	return out
}

// OriginKinds are what may have to be declared.
func (propPage) OriginKinds() []string { return ledger.OriginKinds }

// declareOrigin takes a declaration of where a prop's content comes from.
func (p *Pages) declareOrigin(c echo.Context) error {
	return onProp(c, p, "origin", "origin", "origin", func(ctx context.Context, tx *ledger.Tx, prop ledger.Prop) (o ledger.Origin, id uuid.UUID, err error) {
		in := ledger.NewOrigin{Prop: prop.ID, Statement: typed(c, "statement")}
		for i := range originRows {
			item := ledger.OriginItem{Kind: field(c, fmt.Sprintf("kind-%d", i+1)), What: typed(c, fmt.Sprintf("what-%d", i+1)), Licence: typed(c, fmt.Sprintf("licence-%d", i+1)), Holder: typed(c, fmt.Sprintf("holder-%d", i+1))}
			if item.Kind != "" {
				in.Items = append(in.Items, item)
			} else if item.What+item.Licence+item.Holder != "" {
				return o, id, &ledger.Invalid{Field: "kind", Why: "is not chosen in a row that says something"}
			}
		}
		o, err = tx.DeclareOrigin(ctx, in)
		return o, o.ID, err
	})
}

// reassign lets a half-done prop go on with another vendor: ordered there in one transaction, then its files are copied.
func (p *Pages) reassign(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	made, again, err := act(c, p, "reassignment", func(ctx context.Context, tx *ledger.Tx) (r ledger.Reassignment, _ uuid.UUID, err error) {
		if _, err := tx.Prop(ctx, id); err != nil {
			return r, id, err
		}
		in := ledger.NewReassignment{Prop: id, Reason: typed(c, "reason")}
		if in.WorkOrder, err = uuid.Parse(field(c, "order")); err != nil {
			return r, id, &ledger.Invalid{Field: "order", Why: "is not chosen"}
		}
		order, err := tx.WorkOrder(ctx, in.WorkOrder)
		if err != nil {
			return r, id, err
		}
		if in.PriceMinor, err = amount(typed(c, "price"), order.Currency); err != nil {
			return r, id, err
		}
		r, err = httpapi.Reassign(ctx, tx, in)
		return r, r.ID, err
	})
	if err == nil && again {
		var found *ledger.Reassignment
		if found, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (*ledger.Reassignment, error) {
			return tx.ReassignmentOf(ctx, id)
		}); err == nil && found != nil {
			made = *found
		}
	}
	if err == nil {
		_, err = p.server.HandOn(c.Request().Context(), made)
	}
	if err != nil && refused(err) {
		page, lerr := p.loadProp(c)
		if lerr != nil {
			return lerr
		}
		page.Refusal = p.refuse(c, "reassignment", err)
		return p.showProp(c, page.Refusal.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/props/"+id.String()+"#after")
}

// capacityPage is what fits into each week against what is due in it.
type capacityPage struct {
	Weeks   []ledger.Date
	Vendors []capacityRow
	Studio  bool
	MaySay  bool
	Said    bool
	Refusal refusal
}

// capacityRow is one vendor's weeks.
type capacityRow struct {
	Name  string
	Weeks []ledger.Week
	Idle  int // slots that nothing is planned for, where they were said
}

// capacityWeeks is how far the page looks: this week and the two months after it.
const capacityWeeks = 9

func (p *Pages) capacity(c echo.Context) error { return p.showCapacity(c, http.StatusOK, refusal{}) }

func (p *Pages) showCapacity(c echo.Context, status int, r refusal) error {
	who, _ := httpapi.Caller(c.Request().Context())
	list, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Week, error) {
		return tx.Capacity(ctx, time.Now().UTC(), capacityWeeks)
	})
	if err != nil {
		return err
	}
	page := capacityPage{Studio: who.Side == ledger.StudioSide, MaySay: who.Has(ledger.VendorLead), Said: c.QueryParam("said") != "", Refusal: r}
	for i, w := range list {
		if i < capacityWeeks {
			page.Weeks = append(page.Weeks, w.On)
		}
		if i%capacityWeeks == 0 {
			page.Vendors = append(page.Vendors, capacityRow{Name: w.VendorName})
		}
		row := &page.Vendors[len(page.Vendors)-1]
		row.Weeks = append(row.Weeks, w)
		if open, said := w.Open(); said && open > 0 {
			row.Idle += open
		}
	}
	return p.render(c, status, "capacity", frame{Title: words.P("capacity.title"), At: "orders"}, page)
}

// sayCapacity takes what a vendor says of its weeks; an empty field leaves a week as it is.
func (p *Pages) sayCapacity(c echo.Context) error {
	_, _, err := act(c, p, "capacity", func(ctx context.Context, tx *ledger.Tx) (none struct{}, id uuid.UUID, err error) {
		who, _ := httpapi.Caller(ctx)
		monday := ledger.Monday(time.Now().UTC())
		for i := range capacityWeeks {
			week := monday.AddDate(0, 0, 7*i)
			text := typed(c, "slots-"+week.Format(time.DateOnly))
			if text == "" {
				continue
			}
			slots, err := whole("slots", text)
			if err != nil {
				return none, who.Party, err
			}
			if _, err := tx.SetCapacity(ctx, week, slots); err != nil {
				return none, who.Party, err
			}
		}
		return none, who.Party, nil
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "capacity", err)
		return p.showCapacity(c, r.Status, r)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/capacity?said=1")
}
