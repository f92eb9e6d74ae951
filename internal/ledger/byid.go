package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Vendor is one vendor that the caller's studio works with; for a vendor, itself.
func (tx *Tx) Vendor(ctx context.Context, id uuid.UUID) (Vendor, error) {
	rows, err := tx.Query(ctx, tx.sql(`SELECT vendor_id, vendor_name, studio_id, created_at FROM ph.engagement
		WHERE {me} = $1 AND vendor_id = $2 ORDER BY studio_id LIMIT 1`), tx.Who.Party, id)
	if err != nil {
		return Vendor{}, fmt.Errorf("vendor %s: %w", id, mapError(err))
	}
	v, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Vendor])
	if err != nil {
		return Vendor{}, fmt.Errorf("vendor %s: %w", id, mapError(err))
	}
	return v, nil
}

// Invitation is one invitation that the caller's party made, without its secret.
func (tx *Tx) Invitation(ctx context.Context, id uuid.UUID) (Invitation, error) {
	inv := Invitation{PartyName: tx.Who.PartyName}
	var vendor *string
	err := tx.QueryRow(ctx, `SELECT i.id, i.party_id, i.side, i.email, i.roles, i.expires_at, e.vendor_name
		FROM ph.invitation i LEFT JOIN ph.engagement e ON e.studio_id = i.engaged_by AND e.vendor_id = i.party_id
		WHERE i.id = $2 AND (i.party_id = $1 OR i.engaged_by = $1)`, tx.Who.Party, id).
		Scan(&inv.ID, &inv.Party, &inv.Side, &inv.Email, &inv.Roles, &inv.ExpiresAt, &vendor)
	if err != nil {
		return Invitation{}, fmt.Errorf("invitation %s: %w", id, mapError(err))
	}
	if vendor != nil {
		inv.PartyName = *vendor
	}
	return inv, nil
}

// Milestone is one milestone with its newest delivery in short.
func (tx *Tx) Milestone(ctx context.Context, id uuid.UUID) (Milestone, error) {
	var r milestoneRow
	err := tx.QueryRow(ctx, tx.sql(`SELECT `+milestoneColumns+` FROM ph.milestone m`+milestoneJoins+`
		WHERE m.{me} = $1 AND m.id = $2`), tx.Who.Party, id).Scan(r.targets()...)
	if err != nil {
		return Milestone{}, fmt.Errorf("milestone %s: %w", id, mapError(err))
	}
	return r.milestone(), nil
}
