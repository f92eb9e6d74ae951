package web_test

import (
	"net/http"
	"testing"

	"github.com/stretchr/testify/require"
)

// A producer places an order, orders props from a list, and writes a spec, by the pages alone. What is wrong is told with
// its place, and nothing typed is lost.
func TestContracting(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	p := b.get("/orders/new")
	wellMade(t, p)
	refused := p.submit("/orders/new", "code", "PIER-03", "title", "Pier furniture", "rounds", "many", "project", "new", "project_code", "PIER", "project_title", "The pier")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("[role=alert]"), "The number of rounds is not a whole number")
	require.Equal(t, []string{"Pier furniture"}, refused.form("/orders/new")["title"])
	placed := refused.submit("/orders/new", "rounds", "2").follow()
	require.Contains(t, placed.text("h1"), "Pier furniture")
	require.Contains(t, placed.text(".facts"), "The pier")
	list := placed.path + "/list"

	p = b.get(list)
	wellMade(t, p)
	text := "code,title,tier,price,final_share,final_due\nfender,Tyre fender,background,180.00,100,2027-01-15\n"
	looked := p.submit(list, "list", text+"fender,Twice,hero,12.345,100,soon\n", "do", "look")
	require.Equal(t, http.StatusOK, looked.status)
	for _, fault := range []string{"Line 3, price", "Line 3, final_due", "Line 3, code"} {
		require.Contains(t, looked.text("[role=alert]"), fault)
	}
	none := looked.submit(list, "do", "order")
	require.Equal(t, http.StatusUnprocessableEntity, none.status)
	require.Contains(t, none.text("#list"), "Tyre fender", "the list stays")
	require.Contains(t, b.get(placed.path).text("main"), "This order has no props yet")
	require.Contains(t, none.submit(list, "list", text, "do", "look").text("[role=status]"), "1 prop can be ordered as written")
	ordered := none.submit(list, "list", text, "do", "order").follow()
	require.Contains(t, ordered.text("main"), "Tyre fender")
	require.Contains(t, ordered.text("main"), "EUR 180.00")

	prop := ordered.link("Tyre fender")
	p = b.get(prop + "/spec")
	wellMade(t, p)
	looked = p.submit(prop+"/spec", "document", "prop: fender\ntier: background\nchecks: {uv.overlapp: {}}\n", "do", "look")
	require.Contains(t, looked.text("[role=alert]"), "Line 3, column 10", "where the fault is")
	published := looked.submit(prop+"/spec", "document", "prop: fender\ntier: background\nsize_mm: [600, 600, 200]\n", "do", "publish").follow()
	require.Contains(t, published.text("h1"), "Tyre fender, spec revision 1")
	looked = b.get(prop+"/spec").submit(prop+"/spec", "document", "prop: fender\ntier: background\nsize_mm: [600, 600, 200]\nchecks: {budget.triangles: {max_triangles: 300}}\n", "do", "look")
	require.Contains(t, looked.text("#looked"), "max_triangles at most 1000 at most 300 tighter")

	// Nobody else has these pages, and they tell nothing.
	for _, who := range []string{ole, marek} {
		require.Equal(t, http.StatusNotFound, w.logIn(who).get("/orders/new").status, who)
		require.Equal(t, http.StatusNotFound, w.logIn(who).get(list).status, who)
	}
	require.Equal(t, http.StatusNotFound, w.logIn(ole).get(prop+"/spec").status)
}

// The list of what was released adds up for its period, and a wrong period is told.
func TestPayables(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	p := b.get("/payables?from=2000-01-01&to=2999-01-01")
	wellMade(t, p)
	require.Contains(t, p.text("main"), "EUR 708.30")
	require.Contains(t, b.get("/payables?from=2000-01-01&to=2000-01-02").text(".empty"), "Nothing was released")
	p = b.get("/payables?from=2027-01-01&to=2026-01-01")
	require.Equal(t, http.StatusBadRequest, p.status)
	require.Contains(t, p.text("[role=alert]"), "the first before the second")
}
