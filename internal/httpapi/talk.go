package httpapi

import (
	"bytes"
	"context"
	"io"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func questionOf(q ledger.Question, who ledger.Who) api.Question {
	return api.Question{
		Id: q.ID, WorkOrderId: q.WorkOrderID, PropId: q.PropID, PropCode: q.PropCode, Number: q.Number, Blocks: q.Blocks, State: api.QuestionState(q.State),
		Since: q.Since.UTC(), AskedAt: q.AskedAt.UTC(), WaitedSeconds: int64(q.Waited / time.Second),
		Messages: each(q.Messages, func(m ledger.QuestionMessage) api.QuestionMessage {
			by := m.ByName
			if m.Side == ledger.VendorSide && who.Side != ledger.VendorSide {
				by = ""
			}
			return api.QuestionMessage{Id: m.ID, Side: api.Side(m.Side), Event: api.QuestionMessageEvent(m.Event), By: by, Text: m.Text, SpecId: m.Spec, At: m.At.UTC()}
		}),
	}
}

func (h *handlers) ListQuestions(ctx context.Context, r api.ListQuestionsRequestObject) (api.ListQuestionsResponseObject, error) {
	f := ledger.QuestionFilter{WorkOrder: or(r.Params.WorkOrderId, uuid.Nil), Prop: or(r.Params.PropId, uuid.Nil), State: ledger.QuestionState(or(r.Params.State, ""))}
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Question], error) {
		return tx.Questions(ctx, f, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListQuestions200JSONResponse{Items: each(list.Items, func(q ledger.Question) api.Question { return questionOf(q, who) }), Next: next(list.Next)}, nil
}

// question does one act on a question, once.
func (s *Server) question(ctx context.Context, act func(tx *ledger.Tx) (ledger.Question, error)) (api.Question, error) {
	q, _, err := once(ctx, s, "question", func(tx *ledger.Tx) (ledger.Question, uuid.UUID, error) {
		q, err := act(tx)
		return q, q.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Question, error) { return tx.Question(ctx, id) })
	who, _ := Caller(ctx)
	return questionOf(q, who), err
}

func (h *handlers) AskQuestion(ctx context.Context, r api.AskQuestionRequestObject) (api.AskQuestionResponseObject, error) {
	q, err := h.question(ctx, func(tx *ledger.Tx) (ledger.Question, error) {
		return tx.Ask(ctx, ledger.NewQuestion{Prop: r.PropId, Text: r.Body.Text, Blocks: or(r.Body.Blocks, false)})
	})
	if err != nil {
		return nil, err
	}
	return api.AskQuestion201JSONResponse(q), nil
}

func (h *handlers) GetQuestion(ctx context.Context, r api.GetQuestionRequestObject) (api.GetQuestionResponseObject, error) {
	q, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Question, error) { return tx.Question(ctx, r.QuestionId) })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.GetQuestion200JSONResponse(questionOf(q, who)), nil
}

func (h *handlers) ReplyToQuestion(ctx context.Context, r api.ReplyToQuestionRequestObject) (api.ReplyToQuestionResponseObject, error) {
	q, err := h.question(ctx, func(tx *ledger.Tx) (ledger.Question, error) {
		return tx.Reply(ctx, r.QuestionId, string(r.Body.Event), or(r.Body.Text, ""), or(r.Body.SpecId, uuid.Nil))
	})
	if err != nil {
		return nil, err
	}
	return api.ReplyToQuestion200JSONResponse(q), nil
}

func (h *handlers) ResolveNote(ctx context.Context, r api.ResolveNoteRequestObject) (api.ResolveNoteResponseObject, error) {
	n, _, err := once(ctx, h.Server, "note", func(tx *ledger.Tx) (ledger.Note, uuid.UUID, error) {
		n, err := tx.ResolveNote(ctx, r.NoteId, r.Body.Resolved, or(r.Body.DeliveryId, uuid.Nil))
		return n, n.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Note, error) { return tx.Note(ctx, id) })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ResolveNote200JSONResponse(noteOf(n, who)), nil
}

func pinOf(p *ledger.Pin) *api.Pin {
	if p == nil {
		return nil
	}
	out := &api.Pin{FileId: p.File, Part: optional(p.Part), Lod: p.LOD, PositionMm: p.PositionMM[:]}
	if p.Normal != nil {
		normal := p.Normal[:]
		out.Normal = &normal
	}
	return out
}

// newPin reads a pin whose lengths the description has checked.
func newPin(p *api.Pin) *ledger.Pin {
	if p == nil {
		return nil
	}
	out := &ledger.Pin{File: p.FileId, Part: or(p.Part, ""), LOD: p.Lod, PositionMM: [3]float64(p.PositionMm)}
	if p.Normal != nil {
		normal := [3]float64(*p.Normal)
		out.Normal = &normal
	}
	return out
}

