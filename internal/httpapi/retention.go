package httpapi

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// StoragePrice is what the operator reckons for a gigabyte (10⁹ bytes) and month. The zero value is no price.
type StoragePrice struct {
	PerGBMonth float64
	Currency   string // ISO 4217
}

// ParseStoragePrice reads a price such as "0.021 EUR"; "" is none.
func ParseStoragePrice(text string) (StoragePrice, error) {
	if text == "" {
		return StoragePrice{}, nil
	}
	amount, currency, _ := strings.Cut(text, " ")
	v, err := strconv.ParseFloat(amount, 64)
	if err != nil || !(v >= 0 && v < 1e6) || len(currency) != 3 || strings.ToUpper(currency) != currency {
		return StoragePrice{}, fmt.Errorf("a price for storage is an amount for a gigabyte and month and its currency, such as 0.021 EUR")
	}
	return StoragePrice{v, currency}, nil
}

// StoragePrice is what the operator reckons for storage.
func (s *Server) StoragePrice() StoragePrice { return s.storagePrice }

// PerMonth is what so many bytes cost, nil without a price.
func (p StoragePrice) PerMonth(bytes int64) *float64 {
	if p.Currency == "" {
		return nil
	}
	v := float64(bytes) / 1e9 * p.PerGBMonth
	return &v
}

// absent says why a file's bytes are not there: deleted by the order's rule, or never sent.
func (s *Server) absent(ctx context.Context, delivery uuid.UUID) error {
	gone, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Removal, error) { return tx.RemovalOf(ctx, delivery) })
	switch {
	case err == nil:
		return problem(kindNotFound, "This delivery's files were deleted by the order's rule on "+gone.At.UTC().Format(time.DateOnly)+"; its digests, findings and evidence stay.")
	case !errors.Is(err, ledger.ErrNotFound):
		return err
	}
	return problem(kindNotFound, "This file has not arrived.")
}

func retentionOf(r ledger.Retention) api.Retention {
	out := api.Retention{SupersededDays: r.SupersededDays, LegalHold: r.LegalHold, Reason: r.Reason, ByName: r.ByName}
	if !r.At.IsZero() {
		out.At = &r.At
	}
	return out
}

func (h *handlers) GetRetention(ctx context.Context, r api.GetRetentionRequestObject) (api.GetRetentionResponseObject, error) {
	found, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Retention, error) {
		if _, err := tx.WorkOrder(ctx, r.WorkOrderId); err != nil {
			return ledger.Retention{}, err
		}
		found, err := tx.RetentionOf(ctx, r.WorkOrderId)
		if errors.Is(err, ledger.ErrNotFound) {
			err = nil // everything is kept
		}
		return found, err
	})
	if err != nil {
		return nil, err
	}
	return api.GetRetention200JSONResponse(retentionOf(found)), nil
}

func (h *handlers) SetRetention(ctx context.Context, r api.SetRetentionRequestObject) (api.SetRetentionResponseObject, error) {
	made, _, err := once(ctx, h.Server, "retention", func(tx *ledger.Tx) (ledger.Retention, uuid.UUID, error) {
		made, err := tx.SetRetention(ctx, ledger.NewRetention{
			WorkOrder: r.WorkOrderId, SupersededDays: r.Body.SupersededDays, LegalHold: r.Body.LegalHold, Reason: or(r.Body.Reason, ""),
		})
		return made, made.ID, err
	}, func(tx *ledger.Tx, _ uuid.UUID) (ledger.Retention, error) { return tx.RetentionOf(ctx, r.WorkOrderId) })
	if err != nil {
		return nil, err
	}
	return api.SetRetention201JSONResponse(retentionOf(made)), nil
}

func (h *handlers) ListStored(ctx context.Context, r api.ListStoredRequestObject) (api.ListStoredResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Stored, error) {
		switch or(r.Params.By, "work_order") {
		case "vendor":
			return tx.StoredByVendor(ctx)
		case "prop":
			if r.Params.WorkOrderId == nil {
				return nil, invalidField("work_order_id", "is needed with by=prop")
			}
			return tx.StoredByProp(ctx, *r.Params.WorkOrderId)
		}
		return tx.StoredByOrder(ctx)
	})
	if err != nil {
		return nil, err
	}
	out := api.StoredList{Items: each(list, func(s ledger.Stored) api.Stored {
		return api.Stored{Id: s.ID, Name: s.Name, DeliveredBytes: s.DeliveredBytes, RemovedBytes: s.RemovedBytes, EvidenceBytes: s.EvidenceBytes,
			PerMonth: h.storagePrice.PerMonth(s.Bytes())}
	})}
	if h.storagePrice.Currency != "" {
		out.Currency = &h.storagePrice.Currency
	}
	return api.ListStored200JSONResponse(out), nil
}
