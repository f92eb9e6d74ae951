package web_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"image"
	"image/png"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// What a vendor and the studio talk over, on the pages: a prop's story, questions, permits, changes, references.
func TestAPropsStory(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/props/" + w.props["bollard"].ID.String()
	vendor, studio := w.logIn(ole), w.logIn(marek)

	p := vendor.get(path)
	require.Equal(t, http.StatusOK, p.status, p.text("main"))
	wellMade(t, p)
	require.Contains(t, p.text("#now"), "The machine found issues.")
	require.Contains(t, p.text("#now"), "Ends for the vendor: 14 Mar 2031, 23:59, UTC", "the day is the vendor's day")
	require.Len(t, p.all("#deliveries tbody tr"), 2)
	require.Contains(t, p.text("#deliveries"), "further round for issues")
	require.Contains(t, p.text("#decisions"), "Grind the weld beads down")
	require.Contains(t, p.text("#milestones"), "Further rounds so far: 1 for issues, 0 for what the studio wanted otherwise, of 2 in the price.")
	require.Contains(t, p.text("#spec .prose"), "As it counts at the milestone Game mesh.")
	require.Contains(t, p.text("#notes"), shared)
	require.NotContains(t, p.text("main"), privat)
	require.Contains(t, p.text("#log"), "Delivery sealed")
	for _, link := range p.attrs("#log a", "href")[:3] {
		require.Equal(t, http.StatusOK, vendor.get(link).status, link)
	}
	thumb := p.attrs(".newest img", "src")[0]
	require.Equal(t, "image/jpeg", vendor.get(thumb).header.Get("Content-Type"))
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(thumb).status)
	require.Contains(t, studio.get(path).text("#notes"), privat)

	// A question, answered, asked again, closed; its clock lies with the studio.
	p = p.submit(path+"/question", "text", "  ")
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.NotEmpty(t, p.text("#questions[open] [role=alert]"))
	p = p.submit(path+"/question", "text", "Is the rope part of it?\nOr a neighbour?", "blocks", "yes").follow()
	require.Contains(t, p.text("#questions[open]"), "Is the rope part of it?")
	require.Contains(t, p.text(".facts"), "waits now")
	inbox := studio.get("/questions")
	require.Contains(t, inbox.text("tbody"), "Is the rope part of it? Or a neighbour?")
	wellMade(t, inbox)
	require.Contains(t, vendor.get("/questions").text(".empty"), "No question waits for you.")
	question := inbox.attrs("tbody th a", "href")[0]
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(question).status)
	require.Contains(t, studio.get(path).text("#questions[open]"), "waits for you")
	q := studio.get(question)
	require.Contains(t, q.text(".turns"), "Brackwater Props asked", "a vendor's people stay inside the vendor")
	require.Contains(t, vendor.get(question).text(".turns"), "Ole Brekke asked")
	wellMade(t, q)
	q = q.submit(question+"/reply", "text", "A neighbour.").follow()
	require.Contains(t, q.text("main"), "It lies with the vendor")
	q = vendor.get(question).submit(question+"/reply", "?event", "ask_again", "text", "Which one?").follow()
	require.Contains(t, q.text(".turns"), "asked again")
	q = q.submit(question+"/reply", "?event", "close").follow()
	require.Contains(t, q.text("main"), "It is closed.")
	require.Equal(t, http.StatusConflict, q.b.post(question+"/reply", map[string][]string{"once": {"again"}, "event": {"close"}}).status)

	// A permit before the work.
	p = vendor.get(path)
	refused := p.submit(path+"/permit", "check", "budget.triangles", "worst", "some", "reason", "The coil needs them.")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Equal(t, "The coil needs them.", refused.text("#permit-reason"), "nothing typed is lost")
	p = p.submit(path+"/permit", "check", "budget.triangles", "worst", "3900,25", "until", "2031-01-31", "reason", "The coil needs them.").follow()
	require.Contains(t, p.text("#permits[open]"), "asked for Triangle budget , up to 3900, until 31 Jan 2031")
	p = p.submit(path + "/withdrawal").follow()
	require.Contains(t, p.text("#permits"), "taken back")

	// A change order, offered by the vendor and answered by the studio.
	p = p.submit(path+"/offer", "title", "A second coil", "price", "120.50", "due", "2031-04-01", "reason", "You asked for it on the quay.").follow()
	require.Contains(t, p.text("#changes[open]"), "waits for the studio A second coil")
	require.False(t, p.has("#changes button[value=agree]"), "nobody answers their own")
	s := w.logIn(petra).get(path)
	require.Contains(t, s.text("#changes[open]"), "waits for you")
	refused = s.submit(path+"/change", "answer", "decline", "reason", "")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status, "to decline needs a reason")
	s = s.submit(path+"/change", "answer", "agree").follow()
	require.Contains(t, s.text("#changes"), "agreed A second coil")
	require.Contains(t, s.text(".facts"), "1,301.00")
	require.Contains(t, s.text("#now"), "1 Apr 2031")

	for _, act := range []string{"question", "permit", "withdrawal", "change", "offer"} {
		require.Equal(t, http.StatusNotFound, w.logIn(tamsin).post(path+"/"+act, map[string][]string{"once": {"x" + act}, "text": {"x"}}).status, act)
	}
}

