package ledger

import (
	"context"
	"fmt"
	"time"
)

const devicePrefix = "phd_"

// KnownDevice says whether somebody with this e-mail has logged in from the browser that holds this secret.
func (l *Login) KnownDevice(ctx context.Context, email, secret string) (known bool, err error) {
	if secret == "" {
		return false, nil
	}
	if err := l.pool.QueryRow(ctx, `SELECT ph.login_device($1, $2)`, normalEmail(email), hashSecret(secret)).Scan(&known); err != nil {
		return false, fmt.Errorf("look up a device: %w", err)
	}
	return known, nil
}

// KnownMember is KnownDevice for somebody who has just shown who they are.
func (l *Login) KnownMember(ctx context.Context, who Who, secret string) (known bool, err error) {
	if secret == "" {
		return false, nil
	}
	if err := l.pool.QueryRow(ctx, `SELECT ph.login_device_of($1, $2, $3)`, who.Party, who.Member, hashSecret(secret)).Scan(&known); err != nil {
		return false, fmt.Errorf("look up a device: %w", err)
	}
	return known, nil
}

// Attempt takes one attempt of a key, of which burst come at once and one more every so often, counted over all processes
// of the service. It returns zero, or how long to wait where none is left.
func (l *Login) Attempt(ctx context.Context, key string, every time.Duration, burst int) (wait time.Duration, err error) {
	if err := l.pool.QueryRow(ctx, `SELECT ph.login_attempt($1, $2, $3)`, hashSecret(key), every, burst).Scan(&wait); err != nil {
		return 0, fmt.Errorf("count an attempt: %w", err)
	}
	return wait, nil
}

// Failed notes a log-in that failed at a member's e-mail, or was held up; an e-mail that nobody has leaves nothing.
func (l *Login) Failed(ctx context.Context, email, act, address string) error {
	if _, err := l.pool.Exec(ctx, `SELECT ph.login_failed($1, $2, $3)`, normalEmail(email), act, plainText(address, 60)); err != nil {
		return fmt.Errorf("note a failed log-in: %w", err)
	}
	return nil
}
