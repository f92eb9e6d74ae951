package web_test

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

func (w *world) pending(email string) []ledger.PendingSignOff {
	return as(w, email, func(ctx context.Context, tx *ledger.Tx) ([]ledger.PendingSignOff, error) {
		return tx.PendingSignOffs(ctx)
	})
}

func TestReviewOneByOne(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(marek)
	sheet := b.get("/review")
	wellMade(t, sheet)
	require.Equal(t, []string{"Pier lantern"}, sheet.texts(".frame .choice strong"))
	require.Equal(t, []string{"Clear, 4 warnings"}, sheet.texts(".frame .badge"), "that there are warnings is told before one is opened")
	issues := b.get("/review?show=issues")
	wellMade(t, issues)
	require.NotContains(t, issues.texts(".frame .badge"), "Clear")
	require.ElementsMatch(t, []string{"Mooring bollard", "Channel buoy", "Slip winch", "Warping capstan"}, issues.texts(".frame .choice strong"))

	path := "/review/" + w.deliveries["bollard"].String() + "?show=issues"
	p := b.get(path)
	wellMade(t, p)
	require.Contains(t, p.text(".onefacts"), "Round 2 of 3")
	require.Equal(t, "3 issues", p.text(".onefacts .badge"))
	require.Contains(t, p.text("#asked"), "Grind the weld beads down")
	require.Contains(t, p.text("#tech h2"), "Technical: 3 issues")
	require.Contains(t, p.text("#tech h2"), "1 exempted (12 % of the surface)")
	require.Equal(t, []string{"accept_as_is", "return"}, p.attrs(".onedecide button[name=decision]", "value"))
	action := "/review/" + w.deliveries["bollard"].String() + "/decision?show=issues"

	refused := b.post(action, with(p.form(action), "decision", "return", "reason", " "))
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "The reason is needed")
	wellMade(t, refused)

	form := with(p.form(action), "decision", "return", "reason", "The beads are still there.", "keep", "yes")
	for range 2 { // a second click
		done := b.post(action, form)
		require.Equal(t, http.StatusSeeOther, done.status, done.text("main"))
		require.Contains(t, done.header.Get("Location"), "/review/")
		require.NotContains(t, done.header.Get("Location"), w.deliveries["bollard"].String(), "it goes on to the next")
	}
	require.Len(t, w.pending(marek), 1)
	require.False(t, w.logIn(ole).get("/deliveries/"+w.deliveries["bollard"].String()).has("#decisions"), "the vendor knows nothing yet")

	taken := b.get(path)
	require.Contains(t, taken.text(".taken"), "You have decided: returned.")
	wellMade(t, taken)
	require.Contains(t, b.get("/review?show=issues").text("#waiting"), "1 decision waits")
	require.Contains(t, b.get(path).body, "The beads are still there.", "the saved note is on the list")

	// Taken back, the words are in the form again; and once more is told that there is nothing to take back.
	undo := url.Values{"pending": {w.pending(marek)[0].ID.String()}}
	again := b.post("/review/undo?show=issues", undo)
	require.Equal(t, http.StatusOK, again.status)
	require.Equal(t, "The beads are still there.", again.text("#reason"))
	require.Contains(t, again.text("[role=status]"), "Taken back")
	require.Empty(t, w.pending(marek))
	require.Equal(t, http.StatusConflict, b.post("/review/undo", undo).status)
	undo.Set("delivery", w.deliveries["bollard"].String())
	undo.Set("reason", "The beads are still there.")
	again = b.post("/review/undo?show=issues", undo) // loaded anew: the form brings what had been decided
	require.Equal(t, http.StatusOK, again.status)
	require.Equal(t, "The beads are still there.", again.text("#reason"))

	// Sent before its time, the vendor reads it.
	b.post(action, with(again.form(action), "decision", "accept_as_is", "reason", "It stands far away."))
	b.post("/review/send?show=issues", url.Values{"pending": {w.pending(marek)[0].ID.String()}})
	require.Empty(t, w.pending(marek))
	require.Contains(t, w.logIn(ole).get("/deliveries/"+w.deliveries["bollard"].String()).text("#decisions"), "It stands far away.")
	require.Contains(t, b.get(path).text("#decide"), "Marek Osei has decided: accepted as is")
}

