package web

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// accountPage is one's own: name, password, and tokens for programs.
type accountPage struct {
	Me      ledger.Member
	Party   string
	Tokens  []ledger.Token
	Scopes  []ledger.Scope // that a token of this person can have a use for
	Days    []int
	Server  string
	Lead    bool // sees to the party's webhooks
	Refusal refusal
	Secret  string        // of the token just made, shown this once
	Made    *ledger.Token // the token just made
	Done    words.Phrase  // what has just been done

	Reading   ledger.Reading // as chosen
	PartyZone string         // what no choice of a zone means, "" for UTC
	Now       time.Time
}

// tokenScopes are the scopes that a program of each side can have a use for.
var tokenScopes = map[ledger.Side][]ledger.Scope{
	ledger.VendorSide: {ledger.ScopeDeliver, ledger.ScopeRead, ledger.ScopeAdmin},
	ledger.StudioSide: {ledger.ScopeRead, ledger.ScopeOrder, ledger.ScopeReview, ledger.ScopeAdmin},
}

var tokenDays = []int{7, 30, 90, 365}

const tokenDaysDefault = 90

func (p *Pages) account(c echo.Context) error {
	page := accountPage{}
	switch c.QueryParam("done") {
	case "password":
		page.Done = words.P("account.done_password")
	case "revoked":
		page.Done = words.P("account.done_revoked")
	case "reading":
		page.Done = words.P("account.done_reading")
	case "again":
		page.Done = words.P("account.done_again")
	}
	return p.showAccount(c, http.StatusOK, page)
}

func (p *Pages) showAccount(c echo.Context, status int, page accountPage) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page.Party, page.Scopes, page.Days = who.PartyName, tokenScopes[who.Side], tokenDays
	page.Lead = who.Has(ledger.Producer, ledger.VendorLead)
	page.Server, page.Now = p.server.PublicURL(), time.Now()
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		members, err := tx.Members(ctx)
		if err != nil {
			return none, err
		}
		for _, m := range members {
			if m.ID == who.Member {
				page.Me = m
			}
		}
		if page.Tokens, err = tx.Tokens(ctx); err != nil {
			return none, err
		}
		if page.Reading, err = tx.Reading(ctx); err != nil {
			return none, err
		}
		calendars, err := tx.Calendars(ctx)
		if len(calendars) > 0 { // newest first
			page.PartyZone = calendars[0].TimeZone
		}
		return none, err
	})
	if err != nil {
		return err
	}
	return p.render(c, status, "account", frame{Title: words.P("account.title"), At: "account"}, page)
}

// changePassword is not kept under the form's key: what is hashed there must not hold a password. A second click meets
// the new password as the present one, and that is what tells it from a wrong one.
func (p *Pages) changePassword(c echo.Context) error {
	old, next := field(c, "old"), field(c, "new")
	if next != field(c, "again") {
		return p.showAccount(c, http.StatusUnprocessableEntity, accountPage{Refusal: refusal{Form: "password", Why: p.reader(c).Text(words.P("account.passwords_differ"))}})
	}
	err := p.server.ChangePassword(c, old, next)
	if errors.Is(err, ledger.ErrCredentials) && old != next {
		err = p.server.ChangePassword(c, next, next)
	}
	if errors.Is(err, ledger.ErrCredentials) {
		err = &ledger.Invalid{Field: "old", Why: "is not right"}
	}
	if err != nil && refused(err) {
		r := p.refuse(c, "password", err)
		return p.showAccount(c, r.Status, accountPage{Refusal: r})
	}
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/account?done=password")
}

// makeToken answers with the page itself instead of a redirect: the secret is nowhere to be read again.
func (p *Pages) makeToken(c echo.Context) error {
	in := ledger.NewToken{Name: typed(c, "name")}
	for _, s := range c.Request().PostForm["scopes"] {
		in.Scopes = append(in.Scopes, ledger.Scope(s))
	}
	days, err := strconv.Atoi(field(c, "days"))
	if err != nil || days < 1 {
		days = tokenDaysDefault
	}
	in.ValidFor = time.Duration(days) * 24 * time.Hour
	var secret string
	token, again, err := act(c, p, "token", func(ctx context.Context, tx *ledger.Tx) (t ledger.Token, id uuid.UUID, err error) {
		t, secret, err = tx.CreateToken(ctx, in)
		return t, t.ID, err
	})
	switch {
	case err != nil && refused(err):
		r := p.refuse(c, "token", err)
		return p.showAccount(c, r.Status, accountPage{Refusal: r})
	case err != nil:
		return err
	case again:
		return c.Redirect(http.StatusSeeOther, "/account?done=again")
	}
	return p.showAccount(c, http.StatusOK, accountPage{Made: &token, Secret: secret})
}

func (p *Pages) revokeToken(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) { return struct{}{}, tx.RevokeToken(ctx, id) }); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/account?done=revoked")
}
