package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// again sends a form a second time, as a second click or a reload does, and takes no notice of what the page says by now.
func (p *page) again(action string, form url.Values) *page { return p.b.post(action, form) }

func with(form url.Values, pairs ...string) url.Values {
	for i := 0; i+1 < len(pairs); i += 2 {
		form.Set(pairs[i], pairs[i+1])
	}
	return form
}

func TestDeciding(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["lantern"].String()
	decision := path + "/decision"
	b := w.logIn(marek)
	p := b.get(path)

	// Returning needs a reason, and the choice stays.
	refused := p.submit(decision, "decision", "return", "reason", "  ")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text(".decide [role=alert]"), "The reason is needed for this")
	require.Equal(t, []string{"return"}, refused.form(decision)["decision"])
	wellMade(t, refused)
	tooLong := strings.Repeat("long ", 1100)
	refused = p.submit(decision, "decision", "return", "reason", tooLong)
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Equal(t, strings.TrimSpace(tooLong), strings.TrimSpace(refused.text("#reason")), "what was typed stays")
	require.Equal(t, http.StatusUnprocessableEntity, p.submit(decision, "decision", "", "reason", "").status)

	// Decided on an inspection that is not the one any more.
	refused = p.b.post(decision, with(p.form(decision), "decision", "accept", "inspection", uuid.NewString(), "reason", "Good."))
	require.Equal(t, http.StatusConflict, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "Another inspection has come in since you looked")
	require.Equal(t, "Good.", refused.text("#reason"))

	// Two clicks at once, and a third one later.
	form := with(p.form(decision), "decision", "accept")
	var clicks sync.WaitGroup
	answers := make([]*page, 2)
	for i := range answers {
		clicks.Go(func() { answers[i] = b.post(decision, form) })
	}
	clicks.Wait()
	for _, a := range append(answers, p.again(decision, form)) {
		require.Equal(t, http.StatusSeeOther, a.status, a.text("main"))
		require.Equal(t, path+"#decide", a.header.Get("Location"))
	}
	require.Len(t, w.pending(marek), 1)
	require.False(t, w.logIn(ole).get(path).has("#decisions"), "the vendor is told nothing yet")

	// Taken back, it is open again with what had been decided; loaded anew, the page says the same. Decided again and sent, it stands.
	waiting := b.get(path)
	wellMade(t, waiting)
	require.Contains(t, waiting.text(".taken"), "You have decided: accepted.")
	undo := waiting.form("/review/undo")
	for range 2 {
		again := b.post("/review/undo", undo)
		require.Equal(t, http.StatusOK, again.status)
		require.Contains(t, again.text("[role=status]"), "Taken back")
		require.Equal(t, []string{"accept", "return"}, again.attrs(".decide input[name=decision]", "value"))
		require.Empty(t, w.pending(marek))
	}
	form = with(form, "once", "decided again")
	b.post(decision, form)
	require.Equal(t, path+"#decisions", b.get(path).submit("/review/send").header.Get("Location"))
	require.Equal(t, http.StatusConflict, b.post("/review/undo", undo).status, "it is sent by now")
	done := b.get(path)
	require.Len(t, done.all("#decisions li"), 1)
	require.Contains(t, done.text("#decisions"), "accepted by Marek Osei, art director")
	require.Contains(t, done.text("#decisions"), "Released: EUR 708.30")
	require.False(t, done.has(".decide"))
	require.Equal(t, http.StatusOK, b.get(done.link("Receipt")).status)

	// The back button: the old form with another decision in it, and a fresh one with a decision too many.
	refused = b.post(decision, with(form, "decision", "return", "reason", "On second thoughts."))
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "This form was sent before")
	refused = b.post(decision, with(form, "once", "another"))
	require.Equal(t, http.StatusConflict, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "On second thoughts.", "the text is not lost with the form")
	require.Len(t, b.get(path).all("#decisions li"), 1)

	require.Contains(t, w.logIn(ole).get(path).text("#decisions"), "accepted by Marek Osei", "the vendor sees it")
}

// Whoever's role may not decide is refused, form or not.
func TestDecidingWithoutTheRole(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, email := range map[string]string{"producer": petra, "vendor": ole} {
		path := "/deliveries/" + w.deliveries["lantern"].String()
		b := w.logIn(email)
		p := b.post(path+"/decision", url.Values{"decision": {"accept"}, "inspection": {inspectionOf(w.logIn(marek).get(path))}})
		require.Equal(t, http.StatusForbidden, p.status, name)
		require.NotEmpty(t, p.text("[role=alert]"), name)
		require.False(t, b.get(path).has("#decisions"), name)
	}
	other := w.logIn(tamsin)
	for _, act := range []string{"decision", "concession", "note", "reinspection"} {
		p := other.post("/deliveries/"+w.deliveries["lantern"].String()+"/"+act, url.Values{"text": {"x"}, "reason": {"x"}, "ord": {"0"}, "inspection": {uuid.NewString()}})
		require.Equal(t, http.StatusNotFound, p.status, act)
	}
	require.Equal(t, http.StatusNotFound, other.post("/specs/"+w.specs["lantern-2"].String()+"/acknowledge", nil).status)
}

func inspectionOf(p *page) string { return p.attrs(".decide input[name=inspection]", "value")[0] }

