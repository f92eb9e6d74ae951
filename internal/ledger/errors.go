package ledger

import (
	"errors"
	"fmt"
)

// Kinds of failure. Test with errors.Is; the message around them is made for people.
var (
	// ErrNotFound: it does not exist, or the caller may not see it. The two are never told apart.
	ErrNotFound = errors.New("not found")
	// ErrForbidden: the caller sees it but has no role that may do this.
	ErrForbidden = errors.New("not allowed")
	// ErrState: the thing is not in a state in which this can be done.
	ErrState = errors.New("wrong state")
	// ErrConflict: it exists already (code taken, one open delivery at a time).
	ErrConflict = errors.New("conflict")
	// ErrQuota: more bytes than the studio keeps of a vendor or an order.
	ErrQuota = errors.New("no room")
	// ErrInvalid: the input itself is wrong. See Invalid for the field.
	ErrInvalid = errors.New("invalid")
	// ErrCredentials: wrong e-mail or password, or a session, token or invitation that is unknown, expired or revoked.
	ErrCredentials = errors.New("credentials refused")
	// ErrLeaseLost: someone else has the inspection now; drop the result.
	ErrLeaseLost = errors.New("lease lost")
	// ErrKeyReused: this idempotency key was used with another body.
	ErrKeyReused = errors.New("idempotency key reused with another body")
	// ErrInFlight: a request with this idempotency key is running now; retry in a second.
	ErrInFlight = errors.New("request with this key still running")
	// ErrSchema: the database's schema is older or newer than this program can serve.
	ErrSchema = errors.New("schema version")
)

// Invalid names the input field that is wrong. It is an ErrInvalid.
type Invalid struct{ Field, Why string }

func (e *Invalid) Error() string        { return fmt.Sprintf("%s %s", e.Field, e.Why) }
func (e *Invalid) Is(target error) bool { return target == ErrInvalid }

func invalid(field, format string, args ...any) error {
	return &Invalid{Field: field, Why: fmt.Sprintf(format, args...)}
}
