package ledger

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Acts of the access log.
const (
	ActLoggedIn        = "logged_in"
	ActLogInFailed     = "log_in_failed"
	ActLogInHeld       = "log_in_held" // too many attempts
	ActJoined          = "joined"
	ActLoggedOut       = "logged_out"
	ActProved          = "proved" // showed again who they are
	ActTokenMade       = "token_made"
	ActTokenUsed       = "token_used"
	ActTokenRevoked    = "token_revoked"
	ActSessionsEnded   = "sessions_ended"
	ActPasswordChanged = "password_changed"
	ActProviderChanged = "provider_changed"
	ActReadOrder       = "read_order"
	ActReadProp        = "read_prop"
	ActReadDelivery    = "read_delivery"
	ActReadInspection  = "read_inspection"
	ActReadFile        = "read_file"
	ActExported        = "exported"
	ActReadHandover    = "read_handover"
	ActReadAccess      = "read_access"
)

// Access is what one member did to one thing within one hour.
type Access struct {
	Hour    time.Time
	Member  uuid.UUID
	Name    string
	Act     string
	Subject uuid.UUID // zero where there is none
	Address string
	FirstAt time.Time
	Times   int // counted for log-ins that failed; for the rest at least this often
}

// NoteAccess notes that the caller did something; within the hour only the first time.
func (tx *Tx) NoteAccess(ctx context.Context, act string, subject uuid.UUID, address string) error {
	_, err := tx.Exec(ctx, `INSERT INTO ph.access (party_id, hour, member_id, act, subject, address)
		VALUES ($1, date_trunc('hour', now(), 'UTC'), $2, $3, $4, $5) ON CONFLICT DO NOTHING`, tx.Who.Party, tx.Who.Member, act, subject, plainText(address, 60))
	if err != nil {
		return fmt.Errorf("note an access: %w", err)
	}
	return nil
}

// AccessFilter narrows the access log; zero values do not.
type AccessFilter struct {
	Member, Subject uuid.UUID
	Act             string
}

// Accesses lists what the members of the caller's own party saw and did in the last 180 days, the newest first. It is
// for a producer or a vendor's lead, and looking is itself noted.
func (tx *Tx) Accesses(ctx context.Context, f AccessFilter, p Page) (List[Access], error) {
	if !tx.Who.Has(Producer, VendorLead) {
		return List[Access]{}, fmt.Errorf("%w: the access log is a producer's or a vendor's lead's to read", ErrForbidden)
	}
	var at, first time.Time
	var member, subject uuid.UUID
	var act string
	all := p.After == ""
	if !all {
		keys, err := p.keys(5)
		if err != nil {
			return List[Access]{}, err
		}
		var faults [4]error
		at, faults[0] = time.Parse(time.RFC3339, keys[0])
		first, faults[1] = time.Parse(time.RFC3339Nano, keys[1])
		member, faults[2] = uuid.Parse(keys[2])
		subject, faults[3] = uuid.Parse(keys[4])
		if act = keys[3]; errors.Join(faults[:]...) != nil {
			return List[Access]{}, invalid("cursor", "is not one of ours")
		}
	}
	rows, err := tx.Query(ctx, `SELECT a.hour, a.member_id, m.name, a.act, a.subject, a.address, a.first_at, a.times
		FROM ph.access a JOIN ph.member m ON m.party_id = a.party_id AND m.id = a.member_id
		WHERE a.party_id = $1 AND ($2::boolean OR (a.hour, a.first_at, a.member_id, a.act, a.subject) < ($3, $12, $4, $5, $6))
			AND ($7::uuid = $10::uuid OR a.member_id = $7) AND ($8::uuid = $10 OR a.subject = $8) AND ($9::text = '' OR a.act = $9)
		ORDER BY a.hour DESC, a.first_at DESC, a.member_id DESC, a.act DESC, a.subject DESC LIMIT $11`, // an hour at a time comes off the key in order
		tx.Who.Party, all, at, member, act, subject, f.Member, f.Subject, f.Act, uuid.Nil, p.limit()+1, first)
	if err != nil {
		return List[Access]{}, fmt.Errorf("list accesses: %w", err)
	}
	items, err := pgx.CollectRows(rows, pgx.RowToStructByPos[Access])
	if err != nil {
		return List[Access]{}, fmt.Errorf("list accesses: %w", err)
	}
	if err := tx.NoteAccess(ctx, ActReadAccess, uuid.Nil, ""); err != nil {
		return List[Access]{}, err
	}
	return listOf(items, p.limit(), func(a Access) string {
		return cursor(a.Hour.UTC().Format(time.RFC3339), a.FirstAt.UTC().Format(time.RFC3339Nano), a.Member.String(), a.Act, a.Subject.String())
	}), nil
}
