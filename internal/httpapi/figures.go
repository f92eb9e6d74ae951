package httpapi

import (
	"context"
	"strconv"
	"time"

	"github.com/google/uuid"
	openapi_types "github.com/oapi-codegen/runtime/types"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func figureFilter(from, to *openapi_types.Date, vendor, project *uuid.UUID, tier *api.Tier) ledger.FigureFilter {
	f := ledger.FigureFilter{Vendor: or(vendor, uuid.Nil), Project: or(project, uuid.Nil), Tier: string(or(tier, ""))}
	if from != nil {
		f.From = from.Time
	}
	if to != nil {
		f.To = to.Time
	}
	return f
}

func days(d time.Duration) float64 { return d.Hours() / 24 }

func (h *handlers) ListFigures(ctx context.Context, r api.ListFiguresRequestObject) (api.ListFiguresResponseObject, error) {
	q := r.Params
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Performance, error) {
		return tx.Performances(ctx, string(or(q.By, "vendor")), figureFilter(q.From, q.To, q.VendorId, q.ProjectId, q.Tier))
	})
	if err != nil {
		return nil, err
	}
	items := each(list, func(p ledger.Performance) api.Figure {
		return api.Figure{
			Key: p.Key, Name: p.Name, Accepted: p.Accepted, FirstPass: p.FirstPass, FirstPassYield: p.FirstPassYield(), Rounds: p.Rounds, ReworkVendor: p.ReworkVendor,
			ReworkStudio: p.ReworkStudio, WithDue: p.WithDue, OnTime: p.OnTime, OnTimeShare: p.OnTimeShare(), VendorDays: days(p.Vendor), StudioDays: days(p.Studio),
			InspectorDays: days(p.Inspector),
		}
	})
	return api.ListFigures200JSONResponse{Items: items}, nil
}

func whole(n int64) string { return strconv.FormatInt(n, 10) }

func (h *handlers) ListFailingChecks(ctx context.Context, r api.ListFailingChecksRequestObject) (api.ListFailingChecksResponseObject, error) {
	q := r.Params
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.CheckFigure, error) {
		return tx.FailingChecks(ctx, figureFilter(q.From, q.To, q.VendorId, q.ProjectId, q.Tier), or(q.Limit, 50))
	})
	if err != nil {
		return nil, err
	}
	return api.ListFailingChecks200JSONResponse{Items: each(list, func(c ledger.CheckFigure) api.CheckFigure {
		return api.CheckFigure{Check: c.Check, Judged: c.Judged, Failed: c.Failed}
	})}, nil
}

func (h *handlers) GetPlan(ctx context.Context, r api.GetPlanRequestObject) (api.GetPlanResponseObject, error) {
	q := r.Params
	if (q.ProjectId == nil) == (q.WorkOrderId == nil) {
		return nil, invalidField("project_id", "or work_order_id is needed, and not both")
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Plan, error) {
		return tx.Plans(ctx, ledger.PlanFilter{Project: or(q.ProjectId, uuid.Nil), WorkOrder: or(q.WorkOrderId, uuid.Nil)}, uint64(or(q.Seed, 1)))
	})
	if err != nil {
		return nil, err
	}
	if or(q.Format, api.Json) == api.Csv {
		var rows [][]string
		for _, p := range list {
			for _, w := range p.Weeks {
				rows = append(rows, []string{p.Currency, w.Ends.Format(time.DateOnly), whole(w.PlannedMinor), whole(w.AcceptedMinor), whole(w.LowMinor), whole(w.MiddleMinor), whole(w.HighMinor)})
			}
		}
		body, n := table([]string{"currency", "week_ends", "planned_minor", "accepted_minor", "low_minor", "middle_minor", "high_minor"}, rows)
		return api.GetPlan200TextcsvResponse{Body: body, ContentLength: n}, nil
	}
	return api.GetPlan200JSONResponse{Items: each(list, func(p ledger.Plan) api.Plan {
		return api.Plan{Currency: p.Currency, TotalMinor: p.TotalMinor, Seed: int64(p.Seed), Draws: p.Draws, DrawnFrom: p.Past,
			Weeks: each(p.Weeks, func(w ledger.PlanWeek) api.PlanWeek {
				return api.PlanWeek{Ends: apiDate(w.Ends), PlannedMinor: w.PlannedMinor, AcceptedMinor: w.AcceptedMinor, LowMinor: w.LowMinor, MiddleMinor: w.MiddleMinor, HighMinor: w.HighMinor}
			})}
	})}, nil
}
