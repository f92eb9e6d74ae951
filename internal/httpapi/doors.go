package httpapi

import (
	"context"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

func (h *handlers) ListSessions(ctx context.Context, _ api.ListSessionsRequestObject) (api.ListSessionsResponseObject, error) {
	who, _ := Caller(ctx)
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Session, error) { return tx.Sessions(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListSessions200JSONResponse{Items: each(list, func(s ledger.Session) api.Session {
		return api.Session{Id: s.ID, CreatedAt: s.CreatedAt.UTC(), ExpiresAt: s.ExpiresAt.UTC(), LastSeenAt: utc(s.LastSeenAt), Via: api.SessionVia(s.Via),
			Agent: s.Agent, Address: s.Address, ThisOne: s.ID == who.Session}
	})}, nil
}

func (h *handlers) EndSession(ctx context.Context, r api.EndSessionRequestObject) (api.EndSessionResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.EndSession(ctx, r.SessionId) }); err != nil {
		return nil, err
	}
	return api.EndSession204Response{}, nil
}

func (h *handlers) EndOtherSessions(ctx context.Context, _ api.EndOtherSessionsRequestObject) (api.EndOtherSessionsResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.EndOtherSessions(ctx) }); err != nil {
		return nil, err
	}
	return api.EndOtherSessions204Response{}, nil
}

func (h *handlers) GetLogInProvider(ctx context.Context, _ api.GetLogInProviderRequestObject) (api.GetLogInProviderResponseObject, error) {
	p, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.Provider, error) { return tx.Provider(ctx) })
	if err != nil {
		return nil, err
	}
	return api.GetLogInProvider200JSONResponse(h.providerOf(p)), nil
}

func (s *Server) providerOf(p ledger.Provider) api.LogInProvider {
	return api.LogInProvider{Id: p.ID, Issuer: p.Issuer, ClientId: p.ClientID, Required: p.Required, ChangedAt: p.ChangedAt.UTC(),
		LogInAt: s.LogInAddress(p.ID), ReturnAddress: s.ReturnAddress(p.ID)}
}

// LogInAddress is where the people of a party with a provider log in.
func (s *Server) LogInAddress(provider uuid.UUID) string {
	return s.PublicURL() + "/login/with/" + provider.String()
}

func (h *handlers) SetLogInProvider(ctx context.Context, r api.SetLogInProviderRequestObject) (api.SetLogInProviderResponseObject, error) {
	p, err := h.setProvider(ctx, ledger.SetProvider{Issuer: r.Body.Issuer, ClientID: r.Body.ClientId, ClientSecret: r.Body.ClientSecret, Required: r.Body.Required})
	if err != nil {
		return nil, err
	}
	return api.SetLogInProvider200JSONResponse(h.providerOf(p)), nil
}

// SetProvider sets the provider of the caller's party, after asking it for its discovery document.
func (s *Server) SetProvider(c echo.Context, in ledger.SetProvider) (ledger.Provider, error) {
	return s.setProvider(c.Request().Context(), in)
}

// setProvider asks the provider only for those who may set one: nobody else makes the service call an address.
func (s *Server) setProvider(ctx context.Context, in ledger.SetProvider) (p ledger.Provider, err error) {
	who, _ := Caller(ctx)
	if err := ledger.CheckProvider(in); err != nil {
		return p, err
	}
	if who.Has(ledger.Producer, ledger.VendorLead) {
		if wait, err := s.login.Attempt(ctx, "provider "+who.Party.String(), s.limits.of.LogInEvery, s.limits.of.LogInBurst); err != nil || wait > 0 {
			return p, tooManyOr(err, "Too many attempts to set a provider.", wait)
		}
		if _, err := s.providers.discover(ctx, in.Issuer); err != nil {
			return p, err
		}
	}
	err = s.as(ctx, func(tx *ledger.Tx) (err error) { p, err = tx.PutProvider(ctx, in); return err })
	return p, err
}

func (h *handlers) RemoveLogInProvider(ctx context.Context, _ api.RemoveLogInProviderRequestObject) (api.RemoveLogInProviderResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.RemoveProvider(ctx) }); err != nil {
		return nil, err
	}
	return api.RemoveLogInProvider204Response{}, nil
}

func (h *handlers) ListAccess(ctx context.Context, r api.ListAccessRequestObject) (api.ListAccessResponseObject, error) {
	var f ledger.AccessFilter
	if r.Params.MemberId != nil {
		f.Member = *r.Params.MemberId
	}
	if r.Params.Subject != nil {
		f.Subject = *r.Params.Subject
	}
	if r.Params.Act != nil {
		f.Act = string(*r.Params.Act)
	}
	var list ledger.List[ledger.Access]
	err := h.as(ctx, func(tx *ledger.Tx) (err error) { // reading it is noted
		list, err = tx.Accesses(ctx, f, pageOf(r.Params.After, r.Params.Limit))
		return err
	})
	if err != nil {
		return nil, err
	}
	return api.ListAccess200JSONResponse{Items: each(list.Items, func(a ledger.Access) api.Access {
		out := api.Access{Hour: a.Hour.UTC(), MemberId: a.Member, Name: a.Name, Act: api.AccessAct(a.Act), Address: a.Address, FirstAt: a.FirstAt.UTC(), Times: a.Times}
		if a.Subject != uuid.Nil {
			out.Subject = &a.Subject
		}
		return out
	}), Next: next(list.Next)}, nil
}
