package ledger

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// ProviderRequired says that the party takes no passwords: its people log in by its own provider. It is an ErrCredentials.
type ProviderRequired struct{ Provider uuid.UUID }

func (*ProviderRequired) Error() string        { return "this party logs in by its own provider" }
func (*ProviderRequired) Is(target error) bool { return target == ErrCredentials }

// Provider is a party's own OpenID Connect provider, as its people may see it.
type Provider struct {
	ID        uuid.UUID // of the address to log in at
	Issuer    string
	ClientID  string
	Required  bool // passwords no longer work
	ChangedAt time.Time
}

// SetProvider is a change of the party's provider.
type SetProvider struct {
	Issuer, ClientID string
	ClientSecret     *string // nil keeps the one that is there
	Required         bool
}

// Provider is the caller's party's provider; ErrNotFound where it has none.
func (tx *Tx) Provider(ctx context.Context) (Provider, error) {
	rows, err := tx.Query(ctx, `SELECT id, issuer, client_id, required, changed_at FROM ph.provider WHERE party_id = $1 AND removed_at IS NULL`, tx.Who.Party)
	if err != nil {
		return Provider{}, fmt.Errorf("provider: %w", err)
	}
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Provider])
	return p, mapError(err)
}

// CheckProvider refuses what SetProvider would, before anybody is asked over the network.
func CheckProvider(in SetProvider) error {
	u, err := url.Parse(in.Issuer)
	switch {
	case err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http") || u.User != nil || u.RawQuery != "" || u.Fragment != "" || len(in.Issuer) > 500:
		return invalid("issuer", "is not the address of a provider, such as https://login.harbour.example")
	case strings.TrimSpace(in.ClientID) == "" || len(in.ClientID) > 500:
		return invalid("client_id", "needs 1 to 500 characters")
	case in.ClientSecret != nil && len(*in.ClientSecret) > 1000:
		return invalid("client_secret", "is longer than 1000 characters")
	}
	return nil
}

// PutProvider sets the party's provider; a producer or a vendor's lead does it. Requiring it needs a session that this
// very provider vouched for, so that nobody locks their own party out by a typing mistake; from then on no password of
// the party's members works, and the sessions that passwords began end.
func (tx *Tx) PutProvider(ctx context.Context, in SetProvider) (Provider, error) {
	if err := tx.mayChangeProvider(); err != nil {
		return Provider{}, err
	}
	if err := CheckProvider(in); err != nil {
		return Provider{}, err
	}
	if in.Required {
		if err := tx.vouchedBy(ctx, in); err != nil {
			return Provider{}, err
		}
	}
	if err := tx.proved(ctx); err != nil {
		return Provider{}, err
	}
	var sealed string
	if in.ClientSecret != nil {
		var err error
		if sealed, err = tx.postKey.sealText(tx.Who.Party, *in.ClientSecret); errors.Is(err, ErrNoPost) {
			return Provider{}, invalid("client_secret", "cannot be kept here, since this service has no key to seal it with: register a public client, or have POST_KEY set")
		} else if err != nil {
			return Provider{}, fmt.Errorf("set provider: %w", err)
		}
	}
	_, err := tx.Exec(ctx, `INSERT INTO ph.provider AS o (party_id, id, issuer, client_id, client_secret, required, changed_by) VALUES ($1, $2, $3, $4, $5, $6, $7)
		ON CONFLICT (party_id) DO UPDATE SET issuer = $3, client_id = $4, required = $6, changed_by = $7, changed_at = now(), removed_at = NULL`,
		tx.Who.Party, newID(), in.Issuer, in.ClientID, sealed, in.Required, tx.Who.Member)
	if err != nil {
		return Provider{}, fmt.Errorf("set provider: %w", err)
	}
	if in.ClientSecret != nil { // apart, since the secret that is there cannot be read here
		if _, err := tx.Exec(ctx, `UPDATE ph.provider SET client_secret = $2 WHERE party_id = $1`, tx.Who.Party, sealed); err != nil {
			return Provider{}, fmt.Errorf("set provider: %w", err)
		}
	}
	if in.Required {
		if _, err := tx.Exec(ctx, `SELECT ph.end_password_sessions()`); err != nil {
			return Provider{}, fmt.Errorf("require provider: %w", err)
		}
	}
	if err := tx.NoteAccess(ctx, ActProviderChanged, uuid.Nil, ""); err != nil {
		return Provider{}, err
	}
	return tx.Provider(ctx)
}

func (tx *Tx) mayChangeProvider() error {
	if !tx.Who.Has(Producer, VendorLead) {
		return fmt.Errorf("%w: the provider is set by a producer or a vendor's lead", ErrForbidden)
	}
	return nil
}

