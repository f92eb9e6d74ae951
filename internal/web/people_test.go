package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTokens(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	page := b.get("/account")
	form := page.form("/account/token")
	require.Equal(t, []string{"deliver"}, form["scopes"], "what a vendor's program needs is chosen")
	require.Equal(t, "90", form.Get("days"))

	refused := b.post("/account/token", url.Values{"name": {"  "}, "scopes": {"deliver"}, "days": {"7"}, "once": {"a"}})
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "The name needs 1 to 100 characters.")
	refused = b.post("/account/token", url.Values{"name": {"my desk"}, "days": {"7"}, "once": {"b"}})
	require.Contains(t, refused.text("[role=alert]"), "What it may do needs at least one scope.")
	kept := refused.form("/account/token")
	require.Equal(t, "my desk", kept.Get("name"))
	require.Equal(t, "7", kept.Get("days"))
	require.Empty(t, kept["scopes"])

	form.Set("name", "my desk")
	made := b.post("/account/token", form)
	require.Equal(t, http.StatusOK, made.status, made.text("main"))
	wellMade(t, made)
	command := made.text(".command")
	secret, found := strings.CutPrefix(command, "export PROOFHOUSE_TOKEN=")
	require.True(t, found, command)
	require.Equal(t, http.StatusOK, w.bearer(secret))

	again := b.post("/account/token", form).follow() // a reload of the page with the secret
	require.Contains(t, again.text("[role=status]"), "Its secret was shown once and is not kept")
	require.NotContains(t, again.body, secret)
	require.Len(t, again.all("tbody tr"), 1)

	require.Equal(t, http.StatusNotFound, w.logIn(ada).post(again.attrs("tbody form", "action")[0], nil).status, "nobody revokes another's")
	revoked := again.submit(again.attrs("tbody form", "action")[0]).follow()
	require.Contains(t, revoked.text("[role=status]"), "The token is revoked.")
	require.Contains(t, revoked.text("tbody"), "revoked")
	require.False(t, revoked.has("tbody form"))
	require.Equal(t, http.StatusUnauthorized, w.bearer(secret))
}

// bearer asks the interface who is calling.
func (w *world) bearer(secret string) int {
	w.t.Helper()
	r, err := http.NewRequestWithContext(w.t.Context(), http.MethodGet, w.base+"/v1/me", nil)
	require.NoError(w.t, err)
	r.Header.Set("Authorization", "Bearer "+secret)
	return w.nobody().send(r).status
}

func TestChangingThePassword(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b, elsewhere := w.logIn(ole), w.logIn(ole)
	const fresh = "another sentence, just as long"
	change := func(old, next, again string) *page {
		return b.get("/account").submit("/account/password", "old", old, "new", next, "again", again)
	}
	for name, c := range map[string]struct{ old, next, again, why string }{
		"differ":    {password, fresh, fresh + "!", "The two new passwords differ."},
		"wrong old": {"not it, not it at all", fresh, fresh, "The present password is not right."},
		"short":     {password, "short", "short", "The password"},
	} {
		p := change(c.old, c.next, c.again)
		require.Equal(t, http.StatusUnprocessableEntity, p.status, name)
		require.Contains(t, p.text("[role=alert]"), c.why, name)
		require.NotContains(t, p.body, fresh, name)
	}
	require.Equal(t, http.StatusOK, elsewhere.get("/").status)
	for range 2 { // the second click too
		p := change(password, fresh, fresh).follow()
		require.Contains(t, p.text("[role=status]"), "Your password is changed")
	}
	require.Equal(t, http.StatusSeeOther, elsewhere.get("/").status, "other sessions are over")
	require.Equal(t, http.StatusUnauthorized, w.nobody().get("/login").submit("/login", "email", ole, "password", password).status)
	require.Equal(t, http.StatusSeeOther, w.nobody().get("/login").submit("/login", "email", ole, "password", fresh).status)
}

