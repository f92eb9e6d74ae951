package httpapi

import (
	"context"
	"net/http"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
)

// Open is the middleware for pages that need no session: the bounds of an address, and no writes from other sites.
func (s *Server) Open(next echo.HandlerFunc) echo.HandlerFunc {
	return s.limitAddress(s.CrossSite(next))
}

// CrossSite is the middleware for pages that need no session: it refuses writes that a page of another site sent.
func (s *Server) CrossSite(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := s.csrf.Check(c.Request()); err != nil {
			return problem(kindCrossSite, "The request came from a page of another site.")
		}
		return next(c)
	}
}

// Join accepts an invitation, within the limits for guessing, and sets the new member's session cookie on the answer.
func (s *Server) Join(c echo.Context, secret, name, password string) (ledger.Who, error) {
	ctx := c.Request().Context()
	if wait, err := s.mayJoin(ctx, c.RealIP()); err != nil || wait > 0 {
		return ledger.Who{}, tooManyOr(err, "Too many attempts to join.", wait)
	}
	who, err := s.login.AcceptInvitation(ctx, secret, name, password)
	if err != nil {
		return who, err
	}
	_, cookies, err := s.startSession(ctx, who, placeOf(c), ledger.ViaInvitation, nil)
	setCookies(c, cookies)
	return who, err
}

// ChangePassword sets the caller's password, within the limits for guessing the old one, and ends their other sessions.
// A wrong old one is ledger.ErrCredentials.
func (s *Server) ChangePassword(c echo.Context, old, next string) error {
	ctx := c.Request().Context()
	who, _ := Caller(ctx)
	if wait, err := s.mayChange(ctx, who); err != nil || wait > 0 {
		return tooManyOr(err, "Too many attempts to change a password.", wait)
	}
	return s.as(ctx, func(tx *ledger.Tx) error { return tx.ChangePassword(ctx, old, next) })
}

// ResolveSpec reads a published spec, and what it extends, as it counts at a milestone; "" is the last one. It is a
// *Problem where the present engine refuses what an earlier one took.
func ResolveSpec(ctx context.Context, tx *ledger.Tx, r ledger.SpecRevision, milestone spec.Milestone) (*spec.Spec, error) {
	return resolveSpec(ctx, tx, r.PropID, r.Document, milestone)
}

// Told is what a page tells its reader of a failure.
type Told struct {
	Status      int
	Title       string
	Detail      string
	ToDo        string
	RequestPart string // the field that is wrong, "" where it is not about one
}

// pageTodo is what to do in a page's own words, where the interface's would speak of headers and addresses.
var pageTodo = map[string]string{
	kindNotFound.name:     "Check the address. If it was sent to you, ask whoever sent it whether you should see it.",
	kindUnauthorized.name: "Log in again.",
	kindCredentials.name:  "It may have been used or have run out. Ask for a new invitation.",
	kindForbidden.name:    "Ask somebody whose role may do this.",
	kindCrossSite.name:    "Open the page here and try again.",
	kindTooMany.name:      "Wait a minute and try again.",
	kindUnavailable.name:  "Try again in a few seconds.",
	kindStorage.name:      "Try again in a few seconds.",
	kindInternal.name:     "Try again; if it stays, tell whoever runs this service the number below.",
}

// Tell puts a failure into words for a page, and logs what is our own fault.
func (s *Server) Tell(c echo.Context, err error) Told {
	p := asProblem(err)
	if p.kind.status >= http.StatusInternalServerError {
		s.log.ErrorContext(c.Request().Context(), "page failed", "request", c.Response().Header().Get(echo.HeaderXRequestID), "error", err.Error())
	}
	t := Told{Status: p.kind.status, Title: p.kind.title, Detail: p.detail, ToDo: p.kind.todo}
	if words, ok := pageTodo[p.kind.name]; ok {
		t.ToDo = words
	}
	if len(p.errors) > 0 {
		t.Detail = p.errors[0].Reason
		if p.errors[0].Pointer != nil {
			t.RequestPart = *p.errors[0].Pointer
		}
	}
	return t
}

// PublicURL is where people reach the service, without a slash at its end.
func (s *Server) PublicURL() string { return s.publicAt.Scheme + "://" + s.publicAt.Host }

// DraftSpec reads a spec that is not published, as it would count for a prop at its last milestone. It is a *Problem, with line
// and column of each fault, where something is wrong with it.
func DraftSpec(ctx context.Context, tx *ledger.Tx, prop ledger.Prop, document []byte) (*spec.Spec, error) {
	resolved, err := resolveSpec(ctx, tx, prop.ID, document, "")
	if err != nil {
		return nil, err
	}
	return resolved, fits(resolved, prop)
}

// SpecChanges lists what differs between two specs, in the order of the later one.
func SpecChanges(before, after *spec.Spec) []api.SpecChangeRow {
	rows, _ := compareRows(Explain(before), Explain(after))
	return rows
}

// SpecFault is one thing that is wrong with a spec. Line and Column are 0 where it is about no place in it.
type SpecFault struct {
	Line, Column int    // from 1
	Key          string // the path of the key that it is about, or ""
	Why          string
}

// Faults are what is wrong with a spec.
func (p *Problem) Faults() []SpecFault {
	out := make([]SpecFault, len(p.errors))
	for i, e := range p.errors {
		out[i] = SpecFault{Why: e.Reason, Key: or(e.Pointer, "")}
		if e.Line != nil && e.Column != nil {
			out[i].Line, out[i].Column = *e.Line, *e.Column
		}
	}
	if len(out) == 0 {
		out = []SpecFault{{Why: p.detail}}
	}
	return out
}
