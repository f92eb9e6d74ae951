package httpapi

import (
	"context"
	"strings"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// overlapDefault is how long a webhook's secret before goes on signing.
const overlapDefault = 24 * time.Hour

// webhookFrom checks what the ledger cannot know: whether plain http may be called at all.
func (s *Server) webhookFrom(in api.NewWebhook) (ledger.NewHook, error) {
	if strings.HasPrefix(strings.ToLower(in.Url), "http:") && len(s.calls.Allow) == 0 {
		return ledger.NewHook{}, &ledger.Invalid{Field: "url", Why: "must be https"}
	}
	return ledger.NewHook{URL: in.Url, Kinds: each(or(in.Kinds, nil), func(k api.NewsKind) string { return string(k) })}, nil
}

func webhookOf(h ledger.Hook) api.Webhook {
	return api.Webhook{
		Id: h.ID, Url: h.URL, Kinds: each(h.Kinds, func(k string) api.NewsKind { return api.NewsKind(k) }), MadeBy: h.MadeBy, CreatedAt: h.CreatedAt.UTC(),
		PreviousSecretUntil: utc(h.PreviousUntil), FailingSince: utc(h.FailingSince), DisabledAt: utc(h.DisabledAt),
		DisabledWhy: (*api.WebhookDisabledWhy)(optional(h.DisabledWhy)), Waiting: h.Waiting,
	}
}

func messageOf(m ledger.Message) api.WebhookMessage {
	return api.WebhookMessage{
		Id: m.ID, MessageId: m.MessageID, Type: m.Kind, State: api.WebhookMessageState(m.State), NextAt: utc(m.NextAt), CreatedAt: m.CreatedAt.UTC(), DoneAt: utc(m.DoneAt),
		Attempts: each(m.Attempts, func(a ledger.Attempt) api.WebhookAttempt {
			return api.WebhookAttempt{Number: a.Number, At: a.At.UTC(), Status: a.Status, Problem: a.Problem, Excerpt: a.Excerpt, TookMs: a.TookMS}
		}),
	}
}

func (h *handlers) ListWebhooks(ctx context.Context, _ api.ListWebhooksRequestObject) (api.ListWebhooksResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Hook, error) { return tx.Hooks(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListWebhooks200JSONResponse{Items: each(list, webhookOf)}, nil
}

func (h *handlers) CreateWebhook(ctx context.Context, r api.CreateWebhookRequestObject) (api.CreateWebhookResponseObject, error) {
	in, err := h.webhookFrom(*r.Body)
	if err != nil {
		return nil, err
	}
	if !h.postKey.Known() {
		return nil, problem(kindState, "This service sends no webhooks: it has no POST_KEY.")
	}
	var secret string
	hook, repeat, err := once(ctx, h.Server, "webhook", func(tx *ledger.Tx) (k ledger.Hook, id uuid.UUID, err error) {
		k, secret, err = tx.CreateHook(ctx, h.postKey, in)
		return k, k.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Hook, error) { return tx.Hook(ctx, id) })
	if err != nil {
		return nil, err
	}
	if repeat {
		return api.CreateWebhook200JSONResponse{Webhook: webhookOf(hook), Note: noteAgain}, nil
	}
	return api.CreateWebhook201JSONResponse{Webhook: webhookOf(hook), Secret: &secret, Note: noteOnce}, nil
}

func (h *handlers) GetWebhook(ctx context.Context, r api.GetWebhookRequestObject) (api.GetWebhookResponseObject, error) {
	hook, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Hook, error) { return tx.Hook(ctx, r.WebhookId) })
	if err != nil {
		return nil, err
	}
	return api.GetWebhook200JSONResponse(webhookOf(hook)), nil
}

func (h *handlers) ChangeWebhook(ctx context.Context, r api.ChangeWebhookRequestObject) (api.ChangeWebhookResponseObject, error) {
	in, err := h.webhookFrom(api.NewWebhook{Url: r.Body.Url, Kinds: &r.Body.Kinds})
	if err != nil {
		return nil, err
	}
	hook, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Hook, error) {
		return tx.ChangeHook(ctx, r.WebhookId, in, r.Body.Enabled)
	})
	if err != nil {
		return nil, err
	}
	return api.ChangeWebhook200JSONResponse(webhookOf(hook)), nil
}

func (h *handlers) RemoveWebhook(ctx context.Context, r api.RemoveWebhookRequestObject) (api.RemoveWebhookResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.RemoveHook(ctx, r.WebhookId) }); err != nil {
		return nil, err
	}
	return api.RemoveWebhook204Response{}, nil
}

func (h *handlers) RotateWebhookSecret(ctx context.Context, r api.RotateWebhookSecretRequestObject) (api.RotateWebhookSecretResponseObject, error) {
	overlap := overlapDefault
	if r.Body.OverlapHours != nil {
		overlap = time.Duration(*r.Body.OverlapHours) * time.Hour
	}
	var secret string
	hook, repeat, err := once(ctx, h.Server, "webhook-secret", func(tx *ledger.Tx) (k ledger.Hook, id uuid.UUID, err error) {
		k, secret, err = tx.RotateHook(ctx, h.postKey, r.WebhookId, overlap)
		return k, k.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Hook, error) { return tx.Hook(ctx, id) })
	if err != nil {
		return nil, err
	}
	if repeat {
		return api.RotateWebhookSecret200JSONResponse{Webhook: webhookOf(hook), Note: noteAgain}, nil
	}
	return api.RotateWebhookSecret201JSONResponse{Webhook: webhookOf(hook), Secret: &secret, Note: noteOnce}, nil
}

func (h *handlers) PingWebhook(ctx context.Context, r api.PingWebhookRequestObject) (api.PingWebhookResponseObject, error) {
	m, _, err := once(ctx, h.Server, "webhook-ping", func(tx *ledger.Tx) (ledger.Message, uuid.UUID, error) {
		m, err := tx.PingHook(ctx, r.WebhookId)
		return m, m.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Message, error) { return tx.Message(ctx, r.WebhookId, id) })
	if err != nil {
		return nil, err
	}
	return api.PingWebhook201JSONResponse(messageOf(m)), nil
}

func (h *handlers) ListWebhookMessages(ctx context.Context, r api.ListWebhookMessagesRequestObject) (api.ListWebhookMessagesResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Message], error) {
		return tx.Messages(ctx, r.WebhookId, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListWebhookMessages200JSONResponse{Items: each(list.Items, messageOf), Next: next(list.Next)}, nil
}

func (h *handlers) ReplayWebhook(ctx context.Context, r api.ReplayWebhookRequestObject) (api.ReplayWebhookResponseObject, error) {
	if (r.Body.Since == nil) == (r.Body.Message == nil) {
		return nil, invalidField("since", "is to be given, or else message")
	}
	count, _, err := once(ctx, h.Server, "webhook-replay", func(tx *ledger.Tx) (n int, id uuid.UUID, err error) {
		if r.Body.Message != nil {
			m, err := tx.ReplayMessage(ctx, r.WebhookId, *r.Body.Message)
			return 1, m.ID, err
		}
		n, err = tx.ReplayHook(ctx, r.WebhookId, *r.Body.Since)
		return n, r.WebhookId, err
	}, func(*ledger.Tx, uuid.UUID) (int, error) { return 0, nil })
	if err != nil {
		return nil, err
	}
	return api.ReplayWebhook201JSONResponse{Messages: count}, nil
}