func TestInvitingAndJoining(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	people := b.get("/people")
	require.Contains(t, people.text("main"), "Every vendor above has people of its own.")
	require.False(t, people.has("#lead-party"), "a studio invites into no vendor that has people")
	require.Equal(t, []string{"Ines Haddal", "Petra Quist", "Marek Osei", "Noor Lindqvist", "Brackwater Props", "Ninth Lock Workshop"}, people.texts("tbody th"))

	refused := people.submit("/people/invitation", "?party", w.who[petra].Party.String(), "email", "no address")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "The role needs at least one role.")
	require.Equal(t, []string{"no address"}, refused.attrs("#colleague-email", "value"))

	engaged := people.submit("/people/vendor", "name", "Tarbarrel Models").follow()
	require.Contains(t, engaged.text("[role=status]"), "The vendor is taken on.")
	require.Equal(t, []string{"Tarbarrel Models"}, engaged.texts("#lead-party option"))
	party := engaged.attrs("#lead-party option", "value")[0]
	form := with(engaged.form("/people/invitation", "?into", "vendor"), "party", party, "email", "una@tarbarrel.example")
	made := b.post("/people/invitation", form)
	require.Equal(t, http.StatusOK, made.status, made.text("main"))
	wellMade(t, made)
	require.Contains(t, made.text(".notice h2"), "An invitation for una@tarbarrel.example to Tarbarrel Models")
	link, found := strings.CutPrefix(made.text(".command"), w.base)
	require.True(t, found)
	require.Contains(t, made.text(".notice"), "Send this link to them alone.", "nothing is mailed here")
	late, _ := strings.CutPrefix(b.post("/people/invitation", with(form, "email", "ben@tarbarrel.example", "once", "second")).text(".command"), w.base)
	again := b.post("/people/invitation", form).follow()
	require.Contains(t, again.text("[role=status]"), "Its link was shown once")
	require.NotContains(t, again.body, link)

	joining := w.nobody()
	join := joining.get(link)
	wellMade(t, join)
	require.Equal(t, "Join Tarbarrel Models", join.text("h1"))
	refused = join.submit(link, "name", "Una Voss", "password", "short")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Equal(t, []string{"Una Voss"}, refused.attrs("#name", "value"))
	words := with(join.form(link), "name", "Una Voss", "password", password)
	require.Equal(t, "/", joining.post(link, words).header.Get("Location"))
	require.Equal(t, http.StatusOK, joining.get("/").status, "whoever joins is logged in")
	require.Equal(t, "/", w.nobody().post(link, words).header.Get("Location"), "a second click finds the account that the first made")
	used := w.nobody().get(link)
	require.Equal(t, http.StatusUnauthorized, used.status)
	require.Contains(t, used.text("main"), "Ask for a new invitation.")
	for _, p := range []*page{w.nobody().get(late), w.nobody().post(late, url.Values{"name": {"Ben Tal"}, "password": {password}})} {
		require.Equal(t, http.StatusConflict, p.status)
		wellMade(t, p)
		require.Equal(t, "This invitation came too late", p.text("h1"))
		require.Equal(t, "Tarbarrel Models has people of its own by now; ask its lead for an invitation.", p.text("[role=alert]"))
		require.False(t, p.has("form[method=post] [name=password]"))
	}
	third := b.post("/people/invitation", with(form, "email", "cleo@tarbarrel.example", "once", "third")) // by a page from before
	require.Equal(t, http.StatusConflict, third.status)
	require.Equal(t, "Tarbarrel Models has people of its own; its lead invites further ones.", third.text("[role=alert]"))
	stranger := w.nobody().post(link, with(words, "password", "not the password at all"))
	require.Equal(t, http.StatusUnauthorized, stranger.status)
	taken := w.nobody()
	second := "/join/" + w.invitation(ines, w.who[ines].Party, ole, "producer")
	refused = taken.get(second).submit(second, "name", "Ole", "password", password)
	require.Equal(t, http.StatusConflict, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "This e-mail has an account already.")
}

func TestWhoMayInvite(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for email, forms := range map[string]int{petra: 2, marek: 0, ole: 1, ada: 0} {
		require.Len(t, w.logIn(email).get("/people").all("main form"), forms, email)
	}
	lead := w.logIn(ole)
	made := lead.get("/people").submit("/people/invitation", "email", "bo@brackwater.example", "roles", "vendor_artist")
	require.Contains(t, made.text(".notice h2"), "An invitation for bo@brackwater.example to Brackwater Props")
	refused := lead.get("/people").submit("/people/invitation", "email", "bo@brackwater.example", "roles", "art_director")
	require.Contains(t, refused.text("[role=alert]"), "is not a role of a vendor")
	for name, party := range map[string]string{"another vendor": w.who[tamsin].Party.String(), "the studio": w.who[ines].Party.String(), "nonsense": "x"} {
		p := lead.post("/people/invitation", url.Values{"party": {party}, "email": {"x@brackwater.example"}, "roles": {"vendor_lead"}, "once": {name}})
		require.Contains(t, []int{http.StatusForbidden, http.StatusNotFound}, p.status, name)
		require.NotContains(t, p.body, "/join/", name)
	}
	artist := w.logIn(ada).post("/people/invitation", url.Values{"party": {w.who[ada].Party.String()}, "email": {"x@brackwater.example"}, "roles": {"vendor_lead"}, "once": {"c"}})
	require.Equal(t, http.StatusForbidden, artist.status)
}
