package httpapi

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"github.com/labstack/echo/v4"

	"proofhouse/internal/httpapi/api"
	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// kind is one stable type of problem. Its name is the last part of the type's address.
type kind struct {
	name   string
	status int
	title  string
	todo   string
}

var (
	kindInvalid        = kind{"invalid-request", 400, "The request is not as described", "Mend what `errors` lists and send it again; the description is at /v1/openapi."}
	kindInvalidInput   = kind{"invalid-input", 422, "A value cannot be accepted", "Mend what `errors` lists and send it again with a new Idempotency-Key."}
	kindSpec           = kind{"invalid-spec", 422, "The spec cannot be published", "Mend the lines that `errors` lists and publish again."}
	kindUnauthorized   = kind{"not-logged-in", 401, "Not logged in", "Log in at POST /v1/sessions, or send a valid token as `Authorization: Bearer TOKEN`."}
	kindCredentials    = kind{"credentials-refused", 401, "Credentials refused", "Check the e-mail and the password, or ask for a new invitation or token."}
	kindForbidden      = kind{"not-allowed", 403, "Not allowed", "Ask somebody whose role may do this, or use a token with the scope that it needs."}
	kindCrossSite      = kind{"cross-site", 403, "A page of another site sent this", "Use the service's own pages, or a token."}
	kindNotFound       = kind{"not-found", 404, "Not found", "Check the id, and that you are logged in as the right party."}
	kindMethod         = kind{"method-not-allowed", 405, "This address does not take this method", "See the description at /v1/openapi."}
	kindState          = kind{"wrong-state", 409, "Not possible in its present state", "Read the thing again and decide on what is there now."}
	kindConflict       = kind{"conflict", 409, "It is there already", "Use the one that is there, or choose another code."}
	kindInFlight       = kind{"in-flight", 409, "The same request is still running", "Wait a second and send it again with the same Idempotency-Key."}
	kindMissingBytes   = kind{"bytes-missing", 409, "Files are still to be uploaded", "Upload the files in `missing` (fresh links: GET …/uploads) and seal again."}
	kindChangedSince   = kind{"changed-since", 412, "It changed since you looked", "Read it again and decide on what is there now."}
	kindTooLarge       = kind{"too-large", 413, "The request is too large", "Files go to object storage by the links of a delivery; the rest fits into 8 MiB."}
	kindQuota          = kind{"over-quota", 413, "There is no room for these files", "Ask the studio for more room, deliver less, or give up what is not needed; what was given up is deleted within the hour."}
	kindMediaType      = kind{"media-type", 415, "This kind of body is not taken here", "Send one of the kinds in the description, with its Content-Type."}
	kindKeyReused      = kind{"key-reused", 422, "The Idempotency-Key was used for something else", "Use a new key for a new act."}
	kindTooMany        = kind{"too-many-requests", 429, "Too many requests", "Wait as long as Retry-After says."}
	kindInternal       = kind{"internal", 500, "Our fault", "Try again with the same Idempotency-Key; if it stays, tell the operator the `instance`."}
	kindUnavailable    = kind{"unavailable", 503, "Not available at the moment", "Try again in a few seconds with the same Idempotency-Key."}
	kindStorage        = kind{"storage-unavailable", 503, "Object storage does not answer", "Try again in a few seconds with the same Idempotency-Key."}
	kindEvidenceBroken = kind{"evidence-broken", 500, "Stored evidence is not what was recorded", "Tell the operator at once: the stored bytes do not have the recorded digest."}
)

var kinds = []kind{
	kindInvalid, kindInvalidInput, kindSpec, kindUnauthorized, kindCredentials, kindForbidden, kindCrossSite, kindNotFound, kindMethod,
	kindState, kindConflict, kindInFlight, kindMissingBytes, kindChangedSince, kindTooLarge, kindQuota, kindMediaType, kindKeyReused, kindTooMany,
	kindInternal, kindUnavailable, kindStorage, kindEvidenceBroken, kindProvider, kindProof,
}

// byError is the one table from kinds of error to problems; the first that fits wins. Whether the sentence of the error
// is for the caller's eyes stands beside it.
var byError = []struct {
	is   error
	kind kind
	tell bool
}{
	{ledger.ErrNotFound, kindNotFound, false},
	{ledger.ErrForbidden, kindForbidden, true},
	{ledger.ErrInvalid, kindInvalidInput, false},
	{ledger.ErrKeyReused, kindKeyReused, false},
	{ledger.ErrInFlight, kindInFlight, false},
	{ledger.ErrState, kindState, true},
	{ledger.ErrConflict, kindConflict, true},
	{ledger.ErrQuota, kindQuota, true},
	{ledger.ErrCredentials, kindCredentials, false},
	{ledger.ErrSchema, kindUnavailable, false},
	{storage.ErrNotFound, kindNotFound, false},
	{storage.ErrChanged, kindEvidenceBroken, false},
	{context.DeadlineExceeded, kindUnavailable, false},
}

// byConstraint puts the database's own refusals into words, by the names of its constraints.
var byConstraint = map[string]string{
	"member_email_key":         "Somebody with this e-mail address is a member already.",
	"project_code_key":         "A project with this code is there already.",
	"work_order_code_key":      "A work order with this code is there already.",
	"prop_code_key":            "The work order has a prop with this code already.",
	"milestone_kind_key":       "A prop has each kind of milestone once.",
	"spec_ack_once":            "This revision is acknowledged already.",
	"delivery_under_way_key":   "A delivery of this milestone is open: go on with it, or abandon it. GET /v1/deliveries?milestone_id=…&state=open finds it.",
	"file_path_key":            "Two files of the manifest have the same path, but for upper and lower case.",
	"inspection_under_way_key": "An inspection of this delivery is under way.",
	"sign_off_once":            "This delivery is decided on already.",
	"concession_once":          "This finding is conceded already.",
	"cancellation_once":        "This milestone is cancelled already.",
	"sign_off_not_by_own_hand": "Nobody signs off their own delivery.",
}

