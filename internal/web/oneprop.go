package web

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// onePropPage is where a producer orders a single prop. Its fields have the names of a list's headings.
type onePropPage struct {
	Order   ledger.WorkOrder
	Cells   map[string]string
	Stages  []string
	Tiers   []string
	Kinds   []string
	Doubts  []fieldFault // asked about before it is ordered
	Refusal refusal
}

// propStages are a prop's stages in the order of the work.
func propStages() (stages []string) {
	for _, h := range ledger.ListHeadings() {
		if stage, is := strings.CutSuffix(h, "_share"); is {
			stages = append(stages, stage)
		}
	}
	return stages
}

// oneProp begins with the stages and shares of the order's newest prop, since an order's props are mostly paid alike.
func (p *Pages) oneProp(c echo.Context) error {
	order, err := p.orderFor(c)
	if err != nil {
		return err
	}
	page := onePropPage{Order: order, Cells: map[string]string{"tier": "mid"}}
	_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		lines, err := tx.Lines(ctx, ledger.LineFilter{WorkOrder: order.ID}, ledger.LineOrder{By: "since", Down: true}, ledger.Page{Limit: 1})
		if err != nil || len(lines.Items) == 0 {
			return none, err
		}
		like, err := tx.Prop(ctx, lines.Items[0].PropID)
		page.Cells["tier"] = like.Tier
		for _, m := range like.Milestones {
			page.Cells[m.Kind+"_share"] = p.reader(c).Text(words.P("oneprop.share", float64(m.ShareBP)/100))
		}
		return none, err
	})
	if err != nil {
		return err
	}
	return p.showOneProp(c, http.StatusOK, page)
}

func (p *Pages) showOneProp(c echo.Context, status int, page onePropPage) error {
	page.Stages, page.Tiers, page.Kinds = propStages(), []string{"background", "mid", "hero", "close_up"}, []string{"prop", "texture_set", "kit"}
	return p.render(c, status, "oneprop", frame{Title: words.P("oneprop.title", page.Order.Code), At: "orders"}, page)
}

// orderOne orders the prop. Days that are over are asked about first.
func (p *Pages) orderOne(c echo.Context) error {
	order, err := p.orderFor(c)
	if err != nil {
		return err
	}
	page := onePropPage{Order: order, Cells: map[string]string{}}
	for _, h := range ledger.ListHeadings() {
		page.Cells[h] = typed(c, h)
	}
	list := ledger.ReadProp(page.Cells, order.Currency)
	now := time.Now().In(p.reader(c).Zone)
	doubts := list.Doubts(time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, time.UTC))
	ask := len(doubts) > 0 && field(c, "do") != "anyway"
	var faults []ledger.BadRow
	run := func(ctx context.Context, tx *ledger.Tx) (one ledger.Prop, id uuid.UUID, err error) {
		made, bad, err := tx.ImportProps(ctx, order.ID, list, ask)
		switch faults = bad; {
		case err != nil || ask:
			return one, id, err
		case len(made) != 1:
			return one, id, &ledger.Invalid{Field: "list", Why: "was not taken: nothing is ordered before every row is right"}
		}
		return made[0], made[0].ID, nil
	}
	var made ledger.Prop
	again := false
	if ask {
		_, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
			one, _, err := run(ctx, tx)
			return one, err
		})
	} else {
		made, again, err = act(c, p, "prop", run)
	}
	if len(faults) > 0 || ask && err == nil {
		page.Refusal, page.Doubts = p.refuseFields(c, "prop", asFields(faults), nil), p.refuseFields(c, "prop", asFields(doubts), nil).Faults
		return p.showOneProp(c, http.StatusUnprocessableEntity, page)
	}
	switch {
	case err != nil && refused(err):
		page.Refusal = p.refuse(c, "prop", err)
		return p.showOneProp(c, page.Refusal.Status, page)
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/orders/"+order.ID.String())
	}
	return c.Redirect(http.StatusSeeOther, "/props/"+made.ID.String())
}

// asFields are faults of a row as faults of a form's fields; one of the whole row is one of its stages.
func asFields(rows []ledger.BadRow) (out []*ledger.Invalid) {
	for _, r := range rows {
		if r.Column == "" {
			r.Column = "stages"
		}
		out = append(out, &ledger.Invalid{Field: r.Column, Why: r.Why})
	}
	return out
}
