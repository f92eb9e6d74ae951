package httpapi

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// kindProof is 401 with a challenge that says what is missing (RFC 9470, section 3).
var kindProof = kind{"proof-too-old", 401, "Show again that it is you", "Prove it at POST /v1/sessions/current/proof, or log in again by your party's provider, and send the same request again."}

func proofProblem(stale *ledger.StaleProof, cause error) *Problem {
	return &Problem{kind: kindProof, detail: sentence(stale.Error()), proofAge: stale.Most, cause: cause}
}

// challenge is the value of WWW-Authenticate that goes with a problem of status 401.
func (p *Problem) challenge() string {
	if p.kind.name != kindProof.name {
		return `Bearer realm="proofhouse"`
	}
	return fmt.Sprintf(`Bearer realm="proofhouse", error="insufficient_user_authentication", error_description="the last proof is too old", max_age="%d"`, int(p.proofAge/time.Second))
}

func (h *handlers) ProveSession(ctx context.Context, r api.ProveSessionRequestObject) (api.ProveSessionResponseObject, error) {
	if err := h.prove(ctx, inboundOf(ctx).place, r.Body.Password); err != nil {
		return nil, err
	}
	return api.ProveSession204Response{}, nil
}

// Prove shows by a password that it is the member who uses the session of a page, for the rest of this request too. A
// wrong one is an ErrCredentials.
func (s *Server) Prove(c echo.Context, password string) error {
	ctx := c.Request().Context()
	if err := s.prove(ctx, placeOf(c), password); err != nil {
		return err
	}
	who, _ := Caller(ctx)
	who.ProofAge = 0
	withCaller(c, who)
	return nil
}

// prove holds guessing to the pace of changing a password, and leaves a note of what failed.
func (s *Server) prove(ctx context.Context, at place, password string) error {
	who, _ := Caller(ctx)
	if wait, err := s.mayChange(ctx, who); err != nil || wait > 0 {
		return tooManyOr(err, "Too many attempts to show who you are.", wait)
	}
	var email string
	err := s.as(ctx, func(tx *ledger.Tx) (err error) {
		if email, err = tx.OwnEmail(ctx); err != nil {
			return err
		}
		return tx.Prove(ctx, password)
	})
	var required *ledger.ProviderRequired
	if errors.Is(err, ledger.ErrCredentials) && !errors.As(err, &required) {
		s.noteFailed(ctx, email, ledger.ActLogInFailed, at.address)
		return &Problem{kind: kindInvalidInput, detail: "One value cannot be accepted.", errors: invalidField("password", "is not your password").errors, cause: err}
	}
	return err
}

// StaleProof says whether err is that an act wants a fresher proof of who the caller is.
func StaleProof(err error) (*ledger.StaleProof, bool) {
	var stale *ledger.StaleProof
	ok := errors.As(err, &stale)
	return stale, ok
}
