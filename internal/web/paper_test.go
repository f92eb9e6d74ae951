package web_test

import (
	"context"
	"encoding/hex"
	"net/http"
	"net/url"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// TestPapersAndReaders: the two papers, in the reader's language and zone.
func TestPapersAndReaders(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	director, lead := w.logIn(marek), w.logIn(ole)
	accepted, failed := "/deliveries/"+w.deliveries["cleat"].String(), "/deliveries/"+w.deliveries["bollard"].String()

	p := lead.get(accepted + "/certificate")
	require.Equal(t, http.StatusOK, p.status)
	wellMade(t, p)
	for _, want := range []string{"Acceptance certificate", "Deck cleat , Game mesh", "Brackwater Props", "Signed by Marek Osei , art director", "EUR 708.30", "What was not looked at",
		"Decision signed", "Inspection recorded", "Delivery sealed", w.base + accepted + "/certificate", w.base + "/v1/receipts/milestone.signed_off/"} {
		require.Contains(t, p.text("main"), want)
	}
	spec := as(w, marek, func(ctx context.Context, tx *ledger.Tx) (ledger.SpecRevision, error) {
		return tx.SpecRevision(ctx, w.specs["cleat"])
	})
	require.Contains(t, p.text("main"), hex.EncodeToString(spec.Digest), "the digest of the spec that it was judged by")
	require.True(t, p.has("svg.qr"))
	require.False(t, p.has("main form"), "nothing is done on paper")

	p = director.get(failed + "/issues")
	require.Equal(t, http.StatusOK, p.status)
	wellMade(t, p)
	require.Contains(t, p.text("main"), "Report of issues (nonconformity report)")
	require.Len(t, p.all(".paper .finding"), 3)
	require.Contains(t, p.text("main"), "To do:")

	// No certificate of what is not accepted, no paper of what is not inspected, nothing for strangers.
	p = director.get(failed + "/certificate")
	require.Equal(t, http.StatusConflict, p.status)
	require.Contains(t, p.text("main"), "The delivery is not accepted, so there is no certificate of it.")
	for _, path := range []string{accepted + "/certificate", failed + "/issues"} {
		require.Equal(t, http.StatusNotFound, w.logIn(tamsin).get(path).status)
	}

	// A member's own language and zone.
	account := lead.get("/account")
	require.Equal(t, http.StatusSeeOther, account.submit("/account/reading", "language", "de", "time_zone", "Asia/Kathmandu").status)
	p = lead.get(accepted + "/certificate")
	require.Equal(t, []string{"de"}, p.attrs("html", "lang"))
	require.Equal(t, "de", p.header.Get("Content-Language"))
	for _, want := range []string{"Abnahmebescheinigung", "Gezeichnet von Marek Osei , künstlerische Leitung", "708,30 EUR", "Asia/Kathmandu"} {
		require.Contains(t, p.text("body"), want)
	}
	require.Contains(t, p.attrs("main time", "title")[0], "UTC+05:45 (Asia/Kathmandu)")
	p = lead.get(failed + "/certificate")
	require.Contains(t, p.text("main"), "Die Lieferung ist nicht abgenommen, also gibt es keine Bescheinigung.")
	require.Equal(t, []string{"en"}, director.get("/").attrs("html", "lang"), "nobody else's")
	account = lead.get("/account")
	require.Equal(t, []string{"de"}, account.attrs("#language option[selected]", "value"))
	refused := account.submit("/account/reading", "language", "de", "time_zone", "Nowhere/Land")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("#reading [role=alert]"), "Die Zeitzone steht nicht in der Zeitzonendatenbank der IANA.")
	require.Equal(t, ledger.Reading{Language: "de", TimeZone: "Asia/Kathmandu"}, as(w, ole, func(ctx context.Context, tx *ledger.Tx) (ledger.Reading, error) { return tx.Reading(ctx) }))
	require.Equal(t, http.StatusSeeOther, account.submit("/account/reading", "language", "", "time_zone", "").status)
	require.Equal(t, []string{"en"}, lead.get("/").attrs("html", "lang"))

	// Before anybody is known: what the browser asks for, then what was chosen in it.
	stranger := w.nobody()
	stranger.language = "de-AT,de;q=0.9,en;q=0.5"
	p = stranger.get("/login")
	require.Contains(t, p.text("main"), "Passwort")
	require.Equal(t, []string{"true"}, slices.DeleteFunc(p.attrs("footer button[lang=de]", "aria-current"), func(s string) bool { return s == "" }))
	chosen := stranger.post("/language", url.Values{"language": {"en"}, "next": {"/login?next=%2Forders"}})
	require.Equal(t, "/login?next=%2Forders", chosen.header.Get("Location"))
	require.Equal(t, []string{"en"}, stranger.get("/login").attrs("html", "lang"))
	require.Equal(t, http.StatusSeeOther, stranger.post("/language", url.Values{"language": {"xx"}, "next": {"https://evil.example"}}).status)
	require.Equal(t, []string{"en"}, stranger.get("/login").attrs("html", "lang"))
}
