package ledger

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/google/uuid"
)

// ProofFor is how long a session's proof of who its member is counts for acts on money and on log-ins, unless
// Store.UseProof says another time: common practice, no source.
const ProofFor = 15 * time.Minute

// Bounds of UseProof: shorter would ask at every act, longer than a session means never.
const (
	ProofLeast = time.Minute
	ProofMost  = 12 * time.Hour
)

// Unproved is the age of a proof that was never given.
const Unproved = time.Duration(math.MaxInt64)

// StaleProof says that an act needs a fresher proof of who the caller is than their session has. It is an ErrCredentials.
type StaleProof struct {
	Most     time.Duration // how old a proof may be
	Provider uuid.UUID     // of the party, whom to log in with again; zero where a password does
}

func (e *StaleProof) Error() string {
	return fmt.Sprintf("this needs to know again that it is you: the last time is over %s ago", e.Most)
}

// Is makes it an ErrCredentials.
func (*StaleProof) Is(target error) bool { return target == ErrCredentials }

// UseProof sets how old a proof may be. Call it before the store is used.
func (s *Store) UseProof(most time.Duration) { s.proofFor = min(max(most, ProofLeast), ProofMost) }

// ProofFor is how old a proof may be.
func (s *Store) ProofFor() time.Duration { return s.proofFor }

// proved refuses what a screen left open must not be enough for: releasing money, agreeing to a price, and making further
// ways in (tokens, invitations, deputies, a provider). A token is shown whole with each request and was made under a fresh
// proof; the clock and the sender of decisions act for somebody who gave one. OWASP ASVS 4.0.3, 3.7.1.
func (tx *Tx) proved(ctx context.Context) error {
	if tx.Who.Session == uuid.Nil || tx.Who.ProofAge <= tx.proofFor {
		return nil
	}
	stale := &StaleProof{Most: tx.proofFor}
	switch p, err := tx.Provider(ctx); {
	case errors.Is(err, ErrNotFound):
	case err != nil:
		return err
	default:
		var hash *string
		if err := tx.QueryRow(ctx, `SELECT ph.own_password_hash()`).Scan(&hash); err != nil {
			return fmt.Errorf("proof: %w", err)
		}
		if p.Required || hash == nil {
			stale.Provider = p.ID
		}
	}
	return stale
}

// Prove shows by the caller's password that it is still they who use their session. A wrong one is ErrCredentials; where
// the party takes no passwords, or the caller has none, it is a *ProviderRequired: logging in again by the provider proves it.
func (tx *Tx) Prove(ctx context.Context, password string) error {
	var hash *string
	if err := tx.QueryRow(ctx, `SELECT ph.own_password_hash()`).Scan(&hash); err != nil {
		return fmt.Errorf("proof: %w", err)
	}
	p, err := tx.Provider(ctx)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	switch {
	case err == nil && (p.Required || hash == nil):
		return &ProviderRequired{Provider: p.ID}
	case hash == nil || !checkPassword(*hash, password):
		return ErrCredentials
	}
	tag, err := tx.Exec(ctx, `UPDATE ph.session SET proved_at = now() WHERE party_id = $1 AND member_id = $2 AND id = $3 AND ended_at IS NULL`,
		tx.Who.Party, tx.Who.Member, tx.Who.Session)
	if err != nil {
		return fmt.Errorf("proof: %w", err)
	}
	if tag.RowsAffected() == 0 { // a token has no session
		return fmt.Errorf("%w: only a session is proved again", ErrState)
	}
	return tx.NoteAccess(ctx, ActProved, uuid.Nil, "")
}

// OwnEmail is the caller's own address.
func (tx *Tx) OwnEmail(ctx context.Context) (email string, err error) {
	err = tx.QueryRow(ctx, `SELECT email FROM ph.member WHERE party_id = $1 AND id = $2`, tx.Who.Party, tx.Who.Member).Scan(&email)
	if err != nil {
		return "", fmt.Errorf("member %s: %w", tx.Who.Member, mapError(err))
	}
	return email, nil
}
