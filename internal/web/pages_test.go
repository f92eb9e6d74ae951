package web_test

import (
	"context"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// What only reads shares one world.
func TestReading(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	for name, test := range map[string]func(*testing.T, *world){
		"Every page for everybody":    readingEveryPageForEverybody,
		"Delivery of an art director": readingDeliveryOfAnArtDirector,
		"Delivery that failed":        readingDeliveryThatFailed,
		"Other states of a delivery":  readingOtherStatesOfADelivery,
		"Work of each role":           readingWorkOfEachRole,
		"Order page":                  readingOrderPage,
		"Spec page":                   readingSpecPage,
		"Nothing without logging in":  readingNothingWithoutLoggingIn,
		"Log in":                      readingLogIn,
		"Forms of other sites":        readingFormsOfOtherSites,
		"Form too large":              readingFormTooLarge,
		"Every link leads somewhere":  readingEveryLink,
		"Addresses of forms":          readingAddressesOfForms,
		"Server time of pages":        readingServerTimeOfPages,
	} {
		t.Run(name, func(t *testing.T) { test(t, w.with(t)) })
	}
}

// address is one page of the world, with who may see it.
type address struct {
	path string
	seen string // "all", "order" (studio and ole's vendor), "other" (studio and tamsin's), "studio"
}

func (w *world) addresses() []address {
	list := []address{
		{"/", "all"}, {"/?show=open", "all"}, {"/?show=all", "all"}, {"/orders", "all"}, {"/people", "all"}, {"/account", "all"}, {"/doors", "all"},
		{"/orders/" + w.order.ID.String(), "order"}, {"/orders/" + w.otherOrder.ID.String(), "other"},
	}
	list = append(list, address{"/props", "all"}, address{"/props?group=vendor&sort=-price", "all"}, address{"/props/export?format=csv", "all"}, address{"/props/export?format=json", "all"},
		address{"/figures", "all"}, address{"/figures?by=tier", "all"}, address{"/payables", "all"}, address{"/storage", "all"}, address{"/storage?order=" + w.order.ID.String(), "order"}, address{"/specs", "all"},
		address{"/projects", "studio"}, address{"/projects/" + w.project.ID.String(), "studio"}, address{"/props/spec", "studio"})
	for code, p := range w.props {
		list = append(list, address{"/props/" + p.ID.String(), side(code)})
	}
	for name, id := range w.deliveries {
		list = append(list, address{"/deliveries/" + id.String(), side(name)}, address{"/deliveries/" + id.String() + "/view", side(name)})
	}
	for name, id := range w.specs {
		list = append(list, address{"/specs/" + id.String(), side(name)}, address{"/specs/" + id.String() + "/document", side(name)})
	}
	return list
}

func side(name string) string {
	if name == "capstan" {
		return "other"
	}
	return "order"
}

// secretsOf are words that a person must never meet: the other vendor's and, for vendors, the studio's own.
var secretsOf = map[string][]string{
	ole:    {"Ninth Lock", "Tamsin", "ninthlock", "YARD-01", "Salvage yard", "capstan", "SALTMARSH", "Saltmarsh", privat, petra, marek},
	ada:    {"Ninth Lock", "Tamsin", "ninthlock", "YARD-01", "Salvage yard", "capstan", "SALTMARSH", "Saltmarsh", privat, petra, marek},
	tamsin: {"Brackwater", "Ole Brekke", "Ada Fjeld", "brackwater", "QUAY-01", "Quay furniture", "lantern", "bollard", "SALTMARSH", "Saltmarsh", privat, shared, petra, marek},
}

var requestID = regexp.MustCompile(`Request [0-9a-f-]{36}`)

// Every page for everybody: seen or not by whose it is, nothing of others on it, and what is hidden looks as what is not there.
func readingEveryPageForEverybody(t *testing.T, w *world) {
	addresses := append(w.addresses(), address{"/props/" + uuid.NewString(), "nobody"}, address{"/deliveries/" + uuid.NewString(), "nobody"},
		address{"/orders/" + uuid.NewString(), "nobody"}, address{"/specs/" + uuid.NewString(), "nobody"}, address{"/props/nonsense", "nobody"}, address{"/nonsense", "nobody"}, address{"/deliveries", "nobody"})
	for _, email := range []string{ines, petra, marek, noor, ole, ada, tamsin} {
		b := w.logIn(email)
		missing := ""
		for _, a := range addresses {
			p := b.get(a.path)
			studio := strings.HasSuffix(email, "kelpgate.example")
			visible := a.seen == "all" || studio && a.seen != "nobody" || a.seen == "order" && (email == ole || email == ada) || a.seen == "other" && email == tamsin
			if !visible {
				require.Equal(t, http.StatusNotFound, p.status, "%s for %s", a.path, email)
				body := requestID.ReplaceAllString(p.body, "")
				if missing == "" {
					missing = body
				}
				require.Equal(t, missing, body, "%s for %s tells that it is there", a.path, email)
				continue
			}
			require.Equal(t, http.StatusOK, p.status, "%s for %s: %s", a.path, email, p.text("main"))
			for _, secret := range secretsOf[email] {
				require.False(t, strings.Contains(p.body, secret), "%q on %s for %s", secret, a.path, email)
			}
			if strings.HasPrefix(p.header.Get("Content-Type"), "text/html") {
				wellMade(t, p)
			}
		}
	}
}

// wellMade holds for every page: a strict policy that the page itself keeps, a title, one first heading, labels for
// fields, a key in every form that acts, and no two things of one id.
func wellMade(t *testing.T, p *page) {
	t.Helper()
	scripts := 0 // what runs; a block of data does not
	policy := "default-src 'none'; img-src 'self'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
	if strings.HasSuffix(p.path, "/view") && p.status == http.StatusOK { // the 3D view: its own script, and what that unpacks
		policy = strings.Replace(policy, "img-src 'self'", "img-src 'self' blob:", 1) + "; script-src 'self'; connect-src 'self' blob:"
		scripts = len(p.all("script[src='/static/viewer.js']"))
	}
	if strings.HasPrefix(p.path, "/review") { // keys, and the turntable
		policy = strings.Replace(policy, "img-src 'self'", "img-src 'self' blob:", 1) + "; script-src 'self'; connect-src 'self' blob:"
		scripts = len(p.all("script[src='/static/review.js']"))
	}
	if len(p.all("#deliver-data"))+len(p.all("#now"))+len(p.all("main #notes")) > 0 { // delivering, and an eye on inspections that run
		policy = p.header.Get("Content-Security-Policy")
		require.Contains(t, policy, "default-src 'none'; img-src 'self'; style-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'; script-src 'self'; ", p.path)
		require.NotContains(t, policy, "unsafe", p.path)
		scripts = len(p.all("script[src='/static/live.js']")) + len(p.all("script[src='/static/deliver.js']"))
	}
	require.Equal(t, policy, p.header.Get("Content-Security-Policy"), p.path)
	keep := "no-store"
	if p.status >= http.StatusBadRequest && p.posted && len(p.all("input[name=proof_member]")) == 0 { // that page carries a form on, with a secret that may be in it
		keep = "private, no-cache" // for the back button
	}
	require.Equal(t, keep, p.header.Get("Cache-Control"), p.path)
	require.Len(t, p.all("script:not([type='application/json'])"), scripts, p.path)
	require.Empty(t, p.all("[style]"), p.path)
	require.Empty(t, p.all("[onclick]"), p.path)
	require.Len(t, p.all("h1"), 1, p.path)
	require.Regexp(t, ` · proofhouse$`, p.text("head title"), p.path)
	ids := map[string]bool{}
	for _, n := range p.all("[id]") {
		id := attr(n, "id")
		require.False(t, ids[id], "%s twice on %s", id, p.path)
		ids[id] = true
	}
	for _, f := range p.all("form[method=post]") {
		action := attr(f, "action")
		exempt := action == "/logout" || action == "/language" || action == "/account/reading" || action == "/login" || action == "/account/password" || action == "/doors/provider" || strings.HasSuffix(action, "/revocation") || strings.HasPrefix(p.path, "/join/")
		if !exempt {
			require.Len(t, fieldsOf(f).Get("once"), 32, "%s on %s", action, p.path)
		}
	}
	for _, tag := range []string{"main input", "main textarea", "main select"} {
		for _, n := range p.all(tag) {
			if attr(n, "type") == "hidden" || attr(n, "type") == "radio" || attr(n, "type") == "checkbox" || attr(n, "aria-hidden") == "true" {
				continue
			}
			require.True(t, p.has("label[for="+attr(n, "id")+"]"), "no label for %q on %s", attr(n, "id"), p.path)
		}
	}
}

func readingDeliveryOfAnArtDirector(t *testing.T, w *world) {
	p := w.logIn(marek).get("/deliveries/" + w.deliveries["lantern"].String())
	require.Equal(t, "Pier lantern, Game mesh, delivery 1", p.text("h1"))
	require.Equal(t, "Clear, 4 warnings", p.text(".verdict h2"))
	require.Contains(t, p.text(".verdict"), "Exempt from checks: part rope, 12 % of the surface. Rope is baked from its own sculpt.")
	var stills []string
	for _, src := range p.attrs(".stills img", "src") {
		stills = append(stills, src[strings.LastIndex(src, "/")+1:])
	}
	require.Equal(t, []string{"prop_lit.png", "prop_game_distance.png", "prop_clay.png"}, stills, "lit first, then at the game's distance, then clay")
	for _, src := range append(p.attrs(".stills img", "src"), p.attrs(".grid img", "src")...) {
		require.Equal(t, http.StatusOK, p.b.get(src).status, src)
	}
	require.Equal(t, []string{"accept", "return"}, p.attrs(".decide input[name=decision]", "value"))

	require.Equal(t, []string{"warning Distance between game surface and sculpt"}, p.texts(".finding.warning h3"), "four findings of one check under one heading")
	require.Equal(t, []string{"part base", "part lens", "part posts", "part hood"}, p.texts(".finding.warning .of"))
	require.Contains(t, p.text(".finding.warning .parts"), "at most 0.84 mm")
	require.NotContains(t, p.text(".finding"), "max_p95_mm", "limits are in words")

	require.Equal(t, []string{"#picture-1", "#picture-1", "#picture-1", "#picture-1"}, p.attrs(".finding.warning a.shown", "href"))
	require.Equal(t, []string{"Picture 1. The game surface from six sides.", "Picture 2. The UV layout by texel density."}, p.texts(".grid figcaption"))

	digest := p.texts(".list .digest summary")
	require.Len(t, digest, 2)
	require.Regexp(t, `^[0-9a-f]{12}…$`, digest[0])
	require.Regexp(t, `^[0-9a-f]{12}… [0-9a-f]{64}$`, p.texts(".list .digest")[0])
	order := strings.Index(p.body, `class="stills"`) < strings.Index(p.body, `class="decide"`) && strings.Index(p.body, `class="decide"`) < strings.Index(p.body, `class="finding`)
	require.True(t, order, "stills, then the decision, then the findings")
}

func readingDeliveryThatFailed(t *testing.T, w *world) {
	path := "/deliveries/" + w.deliveries["bollard"].String()
	p := w.logIn(marek).get(path)
	require.Equal(t, "3 issues", p.text(".verdict h2"))
	require.Contains(t, p.text(".verdict"), "The largest lump on post stands 10.3 mm proud.")
	require.Equal(t, "3 issues to put right", p.text("#issues h2"))
	require.Equal(t, []string{"issue Sculpt outside the game surface", `issue 1 name is left over from an editor; it is "Cylinder.003".`}, p.texts("#issues h3"))
	require.Equal(t, []string{"accept_as_is", "return"}, p.attrs(".decide input[name=decision]", "value"))
	require.Contains(t, p.text(".facts"), "Asked for last time Grind the weld beads down; see the ringed places.")
	require.Contains(t, p.text("#notes"), privat)
	require.Contains(t, p.text("main"), "1 more follows from the first")
	require.Contains(t, p.text("#since"), "Since the delivery before")
	require.Equal(t, []string{"game post has another shape: 1,824 triangles before, 1,790 now", "map.base_color main has other pixels"}, p.texts("#since li"))
	require.Contains(t, p.text("#since"), "1 finding mended")

	for _, email := range []string{petra, noor, ole, ada} {
		other := w.logIn(email).get(path)
		require.False(t, other.has(".concede"), email)
		require.Equal(t, email == noor, other.has(".decide"), "a technical artist may return; %s", email)
		require.Equal(t, email == petra || email == noor, other.has("form[action="+path+"/reinspection]"), email)
	}
	noorSees := w.logIn(noor).get(path)
	require.Equal(t, []string{"return"}, noorSees.attrs(".decide input[name=decision]", "value"))

	old := w.logIn(marek).get("/deliveries/" + w.deliveries["bollard-1"].String())
	require.False(t, old.has(".decide"), "a newer delivery has come")
	require.False(t, old.has("#since"), "nothing came before the first")
	require.Equal(t, "/deliveries/"+w.deliveries["bollard"].String(), old.link("number 2"))
	require.Contains(t, old.text("#decisions"), "returned by Marek Osei, art director")
}

func readingOtherStatesOfADelivery(t *testing.T, w *world) {
	b := w.logIn(marek)

	p := b.get("/deliveries/" + w.deliveries["buoy"].String())
	require.Equal(t, []string{"return"}, p.attrs(".decide input[name=decision]", "value"))
	require.Contains(t, p.text(".decide"), "It cannot be accepted as it is: 2 checks that count could not be evaluated")
	require.Contains(t, p.texts(".finding.unknown h3"), `not evaluated Nothing matches the part "mast".`)
	require.Len(t, p.all(".finding.unknown"), 1, "one reason for two checks is one heading")
	require.Contains(t, p.text(".finding.unknown"), "Projection rays that meet the sculpt, Sculpt outside the game surface")

	p = b.get("/deliveries/" + w.deliveries["winch"].String())
	require.Contains(t, p.text(".verdict"), "the inspector ran out of memory")
	require.Equal(t, []string{"return"}, p.attrs(".decide input[name=decision]", "value"))

	p = b.get("/deliveries/" + w.deliveries["crate"].String())
	require.Contains(t, p.text(".verdict"), "It waits for its turn.")
	require.Empty(t, p.header.Get("Refresh"), "a page looks again by itself only when asked to")
	p = b.get(p.link("keep looking"))
	require.Equal(t, "4", p.header.Get("Refresh"))
	require.Empty(t, b.get(p.link("Stop looking")).header.Get("Refresh"))
	done := b.get("/deliveries/" + w.deliveries["lantern"].String() + "?watch=1")
	require.Empty(t, done.header.Get("Refresh"), "nothing is to come")

	p = b.get("/deliveries/" + w.deliveries["cleat"].String())
	require.False(t, p.has(".decide"))
	require.Contains(t, p.text("#decisions"), "accepted with a note by Marek Osei, art director")
	require.Contains(t, p.text("#decisions"), "Released: EUR 708.30")
}

// Evidence that cannot be trusted is not shown, and the page says so.
func TestEvidenceThatIsNotWhatWasRecorded(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	f := reviewable()
	f.broken = true
	w.inspect(f) // the crate's
	p := w.logIn(marek).get("/deliveries/" + w.deliveries["crate"].String())
	require.Equal(t, http.StatusOK, p.status)
	require.Contains(t, p.text(".verdict"), "does not have the recorded digest")
	require.False(t, p.has(".finding"))
}

func readingWorkOfEachRole(t *testing.T, w *world) {
	titles := func(p *page) []string { return p.texts("tbody th a") }

	p := w.logIn(marek).get("/?show=mine")
	require.Equal(t, []string{"Pier lantern"}, titles(p))
	require.Equal(t, "On my desk", p.text(".tabs [aria-current=page]"))
	require.Equal(t, []string{"Slip winch"}, titles(w.logIn(noor).get("/?show=mine")), "what could not be evaluated is the technical artist's")

	p = w.logIn(petra).get("/?show=open")
	require.Equal(t, "All open", p.text(".tabs [aria-current=page]"), "a producer's work is everybody's")
	require.Contains(t, p.text("tbody"), "29 Feb 2020 late")
	require.NotContains(t, p.text("tbody"), "14 Mar 2031 late")

	p = w.logIn(ole).get("/?show=mine")
	require.Contains(t, p.texts("tbody tr"), "Pier lantern lantern Final open vendor since "+moment(w.props["lantern"].OrderedAt)+" 14 Mar 2031 Kelpgate Games QUAY-01")
	require.NotContains(t, p.text("tbody"), "waits for review", "that is the studio's to do")
	require.Contains(t, p.text("tbody"), "Kelpgate Games")
}

func TestEmptyPagesSayWhatToDo(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	party := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Vendor, error) {
		return tx.CreateVendor(ctx, ledger.NewVendor{Name: "Tarbarrel Models"})
	}).ID
	w.member(ines, party, "Una Voss", "una@tarbarrel.example", ledger.VendorLead)
	b := w.logIn("una@tarbarrel.example")
	require.Contains(t, b.get("/").text(".empty"), "Nothing waits for you.")
	require.Contains(t, b.get("/?show=all").text(".empty"), "No studio has ordered anything from you yet.")
	require.Contains(t, b.get("/orders").text(".empty"), "No studio has placed a work order with you yet.")
	require.Contains(t, b.get("/account").text(".empty"), "You have no token yet.")
	require.Contains(t, w.logIn(ole).get("/props/"+w.props["ladder"].ID.String()).text(".empty"), "Nothing has been delivered yet.")
	require.Contains(t, b.get("/orders?after=bm9uc2Vuc2U").text("main"), "cannot be accepted")
}

