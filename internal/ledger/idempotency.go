package ledger

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
)

// Request identifies one POST for idempotency.
type Request struct {
	Method, Route, Key string
	Body               []byte // hashed, not kept
}

// Ref is what a request made: kept for replays in place of the response, which is rendered anew.
type Ref struct {
	Kind string
	ID   uuid.UUID
}

// Idempotent runs effect once per caller, route and key, and gives back the same Ref for every repeat within 48 hours.
// An empty Key runs effect always. The key is kept only if the effect's transaction commits. Errors: ErrKeyReused,
// ErrInFlight.
func Idempotent(ctx context.Context, tx *Tx, r Request, effect func() (Ref, error)) (ref Ref, replayed bool, err error) {
	if r.Key == "" {
		ref, err = effect()
		return ref, false, err
	}
	if len(r.Key) > 255 {
		return Ref{}, false, invalid("Idempotency-Key", "is over 255 characters")
	}
	body := sha256.Sum256(r.Body)
	before, mine, err := tx.lookUpKey(ctx, r, &ref)
	if !mine && (err == nil || errors.Is(err, pgx.ErrNoRows)) {
		return Ref{}, false, ErrInFlight
	}
	switch {
	case err == nil && bytes.Equal(before, body[:]):
		return ref, true, nil
	case err == nil:
		return Ref{}, false, ErrKeyReused
	case !errors.Is(err, pgx.ErrNoRows):
		return Ref{}, false, fmt.Errorf("idempotency key: %w", err)
	}
	if ref, err = effect(); err != nil {
		return Ref{}, false, err
	}
	tx.late.later(lateStatement{doing: "keep the idempotency key", sql: `INSERT INTO ph.idempotency (party_id, member_id, method, route, key, body_sha256, made_kind, made_id)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`, args: []any{tx.Who.Party, tx.Who.Member, r.Method, r.Route, r.Key, body[:], ref.Kind, ref.ID}})
	return ref, false, nil
}

// lookUpKey takes the key's lock until the transaction ends and reads what the key made before, in one round trip. Who does not get the
// lock is told so at once and does not queue up.
func (tx *Tx) lookUpKey(ctx context.Context, r Request, ref *Ref) (before []byte, mine bool, err error) {
	batch := &pgx.Batch{}
	batch.Queue(`SELECT pg_try_advisory_xact_lock($1)`, keyLock(tx.Who, r))
	batch.Queue(`SELECT body_sha256, made_kind, made_id FROM ph.idempotency
		WHERE party_id = $1 AND member_id = $2 AND method = $3 AND route = $4 AND key = $5`, tx.Who.Party, tx.Who.Member, r.Method, r.Route, r.Key)
	results := tx.SendBatch(ctx, batch)
	if err = results.QueryRow().Scan(&mine); err == nil {
		err = results.QueryRow().Scan(&before, &ref.Kind, &ref.ID)
	}
	if closed := results.Close(); err == nil {
		err = closed
	}
	return before, mine, err
}

// keyLock folds the key to the 64 bits of an advisory lock. Two keys that share them could only see ErrInFlight.
func keyLock(who Who, r Request) int64 {
	h := sha256.New()
	for _, s := range []string{who.Party.String(), who.Member.String(), r.Method, r.Route, r.Key} {
		fmt.Fprintf(h, "%d:%s", len(s), s)
	}
	return int64(binary.BigEndian.Uint64(h.Sum(nil)))
}

// SweepKeys forgets idempotency keys older than 48 hours, at most 10,000 a call, and says how many.
func (s *Store) SweepKeys(ctx context.Context) (int64, error) {
	var n int64
	if err := s.pool.QueryRow(ctx, `SELECT ph.sweep_idempotency()`).Scan(&n); err != nil {
		return 0, fmt.Errorf("sweep idempotency keys: %w", err)
	}
	return n, nil
}

// SweepAccess forgets what the access log has kept for 180 days, at most 10,000 rows a call, and says how many.
func (s *Store) SweepAccess(ctx context.Context) (int64, error) {
	var n int64
	if err := s.pool.QueryRow(ctx, `SELECT ph.sweep_access()`).Scan(&n); err != nil {
		return 0, fmt.Errorf("sweep the access log: %w", err)
	}
	return n, nil
}
