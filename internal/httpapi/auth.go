package httpapi

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"proofhouse/internal/ledger"
)

// cookieRules are how the session's cookie is named and guarded. Over https its name has the prefix __Host-, which
// makes browsers insist on Secure, Path=/ and no Domain (RFC 6265bis, section 4.1.3.2).
type cookieRules struct {
	name   string
	secure bool
}

func cookieFor(public *url.URL) cookieRules {
	if public.Scheme == "https" {
		return cookieRules{"__Host-proofhouse_session", true}
	}
	return cookieRules{"proofhouse_session", false}
}

func (r cookieRules) set(secret string, until time.Time) *http.Cookie {
	return &http.Cookie{
		Name: r.name, Value: secret, Path: "/", Expires: until, HttpOnly: true, Secure: r.secure, SameSite: http.SameSiteLaxMode,
	}
}

const (
	deviceCookie       = "proofhouse_device"
	secureDeviceCookie = "__Host-proofhouse_device"
	deviceFor          = 400 * 24 * time.Hour // as long as browsers keep a cookie at most (RFC 6265bis, section 5.5)
)

// device is the cookie of a browser that is known. It opens nothing: it only keeps strangers who guess from holding up
// whoever has logged in here before.
func (r cookieRules) device(secret string) *http.Cookie {
	c := r.set(secret, time.Now().Add(deviceFor))
	if c.Name = deviceCookie; r.secure {
		c.Name = secureDeviceCookie
	}
	return c
}

func (r cookieRules) clear() *http.Cookie {
	c := r.set("", time.Unix(0, 0))
	c.MaxAge = -1
	return c
}

type callerKey struct{}

// Caller is who sent the request of this context, and whether anybody did.
func Caller(ctx context.Context) (ledger.Who, bool) {
	who, ok := ctx.Value(callerKey{}).(ledger.Who)
	return who, ok
}

func withCaller(c echo.Context, who ledger.Who) {
	c.SetRequest(c.Request().WithContext(context.WithValue(c.Request().Context(), callerKey{}, who)))
}

// authenticate finds out who is calling, where the description asks for it, and whether their token covers the
// operation.
func (s *Server) authenticate(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		scopes, open := s.desc.access(c.Request().Method, c.Path())
		if open {
			return s.CrossSite(next)(c)
		}
		who, err := s.identify(c)
		if err != nil {
			return err
		}
		withCaller(c, who)
		for _, scope := range scopes {
			if !who.May(ledger.Scope(scope)) {
				return problem(kindForbidden, "This token does not have the scope "+scope+".")
			}
		}
		return next(c)
	}
}

// identify reads the token or the session's cookie. A token that is sent and wrong is refused, cookie or not.
func (s *Server) identify(c echo.Context) (ledger.Who, error) {
	r := c.Request()
	if header := r.Header.Get(echo.HeaderAuthorization); header != "" {
		scheme, secret, _ := strings.Cut(header, " ")
		if secret = strings.TrimSpace(secret); !strings.EqualFold(scheme, "Bearer") || secret == "" {
			return ledger.Who{}, problem(kindUnauthorized, "Authorization must be `Bearer TOKEN`.")
		}
		return known(s.login.Token(r.Context(), secret))
	}
	who, err := s.sessionOf(c)
	if err != nil {
		return ledger.Who{}, err
	}
	if err := s.csrf.Check(r); err != nil {
		return ledger.Who{}, problem(kindCrossSite, "The request came from a page of another site.")
	}
	return who, nil
}

func (s *Server) sessionOf(c echo.Context) (ledger.Who, error) {
	cookie, err := c.Cookie(s.cookie.name)
	if err != nil || cookie.Value == "" {
		return ledger.Who{}, problem(kindUnauthorized, "This needs a session or a token.")
	}
	return known(s.login.Session(c.Request().Context(), cookie.Value))
}

func known(who ledger.Who, err error) (ledger.Who, error) {
	if errors.Is(err, ledger.ErrCredentials) || errors.Is(err, ledger.ErrNotFound) {
		return ledger.Who{}, &Problem{kind: kindUnauthorized, detail: "The session or token is unknown, revoked or has run out.", cause: err}
	}
	return who, err
}