func moment(at time.Time) string { return at.UTC().Format("2 Jan 2006, 15:04") }

func readingOrderPage(t *testing.T, w *world) {
	path := "/orders/" + w.order.ID.String()
	p := w.logIn(petra).get(path)
	require.Equal(t, "Quay furniture QUAY-01", p.text("h1"))
	facts := p.text(".facts")
	for _, want := range []string{"Vendor Brackwater Props", "Project Saltmarsh harbour", "Price EUR 8,263.50", "Released EUR 708.30", "Milestones accepted 1 of 14"} {
		require.Contains(t, facts, want)
	}
	require.Contains(t, p.text("main"), "2 rounds of rework are in the price. The studio answers within 5 working days.")
	require.Contains(t, p.text(".written"), "Two rounds of rework.")
	require.Contains(t, p.text("main"), "cleat Game mesh milestone accepted EUR 708.30")
	for _, link := range []string{"The whole record, to keep and to verify", "Receipt of the order"} {
		require.Equal(t, http.StatusOK, p.b.get(p.link(link)).status, link)
	}
	require.NotContains(t, w.logIn(ole).get(path).text("main"), "Project")
}

func readingSpecPage(t *testing.T, w *world) {
	path := "/specs/" + w.specs["lantern"].String()
	p := w.logIn(ole).get(path)
	require.Equal(t, "Pier lantern, spec revision 1", p.text("h1"))
	require.Contains(t, p.text(".prose"), "Pier lantern (lantern), judged as a hero prop.")
	require.Contains(t, p.texts("main h2"), "Must hold, or the delivery does not pass")
	require.Contains(t, p.texts("main h2"), "Told as a warning")
	budget := ""
	for _, rule := range p.texts(".rule") {
		if strings.HasPrefix(rule, "Triangle budget") {
			budget = rule
		}
	}
	require.Contains(t, budget, "at most 3800")
	require.Contains(t, budget, "max_triangles spec line 5", "who said the limit")
	require.Contains(t, budget, "common practice, no source", "and on what ground the others stand")
	require.Contains(t, p.text("pre"), "budget.triangles: {max_triangles: 3800}")
	require.Equal(t, "Game mesh", p.text(".tabs [aria-current=page]"), "the milestone that is being worked on")
	require.Equal(t, "Final", p.b.get(path+"?milestone=final").text(".tabs [aria-current=page]"))

	file := p.b.get(p.link("Download it as spec.yaml"))
	require.Equal(t, "application/yaml", file.header.Get("Content-Type"))
	require.Equal(t, "prop: lantern\ntitle: Pier lantern\ntier: hero\nchecks:\n  budget.triangles: {max_triangles: 3800}\n", file.body)
}

