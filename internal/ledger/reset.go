package ledger

import (
	"context"
	"crypto/subtle"
	"fmt"
	"strings"

	"github.com/google/uuid"
)

const (
	resetPrefix = "phr_"
	stopPrefix  = "phm_"
)

// AskReset mails a one-time link to set a new password, good for an hour, where the e-mail is a member's. Nobody learns
// whether it is: the answer and its cost are the same.
func (l *Login) AskReset(ctx context.Context, key PostKey, email string) error {
	if !key.Known() {
		return ErrNoPost
	}
	id := newID()
	_, hash := key.link(resetPrefix, id)
	if _, err := l.pool.Exec(ctx, `SELECT ph.ask_reset($1, $2, $3)`, normalEmail(email), id, hash); err != nil {
		return fmt.Errorf("begin a reset: %w", err)
	}
	return nil
}

// ResetStands says whether a link can still be used.
func (l *Login) ResetStands(ctx context.Context, secret string) (stands bool, err error) {
	if !strings.HasPrefix(secret, resetPrefix) {
		return false, nil
	}
	if err := l.pool.QueryRow(ctx, `SELECT ph.reset_stands($1)`, hashSecret(secret)).Scan(&stands); err != nil {
		return false, fmt.Errorf("look up a reset: %w", err)
	}
	return stands, nil
}

// FinishReset sets the password by a link, once: every session of the member ends, and so does every other link. A link that
// does not stand is ErrCredentials.
func (l *Login) FinishReset(ctx context.Context, secret, password string) error {
	hash, err := hashPassword(password)
	if err != nil {
		return err
	}
	var done bool
	if err := l.pool.QueryRow(ctx, `SELECT ph.finish_reset($1, $2)`, hashSecret(secret), hash).Scan(&done); err != nil {
		return fmt.Errorf("finish a reset: %w", err)
	}
	if !done {
		return ErrCredentials
	}
	return nil
}

// MailLocked tells a member, once a day at most, that somebody tried their log-in so often that it was slowed down.
func (l *Login) MailLocked(ctx context.Context, email string) error {
	if _, err := l.pool.Exec(ctx, `SELECT ph.mail_locked($1, $2)`, normalEmail(email), newID()); err != nil {
		return fmt.Errorf("mail a notice: %w", err)
	}
	return nil
}

// StopMail ends all news by mail to a member, by the link that each such mail carries. A wrong link is ErrCredentials.
func (l *Login) StopMail(ctx context.Context, key PostKey, member uuid.UUID, secret string) error {
	want, _ := key.link(stopPrefix, member)
	if !key.Known() || subtle.ConstantTimeCompare([]byte(want), []byte(secret)) != 1 {
		return ErrCredentials
	}
	var known bool
	if err := l.pool.QueryRow(ctx, `SELECT ph.stop_mail($1)`, member).Scan(&known); err != nil {
		return fmt.Errorf("stop mail: %w", err)
	}
	if !known {
		return ErrCredentials
	}
	return nil
}
