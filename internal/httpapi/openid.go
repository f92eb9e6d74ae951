package httpapi

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"golang.org/x/oauth2"

	"proofhouse/internal/ledger"
	"proofhouse/internal/outward"
)

// Logging in by a party's own provider: OpenID Connect Core 1.0, the authorization code flow (section 3.1), with PKCE
// (RFC 7636) and, where the provider sends it, the issuer in the answer (RFC 9207). Each provider has a return address of
// its own, so that one provider's answer cannot be passed off as another's.

const (
	signInCookie       = "proofhouse_signin"
	secureSignInCookie = "__Host-proofhouse_signin"
	signInFor          = 10 * time.Minute
	discoveredFor      = time.Hour
	subjectBytes       = 255 // OpenID Connect Core 1.0, section 2
)

var kindProvider = kind{"provider-unavailable", 503, "The provider does not answer as one", "Check the provider's address and that it runs; then try again."}

// providers keeps what each provider's discovery document said.
type providers struct {
	client *http.Client
	mu     sync.Mutex
	byID   map[uuid.UUID]discovered
}

type discovered struct {
	issuer   string
	provider *oidc.Provider
	until    time.Time
}

func newProviders(policy outward.Policy) *providers {
	policy.Redirects = 2
	return &providers{client: policy.Client(), byID: map[uuid.UUID]discovered{}}
}

