package httpapi

import (
	"context"
	"encoding/hex"
	"errors"
	"path"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

func deputyOf(d ledger.Deputy) api.Deputy {
	return api.Deputy{Id: d.ID, Role: api.Role(d.Role), MemberId: d.Member, Name: d.Name, From: apiDate(d.From), Until: apiDate(d.Until), By: d.ByName, At: d.At.UTC()}
}

func (h *handlers) ListDeputies(ctx context.Context, _ api.ListDeputiesRequestObject) (api.ListDeputiesResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Deputy, error) { return tx.Deputies(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListDeputies200JSONResponse{Items: each(list, deputyOf)}, nil
}

func (h *handlers) AppointDeputy(ctx context.Context, r api.AppointDeputyRequestObject) (api.AppointDeputyResponseObject, error) {
	in := ledger.NewDeputy{Role: ledger.Role(r.Body.Role), Member: r.Body.MemberId, From: r.Body.From.Time, Until: r.Body.Until.Time}
	d, _, err := once(ctx, h.Server, "deputy", func(tx *ledger.Tx) (ledger.Deputy, uuid.UUID, error) {
		d, err := tx.Appoint(ctx, in)
		return d, d.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Deputy, error) {
		all, err := tx.Deputies(ctx)
		return among(all, err, func(d ledger.Deputy) bool { return d.ID == id })
	})
	if err != nil {
		return nil, err
	}
	return api.AppointDeputy201JSONResponse(deputyOf(d)), nil
}

// packOf renders a pack with what may be done with its files now: put by the studio before it is published, read after.
func (s *Server) packOf(ctx context.Context, p ledger.ReferencePack) (api.ReferencePack, error) {
	who, _ := Caller(ctx)
	out := api.ReferencePack{
		Id: p.ID, WorkOrderId: p.WorkOrderID, Number: p.Number, Note: p.Note, By: p.ByName, At: p.At.UTC(), PublishedAt: utc(p.PublishedAt),
		AcknowledgedAt: utc(p.AcknowledgedAt), Files: []api.Reference{},
	}
	for _, f := range p.Files {
		one := api.Reference{Id: f.ID, Path: f.Path, What: api.ReferenceKind(f.What), Bytes: f.Size, Sha256: hex.EncodeToString(f.SHA256), MediaType: f.MediaType}
		switch {
		case p.PublishedAt != nil:
			link, err := s.storage.PresignGet(ctx, f.ObjectKey, "", f.MediaType, linkFor)
			if err != nil {
				return out, storageProblem(err)
			}
			one.Url = &link.URL
		case who.Side == ledger.StudioSide && who.May(ledger.ScopeOrder):
			link, err := s.storage.PresignPut(ctx, f.ObjectKey, hex.EncodeToString(f.SHA256), f.Size, linkFor)
			if err != nil {
				return out, storageProblem(err)
			}
			one.Put = putOf(link)
		}
		out.Files = append(out.Files, one)
	}
	return out, nil
}

func (h *handlers) ListReferences(ctx context.Context, r api.ListReferencesRequestObject) (api.ListReferencesResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) ([]ledger.ReferencePack, error) { return tx.ReferencePacks(ctx, r.WorkOrderId) })
	if err != nil {
		return nil, err
	}
	out := api.ListReferences200JSONResponse{Items: []api.ReferencePack{}}
	for _, p := range list {
		one, err := h.packOf(ctx, p)
		if err != nil {
			return nil, err
		}
		out.Items = append(out.Items, one)
	}
	return out, nil
}

// references does one act on a pack, once, and renders it.
func (s *Server) references(ctx context.Context, act func(tx *ledger.Tx) (ledger.ReferencePack, error)) (api.ReferencePack, error) {
	p, _, err := once(ctx, s, "references", func(tx *ledger.Tx) (ledger.ReferencePack, uuid.UUID, error) {
		p, err := act(tx)
		return p, p.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.ReferencePack, error) { return tx.ReferencePack(ctx, id) })
	if err != nil {
		return api.ReferencePack{}, err
	}
	return s.packOf(ctx, p)
}

func (h *handlers) CreateReferences(ctx context.Context, r api.CreateReferencesRequestObject) (api.CreateReferencesResponseObject, error) {
	in := ledger.NewReferencePack{WorkOrder: r.WorkOrderId, Note: or(r.Body.Note, ""), Files: each(r.Body.Files, func(f api.NewReference) ledger.NewReference {
		return ledger.NewReference{Path: f.Path, What: string(f.What), Size: f.Bytes, SHA256: unhex(f.Sha256), MediaType: mediaType(path.Base(f.Path))}
	})}
	p, err := h.references(ctx, func(tx *ledger.Tx) (ledger.ReferencePack, error) { return tx.CreateReferencePack(ctx, in) })
	if err != nil {
		return nil, err
	}
	return api.CreateReferences201JSONResponse(p), nil
}

