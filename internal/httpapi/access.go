package httpapi

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/google/uuid"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

const (
	noteOnce  = "Shown once. Keep it now."
	noteAgain = "The secret was shown once and is not kept."
	day24     = 24 * time.Hour
)

func (h *handlers) LogIn(ctx context.Context, r api.LogInRequestObject) (api.LogInResponseObject, error) {
	at := inboundOf(ctx).place
	who, err := h.passwordLogIn(ctx, at, r.Body.Email, r.Body.Password)
	if err != nil {
		return nil, err
	}
	session, cookies, err := h.startSession(ctx, who, at, ledger.ViaPassword, nil)
	if err != nil {
		return nil, err
	}
	return api.LogIn201JSONResponse{LoggedInJSONResponse: loggedIn(ctx, who, session, cookies)}, nil
}

// loggedIn answers with the session's cookie, as described, and the browser's beside it.
func loggedIn(ctx context.Context, who ledger.Who, session ledger.Session, cookies []*http.Cookie) api.LoggedInJSONResponse {
	answer := inboundOf(ctx).answer
	answer.Before(func() { // the generated code puts the first one in place of all
		for _, further := range cookies[1:] {
			answer.Header().Add("Set-Cookie", further.String())
		}
	})
	return api.LoggedInJSONResponse{
		Body:    api.LoggedInSession{Me: meOf(who), ExpiresAt: session.ExpiresAt.UTC()},
		Headers: api.LoggedInResponseHeaders{SetCookie: cookies[0].String()},
	}
}

func (h *handlers) LogOut(ctx context.Context, _ api.LogOutRequestObject) (api.LogOutResponseObject, error) {
	who, _ := Caller(ctx)
	if who.Session == uuid.Nil {
		return nil, problem(kindState, "A token has no session to end; revoke the token instead.")
	}
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.EndSession(ctx, who.Session) }); err != nil {
		return nil, err
	}
	return api.LogOut204Response{Headers: api.LogOut204ResponseHeaders{SetCookie: h.cookie.clear().String()}}, nil
}

func (h *handlers) GetMe(ctx context.Context, _ api.GetMeRequestObject) (api.GetMeResponseObject, error) {
	who, _ := Caller(ctx)
	return api.GetMe200JSONResponse(meOf(who)), nil
}

func (h *handlers) ChangePassword(ctx context.Context, r api.ChangePasswordRequestObject) (api.ChangePasswordResponseObject, error) {
	who, _ := Caller(ctx)
	if wait, err := h.mayChange(ctx, who); err != nil || wait > 0 {
		return nil, tooManyOr(err, "Too many attempts to change a password.", wait)
	}
	// The key's table keeps a plain digest of the body: no password may be guessed from it.
	in, _ := ctx.Value(inboundKey{}).(inbound)
	in.request.Body = nil
	_, _, err := once(context.WithValue(ctx, inboundKey{}, in), h.Server, "password", func(tx *ledger.Tx) (struct{}, uuid.UUID, error) {
		err := tx.ChangePassword(ctx, r.Body.Old, r.Body.New)
		if errors.Is(err, ledger.ErrCredentials) { // the session is good; it is the old password that is not
			err = invalidField("old", "is not your password")
		}
		return struct{}{}, who.Member, err
	}, func(tx *ledger.Tx, _ uuid.UUID) (struct{}, error) { // in place of the body's digest: is it what the key set
		same, err := tx.HasPassword(ctx, r.Body.New)
		if err == nil && !same {
			err = ledger.ErrKeyReused
		}
		return struct{}{}, err
	})
	if err != nil {
		return nil, err
	}
	return api.ChangePassword204Response{}, nil
}