// pictureBytes is a small PNG.
func pictureBytes() []byte {
	var b bytes.Buffer
	_ = png.Encode(&b, image.NewGray(image.Rect(0, 0, 800, 400))) // into memory
	return b.Bytes()
}

// upload posts a form with files.
func (b *browser) upload(path string, fields map[string]string, files map[string][]byte) *page {
	b.w.t.Helper()
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	for k, v := range fields {
		require.NoError(b.w.t, form.WriteField(k, v))
	}
	for k, data := range files {
		part, err := form.CreateFormFile(k, k+".png")
		require.NoError(b.w.t, err)
		_, err = part.Write(data)
		require.NoError(b.w.t, err)
	}
	require.NoError(b.w.t, form.Close())
	r, err := http.NewRequestWithContext(b.w.t.Context(), http.MethodPost, b.w.base+path, &body)
	require.NoError(b.w.t, err)
	r.Header.Set("Content-Type", form.FormDataContentType())
	return b.send(r)
}

func TestReferencesOfASecretOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	order := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.WorkOrder, error) {
		return tx.CreateWorkOrder(ctx, ledger.NewWorkOrder{Project: w.project.ID, Vendor: w.who[ole].Party, Code: "HERON-1", Title: "The unnamed boat", Currency: "EUR", ReviewDays: 5, Secret: true, Codename: "HERON"})
	})
	path := "/orders/" + order.ID.String() + "/references"
	studio, vendor := w.logIn(petra), w.logIn(ole)
	list := studio.get(path)
	require.Contains(t, list.text(".empty"), "There are no references yet.")
	wellMade(t, list)
	once := list.form(path)["once"][0]
	require.Equal(t, http.StatusUnprocessableEntity, studio.upload(path, map[string]string{"once": once, "note": "the look"}, nil).status)
	refused := studio.upload(path, map[string]string{"once": once, "note": "the look", "what-1": "concept"}, map[string][]byte{"file-1": []byte("no picture")})
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "neither PNG nor JPEG")
	require.Equal(t, "the look", refused.text("#pack-note"))
	fields := map[string]string{"once": once, "note": "the look", "what-1": "concept", "what-2": "avoid"}
	files := map[string][]byte{"file-1": pictureBytes(), "file-2": pictureBytes()}
	done := studio.upload(path, fields, files)
	pack := done.follow()
	require.Len(t, pack.all("figure img"), 2)
	require.Equal(t, path, studio.upload(path, fields, files).header.Get("Location"), "a second click makes no second pack")
	require.Len(t, studio.get(path).all("tbody tr"), 1)

	at := done.header.Get("Location")
	gate := vendor.get(at)
	wellMade(t, gate)
	require.Contains(t, gate.text("main"), "These references are secret")
	require.NotContains(t, gate.body, "the look")
	picture := pack.attrs("figure img", "src")[0]
	require.Equal(t, http.StatusForbidden, vendor.get(picture).status, "nothing before the acknowledgement")
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(picture).status)
	shown := gate.submit(at + "/secrecy").follow()
	require.Contains(t, shown.text("main"), "These pictures carry your name.")
	require.False(t, shown.has("figcaption a"), "no original without the name")
	marked, plain := vendor.get(picture), studio.get(picture)
	require.Equal(t, "image/jpeg", marked.header.Get("Content-Type"))
	require.NotEqual(t, sha256.Sum256([]byte(plain.body)), sha256.Sum256([]byte(marked.body)))
	require.NotEqual(t, marked.body, func() string { // Ada's carries Ada's name
		ada := w.logIn(ada)
		ada.get(at).submit(at + "/secrecy")
		return ada.get(picture).body
	}())
	lit := func(body string) (n int) {
		m, _, err := image.Decode(strings.NewReader(body))
		require.NoError(t, err)
		for y := range m.Bounds().Dy() {
			for x := range m.Bounds().Dx() {
				if r, _, _, _ := m.At(x, y).RGBA(); r > 0x3000 {
					n++
				}
			}
		}
		return n
	}
	require.Zero(t, lit(plain.body), "the picture is black")
	require.Greater(t, lit(marked.body), 2000, "and written on")
	require.Equal(t, lit(marked.body), lit(vendor.get(picture+"?original=1").body), "asking for the original gives the same")
	shown = shown.submit(at + "/acknowledge").follow()
	require.False(t, shown.has("form[action="+at+"/acknowledge]"))
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(path).status)
}

