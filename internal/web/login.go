package web

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// loginPage is the page to log in at.
type loginPage struct {
	Next, Email string
	Refused     words.Phrase
	Way         *way     // the party's own provider, where there is one to offer
	Held        []string // texts that were on their way when the session ran out
}

func (p *Pages) loginForm(c echo.Context) error {
	return p.showLogin(c, http.StatusOK, loginPage{Next: c.QueryParam("next")})
}

func (p *Pages) showLogin(c echo.Context, status int, page loginPage) error {
	if page.Way == nil {
		page.Way = p.wayBack(c, page.Next)
	}
	return p.render(c, status, "login", frame{Title: words.P("login.title")}, page)
}

func (p *Pages) logIn(c echo.Context) error {
	email := typed(c, "email")
	_, _, err := p.server.LogIn(c, email, field(c, "password"))
	var provider *ledger.ProviderRequired
	if errors.As(err, &provider) { // the password is right, and no longer opens anything
		next := field(c, "next")
		return p.showLogin(c, http.StatusForbidden, loginPage{Next: next, Email: email, Refused: words.P("login.provider_required"), Way: p.wayOf(c, provider.Provider, next)})
	}
	if errors.Is(err, ledger.ErrCredentials) {
		return p.showLogin(c, http.StatusUnauthorized, loginPage{
			Next: field(c, "next"), Email: email,
			Refused: words.P("login.wrong"),
		})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, local(field(c, "next")))
}

// local keeps a redirect on this site: a path, and nothing that a browser could read as another host.
func local(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}

// loggedOut sends somebody who is not logged in to the log-in page, and back afterwards. What they had typed into a form
// is given back to them, so that a session that ran out costs nobody a page of text.
func (p *Pages) loggedOut(c echo.Context) error {
	r := c.Request()
	if r.Method != http.MethodPost {
		to := "/login"
		if r.URL.Path != "/" {
			to += "?next=" + url.QueryEscape(r.URL.RequestURI())
		}
		return c.Redirect(http.StatusSeeOther, to)
	}
	page := loginPage{Refused: words.P("login.session_over")}
	if from, err := url.Parse(r.Referer()); err == nil && from.Host == r.Host {
		page.Next = from.RequestURI()
	}
	for _, field := range []string{"reason", "text"} {
		if text := typed(c, field); text != "" {
			page.Held = append(page.Held, text)
		}
	}
	return p.showLogin(c, http.StatusUnauthorized, page)
}

func (p *Pages) logOut(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	if err := p.server.LogOut(c, who); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/login")
}

// joinPage is an invitation and the form to accept it with.
type joinPage struct {
	Invitation ledger.Invitation
	Provider   string // address to join by the party's own provider, "" where it has none
	Name       string
	Refused    words.Phrase
}

func (p *Pages) joinForm(c echo.Context) error {
	in, err := p.login.Invitation(c.Request().Context(), c.Param("secret"))
	if errors.Is(err, ledger.ErrState) {
		return p.tooLate(c, err)
	}
	if err != nil {
		return err
	}
	return p.showJoin(c, http.StatusOK, joinPage{Invitation: in})
}

// tooLate says why an invitation that stands opens nothing any more.
func (p *Pages) tooLate(c echo.Context, err error) error {
	r := p.refuse(c, "join", err)
	return p.render(c, r.Status, "join", frame{Title: words.P("join.late")}, joinPage{Refused: words.Text(r.Why)})
}

func (p *Pages) showJoin(c echo.Context, status int, page joinPage) error {
	if page.Invitation.Provider != uuid.Nil {
		page.Provider = "/join/" + c.Param("secret") + "/with"
	}
	return p.render(c, status, "join", frame{Title: words.P("join.title", page.Invitation.PartyName)}, page)
}

func (p *Pages) join(c echo.Context) error {
	in, err := p.login.Invitation(c.Request().Context(), c.Param("secret"))
	if errors.Is(err, ledger.ErrCredentials) {
		// A second click: the first has made the account, which these very words open.
		if _, _, again := p.server.LogIn(c, typed(c, "email"), field(c, "password")); again == nil {
			return c.Redirect(http.StatusSeeOther, "/")
		}
	}
	if errors.Is(err, ledger.ErrState) {
		return p.tooLate(c, err)
	}
	if err != nil {
		return err
	}
	page := joinPage{Invitation: in, Name: typed(c, "name")}
	_, err = p.server.Join(c, c.Param("secret"), page.Name, field(c, "password"))
	if errors.Is(err, ledger.ErrConflict) {
		page.Refused = words.P("join.taken")
		return p.showJoin(c, http.StatusConflict, page)
	}
	if err != nil && refused(err) {
		r := p.refuse(c, "join", err)
		page.Refused = words.Text(r.Why)
		return p.showJoin(c, r.Status, page)
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/")
}