func (h *handlers) GetReferences(ctx context.Context, r api.GetReferencesRequestObject) (api.GetReferencesResponseObject, error) {
	p, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.ReferencePack, error) { return tx.ReferencePack(ctx, r.ReferencePackId) })
	if err != nil {
		return nil, err
	}
	out, err := h.packOf(ctx, p)
	if err != nil {
		return nil, err
	}
	return api.GetReferences200JSONResponse(out), nil
}

func (h *handlers) PublishReferences(ctx context.Context, r api.PublishReferencesRequestObject) (api.PublishReferencesResponseObject, error) {
	p, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.ReferencePack, error) { return tx.ReferencePack(ctx, r.ReferencePackId) })
	if err != nil {
		return nil, err
	}
	if who, _ := Caller(ctx); who.Side == ledger.StudioSide { // looked at with no transaction open; a link cannot put anything else there
		for _, f := range p.Files {
			object, err := h.storage.Head(ctx, f.ObjectKey)
			if errors.Is(err, storage.ErrNotFound) || (err == nil && object.Size != f.Size) {
				return nil, problem(kindMissingBytes, f.Path+" has not arrived yet.")
			}
			if err != nil {
				return nil, storageProblem(err)
			}
		}
	}
	out, err := h.references(ctx, func(tx *ledger.Tx) (ledger.ReferencePack, error) {
		return tx.PublishReferencePack(ctx, r.ReferencePackId)
	})
	if err != nil {
		return nil, err
	}
	return api.PublishReferences200JSONResponse(out), nil
}

func (h *handlers) AcknowledgeReferences(ctx context.Context, r api.AcknowledgeReferencesRequestObject) (api.AcknowledgeReferencesResponseObject, error) {
	out, err := h.references(ctx, func(tx *ledger.Tx) (ledger.ReferencePack, error) {
		return tx.AcknowledgeReferences(ctx, r.ReferencePackId)
	})
	if err != nil {
		return nil, err
	}
	return api.AcknowledgeReferences200JSONResponse(out), nil
}

func (h *handlers) AcknowledgeSecrecy(ctx context.Context, r api.AcknowledgeSecrecyRequestObject) (api.AcknowledgeSecrecyResponseObject, error) {
	_, _, err := once(ctx, h.Server, "secrecy", func(tx *ledger.Tx) (struct{}, uuid.UUID, error) {
		return struct{}{}, r.WorkOrderId, tx.AcknowledgeSecrecy(ctx, r.WorkOrderId)
	}, func(*ledger.Tx, uuid.UUID) (struct{}, error) { return struct{}{}, nil })
	if err != nil {
		return nil, err
	}
	return api.AcknowledgeSecrecy204Response{}, nil
}

func (h *handlers) OpenMaintenance(ctx context.Context, r api.OpenMaintenanceRequestObject) (api.OpenMaintenanceResponseObject, error) {
	m, _, err := once(ctx, h.Server, "milestone", func(tx *ledger.Tx) (api.Milestone, uuid.UUID, error) {
		m, err := tx.OpenMaintenance(ctx, r.PropId, r.Body.Reason)
		if err != nil {
			return api.Milestone{}, uuid.Nil, err
		}
		p, err := tx.Prop(ctx, r.PropId)
		return milestoneOf(m, p.Currency), m.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (api.Milestone, error) {
		m, err := tx.Milestone(ctx, id)
		if err != nil {
			return api.Milestone{}, err
		}
		p, err := tx.Prop(ctx, r.PropId)
		return milestoneOf(m, p.Currency), err
	})
	if err != nil {
		return nil, err
	}
	return api.OpenMaintenance201JSONResponse(m), nil
}

func paymentHoldOf(h ledger.PaymentHold) api.PaymentHold {
	return api.PaymentHold{
		Id: h.ID, WorkOrderId: h.WorkOrderID, PropId: h.PropID, PropCode: h.PropCode, MilestoneId: h.MilestoneID, Amount: money(h.AmountMinor, h.Currency),
		Owed: append([]string{}, h.Owed...), Missing: append([]string{}, h.Missing...), At: h.At.UTC(), EndedAt: utc(h.EndedAt),
	}
}

func (h *handlers) ListPaymentHolds(ctx context.Context, r api.ListPaymentHoldsRequestObject) (api.ListPaymentHoldsResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) ([]ledger.PaymentHold, error) { return tx.PaymentHolds(ctx, r.WorkOrderId) })
	if err != nil {
		return nil, err
	}
	return api.ListPaymentHolds200JSONResponse{Items: each(list, paymentHoldOf)}, nil
}

