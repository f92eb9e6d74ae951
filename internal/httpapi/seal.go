package httpapi

import (
	"context"
	"errors"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// rollbackTime bounds what is still done for a request whose own time is over.
const rollbackTime = 5 * time.Second

// SealDelivery fences the uploads, looks at every object with no transaction open, then makes the delivery final and
// queues its inspection in one transaction. It may break off anywhere and be called again.
func (h *handlers) SealDelivery(ctx context.Context, r api.SealDeliveryRequestObject) (api.SealDeliveryResponseObject, error) {
	d, proof, err := h.seal(ctx, r.DeliveryId)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	if proof.Format != "" { // made with the seal; a repeat reads it
		return api.SealDelivery200JSONResponse{Delivery: deliveryOf(d, who), Receipt: receiptOf(proof)}, nil
	}
	receipt, err := h.receipt(ctx, ledger.FactDeliverySealed, d.ID)
	if err != nil {
		return nil, err
	}
	return api.SealDelivery200JSONResponse{Delivery: deliveryOf(d, who), Receipt: receipt}, nil
}

// sealTries is how often a seal begins again after another process has opened the delivery in the middle of it.
const sealTries = 3

// Seal seals a delivery for the caller of ctx.
func (s *Server) Seal(ctx context.Context, id uuid.UUID) (ledger.Delivery, error) {
	d, _, err := s.seal(ctx, id)
	return d, err
}

// seal is Seal with its receipt, which is empty where the delivery was sealed already.
func (s *Server) seal(ctx context.Context, id uuid.UUID) (d ledger.Delivery, receipt ledger.Receipt, err error) {
	unlock, err := s.joining.lock(ctx, id)
	if err != nil {
		return d, receipt, err
	}
	defer unlock()
	for range sealTries {
		var finishing bool
		if d, finishing, err = s.sealOnce(ctx, id, &receipt); !finishing || !errors.Is(err, ledger.ErrState) {
			break
		}
		s.unseal(ctx, id) // or it would stay fenced: it could be neither sealed nor given up
	}
	return d, receipt, err
}

// sealOnce is one attempt. finishing says that every object was there and only the last step may have failed.
func (s *Server) sealOnce(ctx context.Context, id uuid.UUID, receipt *ledger.Receipt) (d ledger.Delivery, finishing bool, err error) {
	d, err = read(ctx, s, func(tx *ledger.Tx) (ledger.Delivery, error) {
		tx.CommitWithNext()
		return tx.BeginSeal(ctx, id)
	})
	if err != nil {
		return ledger.Delivery{}, false, err
	}
	var arrived []ledger.Arrived
	if d.State != ledger.DSealed {
		if arrived, err = s.arrived(ctx, d); err != nil {
			s.unseal(ctx, d.ID)
			return ledger.Delivery{}, false, err
		}
	}
	lock := func(tx *ledger.Tx) { tx.LockToSealWithNext(id) }
	d, _, err = onceAhead(ctx, s, "delivery", lock, func(tx *ledger.Tx) (ledger.Delivery, uuid.UUID, error) {
		d, err := tx.FinishSeal(ctx, id, arrived)
		tx.ReceiptOf(ledger.FactDeliverySealed, id, receipt)
		return d, d.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Delivery, error) { return tx.Delivery(ctx, id) })
	return d, true, err
}

// arrived looks at every object. Bytes that are not there are the caller's to send; an object that is there and is not
// the one declared is a finding of the inspection, which reads every byte.
func (s *Server) arrived(ctx context.Context, d ledger.Delivery) ([]ledger.Arrived, error) {
	ups, err := s.lookUpAll(ctx, d.Files, true)
	if err != nil {
		return nil, err
	}
	var missing []upload
	out := make([]ledger.Arrived, 0, len(ups))
	for _, up := range ups {
		if up.arrived == nil {
			missing = append(missing, up)
			continue
		}
		if up.differs() {
			s.log.WarnContext(ctx, "object is not as declared", "delivery", d.ID.String(), "file", up.file.ID.String(), "bytes", up.arrived.Size)
		}
		out = append(out, ledger.Arrived{File: up.file.ID, Size: up.arrived.Size, ETag: up.arrived.ETag, VersionID: up.arrived.VersionID})
	}
	if len(missing) > 0 {
		return nil, s.missing(ctx, d, missing)
	}
	return out, nil
}

// unseal opens a delivery again whose seal could not be finished, also when the caller has gone.
func (s *Server) unseal(ctx context.Context, id uuid.UUID) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), rollbackTime)
	defer cancel()
	if _, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Delivery, error) { return tx.CancelSeal(ctx, id) }); err != nil {
		s.log.WarnContext(ctx, "seal not taken back", "delivery", id.String(), "error", err.Error())
	}
}
