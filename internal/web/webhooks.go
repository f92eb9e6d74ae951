package web

import (
	"context"
	"net/http"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// webhooksPage lists the addresses that a party's programs listen at, and makes another.
type webhooksPage struct {
	Hooks   []ledger.Hook
	Kinds   []string
	Chosen  []string
	Refusal refusal
	Off     bool // this service has no key and sends none
	Done    string
}

func (p *Pages) webhooks(c echo.Context) error {
	return p.showWebhooks(c, http.StatusOK, webhooksPage{Done: c.QueryParam("done")})
}

func (p *Pages) showWebhooks(c echo.Context, status int, page webhooksPage) (err error) {
	page.Kinds, page.Off = ledger.NewsKinds(), !p.server.PostKey().Known()
	page.Hooks, err = as(c, p, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Hook, error) { return tx.Hooks(ctx) })
	if err != nil {
		return err
	}
	return p.render(c, status, "webhooks", frame{Title: words.P("webhooks.title"), At: "account"}, page)
}

func (p *Pages) hookTyped(c echo.Context) (ledger.NewHook, error) {
	in := ledger.NewHook{URL: typed(c, "url"), Kinds: c.Request().PostForm["kinds"]}
	return in, p.server.WebhookAllowed(in.URL)
}

// makeWebhook answers with the webhook's own page instead of a redirect: the secret is nowhere to be read again.
func (p *Pages) makeWebhook(c echo.Context) error {
	in, err := p.hookTyped(c)
	var secret string
	var hook ledger.Hook
	again := false
	if err == nil {
		hook, again, err = act(c, p, "webhook", func(ctx context.Context, tx *ledger.Tx) (h ledger.Hook, id uuid.UUID, err error) {
			h, secret, err = tx.CreateHook(ctx, p.server.PostKey(), in)
			return h, h.ID, err
		})
	}
	switch {
	case err != nil && refused(err):
		r := p.refuse(c, "webhook", err)
		return p.showWebhooks(c, r.Status, webhooksPage{Refusal: r, Chosen: in.Kinds})
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/account/webhooks?done=again")
	}
	return p.showWebhook(c, http.StatusOK, hook.ID, webhookPage{Secret: secret})
}

// webhookPage is one webhook with what it was sent.
type webhookPage struct {
	Hook     ledger.Hook
	Kinds    []string
	Messages []ledger.Message
	Next     string
	Secret   string // shown this once
	Refusal  refusal
	Done     string
	Replayed int
}

// Takes says whether the webhook has chosen a kind.
func (w webhookPage) Takes(kind string) bool {
	if w.Refusal.Is("change") {
		return w.Refusal.Chose("change", "kinds", kind)
	}
	return slices.Contains(w.Hook.Kinds, kind)
}

func (p *Pages) webhook(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	return p.showWebhook(c, http.StatusOK, id, webhookPage{Done: c.QueryParam("done")})
}

func (p *Pages) showWebhook(c echo.Context, status int, id uuid.UUID, page webhookPage) error {
	page.Kinds = ledger.NewsKinds()
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if page.Hook, err = tx.Hook(ctx, id); err != nil {
			return none, err
		}
		list, err := tx.Messages(ctx, id, ledger.Page{After: c.QueryParam("after"), Limit: 25})
		page.Messages, page.Next = list.Items, list.Next
		return none, err
	})
	if err != nil {
		return err
	}
	return p.render(c, status, "webhook", frame{Title: words.P("webhooks.one"), At: "account"}, page)
}

// webhookAct does what one of the forms on a webhook's page asks for, and comes back to it.
func (p *Pages) webhookAct(done string, do func(ctx context.Context, tx *ledger.Tx, id uuid.UUID) error) echo.HandlerFunc {
	return func(c echo.Context) error {
		id, err := idOf(c)
		if err != nil {
			return err
		}
		_, _, err = act(c, p, "webhook-"+done, func(ctx context.Context, tx *ledger.Tx) (struct{}, uuid.UUID, error) {
			return struct{}{}, id, do(ctx, tx, id)
		})
		if err != nil && refused(err) {
			r := p.refuse(c, done, err)
			return p.showWebhook(c, r.Status, id, webhookPage{Refusal: r})
		}
		if err != nil {
			return err
		}
		if done == "removed" {
			return c.Redirect(http.StatusSeeOther, "/account/webhooks?done=removed")
		}
		return c.Redirect(http.StatusSeeOther, "/account/webhooks/"+id.String()+"?done="+done)
	}
}

func (p *Pages) changeWebhook(c echo.Context) error {
	in, err := p.hookTyped(c)
	if err != nil {
		id, errID := idOf(c)
		if errID != nil {
			return errID
		}
		r := p.refuse(c, "change", err)
		return p.showWebhook(c, r.Status, id, webhookPage{Refusal: r})
	}
	on := field(c, "on") != ""
	return p.webhookAct("change", func(ctx context.Context, tx *ledger.Tx, id uuid.UUID) error {
		_, err := tx.ChangeHook(ctx, id, in, on)
		return err
	})(c)
}

func (p *Pages) pingWebhook(c echo.Context) error {
	return p.webhookAct("ping", func(ctx context.Context, tx *ledger.Tx, id uuid.UUID) error {
		_, err := tx.PingHook(ctx, id)
		return err
	})(c)
}

func (p *Pages) replayWebhook(c echo.Context) error {
	since, err := time.Parse(time.DateOnly, field(c, "since"))
	message, errMessage := uuid.Parse(field(c, "message"))
	return p.webhookAct("replay", func(ctx context.Context, tx *ledger.Tx, id uuid.UUID) error {
		if errMessage == nil {
			_, err := tx.ReplayMessage(ctx, id, message)
			return err
		}
		if err != nil {
			return &ledger.Invalid{Field: "since", Why: "is not a day"}
		}
		_, err := tx.ReplayHook(ctx, id, since)
		return err
	})(c)
}

func (p *Pages) removeWebhook(c echo.Context) error {
	return p.webhookAct("removed", func(ctx context.Context, tx *ledger.Tx, id uuid.UUID) error { return tx.RemoveHook(ctx, id) })(c)
}

func (p *Pages) rotateWebhook(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	var secret string
	_, again, err := act(c, p, "webhook-secret", func(ctx context.Context, tx *ledger.Tx) (h ledger.Hook, _ uuid.UUID, err error) {
		h, secret, err = tx.RotateHook(ctx, p.server.PostKey(), id, 24*time.Hour)
		return h, id, err
	})
	if err != nil {
		return err
	}
	if again {
		return c.Redirect(http.StatusSeeOther, "/account/webhooks/"+id.String()+"?done=again")
	}
	return p.showWebhook(c, http.StatusOK, id, webhookPage{Secret: secret})
}
