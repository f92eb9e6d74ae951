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
	require.Equal(t, []string{"many"}, refused.form("/orders/new")["rounds"], "what is wrong stays to be seen")
	all := refused.submit("/orders/new", "code", "PIER 03", "title", "", "currency", "EU", "rounds", "", "kill_fee", "101", "project_code", "SALTMARSH", "source_roles", "sculpt", "vendor", "")
	wellMade(t, all)
	for _, field := range []string{"code", "title", "currency", "rounds", "kill_fee", "project_code", "source_roles", "vendor"} {
		require.Equal(t, []string{"true"}, all.attrs("#"+field, "aria-invalid"), field)
		require.Equal(t, []string{field + "-fault"}, all.attrs("#"+field, "aria-describedby"), field)
		require.True(t, all.has("#"+field+"-fault"), field)
	}
	require.Len(t, all.all("[role=alert] li"), 8, "all at once: %s", all.text("[role=alert]"))
	require.Contains(t, all.text("#project_code-fault"), "is another project's already")
	require.Contains(t, all.text("#source_roles-fault"), "a source's role begins with source., such as source.sculpt")
	require.NotContains(t, all.text("[role=alert]"), "[0]")
	require.True(t, all.has("#further[open]"))
	taken := refused.submit("/orders/new", "code", "QUAY-01", "rounds", "2")
	require.Equal(t, http.StatusConflict, taken.status)
	require.Contains(t, taken.text("#code-fault"), "is another order's already")
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
	require.Contains(t, looked.text("[role=alert] code"), "fender,Twice,hero,12.345,100,soon", "the line as it was typed")
	none := looked.submit(list, "do", "order")
	require.Equal(t, http.StatusUnprocessableEntity, none.status)
	require.Contains(t, none.text("#list"), "Tyre fender", "the list stays")
	require.Contains(t, b.get(placed.path).text("main"), "This order has no props yet")
	require.Contains(t, none.submit(list, "list", text, "do", "look").text("[role=status]"), "1 prop can be ordered as written")
	ordered := none.submit(list, "list", text, "do", "order").follow()
	require.Contains(t, ordered.text("main"), "Tyre fender")
	require.Contains(t, ordered.text("main"), "EUR 180.00")

	// A day that is over is asked about; a file takes the field's place, in whatever a spreadsheet writes.
	slip := p.submit(list, "list", "code;title;tier;price;maps_share;maps_due;final_share;final_due\nrope;A coil of rope;mid;1420,50;30;2020-01-07;70;2099-01-07\n", "do", "order")
	require.Equal(t, http.StatusUnprocessableEntity, slip.status)
	wellMade(t, slip)
	require.Contains(t, slip.text("[role=alert]"), "Line 2, maps_due: Is over already (2020-01-07): the prop would be late at once.")
	for _, understood := range []string{"A coil of rope rope", "mid-ground", "7 Jan 2020", "30 %, EUR 426.15", "70 %, EUR 994.35", "EUR 1,420.50"} {
		require.Contains(t, slip.text("#understood"), understood)
	}
	require.NotContains(t, b.get(placed.path).text("main"), "A coil of rope")
	require.Contains(t, slip.submit(list, "do", "anyway").follow().text("main"), "A coil of rope")
	file := b.upload(list, map[string]string{"once": "a file", "list": "", "do": "look"}, map[string][]byte{"file": []byte("code,title,tier,price,final_due\nb\xf6je,B,mid,10,2099-01-01\nquoin,T\xfcr,mid,x,2099-01-01\n")})
	require.Contains(t, file.text("[role=alert]"), "Line 3, price")
	require.Contains(t, file.text("#list"), "quoin,Tür,mid", "in the letters of Windows-1252")

	// One prop by a form begins with the shares of the one before, and marks what is wrong.
	p = b.get(placed.path + "/prop")
	wellMade(t, p)
	bad := p.submit(placed.path+"/prop", "code", "fender", "title", "Again", "price", "12.345", "final_share", "60", "maps_share", "30")
	require.Equal(t, http.StatusUnprocessableEntity, bad.status)
	require.Contains(t, bad.text("#price-fault"), "The price has more than the 2 decimals of EUR.")
	require.Contains(t, bad.text("#stages-fault"), "has shares of 90 % together, not 100 %")
	bad = bad.submit(placed.path+"/prop", "price", "12.34", "maps_share", "40")
	require.Contains(t, bad.text("#code-fault"), "already")
	ask := bad.submit(placed.path+"/prop", "code", "quoin", "maps_due", "2020-01-07")
	require.Contains(t, ask.text("[role=alert]"), "The due date of the maps is over already (2020-01-07)")
	words := with(ask.form(placed.path+"/prop"), "do", "anyway")
	one := b.post(placed.path+"/prop", words).follow()
	require.Contains(t, one.text("h1"), "Again")
	require.Equal(t, placed.path, b.post(placed.path+"/prop", words).header.Get("Location"), "a second click orders no second one")

	prop := ordered.link("Tyre fender")
	p = b.get(prop + "/spec")
	wellMade(t, p)
	firstSpec(t, b, prop+"/spec")
	looked = p.submit(prop+"/spec", "document", "prop: fender\ntier: background\nchecks: {uv.overlapp: {}}\n", "do", "look")
	require.Contains(t, looked.text("[role=alert]"), "Line 3, column 10", "where the fault is")
	near := p.submit(prop+"/spec", "document", "prop: fender\ntier: background\ntriangles: 1200\n", "do", "look")
	require.Contains(t, near.text("[role=alert]"), `Did you mean "checks: budget.triangles"?`)
	published := looked.submit(prop+"/spec", "document", "prop: fender\ntier: background\nsize_mm: [600, 600, 200]\n", "do", "publish").follow()
	require.Contains(t, published.text("h1"), "Tyre fender, spec revision 1")
	looked = b.get(prop+"/spec").submit(prop+"/spec", "document", "prop: fender\ntier: background\nsize_mm: [600, 600, 200]\nchecks: {budget.triangles: {max_triangles: 300}}\n", "do", "look")
	require.Contains(t, looked.text("#looked"), "max_triangles at most 1000 at most 300 tighter")

	// Nobody else has these pages, and they tell nothing.
	for _, who := range []string{ole, marek} {
		require.Equal(t, http.StatusNotFound, w.logIn(who).get("/orders/new").status, who)
		require.Equal(t, http.StatusNotFound, w.logIn(who).get(list).status, who)
		require.Equal(t, http.StatusNotFound, w.logIn(who).get(placed.path+"/prop").status, who)
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
