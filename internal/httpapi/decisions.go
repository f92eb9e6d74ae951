package httpapi

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// deliveryTag changes with everything that a decision on a delivery leans on.
func deliveryTag(d ledger.Delivery) string {
	state := fmt.Sprintf("%s|%s|%s|", d.ID, d.State, d.Milestone)
	if i := d.Inspection; i != nil {
		state += fmt.Sprintf("%s|%s|%s|%d", i.ID, i.State, i.Verdict, i.Issues)
	}
	sum := sha256.Sum256([]byte(state))
	return `"` + hex.EncodeToString(sum[:12]) + `"`
}

// tagMatches says whether one of the entity tags of an If-Match or If-None-Match header is tag (RFC 9110, section 13.1).
func tagMatches(header, tag string) bool {
	for _, one := range strings.Split(header, ",") {
		if one = strings.TrimSpace(one); one == "*" || strings.TrimPrefix(one, "W/") == tag {
			return true
		}
	}
	return false
}

func (h *handlers) SignOff(ctx context.Context, r api.SignOffRequestObject) (api.SignOffResponseObject, error) {
	in := ledger.NewSignOff{Delivery: r.DeliveryId, Decision: ledger.Decision(r.Body.Decision), Reason: or(r.Body.Reason, ""), Cause: ledger.Cause(or(r.Body.Cause, "")), Price: priceOf(r.Body.Price)}
	signed, _, err := once(ctx, h.Server, "sign_off", func(tx *ledger.Tx) (ledger.SignOff, uuid.UUID, error) {
		if r.Params.IfMatch != nil {
			d, err := tx.Delivery(ctx, r.DeliveryId)
			if err != nil {
				return ledger.SignOff{}, uuid.Nil, err
			}
			if !tagMatches(*r.Params.IfMatch, deliveryTag(d)) {
				return ledger.SignOff{}, uuid.Nil, problem(kindChangedSince, "The delivery is not as it was when you looked.")
			}
		}
		so, err := tx.SignOff(ctx, in)
		return so, so.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.SignOff, error) {
		all, err := tx.SignOffs(ctx, r.DeliveryId)
		return among(all, err, func(s ledger.SignOff) bool { return s.ID == id })
	})
	if err != nil {
		return nil, err
	}
	receipt, err := h.receipt(ctx, ledger.FactSignedOff, signed.ID)
	if err != nil {
		return nil, err
	}
	return api.SignOff201JSONResponse{SignOff: signOffOf(signed), Receipt: receipt}, nil
}

func (s *Server) receipt(ctx context.Context, kind string, subject uuid.UUID) (api.Receipt, error) {
	r, err := read(ctx, s, func(tx *ledger.Tx) (ledger.Receipt, error) { return tx.Receipt(ctx, kind, subject) })
	if err != nil {
		return api.Receipt{}, err
	}
	return receiptOf(r), nil
}

func (h *handlers) ListSignOffs(ctx context.Context, r api.ListSignOffsRequestObject) (api.ListSignOffsResponseObject, error) {
	list, err := ofDelivery(ctx, h.Server, r.DeliveryId, (*ledger.Tx).SignOffs)
	if err != nil {
		return nil, err
	}
	return api.ListSignOffs200JSONResponse{Items: each(list, signOffOf)}, nil
}

// ofDelivery lists something of a delivery that the caller can see.
func ofDelivery[T any](ctx context.Context, s *Server, id uuid.UUID, list func(*ledger.Tx, context.Context, uuid.UUID) ([]T, error)) ([]T, error) {
	return read(ctx, s, func(tx *ledger.Tx) ([]T, error) {
		if _, err := tx.Delivery(ctx, id); err != nil {
			return nil, err
		}
		return list(tx, ctx, id)
	})
}