func readingNothingWithoutLoggingIn(t *testing.T, w *world) {
	b := w.nobody()
	for _, a := range w.addresses() {
		p := b.get(a.path)
		require.Equal(t, http.StatusSeeOther, p.status, a.path)
		require.Regexp(t, `^/login(\?next=.*)?$`, p.header.Get("Location"))
	}
	p := b.get("/?show=all").follow()
	require.Equal(t, "Log in", p.text("h1"))
	back := b.get("/specs/"+w.specs["lantern"].String()+"?milestone=final").follow().submit("/login", "email", ole, "password", password)
	require.Equal(t, "/specs/"+w.specs["lantern"].String()+"?milestone=final", back.header.Get("Location"), "back to where one was going")
	require.Equal(t, http.StatusNotFound, w.nobody().get("/nonsense").status)
}

func readingLogIn(t *testing.T, w *world) {
	p := w.nobody().get("/login").submit("/login", "email", "Ole@Brackwater.example", "password", "not the password")
	require.Equal(t, http.StatusUnauthorized, p.status)
	require.Contains(t, p.text("[role=alert]"), "The e-mail or the password is not right.")
	require.Equal(t, []string{"Ole@Brackwater.example"}, p.attrs("#email", "value"), "what was typed stays")
	require.Empty(t, p.attrs("#password", "value")[0])
	wellMade(t, p)
	for _, evil := range []string{"//evil.example", "https://evil.example", "/\\evil.example", "javascript:alert(1)", "/a\r\nb"} {
		p := w.nobody().get("/login?next="+url.QueryEscape(evil)).submit("/login", "email", ole, "password", password)
		require.Equal(t, "/", p.header.Get("Location"), evil)
	}
	b := w.logIn(ole)
	require.Equal(t, "/login", b.get("/").submit("/logout").header.Get("Location"))
	require.Equal(t, http.StatusSeeOther, b.get("/").status, "the session is over")
}

