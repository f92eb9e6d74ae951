package ledger

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// DisableMember ends a colleague's log-in, sessions and tokens at once. Repeating it is fine; nobody disables themselves.
func (tx *Tx) DisableMember(ctx context.Context, id uuid.UUID) (Member, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return Member{}, fmt.Errorf("%w: members are disabled by a producer or a vendor's lead", ErrForbidden)
	}
	if id == tx.Who.Member {
		return Member{}, fmt.Errorf("%w: somebody else has to do that", ErrForbidden)
	}
	var there bool
	if err := tx.QueryRow(ctx, `SELECT ph.disable_member($1)`, id).Scan(&there); err != nil {
		return Member{}, fmt.Errorf("disable member %s: %w", id, err)
	}
	if !there {
		return Member{}, ErrNotFound
	}
	return tx.Member(ctx, id)
}

// Member is one member of the caller's own party.
func (tx *Tx) Member(ctx context.Context, id uuid.UUID) (Member, error) {
	rows, err := tx.Query(ctx, `SELECT id, party_id, name, email, roles, created_at, disabled_at FROM ph.member WHERE party_id = $1 AND id = $2`, tx.Who.Party, id)
	if err != nil {
		return Member{}, fmt.Errorf("member %s: %w", id, err)
	}
	m, err := pgx.CollectExactlyOneRow(rows, pgx.RowToStructByPos[Member])
	return m, mapError(err)
}

// EraseMember forgets a disabled member: name, e-mail, the names beside their acts, and the salts that open their name in
// the logs. Every log they acted in gets a fact that says so, and still verifies.
func (tx *Tx) EraseMember(ctx context.Context, id uuid.UUID, reason string) (Member, error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return Member{}, fmt.Errorf("%w: members are erased by a producer or a vendor's lead", ErrForbidden)
	}
	if reason == "" || len([]rune(reason)) > 1000 {
		return Member{}, invalid("reason", "needs 1 to 1000 characters")
	}
	m, err := tx.Member(ctx, id)
	if err != nil {
		return m, err
	}
	if m.DisabledAt == nil {
		return m, fmt.Errorf("%w: disable them first", ErrState)
	}
	rows, err := tx.Query(ctx, tx.sql(`SELECT l.studio_id, l.vendor_id, l.id FROM ph.log l WHERE l.{me} = $1
		AND EXISTS (SELECT FROM ph.fact f WHERE f.member_id = $2 AND f.studio_id = l.studio_id AND f.log_id = l.id)
		AND NOT EXISTS (SELECT FROM ph.erasure e WHERE e.studio_id = l.studio_id AND e.log_id = l.id AND e.member_id = $2) ORDER BY l.id`), tx.Who.Party, id)
	if err != nil {
		return m, fmt.Errorf("logs of member %s: %w", id, err)
	}
	type in struct {
		studio uuid.UUID
		vendor *uuid.UUID
		log    uuid.UUID
	}
	logs, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (l in, err error) {
		err = row.Scan(&l.studio, &l.vendor, &l.log)
		return l, err
	})
	if err != nil {
		return m, fmt.Errorf("logs of member %s: %w", id, err)
	}
	for _, l := range logs {
		erasure := newID()
		if _, err := tx.Exec(ctx, `INSERT INTO ph.erasure (studio_id, vendor_id, log_id, id, member_id, reason, by_member) VALUES ($1, $2, $3, $4, $5, $6, $7)`,
			l.studio, l.vendor, l.log, erasure, id, reason, tx.Who.Member); err != nil {
			return m, fmt.Errorf("erase member %s: %w", id, err)
		}
		tx.fact(FactPersonErased, l.studio, l.log, erasure)
	}
	var done bool
	if err := tx.QueryRow(ctx, `SELECT ph.erase_member($1)`, id).Scan(&done); err != nil || !done {
		return m, fmt.Errorf("erase member %s: %w", id, cmpErr(err, ErrNotFound))
	}
	return tx.Member(ctx, id)
}
