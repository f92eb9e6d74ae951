package httpapi_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/httpapi"
	"proofhouse/internal/ledger"
)

// providerPages are the two addresses of logging in by a provider, as the pages mount them.
func providerPages(e *echo.Echo, s *httpapi.Server) error {
	e.GET("/login/with/:id", func(c echo.Context) error {
		id, err := uuid.Parse(c.Param("id"))
		if err != nil {
			return ledger.ErrNotFound
		}
		to, err := s.BeginLogIn(c, id, c.QueryParam("next"), c.QueryParam("invitation"), c.QueryParam("again") != "")
		if err != nil {
			return err
		}
		return c.Redirect(http.StatusSeeOther, to)
	}, s.Open)
	e.GET("/login/with/:id/return", func(c echo.Context) error {
		next, err := s.FinishLogIn(c, uuid.MustParse(c.Param("id")))
		if err != nil {
			return err
		}
		return c.Redirect(http.StatusSeeOther, next)
	}, s.Open)
	return nil
}

// hostile is a provider that does as the protocol says, or not, as a test wants it. It is written for these tests; a
// provider of other people's making is asked in openid_full_test.go.
type hostile struct {
	*httptest.Server
	t      *testing.T
	mu     sync.Mutex
	key    *ecdsa.PrivateKey
	keyID  string
	codes  map[string]url.Values // authorization requests by their code
	spoil  func(claims map[string]any)
	alg    string
	issuer string // that discovery tells, "" for its own
	auth   string // authorization endpoint that discovery tells, "" for its own
	info   map[string]any
}

func newHostile(t *testing.T) *hostile {
	h := &hostile{t: t, codes: map[string]url.Values{}}
	h.rotate()
	mux := http.NewServeMux()
	mux.HandleFunc("/.well-known/openid-configuration", h.discovery)
	mux.HandleFunc("/keys", h.keys)
	mux.HandleFunc("/token", h.token)
	mux.HandleFunc("/info", func(w http.ResponseWriter, _ *http.Request) { h.write(w, h.info) })
	h.Server = httptest.NewServer(mux)
	t.Cleanup(h.Close)
	return h
}

func (h *hostile) rotate() {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(h.t, err)
	h.mu.Lock()
	defer h.mu.Unlock()
	h.key, h.keyID = key, uuid.NewString()
}

func (h *hostile) write(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(v)
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func (h *hostile) discovery(w http.ResponseWriter, _ *http.Request) {
	h.write(w, map[string]any{
		"issuer": or(h.issuer, h.URL), "authorization_endpoint": or(h.auth, h.URL+"/authorize"), "token_endpoint": h.URL + "/token", "jwks_uri": h.URL + "/keys",
		"userinfo_endpoint": h.URL + "/info", "id_token_signing_alg_values_supported": []string{"ES256", "HS256", "none"},
	})
}

func (h *hostile) keys(w http.ResponseWriter, _ *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.write(w, jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: h.key.Public(), KeyID: h.keyID, Algorithm: "ES256", Use: "sig"}}})
}

// consent is what the provider does after somebody has logged in there: it gives a code for the request.
func (h *hostile) consent(address string) (back *url.URL) {
	at, err := url.Parse(address)
	require.NoError(h.t, err)
	q := at.Query()
	code := uuid.NewString()
	h.mu.Lock()
	h.codes[code] = q
	h.mu.Unlock()
	back, err = url.Parse(q.Get("redirect_uri"))
	require.NoError(h.t, err)
	back.RawQuery = url.Values{"code": {code}, "state": {q.Get("state")}}.Encode()
	return back
}

func (h *hostile) token(w http.ResponseWriter, r *http.Request) {
	h.mu.Lock()
	defer h.mu.Unlock()
	q := h.codes[r.FormValue("code")]
	delete(h.codes, r.FormValue("code"))
	sum := sha256.Sum256([]byte(r.FormValue("code_verifier")))
	_, secret, _ := r.BasicAuth()
	if q == nil || q.Get("code_challenge") != base64.RawURLEncoding.EncodeToString(sum[:]) || q.Get("code_challenge_method") != "S256" || or(secret, r.FormValue("client_secret")) != "provider-secret" {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusBadRequest)
		h.write(w, map[string]any{"error": "invalid_grant"})
		return
	}
	now := time.Now().Unix()
	claims := map[string]any{"iss": or(h.issuer, h.URL), "sub": "subject-1", "aud": q.Get("client_id"), "iat": now, "exp": now + 300, "nonce": q.Get("nonce"),
		"email": "ines@harbour.example", "email_verified": true, "name": "Ines Haddal", "auth_time": now}
	if h.spoil != nil {
		h.spoil(claims)
	}
	body, _ := json.Marshal(claims)
	h.write(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": h.sign(body)})
}

