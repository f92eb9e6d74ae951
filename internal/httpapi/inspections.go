package httpapi

import (
	"context"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) ListInspections(ctx context.Context, r api.ListInspectionsRequestObject) (api.ListInspectionsResponseObject, error) {
	list, err := ofDelivery(ctx, h.Server, r.DeliveryId, (*ledger.Tx).Inspections)
	if err != nil {
		return nil, err
	}
	return api.ListInspections200JSONResponse{Items: each(list, func(i ledger.Inspection) api.Inspection { return inspectionOf(i, nil) })}, nil
}

func (h *handlers) ReinspectDelivery(ctx context.Context, r api.ReinspectDeliveryRequestObject) (api.ReinspectDeliveryResponseObject, error) {
	inspection, _, err := once(ctx, h.Server, "inspection", func(tx *ledger.Tx) (ledger.Inspection, uuid.UUID, error) {
		i, err := tx.Reinspect(ctx, r.DeliveryId, r.Body.Reason)
		return i, i.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Inspection, error) { return tx.Inspection(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.ReinspectDelivery201JSONResponse(inspectionOf(inspection, nil)), nil
}

func (h *handlers) GetInspection(ctx context.Context, r api.GetInspectionRequestObject) (api.GetInspectionResponseObject, error) {
	var objects []ledger.EvidenceObject
	inspection, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Inspection, error) {
		i, err := tx.Inspection(ctx, r.InspectionId)
		if err == nil {
			objects, err = tx.EvidenceObjects(ctx, r.InspectionId)
		}
		return i, err
	})
	if err != nil {
		return nil, err
	}
	return api.GetInspection200JSONResponse(inspectionOf(inspection, objects)), nil
}

func (h *handlers) ListFindings(ctx context.Context, r api.ListFindingsRequestObject) (api.ListFindingsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Finding], error) {
		if _, err := tx.Inspection(ctx, r.InspectionId); err != nil {
			return ledger.List[ledger.Finding]{}, err
		}
		return tx.Findings(ctx, r.InspectionId, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListFindings200JSONResponse{Items: each(list.Items, findingOf), Next: next(list.Next)}, nil
}