// vouchedBy wants the caller's own session to have come by the provider that is to be required.
func (tx *Tx) vouchedBy(ctx context.Context, in SetProvider) error {
	via := ""
	if tx.Who.Session != uuid.Nil {
		var err error
		if via, err = tx.sessionVia(ctx); err != nil {
			return err
		}
	}
	now, err := tx.Provider(ctx)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	var linked bool
	if err := tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.identity WHERE party_id = $1 AND member_id = $2 AND issuer = $3)`, tx.Who.Party, tx.Who.Member, in.Issuer).Scan(&linked); err != nil {
		return fmt.Errorf("require provider: %w", err)
	}
	if via != ViaProvider || now.Issuer != in.Issuer || now.ClientID != in.ClientID || !linked {
		return fmt.Errorf("%w: log in by the provider yourself first, then require it from that session", ErrState)
	}
	return nil
}

// RemoveProvider takes the party's provider away; passwords work again. Who never had one asks for an invitation.
func (tx *Tx) RemoveProvider(ctx context.Context) error {
	if err := tx.mayChangeProvider(); err != nil {
		return err
	}
	if err := tx.proved(ctx); err != nil {
		return err
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.provider SET removed_at = now(), required = false, client_secret = '', changed_at = now(), changed_by = $2
		WHERE party_id = $1 AND removed_at IS NULL`, tx.Who.Party, tx.Who.Member)
	if err != nil {
		return fmt.Errorf("remove provider: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return tx.NoteAccess(ctx, ActProviderChanged, uuid.Nil, "")
}

// ProviderClient is what a log-in by a provider needs to know of it. The secret never leaves the program.
type ProviderClient struct {
	Party        uuid.UUID
	PartyName    string
	ID           uuid.UUID
	Issuer       string
	ClientID     string
	ClientSecret string
	Required     bool
}

// Provider finds a provider by the address to log in at.
func (l *Login) Provider(ctx context.Context, id uuid.UUID) (ProviderClient, error) {
	rows, err := l.pool.Query(ctx, `SELECT party_id, party_name, id, issuer, client_id, client_secret, required FROM ph.login_provider($1)`, id)
	if err != nil {
		return ProviderClient{}, fmt.Errorf("provider %s: %w", id, err)
	}
	p, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[ProviderClient])
	if err != nil {
		return p, mapError(err)
	}
	if p.ClientSecret, err = l.postKey.openText(p.Party, p.ClientSecret); err != nil {
		return ProviderClient{}, fmt.Errorf("client secret of provider %s: %w", id, err)
	}
	return p, nil
}

// SignIn is a log-in on its way to a provider and back.
type SignIn struct {
	Nonce, Verifier, Next string
	Invitation            string // its secret; "" where nobody is joining
}

// BeginSignIn keeps a log-in for ten minutes, for the one browser that holds the secret it was begun with.
func (l *Login) BeginSignIn(ctx context.Context, provider uuid.UUID, state, browser string, in SignIn) error {
	var invitation []byte
	if in.Invitation != "" {
		invitation = hashSecret(in.Invitation)
	}
	var begun bool
	err := l.pool.QueryRow(ctx, `SELECT ph.sign_in_begin($1, $2, $3, $4, $5, $6, $7)`, provider, hashSecret(state), hashSecret(browser), in.Nonce, in.Verifier, in.Next, invitation).Scan(&begun)
	if err != nil {
		return fmt.Errorf("begin a log-in: %w", err)
	}
	if !begun {
		return ErrNotFound
	}
	return nil
}

// TakenSignIn is a SignIn that came back.
type TakenSignIn struct {
	Nonce, Verifier, Next string
	invitation            []byte
}

// Joining says whether it was begun from an invitation.
func (t TakenSignIn) Joining() bool { return t.invitation != nil }

// TakeSignIn finds a log-in that came back, once: in the browser that began it and from the provider it went to.
func (l *Login) TakeSignIn(ctx context.Context, provider uuid.UUID, state, browser string) (TakenSignIn, error) {
	var t TakenSignIn
	err := l.pool.QueryRow(ctx, `SELECT nonce, verifier, next, invitation_hash FROM ph.sign_in_take($1, $2, $3)`, provider, hashSecret(state), hashSecret(browser)).
		Scan(&t.Nonce, &t.Verifier, &t.Next, &t.invitation)
	if errors.Is(err, pgx.ErrNoRows) {
		return t, ErrCredentials
	}
	if err != nil {
		return t, fmt.Errorf("take a log-in: %w", err)
	}
	return t, nil
}

// Vouched is what a provider says of somebody, checked.
type Vouched struct {
	Issuer, Subject string
	Email           string // "" unless the provider has verified it
	Name            string
	AskedAt         *time.Time // when it last asked them; nil where it does not say
}

// Identity finds the member that a provider vouches for: known by its subject, or linked now, to the holder of the
// invitation or to the member with the verified e-mail. Nobody else gets in, and only within the provider's own party.
func (l *Login) Identity(ctx context.Context, provider uuid.UUID, v Vouched, t TakenSignIn) (Who, error) {
	who := Who{Scopes: Scopes}
	name := plainText(strings.TrimSpace(v.Name), 200)
	if name == "" {
		name, _, _ = strings.Cut(v.Email, "@")
	}
	err := l.pool.QueryRow(ctx, `SELECT party_id, party_name, side, member_id, name, roles FROM ph.login_identity($1, $2, $3, $4, $5, $6, $7)`,
		provider, v.Issuer, v.Subject, normalEmail(v.Email), name, t.invitation, newID()).
		Scan(&who.Party, &who.PartyName, &who.Side, &who.Member, &who.Name, &who.Roles)
	return whoOr(who, err)
}
