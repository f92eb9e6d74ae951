package httpapi

import (
	"context"
	"errors"
	"fmt"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func batchOf(b ledger.Batch, who ledger.Who) api.Batch {
	by := b.ByName
	if who.Side != ledger.VendorSide {
		by = "" // a vendor's people stay inside the vendor
	}
	return api.Batch{
		Id: b.ID, WorkOrderId: b.WorkOrderID, Number: b.Number, Title: b.Title, OpenedAt: b.OpenedAt.UTC(), SealedAt: utc(b.SealedAt), By: by,
		Deliveries: each(b.Deliveries, func(d ledger.Delivery) api.Delivery { return deliveryOf(d, who) }),
	}
}

func (h *handlers) ListBatches(ctx context.Context, r api.ListBatchesRequestObject) (api.ListBatchesResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) (ledger.List[ledger.Batch], error) {
		return tx.Batches(ctx, r.WorkOrderId, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListBatches200JSONResponse{Items: each(list.Items, func(b ledger.Batch) api.Batch { return batchOf(b, who) }), Next: next(list.Next)}, nil
}

func (h *handlers) GetBatch(ctx context.Context, r api.GetBatchRequestObject) (api.GetBatchResponseObject, error) {
	b, err := h.batch(ctx, r.BatchId)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.GetBatch200JSONResponse(batchOf(b, who)), nil
}

func (s *Server) batch(ctx context.Context, id uuid.UUID) (ledger.Batch, error) {
	return read(ctx, s, func(tx *ledger.Tx) (ledger.Batch, error) { return tx.Batch(ctx, id) })
}

func (h *handlers) OpenBatch(ctx context.Context, r api.OpenBatchRequestObject) (api.OpenBatchResponseObject, error) {
	in := ledger.NewBatch{WorkOrder: r.WorkOrderId, Title: r.Body.Title}
	for i, d := range r.Body.Deliveries {
		m, err := manifestOf(d.MilestoneId, api.NewDelivery{Files: d.Files, Note: d.Note})
		var p *Problem
		if errors.As(err, &p) {
			for j := range p.errors {
				pointer := fmt.Sprintf("/deliveries/%d%s", i, or(p.errors[j].Pointer, ""))
				p.errors[j].Pointer = &pointer
			}
		}
		if err != nil {
			return nil, err
		}
		in.Deliveries = append(in.Deliveries, m)
	}
	b, _, err := once(ctx, h.Server, "batch", func(tx *ledger.Tx) (ledger.Batch, uuid.UUID, error) {
		b, err := tx.OpenBatch(ctx, in)
		return b, b.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Batch, error) { return tx.Batch(ctx, id) })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.OpenBatch201JSONResponse(batchOf(b, who)), nil
}

func (h *handlers) SealBatch(ctx context.Context, r api.SealBatchRequestObject) (api.SealBatchResponseObject, error) {
	b, err := h.sealBatch(ctx, r.BatchId)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.SealBatch200JSONResponse(batchOf(b, who)), nil
}

// sealBatch fences every upload, looks at every object outside any transaction, then seals all in one.
func (s *Server) sealBatch(ctx context.Context, id uuid.UUID) (ledger.Batch, error) {
	unlock, err := s.joining.lock(ctx, id)
	if err != nil {
		return ledger.Batch{}, err
	}
	defer unlock()
	b, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Batch, error) { return tx.BeginSealBatch(ctx, id) })
	if err != nil {
		return b, err
	}
	arrived := map[uuid.UUID][]ledger.Arrived{}
	var missing *Problem
	for _, d := range b.Deliveries {
		if d.State != ledger.DSealing {
			continue
		}
		came, err := s.arrived(ctx, d)
		var p *Problem
		switch {
		case errors.As(err, &p) && p.kind.name == kindMissingBytes.name:
			if missing == nil {
				missing = problem(kindMissingBytes, "Files of the batch have not arrived whole; nothing is sealed.")
			}
			missing.missing = append(missing.missing, p.missing...)
		case err != nil:
			s.unsealBatch(ctx, id)
			return b, err
		}
		arrived[d.ID] = came
	}
	if missing != nil {
		s.unsealBatch(ctx, id)
		return b, missing
	}
	b, _, err = once(ctx, s, "batch", func(tx *ledger.Tx) (ledger.Batch, uuid.UUID, error) {
		b, err := tx.FinishSealBatch(ctx, id, arrived)
		return b, b.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Batch, error) { return tx.Batch(ctx, id) })
	if errors.Is(err, ledger.ErrState) { // or its deliveries would stay fenced, and could be neither sealed nor given up
		s.unsealBatch(ctx, id)
	}
	return b, err
}

func (s *Server) unsealBatch(ctx context.Context, id uuid.UUID) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackTime)
	defer cancel()
	if _, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Batch, error) { return tx.CancelSealBatch(ctx, id) }); err != nil {
		s.log.WarnContext(ctx, "seal of a batch not taken back", "batch", id.String(), "error", err.Error())
	}
}

func (h *handlers) DecideBatch(ctx context.Context, r api.DecideBatchRequestObject) (api.DecideBatchResponseObject, error) {
	in := each(r.Body.Decisions, func(d api.BatchDecision) ledger.NewSignOff {
		return ledger.NewSignOff{Delivery: d.DeliveryId, Decision: ledger.Decision(d.Decision), Reason: or(d.Reason, ""), Cause: ledger.Cause(or(d.Cause, "")), Price: priceOf(d.Price)}
	})
	signed, repeat, err := once(ctx, h.Server, "batch_decisions", func(tx *ledger.Tx) ([]ledger.SignOff, uuid.UUID, error) {
		out, err := tx.SignOffMany(ctx, r.BatchId, append([]ledger.NewSignOff{}, in...))
		return out, r.BatchId, err
	}, func(*ledger.Tx, uuid.UUID) ([]ledger.SignOff, error) { return nil, nil })
	var undecided *ledger.Undecided
	if errors.As(err, &undecided) {
		return nil, decisionProblem(undecided, r.Body.Decisions)
	}
	if err == nil && repeat { // what was decided then
		signed, err = h.decidedOf(ctx, in)
	}
	if err != nil {
		return nil, err
	}
	return api.DecideBatch201JSONResponse{Items: each(signed, signOffOf)}, nil
}

// decidedOf reads the decisions on deliveries that were decided before.
func (s *Server) decidedOf(ctx context.Context, in []ledger.NewSignOff) ([]ledger.SignOff, error) {
	return read(ctx, s, func(tx *ledger.Tx) ([]ledger.SignOff, error) {
		var out []ledger.SignOff
		for _, one := range in {
			list, err := tx.SignOffs(ctx, one.Delivery)
			if err != nil {
				return nil, err
			}
			out = append(out, list...)
		}
		return out, nil
	})
}

// decisionProblem names the delivery on which a batch's decisions failed, by its place in the request.
func decisionProblem(u *ledger.Undecided, sent []api.BatchDecision) error {
	p := asProblem(u.Err)
	out := &Problem{kind: p.kind, detail: "Nothing was decided. " + p.detail, cause: u}
	for i, d := range sent {
		if d.DeliveryId == u.Delivery {
			pointer := fmt.Sprintf("/decisions/%d", i)
			out.errors = append(out.errors, api.ProblemError{Pointer: &pointer, Reason: p.detail})
			for _, e := range p.errors {
				inner := pointer + or(e.Pointer, "")
				out.errors = append(out.errors, api.ProblemError{Pointer: &inner, Reason: e.Reason})
			}
		}
	}
	return out
}