func (h *handlers) GrantConcession(ctx context.Context, r api.GrantConcessionRequestObject) (api.GrantConcessionResponseObject, error) {
	c, _, err := once(ctx, h.Server, "concession", func(tx *ledger.Tx) (ledger.Concession, uuid.UUID, error) {
		c, err := tx.GrantConcession(ctx, ledger.NewConcession{Inspection: r.InspectionId, Ord: r.Body.Ord, Reason: r.Body.Reason,
			Scope: string(or(r.Body.Scope, "")), Until: dueOf(r.Body.Until), Worst: r.Body.Worst})
		return c, c.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Concession, error) {
		i, err := tx.Inspection(ctx, r.InspectionId)
		if err != nil {
			return ledger.Concession{}, err
		}
		all, err := tx.Concessions(ctx, i.DeliveryID)
		return among(all, err, func(c ledger.Concession) bool { return c.ID == id })
	})
	if err != nil {
		return nil, err
	}
	return api.GrantConcession201JSONResponse(concessionOf(c)), nil
}

func (h *handlers) ListConcessions(ctx context.Context, r api.ListConcessionsRequestObject) (api.ListConcessionsResponseObject, error) {
	list, err := ofDelivery(ctx, h.Server, r.DeliveryId, (*ledger.Tx).Concessions)
	if err != nil {
		return nil, err
	}
	return api.ListConcessions200JSONResponse{Items: each(list, concessionOf)}, nil
}

func (h *handlers) AddNote(ctx context.Context, r api.AddNoteRequestObject) (api.AddNoteResponseObject, error) {
	in := ledger.NewNote{Delivery: r.DeliveryId, Text: r.Body.Text, Private: or(r.Body.Private, false), Pin: newPin(r.Body.Pin), ReplyTo: or(r.Body.ReplyTo, uuid.Nil), Sketch: newSketch(r.Body.Sketch)}
	note, _, err := once(ctx, h.Server, "note", func(tx *ledger.Tx) (ledger.Note, uuid.UUID, error) {
		n, err := tx.AddNote(ctx, in)
		return n, n.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Note, error) {
		all, err := tx.Notes(ctx, r.DeliveryId)
		return among(all, err, func(n ledger.Note) bool { return n.ID == id })
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.AddNote201JSONResponse(noteOf(note, who)), nil
}

func (h *handlers) ListNotes(ctx context.Context, r api.ListNotesRequestObject) (api.ListNotesResponseObject, error) {
	list, err := ofDelivery(ctx, h.Server, r.DeliveryId, (*ledger.Tx).Notes)
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListNotes200JSONResponse{Items: each(list, func(n ledger.Note) api.Note { return noteOf(n, who) })}, nil
}

func (h *handlers) ListMyWork(ctx context.Context, r api.ListMyWorkRequestObject) (api.ListMyWorkResponseObject, error) {
	who, _ := Caller(ctx)
	filter := ledger.WorkFilter{Open: true, Desks: desksOf(who, string(or(r.Params.Desk, "mine")))}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.WorkItem], error) {
		return tx.MyWork(ctx, filter, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListMyWork200JSONResponse{Items: each(list.Items, workItemOf), Next: next(list.Next)}, nil
}

// desksOf says whose desks are asked for; nil means all of them. A producer follows everything.
func desksOf(who ledger.Who, asked string) []ledger.Desk {
	switch {
	case asked == "all", asked == "mine" && who.Has(ledger.Producer):
		return nil
	case asked != "mine":
		return []ledger.Desk{ledger.Desk(asked)}
	}
	var desks []ledger.Desk
	if who.Side == ledger.VendorSide {
		desks = append(desks, ledger.DeskVendor)
	}
	if who.Has(ledger.TechnicalArtist) {
		desks = append(desks, ledger.DeskTechnicalArtist)
	}
	if who.Has(ledger.ArtDirector) {
		desks = append(desks, ledger.DeskArtDirector)
	}
	return desks
}

func (h *handlers) ListPayables(ctx context.Context, r api.ListPayablesRequestObject) (api.ListPayablesResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Payable], error) {
		order := or(r.Params.WorkOrderId, uuid.Nil)
		if order != uuid.Nil {
			if _, err := tx.WorkOrder(ctx, order); err != nil {
				return ledger.List[ledger.Payable]{}, err
			}
		}
		return tx.Payables(ctx, order, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListPayables200JSONResponse{Items: each(list.Items, payableOf), Next: next(list.Next)}, nil
}