// A session that ran out in the middle of a form costs nobody what they had typed.
func TestSessionThatRanOut(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	path := "/deliveries/" + w.deliveries["lantern"].String()
	b := w.logIn(marek)
	form := b.get(path).form(path + "/note")
	form.Set("text", "A long thought about <lantern> glass.")
	b.get("/").submit("/logout")
	p := b.post(path+"/note", form, "Referer", w.base+path)
	require.Equal(t, http.StatusUnauthorized, p.status)
	require.Contains(t, p.text("[role=alert]"), "You were logged out meanwhile, and nothing has been done yet.")
	require.Equal(t, "A long thought about <lantern> glass.", p.text("textarea"))
	require.Equal(t, path, p.submit("/login", "email", marek, "password", password).header.Get("Location"))
	require.NotContains(t, b.get(path).text("#notes"), "A long thought")
	stranger := b.w.nobody().post(path+"/note", form, "Referer", "https://evil.example/deliveries/1")
	require.Equal(t, []string{""}, stranger.form("/login")["next"])
}

// A page of another site can neither decide nor log anybody in.
func readingFormsOfOtherSites(t *testing.T, w *world) {
	path := "/deliveries/" + w.deliveries["lantern"].String()
	b := w.logIn(marek)
	form := b.get(path).form(path + "/decision")
	form.Set("decision", "accept")
	for _, headers := range [][]string{{"Sec-Fetch-Site", "cross-site"}, {"Origin", "https://evil.example"}} {
		p := b.post(path+"/decision", form, headers...)
		require.Equal(t, http.StatusForbidden, p.status)
		require.Contains(t, p.text("h1"), "A page of another site sent this")
		require.Equal(t, http.StatusForbidden, w.nobody().post("/login", url.Values{"email": {ole}, "password": {password}}, headers...).status)
		require.Equal(t, http.StatusForbidden, w.nobody().post("/join/phi_x", url.Values{}, headers...).status)
	}
	require.False(t, b.get(path).has("#decisions"))
}