// Two look at the same delivery: the second one's words are not lost, and what happened is told.
func TestTwoReviewersAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/review/" + w.deliveries["lantern"].String()
	action := path + "/decision"
	first, second := w.logIn(marek), w.logIn(ines)
	mine, theirs := first.get(path).form(action), second.get(path).form(action)
	require.Equal(t, http.StatusSeeOther, first.post(action, with(mine, "decision", "accept")).status)
	late := second.post(action, with(theirs, "decision", "return", "reason", "The glass is too clean."))
	require.Equal(t, http.StatusConflict, late.status)
	require.Contains(t, late.text(".taken"), "Marek Osei has decided: accepted.")
	require.Contains(t, late.text("[role=alert]"), "The glass is too clean.")
	wellMade(t, late)
	require.Len(t, w.pending(marek), 1)
	require.Empty(t, w.pending(ines))
	require.Contains(t, second.get("/review").text(".frame"), "Marek Osei: accepted")
}

func TestReviewManyAtOnce(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.inspect(reviewable()) // the crate's
	b := w.logIn(marek)
	p := b.get("/review")
	action := "/review/decisions"
	picks := p.attrs("input[name=pick]", "value")
	require.Len(t, picks, 2)
	require.Equal(t, http.StatusUnprocessableEntity, b.post(action, with(p.form(action), "decision", "accept")).status, "none picked")

	form := with(p.form(action), "decision", "accept", "reason", "")
	form["pick"] = picks
	crate := w.deliveries["crate"].String()
	form.Set("decision-"+crate, "return")
	refused := b.post(action, form) // a return without a reason: none of them is taken
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Len(t, refused.all(".frame.missed"), 1)
	require.Len(t, refused.all("input[name=pick][checked]"), 2, "what was picked stays")
	wellMade(t, refused)
	require.Empty(t, w.pending(marek))

	form.Set("reason-"+crate, "The slats bend.")
	require.Equal(t, "/review#waiting", b.post(action, form).header.Get("Location"))
	waiting := w.pending(marek)
	require.Len(t, waiting, 2)
	for _, q := range waiting {
		require.Nil(t, q.SendAt, "it is sent by hand")
		if q.DeliveryID == w.deliveries["crate"] {
			require.Equal(t, []string{"return", "The slats bend."}, []string{string(q.Decision), q.Reason})
		} else {
			require.Equal(t, ledger.Accept, q.Decision)
		}
	}
	p = b.get("/review")
	require.Contains(t, p.text("#waiting"), "2 decisions wait")
	wellMade(t, p)
	sent := b.post("/review/send", url.Values{"pending": p.attrs(`form[action=/review/send] input[name=pending]`, "value")}).follow()
	require.Contains(t, sent.text("main"), "Nothing waits for a decision.")
	require.Contains(t, w.logIn(ole).get("/deliveries/"+crate).text("#decisions"), "The slats bend.")
}

// What could not be sent is told with why, and the words are kept until they are put away.
func TestReviewTellsWhatCouldNotBeSent(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/review/" + w.deliveries["lantern"].String()
	b := w.logIn(marek)
	b.post(path+"/decision", with(b.get(path).form(path+"/decision"), "decision", "return", "reason", "The glass is too clean."))
	w.sign2(ines, "lantern", ledger.Accept)
	p := b.get("/review")
	require.Contains(t, p.text("#waiting"), "1 decision could not be sent")
	require.Contains(t, p.text("#waiting"), "Somebody else decided first.")
	require.Contains(t, p.text("#waiting"), "The glass is too clean.")
	wellMade(t, p)
	b.post("/review/undo", url.Values{"pending": {w.pending(marek)[0].ID.String()}, "away": {"yes"}})
	require.False(t, b.get("/review").has("#waiting"))
}