func (h *hostile) sign(body []byte) string {
	if h.alg == "none" {
		return base64.RawURLEncoding.EncodeToString([]byte(`{"alg":"none"}`)) + "." + base64.RawURLEncoding.EncodeToString(body) + "."
	}
	key := jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: h.key, KeyID: h.keyID}}
	if h.alg == "HS256" { // with what is public as the key
		key = jose.SigningKey{Algorithm: jose.HS256, Key: []byte(strings.Repeat("house", 10))}
	}
	signer, err := jose.NewSigner(key, nil)
	require.NoError(h.t, err)
	signed, err := signer.Sign(body)
	require.NoError(h.t, err)
	text, err := signed.CompactSerialize()
	require.NoError(h.t, err)
	return text
}

// door is a service whose studio has the hostile provider.
type door struct {
	*service
	h      *hostile
	studio *person
	id     string // of the provider
}

func newDoor(t *testing.T) *door {
	s := start(t)
	d := &door{service: s, h: newHostile(t), studio: s.studio("Harbour Works", "ines@harbour.example")}
	a := d.studio.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": d.h.URL, "client_id": "house", "client_secret": "provider-secret", "required": false})
	d.id = a.get(t, "id")
	require.Equal(t, s.base+"/login/with/"+d.id, a.get(t, "log_in_at"))
	require.Equal(t, s.base+"/login/with/"+d.id+"/return", a.get(t, "return_address"))
	require.NotContains(t, string(a.body), "provider-secret")
	return d
}

// begin is a browser that goes to the provider: its cookies and where it was sent.
func (d *door) begin(query string, cookies ...string) (browser, to string) {
	a := d.nobody().do("GET", "/login/with/"+d.id+query, nil, "Cookie", strings.Join(cookies, "; "))
	require.Equal(d.t, http.StatusSeeOther, a.status, string(a.body))
	for _, c := range a.header.Values("Set-Cookie") {
		cookies = append(cookies, strings.Split(c, ";")[0])
		require.Contains(d.t, c, "HttpOnly")
		require.Contains(d.t, c, "SameSite=Lax")
	}
	return strings.Join(cookies, "; "), a.header.Get("Location")
}

// back is the browser coming back from the provider.
func (d *door) back(browser string, to *url.URL) answer {
	return d.nobody().do("GET", to.RequestURI(), nil, "Cookie", browser)
}

func sessionCookie(a answer) string {
	for _, c := range a.header.Values("Set-Cookie") {
		if strings.HasPrefix(c, "proofhouse_session=") {
			return strings.Split(c, ";")[0]
		}
	}
	return ""
}

func TestLogInByAProvider(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	browser, to := d.begin("?next=/orders")
	q, err := url.Parse(to)
	require.NoError(t, err)
	require.Equal(t, "code openid email profile S256 house", strings.Join([]string{q.Query().Get("response_type"), q.Query().Get("scope"), q.Query().Get("code_challenge_method"), q.Query().Get("client_id")}, " "))
	require.GreaterOrEqual(t, len(q.Query().Get("state")), 22, "RFC 6749, section 10.10: 128 bits at least; base32 here")
	require.NotEqual(t, q.Query().Get("state"), q.Query().Get("nonce"))
	a := d.back(browser, d.h.consent(to))
	require.Equal(t, http.StatusSeeOther, a.status, "%s %s", a.body, d.logs)
	require.Equal(t, "/orders", a.header.Get("Location"))
	me := &person{s: d.service, cookie: sessionCookie(a)}
	require.Equal(t, "First of Harbour Works", me.ok("GET", "/v1/me", nil).get(t, "name"), "the member that is there, with its own name")
	list := me.ok("GET", "/v1/sessions", nil)
	require.Equal(t, "provider", list.get(t, "items.0.via"))

	// The next time the subject is known; the provider's keys have changed meanwhile, and its e-mail too.
	d.h.rotate()
	d.h.spoil = func(c map[string]any) { c["email"], c["email_verified"] = "other@harbour.example", false }
	browser, to = d.begin("")
	require.Equal(t, http.StatusSeeOther, d.back(browser, d.h.consent(to)).status, "key rotation")

	// A party that requires its provider takes no password, by form or by program.
	me.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": d.h.URL, "client_id": "house", "required": true})
	a = d.nobody().do("POST", "/v1/sessions", map[string]any{"email": "ines@harbour.example", "password": password})
	require.Equal(t, http.StatusUnauthorized, a.status)
	require.Contains(t, string(a.body), "takes no passwords")
	require.Equal(t, http.StatusUnauthorized, d.studio.do("GET", "/v1/me", nil).status, "the session of the password is over")
	browser, to = d.begin("")
	require.Equal(t, http.StatusSeeOther, d.back(browser, d.h.consent(to)).status)
}

