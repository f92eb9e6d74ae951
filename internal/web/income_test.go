package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// A vendor finds under Money what is still to come, prop by prop and milestone by milestone, and on a delivery that waits what
// its acceptance releases and until when the studio answers. The studio has pages of its own for that.
func TestIncome(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	vendor := w.logIn(ole)
	home := vendor.get("/")
	require.Contains(t, home.attrs("header nav a", "href"), "/income")
	p := vendor.get("/income")
	require.Equal(t, http.StatusOK, p.status, p.text("main"))
	wellMade(t, p)
	require.Contains(t, p.attrs("#to-come th a", "href"), "/props/"+w.props["bollard"].ID.String())
	require.NotContains(t, p.attrs("#to-come th a", "href"), "/props/"+w.props["capstan"].ID.String(), "another vendor's")
	require.Len(t, p.all("#to-come .facts .money"), 1, "one currency, one sum")
	require.Contains(t, p.attrs("main a", "href"), "/payables")

	waiting := "/deliveries/" + w.deliveries["lantern"].String()
	d := vendor.get(waiting)
	require.Contains(t, d.text(".verdict"), "the studio answers until")
	require.Contains(t, d.text(".verdict"), "Accepting it releases EUR")
	require.Contains(t, d.text(".facts"), "No further round so far")
	s := w.logIn(marek).get(waiting)
	require.Contains(t, s.text(".verdict"), "the answer is due by")
	require.NotContains(t, s.text(".verdict"), "releases EUR")
	require.Contains(t, s.text(".facts"), "No further round so far", "both sides read the same")

	require.Equal(t, http.StatusNotFound, w.logIn(petra).get("/income").status)
	require.NotContains(t, w.logIn(petra).get("/").attrs("header nav a", "href"), "/income")
}
