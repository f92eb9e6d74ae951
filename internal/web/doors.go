package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
	"proofhouse/internal/web/words"
)

// doorsPage is where one is logged in, and by what one's party logs in.
type doorsPage struct {
	Here     uuid.UUID // this session
	Sessions []ledger.Session
	Lead     bool // may set the party's provider and read who did what
	Provider *ledger.Provider
	LogInAt  string // for the party's people
	Returns  string // to register at the provider
	Server   string // the service's own address
	Refusal  refusal
	Done     words.Phrase
}

func (p *Pages) doors(c echo.Context) error {
	page := doorsPage{}
	switch c.QueryParam("done") {
	case "ended":
		page.Done = words.P("doors.done_ended")
	case "others":
		page.Done = words.P("doors.done_others")
	case "provider":
		page.Done = words.P("doors.done_provider")
	case "removed":
		page.Done = words.P("doors.done_removed")
	}
	return p.showDoors(c, http.StatusOK, page)
}

func (p *Pages) showDoors(c echo.Context, status int, page doorsPage) error {
	who, _ := httpapi.Caller(c.Request().Context())
	page.Server = p.server.PublicURL() + "/"
	page.Here, page.Lead = who.Session, who.Has(ledger.Producer, ledger.VendorLead)
	_, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) {
		if page.Sessions, err = tx.Sessions(ctx); err != nil {
			return none, err
		}
		page.Provider, err = orNone(tx.Provider(ctx))
		return none, err
	})
	if err != nil {
		return err
	}
	if page.Provider != nil {
		page.LogInAt, page.Returns = p.server.LogInAddress(page.Provider.ID), p.server.ReturnAddress(page.Provider.ID)
	}
	return p.render(c, status, "doors", frame{Title: words.P("doors.title"), At: "account"}, page)
}

// orNone is nil for what is not there.
func orNone[T any](v T, err error) (*T, error) {
	if errors.Is(err, ledger.ErrNotFound) {
		return nil, nil
	}
	return &v, err
}

func (p *Pages) endSession(c echo.Context) error {
	id, err := idOf(c)
	if err != nil {
		return err
	}
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) { return struct{}{}, tx.EndSession(ctx, id) }); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/doors?done=ended")
}

func (p *Pages) endOtherSessions(c echo.Context) error {
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) {
		return struct{}{}, tx.EndOtherSessions(ctx)
	}); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/doors?done=others")
}

// setProvider is not kept under the form's key: what is hashed there must not hold the provider's secret. Sent twice it
// does the same twice.
func (p *Pages) setProvider(c echo.Context) error {
	in := ledger.SetProvider{Issuer: typed(c, "issuer"), ClientID: typed(c, "client_id"), Required: field(c, "required") != ""}
	if secret := field(c, "client_secret"); secret != "" {
		in.ClientSecret = &secret
	}
	if _, err := p.server.SetProvider(c, in); err != nil {
		if refused(err) || httpapi.IsProviderProblem(err) {
			r := p.refuse(c, "provider", err)
			return p.showDoors(c, r.Status, doorsPage{Refusal: r})
		}
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/doors?done=provider")
}

func (p *Pages) removeProvider(c echo.Context) error {
	if _, err := as(c, p, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) { return struct{}{}, tx.RemoveProvider(ctx) }); err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, "/doors?done=removed")
}

// accessPage is who of the party saw and did what.
type accessPage struct {
	Rows    []ledger.Access
	Members []ledger.Member
	Acts    []string
	Member  string
	Act     string
	Further string
}

// accessActs are in the order in which one looks for trouble.
var accessActs = []string{
	ledger.ActLogInFailed, ledger.ActLogInHeld, ledger.ActLoggedIn, ledger.ActJoined, ledger.ActLoggedOut, ledger.ActSessionsEnded, ledger.ActProved, ledger.ActPasswordChanged, ledger.ActProviderChanged,
	ledger.ActTokenMade, ledger.ActTokenUsed, ledger.ActTokenRevoked, ledger.ActReadOrder, ledger.ActReadProp, ledger.ActReadDelivery, ledger.ActReadInspection,
	ledger.ActReadFile, ledger.ActExported, ledger.ActReadHandover, ledger.ActReadAccess,
}

func (p *Pages) access(c echo.Context) error {
	page := accessPage{Acts: accessActs, Member: c.QueryParam("member"), Act: c.QueryParam("act")}
	member, err := uuid.Parse(page.Member)
	if err != nil {
		page.Member = ""
	}
	_, err = within(c, p.store.InTx, func(ctx context.Context, tx *ledger.Tx) (none struct{}, err error) { // reading it is noted
		list, err := tx.Accesses(ctx, ledger.AccessFilter{Member: member, Act: page.Act}, ledger.Page{After: c.QueryParam("after"), Limit: 100})
		if err != nil {
			return none, err
		}
		if page.Rows = list.Items; list.Next != "" {
			page.Further = "/access?" + url.Values{"member": {page.Member}, "act": {page.Act}, "after": {list.Next}}.Encode()
		}
		page.Members, err = tx.Members(ctx)
		return none, err
	})
	if err != nil {
		return err
	}
	return p.render(c, http.StatusOK, "access", frame{Title: words.P("access.title"), At: "account"}, page)
}

// Thing is the page of what was read, "" where there is none.
func (accessPage) Thing(a ledger.Access) string {
	switch a.Act {
	case ledger.ActReadOrder, ledger.ActExported:
		return "/orders/" + a.Subject.String()
	case ledger.ActReadProp:
		return "/props/" + a.Subject.String()
	case ledger.ActReadDelivery:
		return "/deliveries/" + a.Subject.String()
	}
	return ""
}

// within runs fn in a transaction that run begins.
func within[T any](c echo.Context, run func(context.Context, ledger.Who, func(*ledger.Tx) error) error, fn func(ctx context.Context, tx *ledger.Tx) (T, error)) (out T, err error) {
	ctx, cancel := context.WithTimeout(c.Request().Context(), pageTime)
	defer cancel()
	who, _ := httpapi.Caller(ctx)
	err = run(ctx, who, func(tx *ledger.Tx) (err error) { out, err = fn(ctx, tx); return err })
	return out, err
}
