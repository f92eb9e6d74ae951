package web

import (
	"context"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// languageCookie keeps the language that somebody without an account, or before logging in, has chosen.
const (
	languageCookie     = "language"
	languageCookieDays = 365
)

const readerKey = "proofhouse.reader"

// reader is who a page is made for: by the member's settings; where they chose no language by what was chosen in this browser, then
// what the browser asks for, then English. Without a setting the zone is that of the party's calendar, else UTC.
func (p *Pages) reader(c echo.Context) words.Reader {
	if r, known := c.Get(readerKey).(words.Reader); known {
		return r
	}
	r := words.Reader{Language: words.Asked(c.Request().Header.Get("Accept-Language")), Zone: time.UTC}
	if chosen, err := c.Cookie(languageCookie); err == nil && words.Speaks(chosen.Value) {
		r.Language = words.In(chosen.Value)
	}
	ctx := c.Request().Context()
	if who, ok := httpapi.Caller(ctx); ok {
		// A page that cannot learn how it is read is still shown.
		if chosen, err := p.login.Reading(ctx, who); err == nil {
			if words.Speaks(chosen.Language) {
				r.Language = words.In(chosen.Language)
			}
			r.Zone = words.Zone(chosen.TimeZone)
		}
	}
	c.Set(readerKey, r)
	return r
}

// chooseLanguage keeps the language for this browser, and goes back to where it was asked for.
func (p *Pages) chooseLanguage(c echo.Context) error {
	if tag := field(c, "language"); words.Speaks(tag) {
		c.SetCookie(&http.Cookie{Name: languageCookie, Value: tag, Path: "/", MaxAge: languageCookieDays * 24 * 60 * 60, HttpOnly: true,
			Secure: strings.HasPrefix(p.server.PublicURL(), "https:"), SameSite: http.SameSiteLaxMode})
	}
	return c.Redirect(http.StatusSeeOther, local(field(c, "next")))
}

// setReading keeps in which language and zone the member reads.
func (p *Pages) setReading(c echo.Context) error {
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
		return struct{}{}, tx.SetReading(ctx, ledger.Reading{Language: field(c, "language"), TimeZone: field(c, "time_zone")})
	})
	if err != nil && refused(err) {
		r := p.refuse(c, "reading", err)
		return p.showAccount(c, r.Status, accountPage{Refusal: r})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/account?done=reading")
}
