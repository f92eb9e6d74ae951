//go:build full

package httpapi_test

import (
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"proofhouse/internal/oracle"
)

// TestLogInByAnotherProgramsProvider goes the whole way with a provider of other people's making (npm oidc-provider, certified by
// the OpenID Foundation by its own account): its log-in and consent pages filled in as a browser would, its discovery,
// PKCE, codes, tokens, user info and keys, and its own refusals.
func TestLogInByAnotherProgramsProvider(t *testing.T) {
	t.Parallel()
	s := start(t)
	studio := s.studio("Harbour Works", "ines@harbour.example")
	node := oracle.Start(t, "provider.mjs")
	// Where it sends answers to must be known before it begins, and that address holds an id given later: set it twice.
	set := func(issuer, client, secret string) answer {
		return studio.ok("PUT", "/v1/log-in-provider", map[string]any{"issuer": issuer, "client_id": client, "client_secret": secret, "required": false})
	}
	returns := set(newHostile(t).URL, "x", "y").get(t, "return_address")
	var at struct {
		Issuer string `json:"issuer"`
		Client string `json:"client_id"`
		Secret string `json:"client_secret"`
	}
	node.Ask(map[string]any{"redirect": returns}, &at)
	login := set(at.Issuer, at.Client, at.Secret).get(t, "log_in_at")

	b := newRealBrowser(t)
	require.Equal(t, "/orders", b.logIn(login+"?next=/orders", "ines"))
	me := &person{s: s, cookie: b.cookie(s.base, "proofhouse_session")}
	require.Equal(t, "First of Harbour Works", me.ok("GET", "/v1/me", nil).get(t, "name"))
	require.Equal(t, "provider", me.ok("GET", "/v1/sessions", nil).get(t, "items.0.via"))

	// The answer sent once more, also by a browser that begins anew: the state is used up, and the code too.
	require.Equal(t, http.StatusUnauthorized, b.get(b.returned).StatusCode)
	b.get(login)
	require.Equal(t, http.StatusUnauthorized, b.get(b.returned).StatusCode)

	// Somebody whom the provider knows and nobody here has invited.
	require.Equal(t, "", newRealBrowser(t).logIn(login, "stranger"))

	// Its keys change; the next log-in finds the new ones.
	node.Ask(map[string]any{"rotate": true}, &at)
	require.Equal(t, "/", newRealBrowser(t).logIn(login+"?next=/", "ines"))

	// An answer to a place that is not registered there is refused there: the provider does not redirect.
	other := returns[:len(returns)-len("return")] + "elsewhere"
	first := newRealBrowser(t)
	resp := first.get(login)
	to, err := url.Parse(resp.Header.Get("Location"))
	require.NoError(t, err)
	q := to.Query()
	q.Set("redirect_uri", other)
	to.RawQuery = q.Encode()
	resp = first.get(to.String())
	require.Equal(t, http.StatusBadRequest, resp.StatusCode)
	require.Empty(t, resp.Header.Get("Location"))
	var none struct{}
	node.Ask(map[string]any{"stop": true}, &none)
}

// realBrowser keeps cookies and fills in forms.
type realBrowser struct {
	t        *testing.T
	client   *http.Client
	returned string // address by which it came back
}

func newRealBrowser(t *testing.T) *realBrowser {
	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	return &realBrowser{t: t, client: &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

func (b *realBrowser) get(address string) *http.Response {
	resp, err := b.client.Get(address)
	require.NoError(b.t, err)
	return resp
}

func (b *realBrowser) cookie(base, name string) string {
	at, err := url.Parse(base)
	require.NoError(b.t, err)
	for _, c := range b.client.Jar.Cookies(at) {
		if c.Name == name {
			return c.Name + "=" + c.Value
		}
	}
	return ""
}

// logIn follows redirects and fills in what it is asked until the service sends it on or refuses: the page that it is sent
// to, or "".
func (b *realBrowser) logIn(address, name string) string {
	resp := b.get(address)
	for range 20 {
		at := resp.Request.URL
		if resp.StatusCode >= 300 && resp.StatusCode < 400 {
			to, err := at.Parse(resp.Header.Get("Location"))
			require.NoError(b.t, err)
			if strings.HasSuffix(at.Path, "/return") {
				return to.RequestURI()
			}
			if strings.HasSuffix(to.Path, "/return") {
				b.returned = to.String()
			}
			resp = b.get(to.String())
			continue
		}
		if strings.HasSuffix(at.Path, "/return") {
			require.Equal(b.t, http.StatusUnauthorized, resp.StatusCode)
			return ""
		}
		require.Equal(b.t, http.StatusOK, resp.StatusCode, at)
		action, form := b.form(resp.Body, name)
		to, err := at.Parse(action)
		require.NoError(b.t, err)
		resp, err = b.client.PostForm(to.String(), form)
		require.NoError(b.t, err)
	}
	require.Fail(b.t, "no end of redirects")
	return ""
}

// form reads the page's form and fills in the name.
func (b *realBrowser) form(page io.Reader, name string) (action string, form url.Values) {
	root, err := html.Parse(page)
	require.NoError(b.t, err)
	form = url.Values{}
	for n := range root.Descendants() {
		attr := map[string]string{}
		for _, a := range n.Attr {
			attr[a.Key] = a.Val
		}
		switch {
		case n.Data == "form" && action == "":
			action = attr["action"]
		case n.Data == "input" && attr["name"] != "":
			form.Set(attr["name"], attr["value"])
			if attr["name"] == "login" || attr["name"] == "password" {
				form.Set(attr["name"], name)
			}
		}
	}
	require.NotEmpty(b.t, action, "a page with a form")
	return action, form
}