func readingFormTooLarge(t *testing.T, w *world) {
	path := "/deliveries/" + w.deliveries["lantern"].String()
	p := w.logIn(marek).post(path+"/note", url.Values{"text": {strings.Repeat("x", 300<<10)}})
	require.Equal(t, http.StatusRequestEntityTooLarge, p.status)
}

// Every address on every page is answered; those of another page's place have that place.
func readingEveryLink(t *testing.T, w *world) {
	for _, email := range []string{ines, ole} {
		b, seen := w.logIn(email), map[string]bool{}
		for _, a := range w.addresses() {
			p := b.get(a.path)
			if p.status != http.StatusOK {
				continue
			}
			for _, to := range append(append(p.attrs("a", "href"), p.attrs("img", "src")...), p.attrs("link", "href")...) {
				if place, here := strings.CutPrefix(to, "#"); here {
					require.True(t, p.has("#"+place), "%s on %s", to, a.path)
					continue
				}
				to, _, _ = strings.Cut(to, "#")
				if seen[to] || strings.HasPrefix(to, "/v1/deliveries/") && strings.HasSuffix(to, "/content") { // the files themselves were never uploaded here
					continue
				}
				seen[to] = true
				require.Equal(t, http.StatusOK, b.get(to).status, "%s on %s for %s", to, a.path, email)
			}
		}
		require.Greater(t, len(seen), 60, email)
	}
}

