package httpapi

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance"
	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// specName is what messages about a sent spec call it.
const specName = "spec"

func (h *handlers) PublishSpec(ctx context.Context, r api.PublishSpecRequestObject) (api.PublishSpecResponseObject, error) {
	document, note, err := sentSpec(r)
	if err != nil {
		return nil, err
	}
	var change ledger.SpecChange
	if r.JSONBody != nil && r.JSONBody.Change != nil {
		change = *priceOf(r.JSONBody.Change)
	}
	revision, _, err := once(ctx, h.Server, "spec", func(tx *ledger.Tx) (ledger.SpecRevision, uuid.UUID, error) {
		prop, err := tx.Prop(ctx, r.PropId)
		if err != nil {
			return ledger.SpecRevision{}, uuid.Nil, err
		}
		resolved, err := resolveSpec(ctx, tx, prop.ID, document, "")
		if err != nil {
			return ledger.SpecRevision{}, uuid.Nil, err
		}
		if err := fits(resolved, prop); err != nil {
			return ledger.SpecRevision{}, uuid.Nil, err
		}
		rev, err := tx.CreateSpecRevision(ctx, ledger.NewSpecRevision{Prop: r.PropId, Document: document, Digest: unhex(resolved.Digest), Note: note, Change: change})
		return rev, rev.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.SpecRevision, error) { return tx.SpecRevision(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.PublishSpec201JSONResponse(specWithText(revision)), nil
}

func sentSpec(r api.PublishSpecRequestObject) (document []byte, note string, err error) {
	if r.JSONBody != nil {
		return []byte(r.JSONBody.Document), or(r.JSONBody.Note, ""), nil
	}
	if document, err = io.ReadAll(r.Body); err != nil {
		return nil, "", fmt.Errorf("read the spec: %w", err)
	}
	return document, or(r.Params.Note, ""), nil
}

// resolveSpec reads a spec of a prop as it counts at a milestone; "" is the last one. What is wrong with it is a problem
// with line and column of each fault. What it extends are revisions published for props of the same work order.
func resolveSpec(ctx context.Context, tx *ledger.Tx, prop uuid.UUID, document []byte, milestone spec.Milestone) (*spec.Spec, error) {
	return resolveNoting(ctx, tx, prop, document, milestone, func(spec.Ref) {})
}

// resolveNoting is told of every spec that this one extends, near or far.
func resolveNoting(ctx context.Context, tx *ledger.Tx, prop uuid.UUID, document []byte, milestone spec.Milestone, note func(spec.Ref)) (*spec.Spec, error) {
	catalogue := acceptance.Catalogue()
	parsed, err := spec.Parse(specName, document, catalogue)
	if err != nil {
		return nil, specProblem(err)
	}
	var failed error // our own, not the spec's
	resolved, err := spec.Resolve(parsed, catalogue, milestone, func(ref spec.Ref) ([]byte, error) {
		note(ref)
		parent, err := tx.SpecExtended(ctx, prop, ledger.SpecRef{Code: ref.Spec, Revision: ref.Revision, SHA256: unhex(ref.Digest)})
		switch {
		case errors.Is(err, ledger.ErrNotFound) && ref.Revision > 0:
			return nil, fmt.Errorf("this work order has no prop of that code with a spec revision %d", ref.Revision)
		case errors.Is(err, ledger.ErrNotFound):
			return nil, errors.New("this work order has no prop of that code with a spec of that digest")
		case err != nil && failed == nil:
			failed = err
		}
		return parent, err
	})
	if failed != nil {
		return nil, failed
	}
	if err != nil {
		return nil, specProblem(err)
	}
	return resolved, nil
}

func specProblem(err error) error {
	var faults spec.Faults
	if !errors.As(err, &faults) {
		return fmt.Errorf("resolve a spec: %w", err)
	}
	p := problem(kindSpec, fmt.Sprintf("%d things are wrong with the spec.", len(faults)))
	if len(faults) == 1 {
		p.detail = "One thing is wrong with the spec."
	}
	for _, f := range faults {
		e := api.ProblemError{Reason: f.Message, Pointer: optional(f.Path)}
		if f.Line > 0 {
			e.Line, e.Column = &f.Line, &f.Col
		}
		p.errors = append(p.errors, e)
	}
	return p
}

// fits refuses a spec of another prop or tier than the one ordered.
func fits(s *spec.Spec, prop ledger.Prop) error {
	p := problem(kindSpec, "The spec is not one for this prop.")
	add := func(key, reason string) { p.errors = append(p.errors, api.ProblemError{Pointer: &key, Reason: reason}) }
	if s.Prop != prop.Code {
		add("prop", fmt.Sprintf("must be %q, as ordered", prop.Code))
	}
	if string(s.Tier) != prop.Tier {
		add("tier", fmt.Sprintf("must be %q, as ordered", prop.Tier))
	}
	if len(p.errors) > 0 {
		return p
	}
	return nil
}

func (h *handlers) ListSpecs(ctx context.Context, r api.ListSpecsRequestObject) (api.ListSpecsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.SpecHead, error) {
		if _, err := tx.Prop(ctx, r.PropId); err != nil {
			return nil, err
		}
		return tx.SpecRevisions(ctx, r.PropId)
	})
	if err != nil {
		return nil, err
	}
	return api.ListSpecs200JSONResponse{Items: each(list, specOf)}, nil
}

func (h *handlers) GetSpec(ctx context.Context, r api.GetSpecRequestObject) (api.GetSpecResponseObject, error) {
	revision, err := h.spec(ctx, r.SpecId)
	if err != nil {
		return nil, err
	}
	return api.GetSpec200JSONResponse(specWithText(revision)), nil
}

func (s *Server) spec(ctx context.Context, id uuid.UUID) (ledger.SpecRevision, error) {
	return read(ctx, s, func(tx *ledger.Tx) (ledger.SpecRevision, error) { return tx.SpecRevision(ctx, id) })
}

func (h *handlers) AcknowledgeSpec(ctx context.Context, r api.AcknowledgeSpecRequestObject) (api.AcknowledgeSpecResponseObject, error) {
	revision, _, err := once(ctx, h.Server, "spec", func(tx *ledger.Tx) (ledger.SpecRevision, uuid.UUID, error) {
		rev, err := tx.AcknowledgeSpec(ctx, r.SpecId)
		return rev, rev.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.SpecRevision, error) { return tx.SpecRevision(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.AcknowledgeSpec200JSONResponse(specWithText(revision)), nil
}