func (h *handlers) ListTokens(ctx context.Context, _ api.ListTokensRequestObject) (api.ListTokensResponseObject, error) {
	tokens, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Token, error) { return tx.Tokens(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListTokens200JSONResponse{Items: each(tokens, tokenOf)}, nil
}

func (h *handlers) CreateToken(ctx context.Context, r api.CreateTokenRequestObject) (api.CreateTokenResponseObject, error) {
	in := ledger.NewToken{Name: r.Body.Name, Scopes: each(r.Body.Scopes, func(s api.Scope) ledger.Scope { return ledger.Scope(s) })}
	if r.Body.Days != nil {
		in.ValidFor = time.Duration(*r.Body.Days) * day24
	}
	var secret string
	token, repeat, err := once(ctx, h.Server, "token", func(tx *ledger.Tx) (t ledger.Token, id uuid.UUID, err error) {
		t, secret, err = tx.CreateToken(ctx, in)
		return t, t.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Token, error) { return tx.Token(ctx, id) })
	if err != nil {
		return nil, err
	}
	if repeat {
		return api.CreateToken200JSONResponse{Token: tokenOf(token), Note: noteAgain}, nil
	}
	return api.CreateToken201JSONResponse{Token: tokenOf(token), Secret: &secret, Note: noteOnce}, nil
}

func (h *handlers) RevokeToken(ctx context.Context, r api.RevokeTokenRequestObject) (api.RevokeTokenResponseObject, error) {
	if err := h.as(ctx, func(tx *ledger.Tx) error { return tx.RevokeToken(ctx, r.TokenId) }); err != nil {
		return nil, err
	}
	return api.RevokeToken204Response{}, nil
}

func (h *handlers) ListVendors(ctx context.Context, r api.ListVendorsRequestObject) (api.ListVendorsResponseObject, error) {
	list, err := read(ctx, h.Server, func(tx *ledger.Tx) (ledger.List[ledger.Vendor], error) {
		return tx.Vendors(ctx, pageOf(r.Params.After, r.Params.Limit))
	})
	if err != nil {
		return nil, err
	}
	return api.ListVendors200JSONResponse{Items: each(list.Items, vendorOf), Next: next(list.Next)}, nil
}

func (h *handlers) CreateVendor(ctx context.Context, r api.CreateVendorRequestObject) (api.CreateVendorResponseObject, error) {
	vendor, _, err := once(ctx, h.Server, "vendor", func(tx *ledger.Tx) (ledger.Vendor, uuid.UUID, error) {
		v, err := tx.CreateVendor(ctx, ledger.NewVendor{Name: r.Body.Name})
		return v, v.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Vendor, error) { return tx.Vendor(ctx, id) })
	if err != nil {
		return nil, err
	}
	return api.CreateVendor201JSONResponse(vendorOf(vendor)), nil
}

func (h *handlers) ListMembers(ctx context.Context, _ api.ListMembersRequestObject) (api.ListMembersResponseObject, error) {
	members, err := read(ctx, h.Server, func(tx *ledger.Tx) ([]ledger.Member, error) { return tx.Members(ctx) })
	if err != nil {
		return nil, err
	}
	return api.ListMembers200JSONResponse{Items: each(members, memberOf)}, nil
}

func (h *handlers) Invite(ctx context.Context, r api.InviteRequestObject) (api.InviteResponseObject, error) {
	in := ledger.NewInvitation{
		Party: r.Body.PartyId, Email: r.Body.Email, Roles: each(r.Body.Roles, func(s api.Role) ledger.Role { return ledger.Role(s) }),
	}
	if r.Body.Days != nil {
		in.ValidFor = time.Duration(*r.Body.Days) * day24
	}
	var secret string
	invitation, repeat, err := once(ctx, h.Server, "invitation", func(tx *ledger.Tx) (i ledger.Invitation, id uuid.UUID, err error) {
		i, secret, err = tx.Invite(ctx, in)
		return i, i.ID, err
	}, func(tx *ledger.Tx, id uuid.UUID) (ledger.Invitation, error) { return tx.Invitation(ctx, id) })
	if err != nil {
		return nil, err
	}
	if repeat {
		return api.Invite200JSONResponse{Invitation: invitationOf(invitation), Note: noteAgain}, nil
	}
	return api.Invite201JSONResponse{Invitation: invitationOf(invitation), Secret: &secret, Note: "Shown once. Hand it over now."}, nil
}

func (h *handlers) AcceptInvitation(ctx context.Context, r api.AcceptInvitationRequestObject) (api.AcceptInvitationResponseObject, error) {
	at := inboundOf(ctx).place
	if wait, err := h.mayJoin(ctx, at.address); err != nil || wait > 0 {
		return nil, tooManyOr(err, "Too many attempts to join.", wait)
	}
	who, err := h.login.AcceptInvitation(ctx, r.Body.Secret, r.Body.Name, r.Body.Password)
	if err != nil {
		return nil, err
	}
	session, cookies, err := h.startSession(ctx, who, at, ledger.ViaInvitation, nil)
	if err != nil {
		return nil, err
	}
	return api.AcceptInvitation201JSONResponse{LoggedInJSONResponse: loggedIn(ctx, who, session, cookies)}, nil
}
