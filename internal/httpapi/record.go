package httpapi

import (
	"context"
	"encoding/hex"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) ListLogs(ctx context.Context, _ api.ListLogsRequestObject) (api.ListLogsResponseObject, error) {
	heads, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Head, error) { return tx.Heads(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListLogs200JSONResponse{Items: each(heads, func(l ledger.Head) api.Head {
		return api.Head{LogId: l.Log, Size: l.Size, Root: hex.EncodeToString(l.Root), Anchored: l.Anchored}
	})}, nil
}

func (h *handlers) ListEvents(ctx context.Context, r api.ListEventsRequestObject) (api.ListEventsResponseObject, error) {
	after := or(r.Params.After, -1)
	facts, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Fact, error) {
		return tx.Facts(ctx, r.LogId, after, or(r.Params.Limit, 50))
	})
	if err != nil {
		return nil, err
	}
	out := api.ListEvents200JSONResponse{Items: each(facts, eventOf), Cursor: after}
	if n := len(facts); n > 0 {
		out.Cursor = facts[n-1].Index
	}
	return out, nil
}

func (h *handlers) GetConsistency(ctx context.Context, r api.GetConsistencyRequestObject) (api.GetConsistencyResponseObject, error) {
	proof, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]string, error) {
		return tx.Consistency(ctx, r.LogId, r.Params.From, r.Params.To)
	})
	if err != nil {
		return nil, err
	}
	if proof == nil {
		proof = []string{}
	}
	return api.GetConsistency200JSONResponse{LogId: r.LogId, From: r.Params.From, To: r.Params.To, Proof: proof}, nil
}

func (h *handlers) GetReceipt(ctx context.Context, r api.GetReceiptRequestObject) (api.GetReceiptResponseObject, error) {
	receipt, err := h.receipt(ctx, r.Kind, r.SubjectId)
	if err != nil {
		return nil, err
	}
	return api.GetReceipt200JSONResponse(receipt), nil
}
