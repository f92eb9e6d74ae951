package ledger

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// approvers says who may take a decision, by tier: the background is a technical artist's or the art lead's, the middle
// the art lead's, a hero prop and a close-up the art director's (common practice, no source). Accepting as is stays with
// the art director; returning is open to all three.
func approvers(d Decision, tier string) []Role {
	switch {
	case d == Return, tier == "background" && d != AcceptAsIs:
		return []Role{ArtDirector, ArtLead, TechnicalArtist}
	case tier == "mid" && d != AcceptAsIs:
		return []Role{ArtDirector, ArtLead}
	default:
		return []Role{ArtDirector}
	}
}

// NewDeputy lets a member decide in the place of a role, between two days, both included.
type NewDeputy struct {
	Role   Role // art_director or art_lead
	Member uuid.UUID
	From   Date
	Until  Date
}

// Deputy is one such time.
type Deputy struct {
	ID     uuid.UUID
	Role   Role
	Member uuid.UUID
	Name   string
	From   Date
	Until  Date
	ByName string
	At     time.Time
}

// Appoint names a deputy. By somebody who has the role, or by a producer.
func (tx *Tx) Appoint(ctx context.Context, in NewDeputy) (Deputy, error) {
	if err := tx.allow("naming a deputy", StudioSide, Producer, ArtDirector, ArtLead); err != nil {
		return Deputy{}, err
	}
	switch {
	case in.Role != ArtDirector && in.Role != ArtLead:
		return Deputy{}, invalid("role", "is not art_director or art_lead")
	case in.Role == ArtDirector && !tx.Who.Has(Producer, ArtDirector):
		return Deputy{}, fmt.Errorf("%w: an art lead names no deputy of the art director", ErrForbidden)
	case in.Until.Before(in.From):
		return Deputy{}, invalid("until", "is before from")
	}
	if err := tx.proved(ctx); err != nil {
		return Deputy{}, err
	}
	id := newID()
	if _, err := tx.Exec(ctx, `INSERT INTO ph.deputy (studio_id, id, role, member_id, from_on, until_on, by_member, by_name) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		tx.Who.Party, id, in.Role, in.Member, in.From, in.Until, tx.Who.Member, tx.Who.Name); err != nil {
		return Deputy{}, fmt.Errorf("name a deputy: %w", err)
	}
	tx.fact(FactDeputyNamed, tx.Who.Party, tx.Who.Party, id)
	all, err := tx.Deputies(ctx)
	if i := slices.IndexFunc(all, func(d Deputy) bool { return d.ID == id }); err == nil && i >= 0 {
		return all[i], nil
	}
	return Deputy{}, err
}

// Deputies lists the studio's deputies, newest first.
func (tx *Tx) Deputies(ctx context.Context) ([]Deputy, error) {
	rows, err := tx.Query(ctx, `SELECT d.id, d.role, d.member_id, m.name, d.from_on, d.until_on, coalesce(d.by_name, ''), d.at FROM ph.deputy d
		JOIN ph.member m ON m.party_id = d.studio_id AND m.id = d.member_id WHERE d.studio_id = $1 ORDER BY d.id DESC LIMIT 500`, tx.Who.Party)
	if err != nil {
		return nil, fmt.Errorf("deputies: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Deputy])
}

// decider is in which role the caller takes a decision, by an office of their own or as a deputy today (in UTC).
func (tx *Tx) decider(ctx context.Context, what string, roles []Role) (Role, *uuid.UUID, error) {
	for _, r := range roles {
		if tx.Who.Has(r) {
			return r, nil, nil
		}
	}
	var role Role
	var deputy uuid.UUID
	err := tx.QueryRow(ctx, `SELECT id, role FROM ph.deputy WHERE studio_id = $1 AND member_id = $2 AND role = ANY ($3)
		AND (now() AT TIME ZONE 'UTC')::date BETWEEN from_on AND until_on ORDER BY id DESC LIMIT 1`, tx.Who.Party, tx.Who.Member, roles).Scan(&deputy, &role)
	if err == pgx.ErrNoRows {
		return "", nil, tx.allow(what, StudioSide, roles...)
	}
	if err != nil {
		return "", nil, fmt.Errorf("deputies: %w", err)
	}
	return role, &deputy, nil
}