// Every answer that is not as it must be lets nobody in.
func TestProvidersAnswersAreNotTrusted(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	for name, spoil := range map[string]func(c map[string]any){
		"wrong nonce":                     func(c map[string]any) { c["nonce"] = "another" },
		"no nonce":                        func(c map[string]any) { delete(c, "nonce") },
		"made for another client":         func(c map[string]any) { c["aud"] = "another" },
		"made for two, issued to another": func(c map[string]any) { c["aud"], c["azp"] = []string{"house", "another"}, "another" },
		"made for two, issued to nobody":  func(c map[string]any) { c["aud"] = []string{"house", "another"} },
		"another issuer":                  func(c map[string]any) { c["iss"] = "https://elsewhere.example" },
		"run out":                         func(c map[string]any) { c["exp"] = time.Now().Add(-time.Minute).Unix() },
		"e-mail not verified":             func(c map[string]any) { c["email_verified"] = false },
		"nothing said of verifying":       func(c map[string]any) { delete(c, "email_verified") },
		"verified in odd words":           func(c map[string]any) { c["email_verified"] = "yes" },
		"an e-mail that nobody has":       func(c map[string]any) { c["email"] = "stranger@harbour.example" },
		"no subject":                      func(c map[string]any) { delete(c, "sub") },
		"user info of somebody else": func(c map[string]any) {
			delete(c, "email")
			d.h.info = map[string]any{"sub": "x", "email": "ines@harbour.example", "email_verified": true}
		},
	} {
		d.h.spoil = spoil
		browser, to := d.begin("")
		a := d.back(browser, d.h.consent(to))
		require.Equal(t, http.StatusUnauthorized, a.status, "%s: %s", name, a.body)
		require.Empty(t, sessionCookie(a), name)
	}
	d.h.spoil = nil
	for _, alg := range []string{"none", "HS256"} {
		d.h.alg = alg
		browser, to := d.begin("")
		require.Equal(t, http.StatusUnauthorized, d.back(browser, d.h.consent(to)).status, alg)
	}
	d.h.alg = ""

	// Signed by a key that the provider does not publish.
	browser, to := d.begin("")
	other, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	good := d.h.key
	back := d.h.consent(to)
	d.h.Config.Handler.(*http.ServeMux).HandleFunc("/forged", func(http.ResponseWriter, *http.Request) {})
	d.h.mu.Lock()
	d.h.key = other
	d.h.mu.Unlock()
	d.h.spoil = func(map[string]any) {}
	served := jose.JSONWebKeySet{Keys: []jose.JSONWebKey{{Key: good.Public(), KeyID: d.h.keyID, Algorithm: "ES256", Use: "sig"}}}
	d.h.Config.Handler = swapped(d.h.Config.Handler, "/keys", func(w http.ResponseWriter) { d.h.write(w, served) })
	require.Equal(t, http.StatusUnauthorized, d.back(browser, back).status, "a forged signature")
	require.Contains(t, d.logs.String(), "log-in by a provider refused")
	require.NotContains(t, d.logs.String(), "provider-secret")
	require.NotContains(t, d.logs.String(), "eyJ", "no token is logged")
}