// Session is the middleware for pages: it finds the session's member and checks against cross-site writes. Where nobody
// is logged in it calls otherwise (a redirect to the log-in page, for example).
func (s *Server) Session(otherwise echo.HandlerFunc) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return s.limitAddress(s.CrossSite(func(c echo.Context) error {
			who, err := s.sessionOf(c)
			var p *Problem
			if errors.As(err, &p) && p.kind.status == http.StatusUnauthorized {
				return otherwise(c)
			}
			if err != nil {
				return err
			}
			withCaller(c, who)
			return s.limitCaller(s.noteReads(next))(c)
		}))
	}
}

// LogIn checks e-mail and password, within the limits for guessing, and sets the session's cookie on the answer.
func (s *Server) LogIn(c echo.Context, email, password string) (ledger.Who, ledger.Session, error) {
	at := placeOf(c)
	who, err := s.passwordLogIn(c.Request().Context(), at, email, password)
	if err != nil {
		return who, ledger.Session{}, err
	}
	session, cookies, err := s.startSession(c.Request().Context(), who, at, ledger.ViaPassword, nil)
	setCookies(c, cookies)
	return who, session, err
}

func setCookies(c echo.Context, cookies []*http.Cookie) {
	for _, cookie := range cookies {
		c.SetCookie(cookie)
	}
}

// place is where a request comes from: its address, what the browser says it is, and the secret of a browser that is known.
type place struct{ address, agent, device string }

func placeOf(c echo.Context) place {
	p := place{address: c.RealIP(), agent: c.Request().UserAgent()}
	for _, name := range []string{secureDeviceCookie, deviceCookie} {
		if cookie, err := c.Cookie(name); err == nil {
			p.device = cookie.Value
			break
		}
	}
	return p
}

// passwordLogIn checks e-mail and password within the limits, and leaves a note of what failed.
func (s *Server) passwordLogIn(ctx context.Context, at place, email, password string) (ledger.Who, error) {
	wait, err := s.mayTry(ctx, at, email)
	if err != nil {
		return ledger.Who{}, err
	}
	if wait > 0 {
		s.noteFailed(ctx, email, ledger.ActLogInHeld, at.address)
		return ledger.Who{}, tooMany("Too many attempts to log in.", wait)
	}
	who, err := s.login.Password(ctx, email, password)
	if errors.Is(err, ledger.ErrCredentials) {
		s.noteFailed(ctx, email, ledger.ActLogInFailed, at.address)
	}
	return who, err
}

// noteFailed never changes the answer: whether there was a member to note it for must not show.
func (s *Server) noteFailed(ctx context.Context, email, act, address string) {
	s.log.WarnContext(ctx, "log-in refused", "why", act, "from", address)
	if err := s.login.Failed(ctx, email, act, address); err != nil {
		s.log.ErrorContext(ctx, "a failed log-in is not noted", "error", err.Error())
	}
	if act == ledger.ActLogInHeld && s.postKey.Known() {
		if err := s.login.MailLocked(ctx, email); err != nil {
			s.log.ErrorContext(ctx, "a member is not told of attempts at their log-in", "error", err.Error())
		}
	}
}

// startSession gives a session and the cookies that hold it and the browser's own secret. asked is when a provider last asked
// who this is.
func (s *Server) startSession(ctx context.Context, who ledger.Who, at place, via string, asked *time.Time) (ledger.Session, []*http.Cookie, error) {
	known, err := s.login.KnownMember(ctx, who, at.device)
	if err != nil {
		return ledger.Session{}, nil, err
	}
	var session ledger.Session
	var secret, device string
	err = s.store.InTx(ctx, who, func(tx *ledger.Tx) (err error) {
		if session, secret, err = tx.StartSession(ctx, sessionFor, ledger.From{Via: via, Agent: at.agent, Address: at.address, ProvedAt: asked}); err == nil && !known {
			device, err = tx.KnowDevice(ctx)
		}
		return err
	})
	if err != nil {
		return ledger.Session{}, nil, err
	}
	cookies := []*http.Cookie{s.cookie.set(secret, session.ExpiresAt)}
	if device != "" {
		cookies = append(cookies, s.cookie.device(device))
	}
	return session, cookies, nil
}

// LogOut ends the caller's session and clears the cookie on the answer.
func (s *Server) LogOut(c echo.Context, who ledger.Who) error {
	ctx := c.Request().Context()
	if err := s.store.InTx(ctx, who, func(tx *ledger.Tx) error { return tx.EndSession(ctx, who.Session) }); err != nil {
		return err
	}
	c.SetCookie(s.cookie.clear())
	return nil
}