func permissionOf(p ledger.Permission, who ledger.Who) api.Permission {
	by := p.ByName
	if p.Side == ledger.VendorSide && who.Side != ledger.VendorSide {
		by = ""
	}
	return api.Permission{
		Id: p.ID, WorkOrderId: p.WorkOrderID, Kind: api.PermissionKind(p.Kind), PropId: p.Prop, Kit: optional(p.Kit), Check: p.Check, Part: optional(p.Part),
		Set: optional(p.Set), Worst: p.Worst, Until: day(p.Until), Reason: p.Reason, State: api.PermissionState(p.State), Since: p.Since.UTC(),
		Side: api.Side(p.Side), By: by, At: p.At.UTC(), DecidedReason: p.DecidedReason,
	}
}

// permission does one act on a permission, once.
func (s *Server) permission(ctx context.Context, act func(tx *ledger.Tx) (ledger.Permission, error)) (api.Permission, error) {
	p, _, err := once(ctx, s, "permission", func(tx *ledger.Tx) (ledger.Permission, uuid.UUID, error) {
		p, err := act(tx)
		return p, p.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Permission, error) { return tx.Permission(ctx, id) })
	who, _ := Caller(ctx)
	return permissionOf(p, who), err
}

func (h *handlers) ListPermissions(ctx context.Context, r api.ListPermissionsRequestObject) (api.ListPermissionsResponseObject, error) {
	list, err := ofOrder(ctx, h.Server, r.WorkOrderId, func(tx *ledger.Tx) (ledger.List[ledger.Permission], error) {
		return tx.Permissions(ctx, r.WorkOrderId, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.ListPermissions200JSONResponse{Items: each(list.Items, func(p ledger.Permission) api.Permission { return permissionOf(p, who) }), Next: next(list.Next)}, nil
}

func (h *handlers) Permit(ctx context.Context, r api.PermitRequestObject) (api.PermitResponseObject, error) {
	b := r.Body
	p, err := h.permission(ctx, func(tx *ledger.Tx) (ledger.Permission, error) {
		return tx.Permit(ctx, ledger.NewPermission{
			WorkOrder: r.WorkOrderId, Kind: string(b.Kind), Prop: or(b.PropId, uuid.Nil), Kit: or(b.Kit, ""), Check: b.Check, Part: or(b.Part, ""), Set: or(b.Set, ""),
			Worst: b.Worst, Until: dueOf(b.Until), Reason: b.Reason,
		})
	})
	if err != nil {
		return nil, err
	}
	return api.Permit201JSONResponse(p), nil
}

func (h *handlers) GetPermission(ctx context.Context, r api.GetPermissionRequestObject) (api.GetPermissionResponseObject, error) {
	p, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Permission, error) { return tx.Permission(ctx, r.PermissionId) })
	if err != nil {
		return nil, err
	}
	who, _ := Caller(ctx)
	return api.GetPermission200JSONResponse(permissionOf(p, who)), nil
}

func (h *handlers) DecidePermission(ctx context.Context, r api.DecidePermissionRequestObject) (api.DecidePermissionResponseObject, error) {
	p, err := h.permission(ctx, func(tx *ledger.Tx) (ledger.Permission, error) {
		return tx.DecidePermission(ctx, r.PermissionId, string(r.Body.Decision), or(r.Body.Reason, ""))
	})
	if err != nil {
		return nil, err
	}
	return api.DecidePermission200JSONResponse(p), nil
}

func (h *handlers) ImportProps(ctx context.Context, r api.ImportPropsRequestObject) (api.ImportPropsResponseObject, error) {
	text, err := io.ReadAll(r.Body)
	if err != nil {
		return nil, err
	}
	dry := or(r.Params.DryRun, false)
	out := api.PropImport{DryRun: dry, Ordered: []api.Prop{}, Faults: []api.BadRow{}}
	run := func(tx *ledger.Tx) (api.PropImport, uuid.UUID, error) {
		order, err := tx.WorkOrder(ctx, r.WorkOrderId)
		if err != nil {
			return out, uuid.Nil, err
		}
		list := ledger.ReadPropList(bytes.NewReader(text), order.Currency)
		props, faults, err := tx.ImportProps(ctx, order.ID, list, dry)
		out.Rows, out.Ordered = len(list.Props), each(props, propOf)
		out.Faults = each(faults, func(f ledger.BadRow) api.BadRow { return api.BadRow{Line: f.Line, Column: f.Column, Reason: f.Why} })
		return out, order.ID, err
	}
	// A repeat of a list that was ordered finds its codes there; it is told so as faults, and orders nothing twice.
	out, repeat, err := once(ctx, h.Server, "prop_import", run, func(tx *ledger.Tx, _ uuid.UUID) (api.PropImport, error) { return out, nil })
	if err == nil && repeat {
		dry = true
		out, err = read(ctx, h.Server, func(tx *ledger.Tx) (api.PropImport, error) { again, _, err := run(tx); return again, err })
	}
	if err != nil {
		return nil, err
	}
	return api.ImportProps200JSONResponse(out), nil
}