func TestAcceptingIssuesOneByOne(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["bollard"].String()
	concession := path + "/concession"
	b := w.logIn(marek)
	p := b.get(path)
	require.Len(t, p.all("#issues .concede"), 3)

	refused := p.submit(concession, "?ord", "1", "reason", " ")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("#finding-1[open] [role=alert]"), "The reason needs 1 to")
	require.Len(t, refused.all("[role=alert]"), 1, "the refusal stands under its finding only")

	form := with(p.form(concession, "?ord", "1"), "reason", "The cap is never seen from that side.")
	for range 2 {
		require.Equal(t, path+"#finding-1", b.post(concession, form).header.Get("Location"))
	}
	p = b.get(path)
	require.Contains(t, p.text(".conceded#finding-1"), "Accepted as is by Marek Osei")
	require.Contains(t, p.text(".conceded"), "The cap is never seen from that side.")
	require.Len(t, p.all("#issues .concede"), 2)
	require.Contains(t, p.text("#issues .where"), "2 findings, 1 accepted as is")
	require.Equal(t, []string{"accept_as_is", "return"}, p.attrs(".decide input[name=decision]", "value"))

	// Somebody else has accepted the same issue meanwhile: said, and the text is not lost.
	late := b.post(concession, with(form, "once", "another", "reason", "Too late."))
	require.Equal(t, http.StatusConflict, late.status)
	require.Contains(t, late.text("[role=alert]"), "Too late.")

	for _, ord := range []string{"0", "2"} {
		p = p.submit(concession, "?ord", ord, "reason", "Good enough for the quay.").follow()
	}
	require.Equal(t, []string{"accept", "return"}, p.attrs(".decide input[name=decision]", "value"), "nothing is open any more")
	require.Equal(t, []string{"accepted as is", "accepted as is"}, p.texts("#issues h3 .badge"))
	p = p.submit(path+"/decision", "decision", "accept").follow().submit("/review/send").follow()
	require.Contains(t, p.text("#decisions"), "accepted by Marek Osei")
	vendor := w.logIn(ole).get(path)
	require.Contains(t, vendor.text("#issues"), "The cap is never seen from that side.")
}

func TestAcceptingAsItIs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["bollard"].String()
	b := w.logIn(marek)
	p := b.get(path).submit(path+"/decision", "decision", "accept_as_is", "reason", "It stands at the far end of the pier.").follow().submit("/review/send").follow()
	require.Contains(t, p.text("#decisions"), "accepted as is by Marek Osei")
	require.Len(t, p.all(".conceded"), 3)
}

func TestNotes(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["lantern"].String()
	action := path + "/note"
	vendor := w.logIn(ada)
	require.False(t, vendor.get(path).has("input[name=private]"))
	p := vendor.get(path).submit(action, "text", "The glass\r\nis <thicker> now.\x00").follow()
	require.Equal(t, []string{"Ada Fjeld , Brackwater Props, " + p.text("#notes time"), "The glass is <thicker> now."}, p.texts("#notes li p"))
	require.Contains(t, p.body, "The glass\nis &lt;thicker&gt; now.")

	studio := w.logIn(noor)
	form := with(studio.get(path).form(action), "text", "Do not tell them yet.", "private", "yes")
	for range 2 {
		require.Equal(t, path+"#notes", studio.post(action, form).header.Get("Location"))
	}
	p = studio.get(path)
	require.Len(t, p.all("#notes li"), 2)
	require.Contains(t, p.text("#notes"), "studio only")
	require.NotContains(t, vendor.get(path).body, "Do not tell them yet.")
	require.Len(t, vendor.get(path).all("#notes li"), 1)

	refused := studio.get(path).submit(action, "text", "   ", "private", "yes")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("#notes [role=alert]"), "The note needs 1 to")
	require.True(t, refused.has("#notes input[name=private][checked]"), "the choice stays")
	// A vendor who sends the field by hand writes a note for both sides.
	vendor.post(action, url.Values{"text": {"by hand"}, "private": {"yes"}})
	require.Contains(t, studio.get(path).texts("#notes li p"), "by hand")
}

func TestInspectingAgain(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.inspect(reviewable()) // the crate's, so that the queue is empty
	path := "/deliveries/" + w.deliveries["winch"].String()
	action := path + "/reinspection"
	b := w.logIn(noor)
	refused := b.get(path).submit(action, "reason", "")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("details[open] [role=alert]"), "The reason needs 1 to")
	form := with(b.get(path).form(action), "reason", "More memory now.")
	for range 2 {
		require.Equal(t, path, b.post(action, form).header.Get("Location"))
	}
	require.Equal(t, "It waits for its turn.", b.get(path).text(".verdict [data-live-text]"))
	refused = b.post(action, with(form, "once", "another"))
	require.Equal(t, http.StatusConflict, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "More memory now.")
	w.inspect(reviewable())
	p := b.get(path)
	require.Equal(t, "Clear, 4 warnings", p.text(".verdict h2"))
	require.Contains(t, p.text("main"), "Inspected 2 times")
}

func TestAcknowledgingASpec(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	prop, path := "/props/"+w.props["lantern"].ID.String(), "/specs/"+w.specs["lantern-2"].String()
	require.Contains(t, w.logIn(marek).get(prop).text(".notice"), "Until the vendor acknowledges it, the revision in force judges every delivery.")
	artist := w.logIn(ada)
	require.False(t, artist.get(path).has("form[action="+path+"/acknowledge]"))
	refused := artist.post(path+"/acknowledge", nil)
	require.Equal(t, http.StatusForbidden, refused.status)
	require.NotEmpty(t, refused.text("[role=alert]"))

	lead := w.logIn(ole)
	form := lead.get(prop).form(path + "/acknowledge")
	for range 2 {
		require.Equal(t, path, lead.post(path+"/acknowledge", form).header.Get("Location"))
	}
	p := lead.get(path)
	require.Contains(t, p.text(".facts"), "State in force")
	require.False(t, p.has("form[action="+path+"/acknowledge]"))
	require.Contains(t, lead.get("/specs/"+w.specs["lantern"].String()).text(".facts"), "not in force")
	require.False(t, lead.get(prop).has(".notice"))
}
