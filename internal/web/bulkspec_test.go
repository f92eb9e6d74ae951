package web_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// One change goes over the specs of many props: first it is seen what it does, then each gets a revision in one act, and the
// vendor acknowledges them together.
func TestOneChangeForManySpecs(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	wellMade(t, b.get("/props/spec"))
	require.Contains(t, b.get("/props/spec?order=QUAY-99").text(".empty"), "No prop of QUAY-99 is open.")
	require.Len(t, b.get("/props/spec?order=QUAY-01").all("input[name=prop]"), 7)

	chosen := "/props/spec?prop=" + w.props["bollard"].ID.String() + "&prop=" + w.props["buoy"].ID.String() + "&prop=" + w.props["ladder"].ID.String()
	p := b.get(chosen)
	wellMade(t, p)
	require.Len(t, p.all("tbody tr"), 3)
	send := func(p *page, pairs ...string) *page { // a form with several fields of one name
		form := url.Values{}
		for name, values := range p.form("/props/spec") {
			form[name] = values
		}
		for i := 0; i+1 < len(pairs); i += 2 {
			form.Set(pairs[i], pairs[i+1])
		}
		return b.post("/props/spec", form)
	}
	p = send(p, "change", "checks: [", "do", "look")
	require.Contains(t, p.text("[role=alert]"), "cannot be laid over")
	require.False(t, p.has("button[value=publish]"))
	p = send(p, "change", "checks:\n  uv.overlapp: {mode: warns}\n", "do", "publish")
	require.Equal(t, http.StatusUnprocessableEntity, p.status, "nothing is published with a fault in it")
	require.Contains(t, p.text("tbody"), "uv.overlapp")
	p = send(p, "change", "checks:\n  budget.triangles: {max_triangles: 3000}\n", "do", "look")
	require.Equal(t, http.StatusOK, p.status)
	require.Contains(t, p.text("tbody"), "max_triangles : at most 3800 → at most 3000")
	require.Equal(t, "Publish for 3 props", p.text("button[value=publish]"))
	p = send(p, "note", "Tighter, for the ferry.", "price", "lots", "do", "publish")
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Equal(t, []string{"Tighter, for the ferry."}, p.attrs("#note", "value"), "nothing is lost")
	require.Equal(t, "/#specs", send(p, "price", "25", "do", "publish").header.Get("Location"))

	// Work on two of them had begun: they wait for the vendor; the third is in force at once.
	require.Contains(t, b.get("/props/"+w.props["ladder"].ID.String()).text("main"), "Revision 2")
	lead := w.logIn(ole)
	p = lead.get("/specs")
	wellMade(t, p)
	rows := p.text("tbody")
	for _, want := range []string{"bollard", "buoy", "lantern", "Tighter, for the ferry."} {
		require.Contains(t, rows, want)
	}
	require.NotContains(t, rows, "ladder")
	form := url.Values{"once": p.attrs("#ack input[name=once]", "value"), "spec": p.attrs("input[name=spec]", "value")}
	require.Len(t, form["spec"], 3)
	none := lead.post("/specs", url.Values{"once": {strings.Repeat("a", 32)}})
	require.Equal(t, http.StatusUnprocessableEntity, none.status)
	require.Equal(t, http.StatusSeeOther, lead.post("/specs", form).status)
	require.Contains(t, lead.get("/specs").text(".empty"), "No spec waits")
	require.NotContains(t, strings.Join(b.get("/").texts(".counts li"), " "), "not acknowledged")

	// Vendors have no such page for the studio's act, and nobody has another's props.
	require.Equal(t, http.StatusNotFound, lead.get("/props/spec").status)
	require.Equal(t, http.StatusNotFound, b.get("/props/spec?prop=nonsense").status)
	require.False(t, w.logIn(ada).get("/specs").has("button.act"))
}