func swapped(h http.Handler, path string, with func(http.ResponseWriter)) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == path {
			with(w)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// The ways to slip somebody else's answer to a browser.
func TestProvidersAnswersAreBoundToTheBrowser(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	refused := func(name, browser string, to *url.URL) {
		a := d.back(browser, to)
		require.Equal(t, http.StatusUnauthorized, a.status, "%s: %s", name, a.body)
		require.Empty(t, sessionCookie(a), name)
	}
	// The attacker begins, and has the victim's browser finish: the victim would work in the attacker's account.
	attackers, to := d.begin("")
	victims, _ := d.begin("")
	refused("state of another browser", victims, d.h.consent(to))
	refused("a browser that began nothing", "", d.h.consent(to))
	// A code that was used, and an answer sent twice.
	back := d.h.consent(to)
	require.Equal(t, http.StatusSeeOther, d.back(attackers, back).status)
	refused("replayed answer", attackers, back)
	mine, to := d.begin("")
	replay := d.h.consent(to)
	q := replay.Query()
	q.Set("code", back.Query().Get("code"))
	replay.RawQuery = q.Encode()
	refused("replayed code under a fresh state", mine, replay)
	// A code from somebody else's log-in: PKCE binds it to the browser that began.
	theirs, toTheirs := d.begin("")
	stolen := d.h.consent(toTheirs)
	mine, to = d.begin("")
	injected := d.h.consent(to)
	q = injected.Query()
	q.Set("code", stolen.Query().Get("code"))
	injected.RawQuery = q.Encode()
	refused("stolen code", mine, injected)
	_ = theirs
	// An answer that says that it is another provider's (RFC 9207).
	mine, to = d.begin("")
	mixed := d.h.consent(to)
	q = mixed.Query()
	q.Set("iss", "https://elsewhere.example")
	mixed.RawQuery = q.Encode()
	refused("another issuer", mine, mixed)
	// The provider says no.
	mine, to = d.begin("")
	no := d.h.consent(to)
	q = no.Query()
	q.Del("code")
	q.Set("error", "access_denied")
	no.RawQuery = q.Encode()
	refused("refused by the provider", mine, no)
	// Two tabs of one browser both finish.
	tab, first := d.begin("")
	_, second := d.begin("", tab)
	require.Equal(t, http.StatusSeeOther, d.back(tab, d.h.consent(second)).status)
	require.Equal(t, http.StatusSeeOther, d.back(tab, d.h.consent(first)).status)
}

func TestJoiningByAProvider(t *testing.T) {
	t.Parallel()
	d := newDoor(t)
	party := d.studio.ok("GET", "/v1/me", nil).get(t, "party_id")
	secret := d.studio.ok("POST", "/v1/invitations", map[string]any{"party_id": party, "email": "new@harbour.example", "roles": []string{"art_director"}}).get(t, "secret")
	d.h.spoil = func(c map[string]any) { c["sub"], c["email"], c["name"] = "subject-2", "someone@harbour.example", "N" }
	browser, to := d.begin("?invitation=" + secret)
	require.Equal(t, http.StatusUnauthorized, d.back(browser, d.h.consent(to)).status, "the invitation is for somebody else")
	d.h.spoil = func(c map[string]any) {
		c["sub"], c["email"], c["name"] = "subject-2", "new@harbour.example", "Nele Voss"
	}
	browser, to = d.begin("?invitation=" + secret)
	a := d.back(browser, d.h.consent(to))
	require.Equal(t, http.StatusSeeOther, a.status, string(a.body))
	me := &person{s: d.service, cookie: sessionCookie(a)}
	require.Equal(t, "Nele Voss", me.ok("GET", "/v1/me", nil).get(t, "name"))
	require.Equal(t, "art_director", me.ok("GET", "/v1/me", nil).get(t, "roles.0"))
	me.ok("POST", "/v1/me/password", map[string]any{"old": "none so far", "new": "a long sentence of my own"}) // who has none sets one, vouched for
	require.Equal(t, http.StatusCreated, d.nobody().do("POST", "/v1/sessions", map[string]any{"email": "new@harbour.example", "password": "a long sentence of my own"}).status)
}

// What a party may name as its provider.
func TestProvidersAddresses(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	put := func(issuer string) answer {
		return studio.do("PUT", "/v1/log-in-provider", map[string]any{"issuer": issuer, "client_id": "house", "required": false})
	}
	var inner int
	victim := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { inner++ }))
	defer victim.Close()
	port := victim.URL[strings.LastIndexByte(victim.URL, ':'):]
	for _, address := range []string{"https://127.0.0.2" + port, "http://127.0.0.2" + port, "https://10.1.2.3", "https://169.254.169.254/latest", "https://[::1]" + port, "https://[::ffff:10.0.0.1]"} {
		a := put(address)
		require.Equal(t, 503, a.status, "%s: %s", address, a.body)
		require.Equal(t, "/problems/provider-unavailable", a.get(t, "type"))
		require.NotContains(t, string(a.body), "refused", "what stands inside is not told")
	}
	require.Zero(t, inner)
	require.Equal(t, 422, put("gopher://x").status)

	h := newHostile(t)
	h.issuer = "https://login.other.example"
	require.Equal(t, 503, put(h.URL).status, "its own discovery says that it is another")
	h.issuer = ""
	for _, elsewhere := range []string{"javascript:alert(1)", "ftp://x.example/authorize", "/relative"} {
		h.auth = elsewhere
		require.Equal(t, 503, put(h.URL).status, elsewhere)
	}
	h.auth = ""
	require.Equal(t, 200, put(h.URL).status)
	require.Equal(t, 404, s.nobody().do("GET", "/login/with/"+uuid.NewString(), nil).status)
	studio.ok("DELETE", "/v1/log-in-provider", nil)
	require.Equal(t, 404, studio.do("GET", "/v1/log-in-provider", nil).status)
}
