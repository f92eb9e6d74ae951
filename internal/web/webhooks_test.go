package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func (w *world) postKey() ledger.PostKey {
	w.t.Helper()
	key, err := ledger.ParsePostKey("c2VhbHMgdGhlIHNlY3JldHMgb2YgdGhlIHRlc3RzISE=")
	require.NoError(w.t, err)
	return key
}

func TestWebhookPages(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	page := b.get("/account/webhooks")
	wellMade(t, page)
	require.Contains(t, page.text(".empty"), "No program listens yet")
	refused := b.post("/account/webhooks/new", url.Values{"url": {"http://hooks.brackwater.example/in"}, "kinds": {"spec.offered"}, "once": {"a"}})
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "The address must be https.")
	kept := refused.form("/account/webhooks/new")
	require.Equal(t, []string{"http://hooks.brackwater.example/in", "spec.offered"}, []string{kept.Get("url"), kept.Get("kinds")}, "nothing typed is lost")
	kept.Set("url", "https://hooks.brackwater.example/in")
	made := b.post("/account/webhooks/new", kept)
	require.Equal(t, http.StatusOK, made.status)
	wellMade(t, made)
	require.True(t, strings.HasPrefix(made.text(".command"), "whsec_"))
	require.NotContains(t, b.post("/account/webhooks/new", kept).follow().body, "whsec_", "shown once")

	list := b.get("/account/webhooks")
	wellMade(t, list)
	at := list.attrs("tbody th a", "href")[0]
	one := b.get(at)
	wellMade(t, one)
	require.Contains(t, one.text(".empty"), "Nothing has been sent yet")
	pinged := one.submit(at + "/ping").follow()
	require.Contains(t, pinged.text("tbody"), "ping")
	require.Contains(t, pinged.text("tbody"), "not tried yet")
	wellMade(t, pinged)
	turned := pinged.submit(at + "/secret")
	require.True(t, strings.HasPrefix(turned.text(".command"), "whsec_"))
	require.NotEqual(t, made.text(".command"), turned.text(".command"))
	require.Contains(t, b.get(at).body, "The secret before signs too until")

	form := b.get(at).form(at + "/change")
	require.Equal(t, []string{"1", "spec.offered"}, []string{form.Get("on"), form.Get("kinds")})
	form.Del("on")
	require.Contains(t, b.post(at+"/change", form).follow().text(".facts"), "switched off")
	again := b.post(at+"/replay", url.Values{"since": {"2026-01-01"}, "once": {"r"}})
	require.Equal(t, http.StatusConflict, again.status, "it is switched off")
	require.Contains(t, b.post(at+"/replay", url.Values{"since": {"never"}, "once": {"s"}}).text("[role=alert]"), "is not a day")

	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(at).status, "another vendor's")
	require.Equal(t, http.StatusForbidden, w.logIn(ada).get("/account/webhooks").status, "an artist's there are none")
	removed := b.get(at).submit(at + "/removal").follow()
	require.Contains(t, removed.text("[role=status]"), "Removed")
	require.Equal(t, http.StatusNotFound, b.get(at).status)
}

func TestMailChoices(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	page := b.get("/account/mail")
	wellMade(t, page)
	form := page.form("/account/mail")
	require.Empty(t, form.Get("topic-decision"), "the topic's own rule")
	form.Set("topic-decision", "never")
	form.Set("topic-question", "at_once")
	kept := b.post("/account/mail", form).follow()
	require.Contains(t, kept.text("[role=status]"), "Kept")
	require.Equal(t, []string{"never", "at_once", ""}, func() []string {
		f := kept.form("/account/mail")
		return []string{f.Get("topic-decision"), f.Get("topic-question"), f.Get("topic-due")}
	}())
}

// The pages around a forgotten password. The mail itself is internal/post's; the link is read where it stands.
func TestForgottenPassword(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.nobody()
	page := b.get("/reset")
	wellMade(t, page)
	known := b.post("/reset", url.Values{"email": {ole}})
	unknown := b.post("/reset", url.Values{"email": {"nobody@brackwater.example"}})
	require.Equal(t, strings.ReplaceAll(known.text("main"), ole, "X"), strings.ReplaceAll(unknown.text("main"), "nobody@brackwater.example", "X"), "nobody learns who is known")
	letters, err := ledger.NewPost(w.db.Pool(ledger.RolePost), w.postKey()).ClaimMails(t.Context(), 10)
	require.NoError(t, err)
	require.Len(t, letters, 1)
	link := "/reset/" + letters[0].Secret
	wellMade(t, b.get(link))
	require.Contains(t, b.post(link, url.Values{"new": {"one long password"}, "again": {"another long one"}}).text("[role=alert]"), "differ")
	require.Contains(t, b.post(link, url.Values{"new": {"short"}, "again": {"short"}}).text("[role=alert]"), "password")
	old := w.logIn(ole)
	done := b.post(link, url.Values{"new": {"a wholly new password"}, "again": {"a wholly new password"}})
	require.Contains(t, done.text("[role=status]"), "Your new password is set")
	require.Equal(t, http.StatusSeeOther, old.get("/account").status, "every session is over")
	require.Equal(t, http.StatusGone, b.get(link).status, "once")
	require.Equal(t, http.StatusGone, b.get("/reset/phr_madeup").status)

	stop := "/mail/stop/" + w.who[ole].Member.String() + "/" + letters[0].Stop
	wellMade(t, b.get(stop))
	require.Equal(t, http.StatusNotFound, b.post(stop+"x", nil).status)
	require.Contains(t, b.post(stop, url.Values{"List-Unsubscribe": {"One-Click"}}).text("[role=status]"), "no more news")
	require.False(t, regexp.MustCompile(`phr_|phm_`).MatchString(w.mailTable()), "no link rests in the database")
}

func (w *world) mailTable() (text string) {
	w.t.Helper()
	require.NoError(w.t, w.db.Pool(ledger.RolePost).QueryRow(w.t.Context(), `SELECT coalesce(string_agg(m::text, ' '), '') FROM ph.mail m`).Scan(&text))
	return text
}
