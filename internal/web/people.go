package web

import (
	"errors"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

func (p *Pages) loginForm(c echo.Context) error {
	return p.render(c, http.StatusOK, "login", frame{Title: "Log in"}, map[string]any{"Next": c.QueryParam("next"), "Email": ""})
}

func (p *Pages) logIn(c echo.Context) error {
	email := strings.TrimSpace(c.FormValue("email"))
	_, _, err := p.server.LogIn(c, email, c.FormValue("password"))
	if errors.Is(err, ledger.ErrCredentials) {
		return p.render(c, http.StatusUnauthorized, "login", frame{Title: "Log in"}, map[string]any{
			"Next": c.FormValue("next"), "Email": email,
			"Refused": "The e-mail or the password is not right. Check both; after several attempts this pauses for a while.",
		})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, local(c.FormValue("next")))
}

// local keeps a redirect on this site: a path, and nothing that a browser could read as another host.
func local(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\\r\n") {
		return "/"
	}
	return next
}

func (p *Pages) logOut(c echo.Context) error {
	who, _ := httpapi.Caller(c.Request().Context())
	if err := p.server.LogOut(c, who); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/login")
}

func (p *Pages) joinForm(c echo.Context) error {
	in, err := p.login.Invitation(c.Request().Context(), c.Param("secret"))
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "join", frame{Title: "Join " + in.PartyName}, map[string]any{"Invitation": in, "Name": ""})
}

func (p *Pages) join(c echo.Context) error {
	in, err := p.login.Invitation(c.Request().Context(), c.Param("secret"))
	if err != nil {
		return err
	}
	name := strings.TrimSpace(c.FormValue("name"))
	_, err = p.login.AcceptInvitation(c.Request().Context(), c.Param("secret"), name, c.FormValue("password"))
	var bad *ledger.Invalid
	if errors.As(err, &bad) {
		return p.render(c, http.StatusUnprocessableEntity, "join", frame{Title: "Join " + in.PartyName},
			map[string]any{"Invitation": in, "Name": name, "Refused": "The " + bad.Field + " " + bad.Why + "."})
	}
	if err != nil {
		return err
	}
	if _, _, err := p.server.LogIn(c, in.Email, c.FormValue("password")); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/")
}
