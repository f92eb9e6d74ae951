package ledger

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

const (
	invitationDefault = 7 * 24 * time.Hour
	invitationMax     = 30 * 24 * time.Hour
	sessionMax        = 30 * 24 * time.Hour
	tokenDefault      = 90 * 24 * time.Hour
	tokenMax          = 366 * 24 * time.Hour
)

// CreateVendor takes on a vendor: a new party that the caller's studio works with.
func (tx *Tx) CreateVendor(ctx context.Context, in NewVendor) (Vendor, error) {
	if err := tx.allow("taking on a vendor", StudioSide, Producer); err != nil {
		return Vendor{}, err
	}
	v := Vendor{ID: newID(), Name: strings.TrimSpace(in.Name), StudioID: tx.Who.Party}
	if v.Name == "" || len(v.Name) > 200 {
		return Vendor{}, invalid("name", "needs 1 to 200 characters")
	}
	if _, err := tx.Exec(ctx, `INSERT INTO ph.party (id, side, name) VALUES ($1, 'vendor', $2)`, v.ID, v.Name); err != nil {
		return Vendor{}, fmt.Errorf("create vendor: %w", err)
	}
	err := tx.QueryRow(ctx, `INSERT INTO ph.engagement (studio_id, vendor_id, studio_name, vendor_name, created_by)
		VALUES ($1, $2, $3, $4, $5) RETURNING created_at`, tx.Who.Party, v.ID, tx.Who.PartyName, v.Name, tx.Who.Member).Scan(&v.CreatedAt)
	if err != nil {
		return Vendor{}, fmt.Errorf("create vendor: %w", err)
	}
	tx.fact(FactVendorEngaged, tx.Who.Party, tx.Who.Party, v.ID)
	return v, nil
}

