package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// One's sessions are listed and ended, the party's log-in is a lead's to set, and who did what is a lead's to read.
func TestDoors(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	here, there := w.logIn(ole), w.logIn(ole)
	page := here.get("/doors")
	wellMade(t, page)
	var ends []string
	for _, f := range page.all("form[method=post]") {
		if action := attr(f, "action"); strings.HasPrefix(action, "/doors/session/") {
			ends = append(ends, action)
		}
	}
	require.Len(t, ends, 1, "all but this one")
	require.Equal(t, http.StatusOK, there.get("/account").status)
	require.Equal(t, http.StatusSeeOther, here.post(ends[0], url.Values{}).status)
	require.Equal(t, http.StatusSeeOther, there.get("/account").status, "logged out")
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).post(ends[0], url.Values{}).status, "somebody else's")
	third := w.logIn(ole)
	require.Equal(t, "/doors?done=others", here.post("/doors/others/revocation", url.Values{}).header.Get("Location"))
	require.Equal(t, http.StatusSeeOther, third.get("/account").status)
	require.Equal(t, http.StatusOK, here.get("/account").status)

	// An address that may not be called is told on the form, with what was typed and without the secret.
	p := here.post("/doors/provider", url.Values{"issuer": {"https://10.0.0.7"}, "client_id": {"house"}, "client_secret": {"canary-secret"}})
	require.Equal(t, http.StatusServiceUnavailable, p.status)
	require.Contains(t, p.body, `value="https://10.0.0.7"`)
	require.NotContains(t, p.body, "canary-secret")
	require.NotEmpty(t, p.text(".refused"))
	require.Contains(t, here.get("/doors").text("#provider"), "give "+w.base+"/ for now", "a provider asks for a return address before there is one")
	require.Empty(t, w.logIn(ada).get("/doors").all("input[name=issuer]"), "an artist sets none")
	require.Equal(t, http.StatusForbidden, w.logIn(ada).get("/access").status)
	require.Equal(t, http.StatusNotFound, w.nobody().get("/login/with/nonsense").status)

	list := here.get("/access?act=sessions_ended")
	wellMade(t, list)
	require.Contains(t, list.text("tbody"), "ended all other sessions")
	require.NotContains(t, here.get("/access").body, "Tamsin")
	here.language = "de"
	require.Contains(t, here.get("/doors").text("h1"), "Anmeldung und Sitzungen")
}
