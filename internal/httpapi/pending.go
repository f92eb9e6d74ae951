package httpapi

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func newSketch(s *api.Sketch) *ledger.Sketch {
	if s == nil {
		return nil
	}
	return &ledger.Sketch{Inspection: s.InspectionId, Picture: s.Picture, Strokes: s.Strokes}
}

func sketchOf(s *ledger.Sketch) *api.Sketch {
	if s == nil {
		return nil
	}
	return &api.Sketch{InspectionId: s.Inspection, Picture: s.Picture, Strokes: s.Strokes}
}

func pendingOf(q ledger.PendingSignOff) api.PendingSignOff {
	out := api.PendingSignOff{Id: q.ID, DeliveryId: q.DeliveryID, InspectionId: q.Inspection, Decision: api.Decision(q.Decision), Reason: q.Reason,
		At: q.At.UTC(), SendAt: utc(q.SendAt), StoppedAt: utc(q.StoppedAt), Sketch: sketchOf(q.Sketch)}
	if q.Stopped != "" {
		why := string(q.Stopped)
		out.Stopped = &why
	}
	return out
}

func (h *handlers) PrepareSignOff(ctx context.Context, r api.PrepareSignOffRequestObject) (api.PrepareSignOffResponseObject, error) {
	in := ledger.NewPendingSignOff{
		NewSignOff: ledger.NewSignOff{Delivery: r.DeliveryId, Decision: ledger.Decision(r.Body.Decision), Reason: or(r.Body.Reason, ""), Cause: ledger.Cause(or(r.Body.Cause, "")), Price: priceOf(r.Body.Price)},
		Inspection: r.Body.InspectionId, Sketch: newSketch(r.Body.Sketch), Wait: or(r.Body.Wait, false),
	}
	q, _, err := once(ctx, h.Server, "pending_sign_off", func(tx *ledger.Tx) (ledger.PendingSignOff, uuid.UUID, error) {
		q, err := tx.PrepareSignOff(ctx, in)
		return q, q.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.PendingSignOff, error) { return tx.PendingSignOff(ctx, id) })
	var taken *ledger.Taken
	if errors.As(err, &taken) {
		return nil, problem(kindState, taken.Pending.ByName+" has decided on this milestone and not sent it yet.")
	}
	if err != nil {
		return nil, err
	}
	return api.PrepareSignOff201JSONResponse(pendingOf(q)), nil
}

func (h *handlers) ListPendingSignOffs(ctx context.Context, _ api.ListPendingSignOffsRequestObject) (api.ListPendingSignOffsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.PendingSignOff, error) { return tx.PendingSignOffs(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListPendingSignOffs200JSONResponse{Items: each(list, pendingOf)}, nil
}

func (h *handlers) UndoSignOff(ctx context.Context, r api.UndoSignOffRequestObject) (api.UndoSignOffResponseObject, error) {
	if _, err := read(ctx, h.Server, func(tx *ledger.Tx) (struct{}, error) { return struct{}{}, tx.UndoSignOff(ctx, r.PendingId) }); err != nil {
		return nil, err
	}
	return api.UndoSignOff204Response{}, nil
}

// SendSignOff sends in a transaction of its own, which either signs or keeps why it cannot: sent again, the decision is
// gone, and 404 says so.
func (h *handlers) SendSignOff(ctx context.Context, r api.SendSignOffRequestObject) (api.SendSignOffResponseObject, error) {
	who, _ := Caller(ctx)
	signed, _, err := h.store.SendPending(ctx, who, r.PendingId)
	if err != nil {
		return nil, err
	}
	receipt, err := h.receipt(ctx, ledger.FactSignedOff, signed.ID)
	if err != nil {
		return nil, err
	}
	return api.SendSignOff201JSONResponse{SignOff: signOffOf(signed), Receipt: receipt}, nil
}
