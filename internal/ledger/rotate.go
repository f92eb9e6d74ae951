package ledger

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"golang.org/x/mod/sumdb/note"

	"proofhouse/internal/canon"
)

// rotationHead begins the statement by which a key vouches for the next one.
const rotationHead = "proofhouse/notary.key\n"

// nextKey is where a key waits until it is published: a rotation that breaks off goes on with the same one.
func nextKey(keyFile string) string { return keyFile + ".next" }

// RotateKey replaces the notary's signing key. The old key signs the new one, that statement becomes a leaf of the house
// log and goes into every export from then on, and the old secret is overwritten. Who trusts the old verifier follows the
// statements to the new one. Run it with the notary stopped, or start that again afterwards. It returns both verifiers.
func RotateKey(ctx context.Context, pool *pgxpool.Pool, keyFile string) (old, now string, err error) {
	if _, err := os.Stat(keyFile); err != nil {
		return "", "", fmt.Errorf("notary key %s: %w", keyFile, err)
	}
	n, err := NewNotary(pool, keyFile)
	if err != nil {
		return "", "", err
	}
	if err := makeKey(nextKey(keyFile)); err != nil && !errors.Is(err, os.ErrExist) {
		return "", "", fmt.Errorf("next notary key: %w", err)
	}
	_, verifier, err := loadKey(nextKey(keyFile))
	if err != nil {
		return "", "", fmt.Errorf("next notary key: %w", err)
	}
	statement, err := note.Sign(&note.Note{Text: rotationHead + verifier + "\n"}, n.signer)
	if err != nil {
		return "", "", fmt.Errorf("vouch for the next notary key: %w", err)
	}
	if err := n.publishNext(ctx, verifier, string(statement)); err != nil {
		return "", "", fmt.Errorf("publish the next notary key: %w", err)
	}
	if err := os.Rename(nextKey(keyFile), keyFile); err != nil {
		return "", "", fmt.Errorf("put the next notary key in place: %w", err)
	}
	return n.verifier, verifier, nil
}

// publishNext writes the statement and its leaf, under a checkpoint that the old key signs.
func (n *Notary) publishNext(ctx context.Context, verifier, statement string) error {
	return pgx.BeginFunc(ctx, n.pool, func(tx pgx.Tx) error {
		if _, err := tx.Exec(ctx, `SELECT pg_advisory_xact_lock($1)`, int64(notaryLock)); err != nil {
			return err
		}
		tag, err := tx.Exec(ctx, `INSERT INTO ph.notary_key (number, verifier, statement) SELECT coalesce(max(number), 0) + 1, $1, $2 FROM ph.notary_key
			ON CONFLICT (verifier) DO NOTHING`, verifier, statement)
		if err != nil || tag.RowsAffected() == 0 {
			return err
		}
		leaf, err := canon.Marshal(keyFact{Kind: "notary.key", Verifier: verifier, Statement: statement})
		if err != nil {
			return err
		}
		house, err := openHouse(ctx, tx)
		if err != nil {
			return err
		}
		if _, err := house.add(leaf); err != nil {
			return err
		}
		batch := &pgx.Batch{}
		if err := house.store(batch, n.signer); err != nil {
			return err
		}
		return tx.SendBatch(ctx, batch).Close()
	})
}

// keyStatements are the statements by which each key vouches for the next, oldest first.
func (tx *Tx) keyStatements(ctx context.Context) ([]string, error) {
	rows, err := tx.Query(ctx, `SELECT statement FROM ph.notary_key ORDER BY number`)
	if err != nil {
		return nil, fmt.Errorf("keys of the notary: %w", err)
	}
	return pgx.CollectRows(rows, pgx.RowTo[string])
}

// following extends the keys that are trusted by those that they vouch for. A statement by a key that is not trusted, or
// that says something else, adds nothing.
func following(trusted, statements []string) (note.Verifiers, error) {
	for _, s := range statements {
		known, err := verifierList(trusted)
		if err != nil {
			return nil, err
		}
		n, err := note.Open([]byte(s), known)
		if err != nil {
			continue
		}
		verifier, ok := strings.CutPrefix(n.Text, rotationHead)
		if verifier = strings.TrimSuffix(verifier, "\n"); ok && verifier != "" {
			if _, err := note.NewVerifier(verifier); err == nil {
				trusted = append(trusted[:len(trusted):len(trusted)], verifier)
			}
		}
	}
	return verifierList(trusted)
}
