package httpapi

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// laid is one change laid over the newest spec of one prop.
type laid struct {
	prop     ledger.Prop
	document []byte
	draft    *spec.Spec
	rows     []api.SpecChangeRow
	faults   []api.ProblemError
	made     *uuid.UUID
}

// layOver reads what a change makes of a prop's newest spec. A prop without a spec has nothing to change.
func layOver(ctx context.Context, tx *ledger.Tx, id uuid.UUID, change []byte) (l laid, err error) {
	if l.prop, err = tx.Prop(ctx, id); err != nil {
		return l, err
	}
	if who := tx.Who; !who.Has(ledger.Producer, ledger.TechnicalArtist, ledger.ArtDirector) {
		return l, fmt.Errorf("%w: specs are the studio's to change", ledger.ErrForbidden)
	}
	heads, err := tx.SpecRevisions(ctx, id)
	if err != nil || len(heads) == 0 {
		return l, err
	}
	newest, err := tx.SpecRevision(ctx, slices.MaxFunc(heads, func(a, b ledger.SpecHead) int { return a.Number - b.Number }).ID)
	if err != nil {
		return l, err
	}
	if l.document, err = spec.Overlay(newest.Document, change); err != nil {
		return l, invalidField("change", err.Error())
	}
	var faults *Problem
	if l.draft, err = DraftSpec(ctx, tx, l.prop, l.document); errors.As(err, &faults) && faults.kind.name == kindSpec.name {
		l.faults = faults.errors
		return l, nil
	} else if err != nil {
		return l, err
	}
	before, err := ResolveSpec(ctx, tx, newest, "")
	if err != nil {
		return l, err
	}
	l.rows = SpecChanges(before, l.draft)
	return l, nil
}

// ChangeSpecs publishes a revision for each prop that the change changes, all or none.
func (h *handlers) ChangeSpecs(ctx context.Context, r api.ChangeSpecsRequestObject) (api.ChangeSpecsResponseObject, error) {
	dry := or(r.Body.DryRun, false)
	effect := func(tx *ledger.Tx) ([]laid, uuid.UUID, error) {
		var all []laid
		sound, last := true, uuid.Nil
		for _, id := range r.Body.PropIds {
			l, err := layOver(ctx, tx, id, []byte(r.Body.Change))
			if err != nil {
				return nil, last, err
			}
			sound = sound && len(l.faults) == 0
			all = append(all, l)
		}
		for i := range all {
			if l := &all[i]; sound && !dry && len(l.rows) > 0 {
				in := ledger.NewSpecRevision{Prop: l.prop.ID, Document: l.document, Digest: unhex(l.draft.Digest), Note: or(r.Body.Note, "")}
				if r.Body.Price != nil && l.prop.WorkBeganAt != nil {
					in.Change = *priceOf(r.Body.Price)
				}
				rev, err := tx.CreateSpecRevision(ctx, in)
				if err != nil {
					return nil, last, err
				}
				l.made, last = &rev.ID, rev.ID
			}
		}
		return all, last, nil
	}
	again := func(tx *ledger.Tx, _ uuid.UUID) (all []laid, err error) {
		for _, id := range r.Body.PropIds {
			l := laid{}
			if l.prop, err = tx.Prop(ctx, id); err != nil {
				return nil, err
			}
			heads, err := tx.SpecRevisions(ctx, id)
			if err != nil {
				return nil, err
			}
			if len(heads) > 0 {
				newest := slices.MaxFunc(heads, func(a, b ledger.SpecHead) int { return a.Number - b.Number })
				l.made = &newest.ID
			}
			all = append(all, l)
		}
		return all, nil
	}
	var all []laid
	var err error
	if dry { // nothing is made that a repeat could find
		all, err = read(ctx, h.Server, func(tx *ledger.Tx) ([]laid, error) { all, _, err := effect(tx); return all, err })
	} else {
		all, _, err = once(ctx, h.Server, "spec_changes", effect, again)
	}
	if err != nil {
		return nil, err
	}
	out := api.SpecChanges{Items: emptied(api.SpecChanges{}.Items)}
	for _, l := range all {
		out.Published = out.Published || l.made != nil
		out.Items = append(out.Items, struct {
			Code   string              `json:"code"`
			Faults []api.ProblemError  `json:"faults"`
			PropId uuid.UUID           `json:"prop_id"`
			Rows   []api.SpecChangeRow `json:"rows"`
			SpecId *uuid.UUID          `json:"spec_id"`
		}{l.prop.Code, emptied(l.faults), l.prop.ID, emptied(l.rows), l.made})
	}
	return api.ChangeSpecs200JSONResponse(out), nil
}

// emptied is a list that is never null.
func emptied[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}

// AcknowledgeSpecs acknowledges many revisions in one transaction.
func (h *handlers) AcknowledgeSpecs(ctx context.Context, r api.AcknowledgeSpecsRequestObject) (api.AcknowledgeSpecsResponseObject, error) {
	list := func(tx *ledger.Tx, _ uuid.UUID) (all []ledger.SpecRevision, err error) {
		for _, id := range r.Body.SpecIds {
			rev, err := tx.SpecRevision(ctx, id)
			if err != nil {
				return nil, err
			}
			all = append(all, rev)
		}
		return all, nil
	}
	all, _, err := once(ctx, h.Server, "spec_acknowledgements", func(tx *ledger.Tx) ([]ledger.SpecRevision, uuid.UUID, error) {
		for _, id := range r.Body.SpecIds {
			if _, err := tx.AcknowledgeSpec(ctx, id); err != nil {
				return nil, uuid.Nil, err
			}
		}
		all, err := list(tx, uuid.Nil)
		return all, r.Body.SpecIds[0], err
	}, list)
	if err != nil {
		return nil, err
	}
	return api.AcknowledgeSpecs200JSONResponse{Items: each(all, func(rev ledger.SpecRevision) api.Spec { return specOf(rev.SpecHead) })}, nil
}