func (h *handlers) ReleasePayment(ctx context.Context, r api.ReleasePaymentRequestObject) (api.ReleasePaymentResponseObject, error) {
	act := func(tx *ledger.Tx) (ledger.PaymentHold, error) {
		return tx.EndPaymentHold(ctx, r.PaymentHoldId, or(r.Body.Reason, ""))
	}
	hold, _, err := once(ctx, h.Server, "payment_hold", func(tx *ledger.Tx) (ledger.PaymentHold, uuid.UUID, error) {
		out, err := act(tx)
		return out, out.ID, err
	}, func(tx *ledger.Tx, _ uuid.UUID) (ledger.PaymentHold, error) { return act(tx) }) // ended already: it is only read
	if err != nil {
		return nil, err
	}
	return api.ReleasePayment200JSONResponse(paymentHoldOf(hold)), nil
}

func setUseOf(u ledger.SetUse) api.SetUse {
	return api.SetUse{PropId: u.Prop, PropCode: u.PropCode, SetId: u.Set, SetCode: u.SetCode, DeliveryId: u.Delivery, Number: u.Number, Newest: u.Newest, At: u.At.UTC()}
}

// usesOf lists uses of sets around a prop that the caller can see.
func (s *Server) usesOf(ctx context.Context, prop uuid.UUID, list func(*ledger.Tx, context.Context, uuid.UUID) ([]ledger.SetUse, error)) ([]api.SetUse, error) {
	uses, err := read(ctx, s, func(tx *ledger.Tx) ([]ledger.SetUse, error) {
		if _, err := tx.Prop(ctx, prop); err != nil {
			return nil, err
		}
		return list(tx, ctx, prop)
	})
	return each(uses, setUseOf), err
}

func (h *handlers) ListSets(ctx context.Context, r api.ListSetsRequestObject) (api.ListSetsResponseObject, error) {
	uses, err := h.usesOf(ctx, r.PropId, (*ledger.Tx).SetsOf)
	if err != nil {
		return nil, err
	}
	return api.ListSets200JSONResponse{Items: uses}, nil
}

func (h *handlers) ListSetUsers(ctx context.Context, r api.ListSetUsersRequestObject) (api.ListSetUsersResponseObject, error) {
	uses, err := h.usesOf(ctx, r.PropId, (*ledger.Tx).UsersOf)
	if err != nil {
		return nil, err
	}
	return api.ListSetUsers200JSONResponse{Items: uses}, nil
}

func (h *handlers) UseSet(ctx context.Context, r api.UseSetRequestObject) (api.UseSetResponseObject, error) {
	u, _, err := once(ctx, h.Server, "set_use", func(tx *ledger.Tx) (ledger.SetUse, uuid.UUID, error) {
		u, err := tx.UseSet(ctx, r.PropId, r.Body.SetId)
		return u, r.Body.SetId, err
	}, func(tx *ledger.Tx, set uuid.UUID) (ledger.SetUse, error) {
		all, err := tx.SetsOf(ctx, r.PropId)
		return among(all, err, func(u ledger.SetUse) bool { return u.Set == set })
	})
	if err != nil {
		return nil, err
	}
	return api.UseSet201JSONResponse(setUseOf(u)), nil
}

func (h *handlers) DisableMember(ctx context.Context, r api.DisableMemberRequestObject) (api.DisableMemberResponseObject, error) {
	m, err := h.leave(ctx, func(tx *ledger.Tx) (ledger.Member, error) { return tx.DisableMember(ctx, r.MemberId) })
	if err != nil {
		return nil, err
	}
	return api.DisableMember200JSONResponse(m), nil
}

func (h *handlers) EraseMember(ctx context.Context, r api.EraseMemberRequestObject) (api.EraseMemberResponseObject, error) {
	m, err := h.leave(ctx, func(tx *ledger.Tx) (ledger.Member, error) { return tx.EraseMember(ctx, r.MemberId, r.Body.Reason) })
	if err != nil {
		return nil, err
	}
	return api.EraseMember200JSONResponse(m), nil
}

func (s *Server) leave(ctx context.Context, act func(tx *ledger.Tx) (ledger.Member, error)) (api.Member, error) {
	m, _, err := once(ctx, s, "member", func(tx *ledger.Tx) (ledger.Member, uuid.UUID, error) {
		m, err := act(tx)
		return m, m.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Member, error) { return tx.Member(ctx, id) })
	return memberOf(m), err
}