// of discovers a provider, or remembers it. What it is told besides the issuer may change within the hour; keys are looked
// up again whenever one is unknown.
func (p *providers) of(ctx context.Context, id uuid.UUID, issuer string) (*oidc.Provider, error) {
	p.mu.Lock()
	known, ok := p.byID[id]
	p.mu.Unlock()
	if ok && known.issuer == issuer && time.Now().Before(known.until) {
		return known.provider, nil
	}
	found, err := p.discover(ctx, issuer)
	if err != nil {
		return nil, err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.byID[id] = discovered{issuer, found, time.Now().Add(discoveredFor)}
	return found, nil
}

func (p *providers) discover(ctx context.Context, issuer string) (*oidc.Provider, error) {
	found, err := oidc.NewProvider(oidc.ClientContext(ctx, p.client), issuer)
	if err != nil {
		return nil, &Problem{kind: kindProvider, detail: "No OpenID Connect provider answers at the address of the issuer.", cause: err}
	}
	at := found.Endpoint()
	for _, address := range []string{at.AuthURL, at.TokenURL} {
		// A provider reached safely must not send anybody to a place that is not.
		if u, err := url.Parse(address); err != nil || u.Host == "" || (u.Scheme != "https" && !strings.HasPrefix(issuer, u.Scheme+"://")) {
			return nil, &Problem{kind: kindProvider, detail: "The provider's own addresses are not safe to use."}
		}
	}
	return found, nil
}

// IsProviderProblem says whether err is that a provider does not answer as one.
func IsProviderProblem(err error) bool {
	var p *Problem
	return errors.As(err, &p) && p.kind.name == kindProvider.name
}

// ReturnAddress is where a provider sends its answers to; it is registered there.
func (s *Server) ReturnAddress(provider uuid.UUID) string {
	return s.PublicURL() + "/login/with/" + provider.String() + "/return"
}

func (s *Server) oauth(p ledger.ProviderClient, at *oidc.Provider) oauth2.Config {
	endpoint := at.Endpoint()
	endpoint.AuthStyle = authStyle(p, at)
	return oauth2.Config{
		ClientID: p.ClientID, ClientSecret: p.ClientSecret, Endpoint: endpoint, RedirectURL: s.ReturnAddress(p.ID),
		Scopes: []string{oidc.ScopeOpenID, "email", "profile"},
	}
}

// authStyle is how the secret is sent: by HTTP Basic where the provider takes that, or says nothing (OpenID Connect
// Discovery 1.0, section 3), else in the body. It is not found out by trying: a refused try would cost the code.
func authStyle(p ledger.ProviderClient, at *oidc.Provider) oauth2.AuthStyle {
	var told struct {
		Methods []string `json:"token_endpoint_auth_methods_supported"`
	}
	err := at.Claims(&told)
	if p.ClientSecret == "" || err != nil || (len(told.Methods) > 0 && !slices.Contains(told.Methods, "client_secret_basic")) {
		return oauth2.AuthStyleInParams
	}
	return oauth2.AuthStyleInHeader
}

// signInName is the name of the cookie that binds a log-in on its way to this browser.
func (r cookieRules) signInName() string {
	if r.secure {
		return secureSignInCookie
	}
	return signInCookie
}

// BeginLogIn is the address at the provider to send a browser to. next is the page to come back to; invitation is its
// secret where somebody is joining. again has the provider ask the person anew (OpenID Connect Core 1.0, section 3.1.2.1:
// prompt and max_age), instead of taking its own session for them.
func (s *Server) BeginLogIn(c echo.Context, provider uuid.UUID, next, invitation string, again bool) (address string, err error) {
	ctx := c.Request().Context()
	p, err := s.login.Provider(ctx, provider)
	if err != nil {
		return "", err
	}
	at, err := s.providers.of(ctx, p.ID, p.Issuer)
	if err != nil {
		return "", err
	}
	browser := rand.Text() + rand.Text()
	if old, err := c.Cookie(s.cookie.signInName()); err == nil && len(old.Value) == len(browser) {
		browser = old.Value // two tabs of one browser
	}
	state, in := rand.Text()+rand.Text(), ledger.SignIn{Nonce: rand.Text() + rand.Text(), Verifier: oauth2.GenerateVerifier(), Next: next, Invitation: invitation}
	if err := s.login.BeginSignIn(ctx, p.ID, state, browser, in); err != nil {
		return "", err
	}
	cookie := s.cookie.set(browser, time.Now().Add(signInFor))
	cookie.Name = s.cookie.signInName()
	c.SetCookie(cookie)
	config := s.oauth(p, at)
	options := []oauth2.AuthCodeOption{oidc.Nonce(in.Nonce), oauth2.S256ChallengeOption(in.Verifier)}
	if again {
		options = append(options, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", strconv.Itoa(int(s.store.ProofFor().Seconds()))))
	}
	return config.AuthCodeURL(state, options...), nil
}

// FinishLogIn takes a provider's answer and sets the session's cookie. It says which page to go on to. Whatever is not as
// it must be is ledger.ErrCredentials; the log says what.
func (s *Server) FinishLogIn(c echo.Context, provider uuid.UUID) (next string, err error) {
	ctx := c.Request().Context()
	refuse := func(why string, err error) (string, error) {
		s.log.WarnContext(ctx, "log-in by a provider refused", "why", why, "provider", provider, "from", c.RealIP(), "request", c.Response().Header().Get(echo.HeaderXRequestID))
		if err != nil && !errors.Is(err, ledger.ErrCredentials) {
			return "", err
		}
		return "", ledger.ErrCredentials
	}
	cookie, err := c.Cookie(s.cookie.signInName())
	if err != nil {
		return refuse("this browser began none", nil)
	}
	taken, err := s.login.TakeSignIn(ctx, provider, c.QueryParam("state"), cookie.Value)
	if err != nil {
		return refuse("state unknown, used, too old or another browser's", err)
	}
	p, err := s.login.Provider(ctx, provider)
	if err != nil {
		return refuse("provider removed", err)
	}
	if iss := c.QueryParam("iss"); iss != "" && iss != p.Issuer {
		return refuse("answer of another issuer", nil)
	}
	if c.QueryParam("code") == "" {
		return refuse("the provider refused", nil)
	}
	vouched, err := s.vouch(ctx, p, taken, c.QueryParam("code"))
	if err != nil {
		var p *Problem
		if errors.As(err, &p) {
			return "", err
		}
		return refuse(err.Error(), nil)
	}
	who, err := s.login.Identity(ctx, provider, vouched, taken)
	if err != nil {
		return refuse("nobody here with this subject or verified e-mail", err)
	}
	_, cookies, err := s.startSession(ctx, who, placeOf(c), ledger.ViaProvider, vouched.AskedAt)
	setCookies(c, cookies)
	return taken.Next, err
}

// vouch exchanges the code and checks what the provider says: signature, issuer, audience, time, nonce.
func (s *Server) vouch(ctx context.Context, p ledger.ProviderClient, taken ledger.TakenSignIn, code string) (v ledger.Vouched, err error) {
	ctx = oidc.ClientContext(ctx, s.providers.client)
	at, err := s.providers.of(ctx, p.ID, p.Issuer)
	if err != nil {
		return v, err
	}
	config := s.oauth(p, at)
	token, err := config.Exchange(ctx, code, oauth2.VerifierOption(taken.Verifier))
	if err != nil {
		var refused *oauth2.RetrieveError
		if errors.As(err, &refused) {
			return v, fmt.Errorf("code refused: %s", refused.ErrorCode) // without the body, which the provider wrote
		}
		return v, &Problem{kind: kindProvider, detail: "The provider does not answer.", cause: err}
	}
	raw, _ := token.Extra("id_token").(string)
	id, err := at.Verifier(&oidc.Config{ClientID: p.ClientID}).Verify(ctx, raw)
	if err != nil {
		return v, fmt.Errorf("id token: %w", withoutToken(err, raw))
	}
	if subtle.ConstantTimeCompare([]byte(id.Nonce), []byte(taken.Nonce)) != 1 {
		return v, errors.New("id token: another nonce")
	}
	if id.Subject == "" || len(id.Subject) > subjectBytes {
		return v, errors.New("id token: no subject")
	}
	var c claims
	if err := id.Claims(&c); err != nil {
		return v, errors.New("id token: claims of a wrong type")
	}
	asked := c.askedAt()                                                                         // before the user info is read into the same claims: only the token is signed
	if len(id.Audience) > 1 && c.Party != p.ClientID || c.Party != "" && c.Party != p.ClientID { // OpenID Connect Core 1.0, section 3.1.3.7, 4 and 5
		return v, errors.New("id token: made for another party")
	}
	if c.Email == "" && at.UserInfoEndpoint() != "" {
		info, err := at.UserInfo(ctx, oauth2.StaticTokenSource(token))
		if err != nil {
			return v, errors.New("user info refused")
		}
		if info.Subject != id.Subject || info.Claims(&c) != nil {
			return v, errors.New("user info of somebody else")
		}
	}
	v = ledger.Vouched{Issuer: id.Issuer, Subject: id.Subject, Name: c.Name, AskedAt: asked}
	if c.Verified {
		v.Email = c.Email
	}
	return v, nil
}

// withoutToken keeps a token that a library quotes out of our log.
func withoutToken(err error, raw string) error {
	if raw == "" {
		return errors.New("there is none")
	}
	return errors.New(strings.ReplaceAll(err.Error(), raw, "…"))
}

// claims are those that we read.
type claims struct {
	Email    string `json:"email"`
	Verified truth  `json:"email_verified"`
	Name     string `json:"name"`
	Party    string `json:"azp"`
	AuthTime *int64 `json:"auth_time"`
}

// askedAt is when the provider last asked the person who they are; nil where it does not say, or says what cannot be.
func (c claims) askedAt() *time.Time {
	if c.AuthTime == nil || *c.AuthTime <= 0 || *c.AuthTime > time.Now().Add(signInFor).Unix() {
		return nil
	}
	at := time.Unix(*c.AuthTime, 0)
	return &at
}

// truth is true for true and "true" alone: some providers send text.
type truth bool

func (t *truth) UnmarshalJSON(b []byte) error {
	var v any
	err := json.Unmarshal(b, &v)
	*t = v == true || v == "true"
	return err
}
