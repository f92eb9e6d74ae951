package httpapi

import (
	"context"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// wholePrice is all of a prop's price in basis points.
const wholePrice = 10_000

func (h *handlers) ListProjects(ctx context.Context, r api.ListProjectsRequestObject) (api.ListProjectsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Project], error) {
		return tx.Projects(ctx, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListProjects200JSONResponse{Items: each(list.Items, projectOf), Next: next(list.Next)}, nil
}

func (h *handlers) CreateProject(ctx context.Context, r api.CreateProjectRequestObject) (api.CreateProjectResponseObject, error) {
	project, _, err := once(ctx, h.Server, "project", func(tx *ledger.Tx) (ledger.Project, uuid.UUID, error) {
		p, err := tx.CreateProject(ctx, ledger.NewProject{Code: r.Body.Code, Title: r.Body.Title})
		return p, p.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Project, error) { return tx.Project(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.CreateProject201JSONResponse(projectOf(project)), nil
}

func (h *handlers) GetProject(ctx context.Context, r api.GetProjectRequestObject) (api.GetProjectResponseObject, error) {
	project, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Project, error) { return tx.Project(ctx, r.ProjectId) })
	if err != nil {
		return nil, err
	}
	return api.GetProject200JSONResponse(projectOf(project)), nil
}

func (h *handlers) ListWorkOrders(ctx context.Context, r api.ListWorkOrdersRequestObject) (api.ListWorkOrdersResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.WorkOrder], error) {
		return tx.WorkOrders(ctx, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListWorkOrders200JSONResponse{Items: each(list.Items, workOrderOf), Next: next(list.Next)}, nil
}

func (h *handlers) CreateWorkOrder(ctx context.Context, r api.CreateWorkOrderRequestObject) (api.CreateWorkOrderResponseObject, error) {
	in := ledger.NewWorkOrder{
		Project: r.Body.ProjectId, Vendor: r.Body.VendorId, Code: r.Body.Code, Title: r.Body.Title, Currency: r.Body.Currency,
		RoundsIncluded: or(r.Body.RoundsIncluded, 2), ReviewDays: or(r.Body.ReviewDays, 5), Terms: or(r.Body.Terms, ""),
		SilenceAccepts: or(r.Body.SilenceAccepts, false), KillFeeBP: or(r.Body.KillFeeBp, 0),
		Codename: or(r.Body.Codename, ""), Secret: or(r.Body.Secret, false), SourceRoles: or(r.Body.SourceRoles, nil), OriginRequired: or(r.Body.OriginRequired, false), Calendar: or(r.Body.CalendarId, uuid.Nil),
	}
	order, _, err := once(ctx, h.Server, "work_order", func(tx *ledger.Tx) (ledger.WorkOrder, uuid.UUID, error) {
		w, err := tx.CreateWorkOrder(ctx, in)
		return w, w.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.WorkOrder, error) { return tx.WorkOrder(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.CreateWorkOrder201JSONResponse(workOrderOf(order)), nil
}

// or is what was sent, or the description's default.
func or[T any](sent *T, unless T) T {
	if sent == nil {
		return unless
	}
	return *sent
}

func (h *handlers) GetWorkOrder(ctx context.Context, r api.GetWorkOrderRequestObject) (api.GetWorkOrderResponseObject, error) {
	order, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.WorkOrder, error) { return tx.WorkOrder(ctx, r.WorkOrderId) })
	if err != nil {
		return nil, err
	}
	return api.GetWorkOrder200JSONResponse(workOrderOf(order)), nil
}

func (h *handlers) ListProps(ctx context.Context, r api.ListPropsRequestObject) (api.ListPropsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Prop], error) {
		if _, err := tx.WorkOrder(ctx, r.WorkOrderId); err != nil {
			return ledger.List[ledger.Prop]{}, err
		}
		return tx.Props(ctx, ledger.PropFilter{WorkOrder: r.WorkOrderId}, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListProps200JSONResponse{Items: each(list.Items, propOf), Next: next(list.Next)}, nil
}

func (h *handlers) CreateProp(ctx context.Context, r api.CreatePropRequestObject) (api.CreatePropResponseObject, error) {
	in := ledger.NewProp{
		WorkOrder: r.WorkOrderId, Code: r.Body.Code, Title: r.Body.Title, Tier: string(r.Body.Tier), PriceMinor: r.Body.Price.AmountMinor,
		Milestones: each(r.Body.Milestones, newMilestone), Kind: string(or(r.Body.Kind, "")), Kit: or(r.Body.Kit, ""), Pilot: or(r.Body.Pilot, false),
	}
	shares := 0
	for _, m := range in.Milestones {
		shares += m.ShareBP
	}
	if shares == 0 {
		in.Milestones[len(in.Milestones)-1].ShareBP = wholePrice
	}
	prop, _, err := once(ctx, h.Server, "prop", func(tx *ledger.Tx) (ledger.Prop, uuid.UUID, error) {
		order, err := tx.WorkOrder(ctx, r.WorkOrderId)
		if err != nil {
			return ledger.Prop{}, uuid.Nil, err
		}
		if order.Currency != r.Body.Price.Currency {
			return ledger.Prop{}, uuid.Nil, invalidField("price/currency", "must be the work order's currency, "+order.Currency)
		}
		p, err := tx.CreateProp(ctx, in)
		return p, p.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Prop, error) { return tx.Prop(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.CreateProp201JSONResponse(propOf(prop)), nil
}

func newMilestone(m api.NewMilestone) ledger.NewMilestone {
	out := ledger.NewMilestone{Kind: string(m.Kind), ShareBP: or(m.ShareBp, 0)}
	if m.DueOn != nil {
		out.Due = &m.DueOn.Time
	}
	return out
}

func (h *handlers) GetProp(ctx context.Context, r api.GetPropRequestObject) (api.GetPropResponseObject, error) {
	prop, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Prop, error) { return tx.Prop(ctx, r.PropId) })
	if err != nil {
		return nil, err
	}
	return api.GetProp200JSONResponse(propOf(prop)), nil
}
