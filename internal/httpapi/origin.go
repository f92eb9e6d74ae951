package httpapi

import (
	"context"
	"encoding/hex"
	"errors"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

func originOf(o ledger.Origin, who ledger.Who) api.Origin {
	by := o.ByName
	if who.Side != ledger.VendorSide {
		by = ""
	}
	return api.Origin{
		Id: o.ID, PropId: o.PropID, Statement: o.Statement, By: by, At: o.At.UTC(),
		Items: each(o.Items, func(i ledger.OriginItem) api.OriginItem {
			return api.OriginItem{Kind: api.OriginItemKind(i.Kind), What: i.What, Licence: i.Licence, Holder: optional(i.Holder)}
		}),
	}
}

func (h *handlers) ListOrigins(ctx context.Context, r api.ListOriginsRequestObject) (api.ListOriginsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Origin, error) {
		if _, err := tx.Prop(ctx, r.PropId); err != nil {
			return nil, err
		}
		return tx.Origins(ctx, r.PropId)
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListOrigins200JSONResponse{Items: each(list, func(o ledger.Origin) api.Origin { return originOf(o, who) })}, nil
}

func (h *handlers) DeclareOrigin(ctx context.Context, r api.DeclareOriginRequestObject) (api.DeclareOriginResponseObject, error) {
	in := ledger.NewOrigin{Prop: r.PropId, Statement: or(r.Body.Statement, ""), Items: each(r.Body.Items, func(i api.OriginItem) ledger.OriginItem {
		return ledger.OriginItem{Kind: string(i.Kind), What: i.What, Licence: i.Licence, Holder: or(i.Holder, "")}
	})}
	o, _, err := once(ctx, h.Server, "origin", func(tx *ledger.Tx) (ledger.Origin, uuid.UUID, error) {
		o, err := tx.DeclareOrigin(ctx, in)
		return o, o.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Origin, error) {
		all, err := tx.Origins(ctx, r.PropId)
		return among(all, err, func(o ledger.Origin) bool { return o.ID == id })
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.DeclareOrigin201JSONResponse(originOf(o, who)), nil
}

func weekOf(w ledger.Week) api.CapacityWeek {
	out := api.CapacityWeek{VendorId: w.VendorID, Vendor: w.VendorName, Week: apiDate(w.On), Slots: w.Slots, Planned: w.Planned}
	if open, said := w.Open(); said {
		out.Open = &open
	}
	return out
}

func (h *handlers) ListCapacity(ctx context.Context, r api.ListCapacityRequestObject) (api.ListCapacityResponseObject, error) {
	from := time.Now().UTC()
	if r.Params.From != nil {
		from = r.Params.From.Time
	}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Week, error) { return tx.Capacity(ctx, from, or(r.Params.Weeks, 5)) })
	if err != nil {
		return nil, err
	}
	return api.ListCapacity200JSONResponse{Items: each(list, weekOf)}, nil
}

func (h *handlers) SetCapacity(ctx context.Context, r api.SetCapacityRequestObject) (api.SetCapacityResponseObject, error) {
	set := func(tx *ledger.Tx) (ledger.Week, error) { return tx.SetCapacity(ctx, r.Body.Week.Time, r.Body.Slots) }
	w, _, err := once(ctx, h.Server, "capacity", func(tx *ledger.Tx) (ledger.Week, uuid.UUID, error) {
		w, err := set(tx)
		return w, w.VendorID, err
	}, func(tx *ledger.Tx, _ uuid.UUID) (ledger.Week, error) {
		all, err := tx.Capacity(ctx, r.Body.Week.Time, 1)
		return among(all, err, func(ledger.Week) bool { return true })
	})
	if err != nil {
		return nil, err
	}
	return api.SetCapacity200JSONResponse(weekOf(w)), nil
}

// HandOn lets a prop go on with another vendor: it resolves the spec for the order that it goes to, and copies the objects
// outside any transaction, then publishes them as references. Called again with a reassignment that is made, it goes on
// copying where it stopped.
func (s *Server) HandOn(ctx context.Context, r ledger.Reassignment) (ledger.Reassignment, error) {
	if r.Pack == nil || r.Pack.PublishedAt != nil {
		return r, nil
	}
	for _, c := range r.Copies {
		err := s.storage.Copy(ctx, c.From, c.To)
		if err != nil && !errors.Is(err, storage.ErrExists) {
			return r, storageProblem(err)
		}
	}
	return read(ctx, s, func(tx *ledger.Tx) (ledger.Reassignment, error) {
		if _, err := tx.PublishReferencePack(ctx, r.Pack.ID); err != nil {
			return r, err
		}
		return tx.Reassignment(ctx, r.ID)
	})
}

// Reassign orders a prop of another vendor, with its spec where that reads by itself in the new order. It copies nothing.
func Reassign(ctx context.Context, tx *ledger.Tx, in ledger.NewReassignment) (ledger.Reassignment, error) {
	p, err := tx.Prop(ctx, in.Prop)
	if err != nil {
		return ledger.Reassignment{}, err
	}
	if p.SpecInForce != nil {
		revision, err := tx.SpecRevision(ctx, p.SpecInForce.ID)
		if err != nil {
			return ledger.Reassignment{}, err
		}
		resolved, err := resolveAlone(revision.Document)
		if err == nil {
			in.Document = revision.Document
			if in.Digest, err = hex.DecodeString(resolved.Digest); err != nil {
				return ledger.Reassignment{}, err
			}
		}
	}
	return tx.Reassign(ctx, in)
}

func (h *handlers) ReassignProp(ctx context.Context, r api.ReassignPropRequestObject) (api.ReassignPropResponseObject, error) {
	in := ledger.NewReassignment{Prop: r.PropId, WorkOrder: r.Body.WorkOrderId, PriceMinor: r.Body.PriceMinor, Reason: r.Body.Reason}
	made, _, err := once(ctx, h.Server, "reassignment", func(tx *ledger.Tx) (ledger.Reassignment, uuid.UUID, error) {
		made, err := Reassign(ctx, tx, in)
		return made, made.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Reassignment, error) { return tx.Reassignment(ctx, id) })
	if err == nil {
		made, err = h.HandOn(ctx, made)
	}
	if err != nil {
		return nil, err
	}
	out := api.Reassignment{Id: made.ID, FromPropId: made.From, ToPropId: made.To.ID, WorkOrderId: made.To.WorkOrderID, SpecWentOn: made.To.SpecInForce != nil, Reason: made.Reason, By: made.ByName, At: made.At.UTC()}
	if made.Pack != nil {
		out.ReferencePackId = &made.Pack.ID
	}
	return api.ReassignProp201JSONResponse(out), nil
}

// resolveAlone reads a spec that extends nothing.
func resolveAlone(document []byte) (*spec.Spec, error) {
	parsed, err := spec.Parse(specName, document, acceptance.Catalogue())
	if err != nil {
		return nil, err
	}
	return spec.Resolve(parsed, acceptance.Catalogue(), "", func(spec.Ref) ([]byte, error) { return nil, ledger.ErrNotFound })
}
