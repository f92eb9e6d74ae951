package ledger

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// ChangePassword sets the caller's password and ends their other sessions. A wrong old one is ErrCredentials. Who has no
// password yet needs none, in a session that their provider vouched for.
func (tx *Tx) ChangePassword(ctx context.Context, old, next string) error {
	var hash *string
	if err := tx.QueryRow(ctx, `SELECT ph.own_password_hash()`).Scan(&hash); err != nil {
		return fmt.Errorf("change password: %w", err)
	}
	if hash == nil {
		if via, err := tx.sessionVia(ctx); err != nil || via != ViaProvider {
			return cmpErr(err, ErrCredentials)
		}
	} else if !checkPassword(*hash, old) {
		return ErrCredentials
	}
	fresh, err := hashPassword(next)
	if err != nil {
		return err
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.member SET password_hash = $3 WHERE party_id = $1 AND id = $2`, tx.Who.Party, tx.Who.Member, fresh); err != nil {
		return fmt.Errorf("change password: %w", err)
	}
	if err := tx.EndOtherSessions(ctx); err != nil {
		return err
	}
	return tx.NoteAccess(ctx, ActPasswordChanged, uuid.Nil, "")
}

// HasPassword says whether this is the caller's password.
func (tx *Tx) HasPassword(ctx context.Context, password string) (bool, error) {
	var hash *string
	if err := tx.QueryRow(ctx, `SELECT ph.own_password_hash()`).Scan(&hash); err != nil {
		return false, fmt.Errorf("password: %w", err)
	}
	return hash != nil && checkPassword(*hash, password), nil
}

// Stands says whether the session or token of the caller still does. It only looks: an open page whose stream asks again and again is
// not somebody at work, and its session ends when nobody has done anything for half an hour.
func (tx *Tx) Stands(ctx context.Context) (stands bool, err error) {
	err = tx.QueryRow(ctx, `SELECT EXISTS (SELECT FROM ph.member m WHERE m.party_id = $1 AND m.id = $2 AND m.disabled_at IS NULL AND (
			EXISTS (SELECT FROM ph.session s WHERE s.party_id = m.party_id AND s.member_id = m.id AND s.id = $3 AND s.ended_at IS NULL AND s.expires_at > now()
				AND coalesce(s.last_seen_at, s.created_at) > now() - interval '30 minutes')
			OR EXISTS (SELECT FROM ph.token t WHERE t.party_id = m.party_id AND t.member_id = m.id AND t.id = $4 AND t.revoked_at IS NULL AND t.expires_at > now())))`,
		tx.Who.Party, tx.Who.Member, tx.Who.Session, tx.Who.Token).Scan(&stands)
	if err != nil {
		return false, fmt.Errorf("session: %w", err)
	}
	return stands, nil
}

// How a session began.
const (
	ViaPassword   = "password"
	ViaProvider   = "provider"
	ViaInvitation = "invitation"
)

func (tx *Tx) sessionVia(ctx context.Context) (via string, err error) {
	err = tx.QueryRow(ctx, `SELECT via FROM ph.session WHERE party_id = $1 AND member_id = $2 AND id = $3`, tx.Who.Party, tx.Who.Member, tx.Who.Session).Scan(&via)
	if err = mapError(err); err != nil {
		err = fmt.Errorf("session: %w", err)
	}
	return via, err
}

// StartSession returns a new page session for the caller and its secret (for the cookie).
func (tx *Tx) StartSession(ctx context.Context, validFor time.Duration, from From) (Session, string, error) {
	if validFor <= 0 || validFor > sessionMax {
		return Session{}, "", invalid("valid_for", "is not within %s", sessionMax)
	}
	secret, hash := newSecret(sessionPrefix)
	s := Session{ID: newID(), Via: from.Via, Agent: plainText(from.Agent, 200), Address: plainText(from.Address, 60)}
	err := tx.QueryRow(ctx, `INSERT INTO ph.session (party_id, member_id, id, secret_hash, expires_at, via, agent, address, proved_at)
		VALUES ($1, $2, $3, $4, now() + $5::interval, $6, $7, $8, CASE WHEN $6 <> 'provider' OR $9::timestamptz > now() THEN now() ELSE $9 END) RETURNING created_at, expires_at`,
		tx.Who.Party, tx.Who.Member, s.ID, hash, validFor, s.Via, s.Agent, s.Address, from.ProvedAt).Scan(&s.CreatedAt, &s.ExpiresAt)
	if err != nil {
		return Session{}, "", fmt.Errorf("start session: %w", err)
	}
	act := ActLoggedIn
	if from.Via == ViaInvitation {
		act = ActJoined
	}
	return s, secret, tx.NoteAccess(ctx, act, uuid.Nil, s.Address)
}

// plainText keeps what a browser says of itself short and printable.
func plainText(text string, most int) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0xfffd {
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, ""))
	if r := []rune(text); len(r) > most {
		text = string(r[:most])
	}
	return text
}

// Sessions lists the caller's own sessions that are not over, the newest first.
func (tx *Tx) Sessions(ctx context.Context) ([]Session, error) {
	rows, err := tx.Query(ctx, `SELECT id, created_at, expires_at, last_seen_at, via, agent, address FROM ph.session
		WHERE party_id = $1 AND member_id = $2 AND ended_at IS NULL AND expires_at > now()
			AND coalesce(last_seen_at, created_at) > now() - interval '30 minutes' ORDER BY id DESC`, tx.Who.Party, tx.Who.Member)
	if err != nil {
		return nil, fmt.Errorf("list sessions: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[Session])
}

// EndSession logs one of the caller's sessions out. Ending it twice is fine; one that is not theirs is ErrNotFound.
func (tx *Tx) EndSession(ctx context.Context, id uuid.UUID) error {
	tag, err := tx.Exec(ctx, `UPDATE ph.session SET ended_at = coalesce(ended_at, now()) WHERE party_id = $1 AND member_id = $2 AND id = $3`,
		tx.Who.Party, tx.Who.Member, id)
	if err != nil {
		return fmt.Errorf("end session: %w", err)
	}
	if tag.RowsAffected() == 0 {
		return ErrNotFound
	}
	return tx.NoteAccess(ctx, ActLoggedOut, uuid.Nil, "")
}

// EndOtherSessions logs the caller out everywhere but here, and forgets the browsers that were known.
func (tx *Tx) EndOtherSessions(ctx context.Context) error {
	_, err := tx.Exec(ctx, `UPDATE ph.session SET ended_at = now() WHERE party_id = $1 AND member_id = $2 AND id <> $3 AND ended_at IS NULL`,
		tx.Who.Party, tx.Who.Member, tx.Who.Session)
	if err != nil {
		return fmt.Errorf("end other sessions: %w", err)
	}
	if _, err := tx.Exec(ctx, `UPDATE ph.device SET ended_at = now() WHERE party_id = $1 AND member_id = $2 AND ended_at IS NULL`, tx.Who.Party, tx.Who.Member); err != nil {
		return fmt.Errorf("forget devices: %w", err)
	}
	return tx.NoteAccess(ctx, ActSessionsEnded, uuid.Nil, "")
}

// KnowDevice remembers the caller's browser. The secret goes into a cookie there.
func (tx *Tx) KnowDevice(ctx context.Context) (secret string, err error) {
	secret, hash := newSecret(devicePrefix)
	if _, err := tx.Exec(ctx, `INSERT INTO ph.device (party_id, member_id, id, secret_hash) VALUES ($1, $2, $3, $4)`, tx.Who.Party, tx.Who.Member, newID(), hash); err != nil {
		return "", fmt.Errorf("know a device: %w", err)
	}
	return secret, nil
}
