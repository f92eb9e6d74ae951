package httpapi

import (
	"net/http"

	"github.com/labstack/echo/v4"
)

// CrossSite is the middleware for pages that need no session: it refuses writes that a page of another site sent.
func (s *Server) CrossSite(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if err := s.csrf.Check(c.Request()); err != nil {
			return problem(kindCrossSite, "The request came from a page of another site.")
		}
		return next(c)
	}
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