func TestProgressOfAnInspection(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	at := "/deliveries/" + w.deliveries["crate"].String() + "/progress"
	require.JSONEq(t, `{"done": false, "text": "It waits for its turn."}`, b.get(at).body)
	for _, path := range []string{"/props/" + w.props["crate"].ID.String(), strings.TrimSuffix(at, "/progress")} {
		p := b.get(path)
		require.Equal(t, http.StatusOK, p.status, p.text("main"))
		wellMade(t, p)
		require.Equal(t, []string{at}, p.attrs("[data-live]", "data-live"), path)
		require.Len(t, p.all("[data-live] progress"), 1)
	}
	job, err := w.worker.Claim(t.Context(), "test")
	require.NoError(t, err)
	require.Contains(t, b.get(at).body, `Being inspected, for 0 min so far.`)
	require.NoError(t, w.worker.Record(t.Context(), job.Inspection.ID, job.Fence, ledger.Result{Engine: "test", Verdict: ledger.VerdictNotEvaluated, Headline: "technical: not evaluated", Cause: "x"}, nil))
	require.JSONEq(t, `{"done": true, "text": "The result is there."}`, b.get(at).body)
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(at).status)
}

func TestDeliveringABatch(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/orders/" + w.order.ID.String() + "/deliver"
	p := w.logIn(ole).get(path)
	wellMade(t, p)
	require.Contains(t, p.texts("tbody th"), "ladder/")
	require.NotContains(t, p.texts("tbody th"), "crate/", "it is with the inspector")
	require.Equal(t, http.StatusNotFound, w.logIn(petra).get(path).status, "the studio delivers nothing")
	require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(path).status)
}

// logTo is where the service of the tests logs: nowhere, unless somebody looks for a fault.
func logTo() io.Writer {
	if os.Getenv("PROOFHOUSE_TEST_LOG") != "" {
		return os.Stderr
	}
	return io.Discard
}

func TestOriginCapacityAndGoingOn(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/props/" + w.props["bollard"].ID.String()
	vendor := w.logIn(ole)
	p := vendor.get(path)
	refused := p.submit(path+"/origin", "what-1", "a rusted chain", "licence-1", "CC0 1.0")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status, "the kind is missing")
	require.Equal(t, []string{"a rusted chain"}, refused.attrs("#what-1", "value"))
	wellMade(t, refused)
	p = p.submit(path+"/origin", "kind-1", "scan", "what-1", "a rusted chain", "licence-1", "CC0 1.0", "statement", "The rest is ours.").follow()
	require.Contains(t, p.text("#origin[open]"), "a rusted chain scan CC0 1.0")
	require.False(t, w.logIn(ada).get(path).has("form[action="+path+"/origin]"), "the lead declares")
	require.Contains(t, w.logIn(petra).get(path).text("#origin"), "Brackwater Props", "not who of them")

	c := vendor.get("/capacity")
	wellMade(t, c)
	fields := c.attrs("main input.short", "name")
	require.Len(t, fields, 9)
	require.Equal(t, http.StatusUnprocessableEntity, c.submit("/capacity", fields[1], "many").status)
	c = c.submit("/capacity", fields[0], "0", fields[1], "4").follow()
	require.Contains(t, c.text("[role=status]"), "Noted.")
	require.Contains(t, c.texts("tbody tr")[1], " 0 4 4")
	require.Contains(t, c.texts("tbody tr")[0], " 0 0 0", "no slots is said, too")
	require.Contains(t, c.texts("tbody tr")[2], "not said")
	s := w.logIn(petra).get("/capacity")
	wellMade(t, s)
	require.Contains(t, s.text("main"), "Brackwater Props 4 slots free")
	require.NotContains(t, w.logIn(tamsin).get("/capacity").body, "Brackwater")

	// The bollard goes on with the other vendor; its stored files are only of the record here, so one is put there first.
	d := as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Delivery, error) {
		return tx.Delivery(ctx, w.deliveries["bollard"])
	})
	for _, f := range d.Files {
		require.NoError(t, w.storage.Put(t.Context(), f.ObjectKey, []byte("x"), f.MediaType))
	}
	producer := w.logIn(petra).get(path)
	require.Equal(t, http.StatusUnprocessableEntity, producer.submit(path+"/reassignment", "price", "dear", "reason", "x").status)
	gone := producer.submit(path+"/reassignment", "price", "300", "reason", "They are full until spring.").follow()
	require.Contains(t, gone.text("#after"), "It goes on with Ninth Lock Workshop")
	require.Contains(t, gone.text("#now"), "Nothing is asked any more.")
	at := gone.link("Ninth Lock Workshop")
	other := w.logIn(tamsin).get(at)
	require.Equal(t, http.StatusOK, other.status)
	for _, secret := range []string{"Brackwater", "Ole", "weld beads", shared, "1,180"} {
		require.NotContains(t, other.body, secret)
	}
	pack := w.logIn(tamsin).get(other.link("Pack 1"))
	require.Contains(t, pack.text("main"), "game_mesh/bollard_game.glb")
	require.NotContains(t, w.logIn(ole).get(path).body, "Ninth Lock")
	require.Equal(t, http.StatusNotFound, w.logIn(ole).get(at).status)
}