func (w *world) sign2(by, delivery string, d ledger.Decision) {
	as(w, by, func(ctx context.Context, tx *ledger.Tx) (ledger.SignOff, error) {
		return tx.SignOff(ctx, ledger.NewSignOff{Delivery: w.deliveries[delivery], Decision: d})
	})
}

func TestReviewIsTheStudios(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	for _, path := range []string{"/review", "/review/" + w.deliveries["lantern"].String()} {
		require.Equal(t, http.StatusNotFound, b.get(path).status)
		require.False(t, strings.Contains(b.get("/").body, `href="/review"`))
	}
	for _, action := range []string{"/review/" + w.deliveries["lantern"].String() + "/decision", "/review/" + w.deliveries["lantern"].String() + "/hold", "/review/" + w.deliveries["lantern"].String() + "/tick"} {
		require.Equal(t, http.StatusNotFound, b.post(action, url.Values{"decision": {"accept"}, "inspection": {w.deliveries["lantern"].String()}, "note": {w.deliveries["lantern"].String()}}).status, action)
	}
}

func TestEarlierNotesAreTicked(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	w.note("bollard-1", marek, "The ring is too thin.", false)
	path := "/review/" + w.deliveries["bollard"].String() + "?show=issues"
	action := "/review/" + w.deliveries["bollard"].String() + "/tick?show=issues"
	b := w.logIn(marek)
	p := b.get(path)
	require.Contains(t, p.text(".ticks"), "The ring is too thin.")
	require.Contains(t, p.text(".ticks"), "not fixed yet")
	p = p.submit(action, "fixed", "yes").follow()
	require.Contains(t, p.text(".ticks .beside"), "fixed · Marek Osei")
	require.Equal(t, []string{"true"}, p.attrs(".tick", "aria-pressed"))
	p = p.submit(action, "fixed", "no").follow()
	require.Contains(t, p.text(".ticks"), "not fixed yet")
}

func TestHoldingBack(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/review/" + w.deliveries["lantern"].String()
	b := w.logIn(marek)
	form := b.get(path).form(path + "/decision")
	refused := b.post(path+"/hold", with(form, "reason", ""))
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Equal(t, http.StatusSeeOther, b.post(path+"/hold", with(form, "reason", "The art lead wants to see it first.")).status)
	held := b.get(path)
	require.Contains(t, b.get("/review").text(".frame"), "held back")
	require.Equal(t, http.StatusSeeOther, b.post(path+"/hold", with(held.form(path+"/decision"), "resume", "yes", "reason", "")).status)
	require.NotContains(t, b.get("/review").text(".frame"), "held back")
}

// A permit that a vendor asks for stands with its figures; it is granted with a word, and refused only with one.
func TestPermitsAreDecidedByFigures(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	worst := 12.5
	asked := as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Permission, error) {
		return tx.Permit(ctx, ledger.NewPermission{WorkOrder: w.order.ID, Kind: "permit", Prop: w.props["bollard"].ID, Check: "surface.poke_through", Worst: &worst, Reason: "The beads are cast, not welded."})
	})
	path := "/permits/" + asked.ID.String()
	action := path + "/decision"
	require.Equal(t, http.StatusNotFound, w.logIn(ole).get(path).status)
	require.False(t, w.logIn(petra).get(path).has("#decide"), "a producer looks only")
	b := w.logIn(marek)
	list := b.get("/permits")
	wellMade(t, list)
	require.Contains(t, list.text("main"), "The beads are cast, not welded.")
	p := b.get(path)
	wellMade(t, p)
	require.Contains(t, p.text("main"), "Mooring bollard, delivery 2")
	require.Contains(t, p.text("main"), "It covers 2 of 2 findings that fail now.")
	require.Contains(t, p.text("table"), "10.3 mm")
	refused := p.submit(action, "event", "refuse", "reason", "")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	wellMade(t, refused)
	granted := p.submit(action, "event", "grant", "reason", "On the quay nobody sees it.").follow()
	require.Contains(t, granted.text(".facts"), "granted")
	require.Contains(t, granted.text(".facts"), "On the quay nobody sees it.")
	require.NotContains(t, b.get("/permits").text("main"), "The beads are cast")
}

