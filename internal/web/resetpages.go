package web

import (
	"errors"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// resetPage asks for a link, or takes the new password by one.
type resetPage struct {
	Asked, Done bool
	Email       string
	Refused     string
}

func (p *Pages) askResetForm(c echo.Context) error {
	return p.render(c, http.StatusOK, "askreset", frame{Title: words.P("reset.title")}, resetPage{})
}

// askReset answers the same whether or not somebody has the e-mail.
func (p *Pages) askReset(c echo.Context) error {
	page := resetPage{Email: typed(c, "email"), Asked: true}
	err := p.server.AskReset(c, page.Email)
	if errors.Is(err, ledger.ErrNoPost) {
		page.Asked, page.Refused = false, p.reader(c).Text(words.P("reset.no_mail"))
		return p.render(c, http.StatusConflict, "askreset", frame{Title: words.P("reset.title")}, page)
	}
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "askreset", frame{Title: words.P("reset.title")}, page)
}

func (p *Pages) resetForm(c echo.Context) error {
	stands, err := p.login.ResetStands(c.Request().Context(), c.Param("secret"))
	if err != nil {
		return err
	}
	if !stands {
		return p.resetOver(c)
	}
	return p.render(c, http.StatusOK, "reset", frame{Title: words.P("reset.title")}, resetPage{})
}

// resetOver is for a link that was used or has run out: a new one can be asked for.
func (p *Pages) resetOver(c echo.Context) error {
	return p.render(c, http.StatusGone, "askreset", frame{Title: words.P("reset.title")}, resetPage{Refused: p.reader(c).Text(words.P("reset.over"))})
}

func (p *Pages) reset(c echo.Context) error {
	next := field(c, "new")
	if next != field(c, "again") {
		return p.render(c, http.StatusUnprocessableEntity, "reset", frame{Title: words.P("reset.title")}, resetPage{Refused: p.reader(c).Text(words.P("account.passwords_differ"))})
	}
	err := p.login.FinishReset(c.Request().Context(), c.Param("secret"), next)
	switch {
	case errors.Is(err, ledger.ErrCredentials):
		return p.resetOver(c)
	case err != nil && refused(err):
		r := p.refuse(c, "reset", err)
		return p.render(c, r.Status, "reset", frame{Title: words.P("reset.title")}, resetPage{Refused: r.Why})
	case err != nil:
		return err
	}
	return p.render(c, http.StatusOK, "reset", frame{Title: words.P("reset.title")}, resetPage{Done: true})
}

// stopMailForm asks before it stops: links in mails are opened by machines too. A click of a mail program posts at once (RFC 8058).
func (p *Pages) stopMailForm(c echo.Context) error {
	return p.render(c, http.StatusOK, "stopmail", frame{Title: words.P("mail.stop_title")}, resetPage{})
}

func (p *Pages) stopMail(c echo.Context) error {
	if err := p.server.StopMail(c.Request().Context(), c.Param("member"), c.Param("secret")); err != nil {
		if errors.Is(err, ledger.ErrCredentials) {
			return ledger.ErrNotFound
		}
		return err
	}
	return p.render(c, http.StatusOK, "stopmail", frame{Title: words.P("mail.stop_title")}, resetPage{Done: true})
}
