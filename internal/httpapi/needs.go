package httpapi

import (
	"context"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// needsShown is how many of each kind are named.
const needsShown = 50

func need[T any](w ledger.Waiting[T], id func(T) uuid.UUID) api.Need {
	return api.Need{Count: w.Count, Over: w.Over, Ids: each(w.Items, id)}
}

func (h *handlers) GetNeeds(ctx context.Context, _ api.GetNeedsRequestObject) (api.GetNeedsResponseObject, error) {
	n, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Needs, error) { return tx.Needs(ctx, needsShown) })
	if err != nil {
		return nil, err
	}
	prop := func(l ledger.Line) uuid.UUID { return l.PropID }
	change := func(c ledger.ChangeOrder) uuid.UUID { return c.ID }
	out := api.Needs{
		Late: need(n.Late, prop), Asked: need(n.Asked, prop), Stuck: need(n.Stuck, prop), WithoutSpec: need(n.NoSpec, prop),
		Reviews: need(n.Reviews, func(r ledger.Review) uuid.UUID { return r.Milestone.ID }), Questions: need(n.Questions, func(q ledger.Question) uuid.UUID { return q.ID }),
		Changes: need(n.Changes, change), ChangesTheirs: need(n.Theirs, change), Specs: need(n.Specs, change),
		Permits:           need(n.Permits, func(p ledger.Permission) uuid.UUID { return p.ID }),
		ReleasedThisMonth: each(n.Released, func(a ledger.Amount) api.Money { return api.Money{AmountMinor: a.Minor, Currency: a.Currency} }),
	}
	for _, d := range n.Desks {
		out.Desks = append(out.Desks, struct {
			Count int                `json:"count"`
			Over  bool               `json:"over"`
			State api.MilestoneState `json:"state"`
		}{d.Count, d.Over, api.MilestoneState(d.State)})
	}
	out.Desks = emptied(out.Desks)
	return api.GetNeeds200JSONResponse(out), nil
}

func lineOf(l ledger.Line) api.Line {
	return api.Line{PropId: l.PropID, Code: l.Code, Title: l.Title, Tier: api.Tier(l.Tier), WorkOrderId: l.WorkOrder, WorkOrder: l.OrderCode, VendorId: l.VendorID, Vendor: l.VendorName,
		Price: api.Money{AmountMinor: l.PriceMinor, Currency: l.Currency}, MilestoneId: l.MilestoneID, Milestone: l.Milestone, State: api.MilestoneState(l.State), Desk: api.Desk(l.Desk),
		DueOn: day(l.Due), Since: l.Since.UTC(), Rounds: l.Rounds, Late: l.Late, Blocked: l.Blocked, DeliveryId: l.Delivery}
}

func (h *handlers) ListLines(ctx context.Context, r api.ListLinesRequestObject) (api.ListLinesResponseObject, error) {
	p := r.Params
	f := ledger.LineFilter{Text: or(p.Text, ""), OrderCode: or(p.Order, ""), Vendor: or(p.Vendor, uuid.Nil), Project: or(p.Project, uuid.Nil), Late: or(p.Late, false), Open: or(p.Open, false)}
	if p.State != nil {
		f.States = []ledger.MilestoneState{ledger.MilestoneState(*p.State)}
	}
	if p.Tier != nil {
		f.Tiers = []string{string(*p.Tier)}
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Line], error) {
		return tx.Lines(ctx, f, ledger.LineOrder{}, pageOf(p.After, p.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListLines200JSONResponse{Items: each(list.Items, lineOf), Next: next(list.Next)}, nil
}