// Notes are threads: an answer stands under what it answers, and whose note it is settles it. A place on the surface is kept.
func TestNotesAreThreadsAtPlaces(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["bollard"].String()
	action := path + "/note"
	b := w.logIn(marek)
	done := b.post(action, with(b.get(path).form(action), "text", "Soften this edge.", "pin", `{"position_mm":[1000,0,0],"normal":[1,0,0]}`, "back", "view"))
	require.Equal(t, path+"/view", done.header.Get("Location"), done.text("[role=alert]"))
	require.Contains(t, b.get(path+"/view").text(".controls"), "Soften this edge.")
	notes := as(w, ole, func(ctx context.Context, tx *ledger.Tx) ([]ledger.Note, error) {
		return tx.Notes(ctx, w.deliveries["bollard"])
	})
	pinned := notes[len(notes)-1]
	require.Equal(t, [3]float64{1000, 0, 0}, pinned.Pin.PositionMM)
	require.Equal(t, http.StatusUnprocessableEntity, b.post(action, with(b.get(path).form(action), "text", "x", "pin", "nonsense")).status)

	vendor := w.logIn(ada)
	answered := vendor.post(path+"/reply", url.Values{"text": {"It is cast that way."}, "reply_to": {pinned.ID.String()}, "once": {"answer"}}).follow()
	wellMade(t, answered)
	require.Contains(t, answered.text("#note-"+pinned.ID.String()+" .replies"), "It is cast that way.")
	seen := b.get(path)
	require.Contains(t, seen.text(".replies"), "Brackwater Props")
	require.NotContains(t, seen.text(".replies"), "Ada Fjeld", "a vendor's people are the vendor to the studio")
	settle := path + "/resolution"
	require.Equal(t, http.StatusForbidden, vendor.post(settle, url.Values{"note": {pinned.ID.String()}, "settled": {"yes"}, "once": {"s"}}).status, "not theirs")
	settled := b.post(settle, url.Values{"note": {pinned.ID.String()}, "settled": {"yes"}, "once": {"t"}}).follow()
	require.Contains(t, settled.text("#note-"+pinned.ID.String()), "settled")
}

// Beside a delivery stands the one before it, with two pictures of the same light.
func TestDeliveryBesideTheOneBefore(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	p := w.logIn(ole).get("/deliveries/" + w.deliveries["bollard"].String())
	wellMade(t, p)
	require.Len(t, p.all("[data-beside]"), 1)
	require.Contains(t, p.text("#beside"), "Delivery 1")
	src := p.attrs("[data-beside] img", "src")
	require.Len(t, src, 2)
	require.NotEqual(t, src[0], src[1])
	require.False(t, w.logIn(ole).get("/deliveries/"+w.deliveries["lantern"].String()).has("#beside"))
}

// An issue accepted for the kit or the order becomes a permission that covers what was measured.
func TestAcceptingAnIssueForTheOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["bollard"].String()
	b := w.logIn(marek)
	b.get(path).submit(path+"/concession", "?ord", "2", "reason", "Names never ship here.", "scope", "order").follow()
	list := as(w, marek, func(ctx context.Context, tx *ledger.Tx) (ledger.List[ledger.Permission], error) {
		return tx.Permissions(ctx, w.order.ID, ledger.Page{})
	})
	require.Len(t, list.Items, 1)
	require.Equal(t, []string{"concession", "names.default"}, []string{list.Items[0].Kind, list.Items[0].Check})
}

// The first load of a review stays small: everything but its pictures and the turntable.
func TestReviewIsLight(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(marek)
	p := b.get("/review/" + w.deliveries["bollard"].String() + "?show=issues")
	bytes := len(p.body)
	for _, path := range append(p.attrs("link[rel=stylesheet]", "href"), p.attrs("script[src]", "src")...) {
		bytes += len(b.get(path).body)
	}
	require.Less(t, bytes, 150_000)
	t.Logf("%d bytes of page, style and script", bytes)
}
