package httpapi

import (
	"context"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func quotasOf(list []ledger.Quota, who ledger.Who) api.QuotaList {
	return api.QuotaList{Items: each(list, func(q ledger.Quota) api.Quota {
		by := q.ByName
		if who.Side != ledger.StudioSide {
			by = "" // who manages the studio's storage is not the vendor's to know
		}
		return api.Quota{Id: q.ID, VendorId: q.VendorID, Vendor: q.VendorName, WorkOrderId: q.WorkOrder, WorkOrder: optional(q.OrderCode), Bytes: q.Bytes, UsedBytes: q.Used, By: by, At: q.At.UTC()}
	})}
}

func (h *handlers) ListQuotas(ctx context.Context, _ api.ListQuotasRequestObject) (api.ListQuotasResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Quota, error) { return tx.Quotas(ctx) })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListQuotas200JSONResponse(quotasOf(list, who)), nil
}

func (h *handlers) SetQuota(ctx context.Context, r api.SetQuotaRequestObject) (api.SetQuotaResponseObject, error) {
	in := ledger.NewQuota{Vendor: or(r.Body.VendorId, uuid.Nil), WorkOrder: or(r.Body.WorkOrderId, uuid.Nil), Bytes: r.Body.Bytes}
	who, _ := Caller(ctx)
	list, _, err := once(ctx, h.Server, "quota", func(tx *ledger.Tx) ([]ledger.Quota, uuid.UUID, error) {
		list, err := tx.SetQuota(ctx, in)
		return list, who.Party, err
	}, func(tx *ledger.Tx, _ uuid.UUID) ([]ledger.Quota, error) { return tx.Quotas(ctx) })
	if err != nil {
		return nil, err
	}
	return api.SetQuota200JSONResponse(quotasOf(list, who)), nil
}