// wordsOf is what the caller is told of an error whose sentence is theirs to read. The database's own text never is.
func wordsOf(err error, k kind) string {
	var db *pgconn.PgError
	if !errors.As(err, &db) {
		return sentence(err.Error())
	}
	if words := byConstraint[db.ConstraintName]; words != "" {
		return words
	}
	return k.title + "."
}

// Problem is a failure with all that the caller is told of it.
type Problem struct {
	kind       kind
	detail     string
	errors     []api.ProblemError
	missing    []api.FileUpload
	retryAfter time.Duration
	proofAge   time.Duration // how old a proof may be
	cause      error         // for the log only
}

func (p *Problem) Error() string {
	if p.cause != nil {
		return fmt.Sprintf("%s: %v", p.kind.name, p.cause)
	}
	return p.kind.name + ": " + p.detail
}

func (p *Problem) Unwrap() error { return p.cause }

func problem(k kind, detail string) *Problem { return &Problem{kind: k, detail: detail} }

func invalidField(field, reason string) *Problem {
	pointer := "/" + field
	return &Problem{kind: kindInvalidInput, detail: "One value cannot be accepted.", errors: []api.ProblemError{{Pointer: &pointer, Reason: reason}}}
}

// asProblem gives every error its kind.
func asProblem(err error) *Problem {
	var p *Problem
	if errors.As(err, &p) {
		return p
	}
	var invalid *ledger.Invalid
	if errors.As(err, &invalid) {
		out := invalidField(invalid.Field, invalid.Why)
		out.cause = err
		return out
	}
	var required *ledger.ProviderRequired
	if errors.As(err, &required) {
		return &Problem{kind: kindCredentials, detail: "This party takes no passwords: log in by its own provider on the pages, or use a token.", cause: err}
	}
	if stale, ok := StaleProof(err); ok {
		return proofProblem(stale, err)
	}
	for _, row := range byError {
		if errors.Is(err, row.is) {
			out := &Problem{kind: row.kind, detail: row.kind.title + ".", cause: err}
			switch {
			case row.tell:
				out.detail = wordsOf(err, row.kind)
			case row.kind.name == kindNotFound.name:
				out.detail = "There is no such thing, or it is not yours to see."
			}
			if row.kind.name == kindInFlight.name || row.kind.status == http.StatusServiceUnavailable {
				out.retryAfter = time.Second
			}
			return out
		}
	}
	var he *echo.HTTPError
	if errors.As(err, &he) {
		return fromEcho(he)
	}
	return &Problem{kind: kindInternal, detail: "Something in the service failed; it is in its log.", cause: err}
}

func fromEcho(he *echo.HTTPError) *Problem {
	switch he.Code {
	case http.StatusNotFound:
		return &Problem{kind: kindNotFound, detail: "There is nothing at this address.", cause: he}
	case http.StatusMethodNotAllowed:
		return &Problem{kind: kindMethod, detail: "This address does not take this method.", cause: he}
	case http.StatusRequestEntityTooLarge:
		return &Problem{kind: kindTooLarge, detail: "The body is larger than 8 MiB.", cause: he}
	case http.StatusUnsupportedMediaType:
		return &Problem{kind: kindMediaType, detail: "This kind of body is not taken here.", cause: he}
	}
	if he.Code >= 400 && he.Code < 500 {
		return &Problem{kind: kindInvalid, detail: "The request could not be read.", cause: he}
	}
	return &Problem{kind: kindInternal, detail: "Something in the service failed; it is in its log.", cause: he}
}

func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	s = strings.ToUpper(s[:1]) + s[1:]
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}

// writeProblem answers with err, unless an answer has begun.
func writeProblem(c echo.Context, err error) {
	if c.Response().Committed {
		return
	}
	p := asProblem(err)
	instance := "urn:request:" + c.Response().Header().Get(echo.HeaderXRequestID)
	body := api.Problem{
		Type: "/problems/" + p.kind.name, Title: p.kind.title, Status: p.kind.status, Detail: p.detail, WhatToDo: p.kind.todo, Instance: &instance,
	}
	if len(p.errors) > 0 {
		body.Errors = &p.errors
	}
	if len(p.missing) > 0 {
		body.Missing = &p.missing
	}
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, "application/problem+json")
	h.Set(echo.HeaderCacheControl, "no-store")
	if p.kind.status == http.StatusUnauthorized {
		h.Set(echo.HeaderWWWAuthenticate, p.challenge())
	}
	if p.retryAfter > 0 {
		h.Set(echo.HeaderRetryAfter, strconv.Itoa(int((p.retryAfter+time.Second-1)/time.Second)))
	}
	c.Response().WriteHeader(p.kind.status)
	if c.Request().Method != http.MethodHead {
		_ = json.NewEncoder(c.Response()).Encode(body)
	}
}

// getProblem explains a type of problem in words.
func (s *Server) getProblem(c echo.Context) error {
	for _, k := range kinds {
		if k.name == c.Param("problem") {
			return c.String(http.StatusOK, fmt.Sprintf("%s (%d)\n\n%s\n", k.title, k.status, k.todo))
		}
	}
	return ledger.ErrNotFound
}
