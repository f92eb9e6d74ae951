package web

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// mailPage is what one is mailed about.
type mailPage struct {
	Topics []mailTopic
	Done   bool
}

type mailTopic struct {
	Topic ledger.Topic
	How   ledger.How // "" where nothing is chosen: the topic's own rule
}

func (p *Pages) mail(c echo.Context) error {
	page := mailPage{Done: c.QueryParam("done") != ""}
	chosen, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (map[ledger.Topic]ledger.How, error) {
		return tx.MailChoices(ctx)
	})
	if err != nil {
		return err
	}
	for _, t := range ledger.Topics {
		page.Topics = append(page.Topics, mailTopic{t, chosen[t]})
	}
	return p.render(c, http.StatusOK, "mail", frame{Title: words.P("mail.title"), At: "account"}, page)
}

func (p *Pages) chooseMail(c echo.Context) error {
	choices := map[ledger.Topic]ledger.How{}
	for _, t := range ledger.Topics {
		if how := ledger.How(field(c, "topic-"+string(t))); how != "" {
			choices[t] = how
		}
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
		return struct{}{}, tx.ChooseMail(ctx, choices)
	}); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/account/mail?done=1")
}
