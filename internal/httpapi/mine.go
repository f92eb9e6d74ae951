package httpapi

import (
	"context"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// What somebody keeps for themselves or their studio: views, sentences, how they read and are told.

func savedViewOf(v ledger.SavedView) api.SavedView {
	return api.SavedView{Id: v.ID, Name: v.Name, Query: v.Query, At: v.At.UTC()}
}

func (h *handlers) ListSavedViews(ctx context.Context, _ api.ListSavedViewsRequestObject) (api.ListSavedViewsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.SavedView, error) { return tx.SavedViews(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListSavedViews200JSONResponse{Items: each(list, savedViewOf)}, nil
}

func (h *handlers) SaveView(ctx context.Context, r api.SaveViewRequestObject) (api.SaveViewResponseObject, error) {
	find := func(tx *ledger.Tx, id uuid.UUID) (ledger.SavedView, error) {
		list, err := tx.SavedViews(ctx)
		return among(list, err, func(v ledger.SavedView) bool { return v.ID == id })
	}
	v, _, err := once(ctx, h.Server, "saved_view", func(tx *ledger.Tx) (ledger.SavedView, uuid.UUID, error) {
		id, err := tx.SaveView(ctx, r.Body.Name, r.Body.Query)
		if err != nil {
			return ledger.SavedView{}, id, err
		}
		v, err := find(tx, id)
		return v, id, err
	}, find)
	if err != nil {
		return nil, err
	}
	return api.SaveView201JSONResponse(savedViewOf(v)), nil
}

func (h *handlers) RemoveSavedView(ctx context.Context, r api.RemoveSavedViewRequestObject) (api.RemoveSavedViewResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.PutViewAway(ctx, r.SavedViewId) }); err != nil {
		return nil, err
	}
	return api.RemoveSavedView204Response{}, nil
}

func savedNoteOf(n ledger.SavedNote) api.SavedNote {
	return api.SavedNote{Id: n.ID, Text: n.Text, By: n.By, At: n.At.UTC()}
}

func (h *handlers) ListSavedNotes(ctx context.Context, _ api.ListSavedNotesRequestObject) (api.ListSavedNotesResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.SavedNote, error) { return tx.SavedNotes(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListSavedNotes200JSONResponse{Items: each(list, savedNoteOf)}, nil
}

func (h *handlers) SaveNote(ctx context.Context, r api.SaveNoteRequestObject) (api.SaveNoteResponseObject, error) {
	n, _, err := once(ctx, h.Server, "saved_note", func(tx *ledger.Tx) (ledger.SavedNote, uuid.UUID, error) {
		n, err := tx.SaveNote(ctx, r.Body.Text)
		return n, n.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.SavedNote, error) {
		list, err := tx.SavedNotes(ctx)
		return among(list, err, func(n ledger.SavedNote) bool { return n.ID == id })
	})
	if err != nil {
		return nil, err
	}
	return api.SaveNote201JSONResponse(savedNoteOf(n)), nil
}

func (h *handlers) RemoveSavedNote(ctx context.Context, r api.RemoveSavedNoteRequestObject) (api.RemoveSavedNoteResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.DropSavedNote(ctx, r.SavedNoteId) }); err != nil {
		return nil, err
	}
	return api.RemoveSavedNote204Response{}, nil
}

func readingOf(r ledger.Reading) api.Reading {
	return api.Reading{Language: optional(r.Language), TimeZone: optional(r.TimeZone)}
}

func (h *handlers) GetReading(ctx context.Context, _ api.GetReadingRequestObject) (api.GetReadingResponseObject, error) {
	r, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Reading, error) { return tx.Reading(ctx) })
	if err != nil {
		return nil, err
	}
	return api.GetReading200JSONResponse(readingOf(r)), nil
}

func (h *handlers) SetReading(ctx context.Context, r api.SetReadingRequestObject) (api.SetReadingResponseObject, error) {
	in := ledger.Reading{Language: or(r.Body.Language, ""), TimeZone: or(r.Body.TimeZone, "")}
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.SetReading(ctx, in) }); err != nil {
		return nil, err
	}
	return api.SetReading200JSONResponse(readingOf(in)), nil
}

func mailChoicesOf(all map[ledger.Topic]ledger.How) api.MailChoices {
	out := api.MailChoices{Choices: map[string]api.MailChoicesChoices{}}
	for topic, how := range all {
		out.Choices[string(topic)] = api.MailChoicesChoices(how)
	}
	return out
}

func (h *handlers) GetMailChoices(ctx context.Context, _ api.GetMailChoicesRequestObject) (api.GetMailChoicesResponseObject, error) {
	all, err := read(ctx, h.Server, func(tx *ledger.Tx) (map[ledger.Topic]ledger.How, error) { return tx.MailChoices(ctx) })
	if err != nil {
		return nil, err
	}
	return api.GetMailChoices200JSONResponse(mailChoicesOf(all)), nil
}

func (h *handlers) SetMailChoices(ctx context.Context, r api.SetMailChoicesRequestObject) (api.SetMailChoicesResponseObject, error) {
	in := map[ledger.Topic]ledger.How{}
	for topic, how := range r.Body.Choices {
		in[ledger.Topic(topic)] = ledger.How(how)
	}
	all, err := read(ctx, h.Server, func(tx *ledger.Tx) (map[ledger.Topic]ledger.How, error) {
		if err := tx.ChooseMail(ctx, in); err != nil {
			return nil, err
		}
		return tx.MailChoices(ctx)
	})
	if err != nil {
		return nil, err
	}
	return api.SetMailChoices200JSONResponse(mailChoicesOf(all)), nil
}
