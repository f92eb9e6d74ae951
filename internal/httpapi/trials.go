package httpapi

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// PastDelivery is a delivery of a prop with where its evidence lies.
type PastDelivery struct {
	ID       uuid.UUID
	Number   int
	Evidence ledger.EvidenceObject
}

// trialsMost bounds how many past deliveries a draft is tried on.
const trialsMost = 50

// PastDeliveries are the newest deliveries of a prop that were inspected.
func PastDeliveries(ctx context.Context, tx *ledger.Tx, prop uuid.UUID) (out []PastDelivery, err error) {
	list, err := tx.Deliveries(ctx, ledger.DeliveryFilter{Prop: prop}, ledger.Page{Limit: trialsMost})
	if err != nil {
		return nil, err
	}
	for _, d := range list.Items {
		if d.Inspection == nil {
			continue
		}
		objects, err := tx.EvidenceObjects(ctx, d.Inspection.ID)
		if err != nil {
			return nil, err
		}
		for _, o := range objects {
			if o.Name == evidenceName {
				out = append(out, PastDelivery{d.ID, d.Number, o})
			}
		}
	}
	return out, nil
}

// PastTrial is how one past delivery would have fared under a draft.
type PastTrial struct {
	Delivery uuid.UUID
	Number   int
	acceptance.Trial
}

// TryOn tries a draft on past deliveries, from their stored evidence. unread counts those whose evidence could not be read.
// It reads storage: never call it inside a database transaction.
func TryOn(ctx context.Context, objects *storage.Store, draft *spec.Spec, past []PastDelivery) (trials []PastTrial, unread int, err error) {
	var read []*acceptance.Evidence
	var of []PastDelivery
	for _, p := range past {
		e, err := FetchEvidence(ctx, objects, p.Evidence)
		if err != nil {
			if ctx.Err() != nil {
				return nil, 0, ctx.Err()
			}
			unread++
			continue
		}
		read, of = append(read, e), append(of, p)
	}
	all, err := acceptance.WhatIf(draft, read)
	for i, t := range all {
		trials = append(trials, PastTrial{of[i].ID, of[i].Number, t})
	}
	return trials, unread, err
}

// evidenceMax bounds what is read of one evidence document.
const evidenceMax = 16 << 20

// FetchEvidence reads stored evidence and holds it against its recorded digest.
func FetchEvidence(ctx context.Context, s *storage.Store, o ledger.EvidenceObject) (*acceptance.Evidence, error) {
	body, _, err := s.Open(ctx, o.ObjectKey)
	if err != nil {
		return nil, err
	}
	defer body.Close()
	data, err := io.ReadAll(io.LimitReader(body, evidenceMax))
	if err != nil {
		return nil, err
	}
	if sum := sha256.Sum256(data); string(sum[:]) != string(o.SHA256) {
		return nil, fmt.Errorf("evidence %s: %w", o.ObjectKey, storage.ErrChanged)
	}
	var e acceptance.Evidence
	if err := json.Unmarshal(data, &e); err != nil {
		return nil, fmt.Errorf("evidence %s: %w", o.ObjectKey, err)
	}
	return &e, nil
}

func (h *handlers) TrySpec(ctx context.Context, r api.TrySpecRequestObject) (api.TrySpecResponseObject, error) {
	var past []PastDelivery
	draft, err := read(ctx, h.Server, func(tx *ledger.Tx) (*spec.Spec, error) {
		prop, err := tx.Prop(ctx, r.PropId)
		if err != nil {
			return nil, err
		}
		if tx.Who.Side != ledger.StudioSide {
			return nil, fmt.Errorf("%w: trying a spec is the studio's", ledger.ErrForbidden)
		}
		if past, err = PastDeliveries(ctx, tx, prop.ID); err != nil {
			return nil, err
		}
		return DraftSpec(ctx, tx, prop, []byte(r.Body.Document))
	})
	if err != nil {
		return nil, err
	}
	trials, unread, err := TryOn(ctx, h.storage, draft, past)
	if err != nil {
		return nil, errors.Join(errors.New("try a spec"), err)
	}
	return api.TrySpec200JSONResponse{Items: each(trials, trialOf), Unread: unread}, nil
}

func trialOf(t PastTrial) api.SpecTrial {
	out := api.SpecTrial{
		DeliveryId: t.Delivery, Number: t.Number, Milestone: string(t.Milestone), Before: string(t.Before), After: string(t.After),
		Changes: []api.SpecTrialChange{}, Again: []string{},
	}
	for _, c := range t.Changes {
		row := api.SpecTrialChange{Check: c.Check, Part: optional(c.Part), Set: optional(c.Set), Before: string(c.Before), After: string(c.After)}
		if c.Margin != nil {
			row.Value, row.Limit = &c.Margin.Value, &c.Margin.Limit
		}
		out.Changes = append(out.Changes, row)
	}
	for _, a := range t.Again {
		out.Again = append(out.Again, a.Check)
	}
	return out
}
