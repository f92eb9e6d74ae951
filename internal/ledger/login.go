package ledger

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
)

// Login tells who is calling, by the role ph_login, which may do nothing else.
type Login struct {
	pool    *pgxpool.Pool
	postKey PostKey // of the secrets of log-in providers
}

// NewLogin makes a login over a pool of role ph_login.
func NewLogin(pool *pgxpool.Pool) *Login { return &Login{pool: pool} }

// UsePost opens the secrets of log-in providers. Call it before the login is used.
func (l *Login) UsePost(key PostKey) { l.postKey = key }

const (
	sessionPrefix    = "phs_"
	tokenPrefix      = "pht_"
	invitationPrefix = "phi_"
)

// Password checks an e-mail and a password. It takes the same time whether or not the e-mail is known. A Who from here
// has every scope and no session yet: StartSession makes one. Where the party takes no passwords, the right one gives a
// *ProviderRequired; a wrong one is ErrCredentials as ever, so that nobody learns which party somebody is of.
func (l *Login) Password(ctx context.Context, email, password string) (Who, error) {
	who := Who{Scopes: Scopes}
	var hash *string
	var provider *uuid.UUID
	var required bool
	err := l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, member_id, name, roles, password_hash, provider_id, required FROM ph.login_password($1)`, normalEmail(email)).
		Scan(&who.Party, &who.PartyName, &who.Side, &who.Member, &who.Name, &who.Roles, &hash, &provider, &required)
	if err != nil && !errors.Is(err, pgx.ErrNoRows) {
		return Who{}, fmt.Errorf("log in: %w", err)
	}
	if hash == nil { // nobody, or somebody without a password
		none := decoy()
		hash, err = &none, pgx.ErrNoRows
	}
	if !checkPassword(*hash, password) || err != nil {
		return Who{}, ErrCredentials
	}
	if required && provider != nil {
		return Who{}, &ProviderRequired{Provider: *provider}
	}
	return who, nil
}

// Session finds the caller of a page by its cookie's secret.
func (l *Login) Session(ctx context.Context, secret string) (Who, error) {
	who := Who{Scopes: Scopes}
	if !strings.HasPrefix(secret, sessionPrefix) {
		return Who{}, ErrCredentials
	}
	var seconds *int64
	err := l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, member_id, name, roles, session_id, proved_seconds FROM ph.proved_session($1)`, hashSecret(secret)).
		Scan(&who.Party, &who.PartyName, &who.Side, &who.Member, &who.Name, &who.Roles, &who.Session, &seconds)
	if who.ProofAge = Unproved; seconds != nil {
		who.ProofAge = time.Duration(*seconds) * time.Second
	}
	return whoOr(who, err)
}

// Token finds the caller of a program by its bearer token.
func (l *Login) Token(ctx context.Context, secret string) (Who, error) {
	var who Who
	if !strings.HasPrefix(secret, tokenPrefix) {
		return Who{}, ErrCredentials
	}
	err := l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, member_id, name, roles, token_id, scopes FROM ph.login_token($1)`, hashSecret(secret)).
		Scan(&who.Party, &who.PartyName, &who.Side, &who.Member, &who.Name, &who.Roles, &who.Token, &who.Scopes)
	return whoOr(who, err)
}

// Invitation shows what a secret invites to. One of a studio for a vendor's first member is ErrState once somebody else is that.
func (l *Login) Invitation(ctx context.Context, secret string) (Invitation, error) {
	var inv Invitation
	var late bool
	err := l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, id, email, roles, expires_at, coalesce(provider_id, $2), required, ph.invitation_late($1)
		FROM ph.login_invitation($1)`, hashSecret(secret), uuid.Nil).
		Scan(&inv.Party, &inv.PartyName, &inv.Side, &inv.ID, &inv.Email, &inv.Roles, &inv.ExpiresAt, &inv.Provider, &inv.ProviderRequired, &late)
	if errors.Is(err, pgx.ErrNoRows) {
		return Invitation{}, ErrCredentials
	}
	if err != nil {
		return Invitation{}, fmt.Errorf("look up an invitation: %w", err)
	}
	if late {
		return Invitation{}, fmt.Errorf("%w: %s has people of its own by now; ask its lead for an invitation", ErrState, inv.PartyName)
	}
	return inv, nil
}

// AcceptInvitation makes the member. It works once. Password: 12 characters at least. An e-mail that is already a
// member's is ErrConflict; a party that takes no passwords is a *ProviderRequired; a vendor whose first member is somebody
// else by now is ErrState.
func (l *Login) AcceptInvitation(ctx context.Context, secret, name, password string) (Who, error) {
	name = strings.TrimSpace(name)
	if name == "" || len(name) > 200 {
		return Who{}, invalid("name", "needs 1 to 200 characters")
	}
	hash, err := hashPassword(password)
	if err != nil {
		return Who{}, err
	}
	if inv, err := l.Invitation(ctx, secret); err != nil || inv.ProviderRequired {
		return Who{}, cmpErr(err, &ProviderRequired{Provider: inv.Provider})
	}
	who := Who{Scopes: Scopes}
	err = l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, member_id, name, roles FROM ph.accept_invitation($1, $2, $3, $4)`,
		hashSecret(secret), newID(), name, hash).
		Scan(&who.Party, &who.PartyName, &who.Side, &who.Member, &who.Name, &who.Roles)
	if errors.Is(err, pgx.ErrNoRows) { // somebody was quicker since it was looked up: with this secret, or with another for the same vendor
		if _, why := l.Invitation(ctx, secret); why != nil {
			return Who{}, why
		}
	}
	return whoOr(who, err)
}

func whoOr(who Who, err error) (Who, error) {
	switch {
	case errors.Is(err, pgx.ErrNoRows):
		return Who{}, ErrCredentials
	case err != nil:
		return Who{}, fmt.Errorf("find the caller: %w", mapError(err))
	}
	return who, nil
}