// Vendors lists the vendors that the caller's studio works with; for a vendor, itself with each studio.
func (tx *Tx) Vendors(ctx context.Context, p Page) (List[Vendor], error) {
	after, err := p.afterID(firstID)
	if err != nil {
		return List[Vendor]{}, err
	}
	other := "vendor_id"
	if tx.Who.Side == VendorSide {
		other = "studio_id"
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT vendor_id, vendor_name, studio_id, created_at FROM ph.engagement
		WHERE {me} = $1 AND `+other+` > $2 ORDER BY `+other+` LIMIT $3`), tx.Who.Party, after, p.limit()+1)
	if err != nil {
		return List[Vendor]{}, fmt.Errorf("list vendors: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Vendor])
	if err != nil {
		return List[Vendor]{}, fmt.Errorf("list vendors: %w", err)
	}
	return listOf(items, p.limit(), func(v Vendor) string {
		if tx.Who.Side == VendorSide {
			return cursor(v.StudioID.String())
		}
		return cursor(v.ID.String())
	}), nil
}

// Invite asks a person into the caller's own party, or the first member into a vendor that the studio works with (ErrState
// where the vendor has people already). It returns the secret, which is shown once.
func (tx *Tx) Invite(ctx context.Context, in NewInvitation) (Invitation, string, error) {
	inv := Invitation{ID: newID(), Party: in.Party, PartyName: tx.Who.PartyName, Side: tx.Who.Side, Email: normalEmail(in.Email), Roles: in.Roles}
	var engagedBy *uuid.UUID
	switch {
	case in.Party == tx.Who.Party:
		if err := tx.allow("inviting", tx.Who.Side, Producer, VendorLead); err != nil {
			return Invitation{}, "", err
		}
	default:
		if err := tx.allow("inviting a vendor's first member", StudioSide, Producer); err != nil {
			return Invitation{}, "", err
		}
		inv.Side, engagedBy = VendorSide, &tx.Who.Party
		if err := tx.QueryRow(ctx, `SELECT vendor_name FROM ph.engagement WHERE studio_id = $1 AND vendor_id = $2`, tx.Who.Party, in.Party).Scan(&inv.PartyName); err != nil {
			return Invitation{}, "", fmt.Errorf("invite into vendor %s: %w", in.Party, mapError(err))
		}
		peopled, err := tx.Peopled(ctx, []uuid.UUID{in.Party})
		if err != nil {
			return Invitation{}, "", err
		}
		if len(peopled) > 0 {
			return Invitation{}, "", fmt.Errorf("%w: %s has people of its own; its lead invites further ones", ErrState, inv.PartyName)
		}
	}
	if err := rolesFit(inv.Side, in.Roles); err != nil {
		return Invitation{}, "", err
	}
	if at := strings.IndexByte(inv.Email, '@'); at < 1 || at == len(inv.Email)-1 || len(inv.Email) > 254 || strings.ContainsAny(inv.Email, " \t\r\n") {
		return Invitation{}, "", invalid("email", "is not an e-mail address")
	}
	valid := in.ValidFor
	if valid == 0 {
		valid = invitationDefault
	}
	if valid < 0 || valid > invitationMax {
		return Invitation{}, "", invalid("valid_for", "is over %s", invitationMax)
	}
	if err := tx.proved(ctx); err != nil {
		return Invitation{}, "", err
	}
	secret, hash := newSecret(invitationPrefix)
	if tx.postKey.Known() { // the mail makes the same link again
		secret, hash = tx.postKey.link(invitationPrefix, inv.ID)
	}
	err := tx.QueryRow(ctx, `INSERT INTO ph.invitation (party_id, id, side, engaged_by, email, roles, secret_hash, created_by, expires_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, now() + $9::interval) RETURNING expires_at`,
		inv.Party, inv.ID, inv.Side, engagedBy, inv.Email, inv.Roles, hash, tx.Who.Member, valid).Scan(&inv.ExpiresAt)
	if err != nil {
		return Invitation{}, "", fmt.Errorf("invite %s: %w", inv.Party, err)
	}
	if tx.postKey.Known() {
		if _, err := tx.Exec(ctx, `SELECT ph.mail_invitation($1, $2)`, inv.ID, newID()); err != nil {
			return Invitation{}, "", fmt.Errorf("mail invitation %s: %w", inv.ID, err)
		}
	}
	return inv, secret, nil
}

// Peopled says which of these vendors have people of their own: a studio that works with one invites nobody further into it.
func (tx *Tx) Peopled(ctx context.Context, vendors []uuid.UUID) ([]uuid.UUID, error) {
	rows, err := tx.Query(ctx, `SELECT v FROM unnest($1::uuid[]) v WHERE ph.vendor_has_members(v)`, vendors)
	if err != nil {
		return nil, fmt.Errorf("which vendors have people: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
}

func rolesFit(side Side, roles []Role) error {
	of := map[Role]Side{Producer: StudioSide, ArtDirector: StudioSide, ArtLead: StudioSide, TechnicalArtist: StudioSide, VendorLead: VendorSide, VendorArtist: VendorSide}
	if len(roles) == 0 {
		return invalid("roles", "needs at least one role")
	}
	for _, r := range roles {
		if of[r] != side {
			return invalid("roles", "%q is not a role of a %s", r, side)
		}
	}
	return nil
}

// Members lists the caller's own party's members.
func (tx *Tx) Members(ctx context.Context) ([]Member, error) {
	rows, err := tx.Query(ctx, `SELECT id, party_id, name, email, roles, created_at, disabled_at FROM ph.member WHERE party_id = $1 ORDER BY id`, tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("list members: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Member])
}

// CreateToken makes a program's token for the caller, and its secret, which is shown once. A token can be given no
// scope that the caller does not have.
func (tx *Tx) CreateToken(ctx context.Context, in NewToken) (Token, string, error) {
	if len(in.Scopes) == 0 {
		return Token{}, "", invalid("scopes", "needs at least one scope")
	}
	for _, s := range in.Scopes {
		if !knownScope(s) {
			return Token{}, "", invalid("scopes", "%q is not a scope", s)
		}
		if !tx.Who.May(s) {
			return Token{}, "", fmt.Errorf("%w: the scope %s is not yours to give", ErrForbidden, s)
		}
	}
	if n := strings.TrimSpace(in.Name); n == "" || len(n) > 100 {
		return Token{}, "", invalid("name", "needs 1 to 100 characters")
	}
	valid := in.ValidFor
	if valid == 0 {
		valid = tokenDefault
	}
	if valid < 0 || valid > tokenMax {
		return Token{}, "", invalid("valid_for", "is over %d days", int(tokenMax.Hours()/24))
	}
	if err := tx.proved(ctx); err != nil {
		return Token{}, "", err
	}
	secret, hash := newSecret(tokenPrefix)
	t := Token{ID: newID(), Name: strings.TrimSpace(in.Name), Hint: secret[:len(tokenPrefix)+4], Scopes: in.Scopes}
	err := tx.QueryRow(ctx, `INSERT INTO ph.token (party_id, member_id, id, name, hint, secret_hash, scopes, expires_at)
		VALUES ($1, $2, $3, $4, $5, $6, $7, now() + $8::interval) RETURNING created_at, expires_at`,
		tx.Who.Party, tx.Who.Member, t.ID, t.Name, t.Hint, hash, t.Scopes, valid).Scan(&t.CreatedAt, &t.ExpiresAt)
	if err != nil {
		return Token{}, "", fmt.Errorf("create token: %w", err)
	}
	return t, secret, tx.NoteAccess(ctx, ActTokenMade, t.ID, "")
}

func knownScope(s Scope) bool {
	for _, k := range Scopes {
		if k == s {
			return true
		}
	}
	return false
}

const tokenColumns = `id, name, hint, scopes, created_at, expires_at, last_used_at, revoked_at`

// Token is one of the caller's tokens.
func (tx *Tx) Token(ctx context.Context, id uuid.UUID) (Token, error) {
	rows, err := tx.Query(ctx, `SELECT `+tokenColumns+` FROM ph.token WHERE party_id = $1 AND member_id = $2 AND id = $3`, tx.Who.Party, tx.Who.Member, id)
	if err != nil {
		return Token{}, fmt.Errorf("token: %w", err)
	}
	t, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Token])
	return t, mapError(err)
}

// Tokens lists the caller's tokens, newest first, revoked ones too.
func (tx *Tx) Tokens(ctx context.Context) ([]Token, error) {
	rows, err := tx.Query(ctx, `SELECT `+tokenColumns+` FROM ph.token WHERE party_id = $1 AND member_id = $2 ORDER BY id DESC`, tx.Who.Party, tx.Who.Member)
	if err != nil {
		return nil, fmt.Errorf("list tokens: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Token])
}

// RevokeToken ends one of the caller's tokens. Revoking it twice is fine.
func (tx *Tx) RevokeToken(ctx context.Context, id uuid.UUID) error {
	tag, err := tx.Exec(ctx, `UPDATE ph.token SET revoked_at = coalesce(revoked_at, now()) WHERE party_id = $1 AND member_id = $2 AND id = $3`,
		tx.Who.Party, tx.Who.Member, id)
	if err != nil {
		return fmt.Errorf("revoke token: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return tx.NoteAccess(ctx, ActTokenRevoked, id, "")
}
