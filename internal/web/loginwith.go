package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// wayCookie remembers by which party's provider somebody last logged in from this browser, so that the log-in page can
// offer it again. It is no secret: the address to log in at is given to everybody in the party.
const wayCookie = "proofhouse_way"

// way is a provider that the log-in page offers.
type way struct {
	Party string
	Href  string
}

// wayBack is the way that this browser took last time, nil where there is none.
func (p *Pages) wayBack(c echo.Context, next string) *way {
	cookie, err := c.Cookie(wayCookie)
	if err != nil {
		return nil
	}
	id, err := uuid.Parse(cookie.Value)
	if err != nil {
		return nil
	}
	return p.wayOf(c, id, next)
}

func (p *Pages) wayOf(c echo.Context, id uuid.UUID, next string) *way {
	of, err := p.login.Provider(c.Request().Context(), id)
	if err != nil {
		return nil
	}
	w := &way{of.PartyName, "/login/with/" + id.String()}
	if next = local(next); next != "/" {
		w.Href += "?next=" + url.QueryEscape(next)
	}
	return w
}

// loginWith sends the browser to the party's provider; with ?again=1 to be asked anew there, for a fresh proof.
func (p *Pages) loginWith(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if c.QueryParam("again") != "" {
		return p.goToProvider(c, id, "/proof", "", true)
	}
	return p.goToProvider(c, id, local(c.QueryParam("next")), "", false)
}

// joinWith does so from an invitation.
func (p *Pages) joinWith(c echo.Context) error {
	in, err := p.login.Invitation(c.Request().Context(), c.Param("secret"))
	if err != nil {
		return err
	}
	if in.Provider == uuid.Nil {
		return ledger.ErrNotFound
	}
	return p.goToProvider(c, in.Provider, "/", c.Param("secret"), false)
}

func (p *Pages) goToProvider(c echo.Context, id uuid.UUID, next, invitation string, again bool) error {
	address, err := p.server.BeginLogIn(c, id, next, invitation, again)
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, address)
}

// loginReturned is where the provider sends the browser back to.
func (p *Pages) loginReturned(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	next, err := p.server.FinishLogIn(c, id)
	if errors.Is(err, ledger.ErrCredentials) {
		return p.showLogin(c, http.StatusUnauthorized, loginPage{Refused: words.P("login.provider_refused"), Way: p.wayOf(c, id, "/")})
	}
	if err != nil {
		return err
	}
	c.SetCookie(&http.Cookie{
		Name: wayCookie, Value: id.String(), Path: "/login", Expires: time.Now().Add(400 * 24 * time.Hour), HttpOnly: true, SameSite: http.SameSiteLaxMode,
		Secure: strings.HasPrefix(p.server.PublicURL(), "https:"),
	})
	return c.Redirect(http.StatusSeeOther, local(next))
}