// The address of a form stands in the browser after a refusal: whoever sends it off again gets the form's page.
func readingAddressesOfForms(t *testing.T, w *world) {
	b := w.logIn(ines)
	delivery, spec := "/deliveries/"+w.deliveries["lantern"].String(), "/specs/"+w.specs["lantern"].String()
	for path, page := range map[string]string{
		delivery + "/decision": delivery, delivery + "/concession": delivery, delivery + "/note": delivery, delivery + "/reinspection": delivery,
		spec + "/acknowledge": spec, "/people/invitation": "/people", "/people/vendor": "/people", "/account/password": "/account", "/account/token": "/account",
	} {
		require.Equal(t, page, b.get(path).header.Get("Location"), path)
		require.Equal(t, http.StatusOK, b.get(path).follow().status, path)
	}
}

func readingServerTimeOfPages(t *testing.T, w *world) {
	b := w.logIn(marek)
	slowest, at := time.Duration(0), ""
	for _, a := range w.addresses() {
		b.get(a.path)
		began := time.Now()
		p := b.get(a.path)
		if took := time.Since(began); took > slowest {
			slowest, at = took, a.path
		}
		require.Less(t, len(p.body), 150<<10, a.path)
	}
	t.Logf("the slowest page took %v: %s", slowest, at)
}
