package web_test

import (
	"encoding/csv"
	"encoding/json"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The table of props filters, sorts, groups, pages and exports; the view stands in the address, and under a name.
func TestPropsInOneTable(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	titles := func(p *page) []string { return p.texts("tbody th a") }
	p := b.get("/props")
	wellMade(t, p)
	require.Len(t, titles(p), 8)
	require.Equal(t, "Quay ladder", titles(p)[0], "by due date")
	require.Equal(t, "8 props.", p.text("main p[role=status]"))

	p = b.get("/props?sort=prop")
	require.Equal(t, []string{"Channel buoy", "Deck cleat", "Fish crate", "Mooring bollard", "Pier lantern", "Quay ladder", "Slip winch", "Warping capstan"}, titles(p))
	require.Equal(t, []string{"ascending"}, p.attrs("th[aria-sort]", "aria-sort"))
	p = b.get(p.link("Prop ↑"))
	require.Equal(t, "Warping capstan", titles(p)[0])
	require.Equal(t, []string{"Quay ladder"}, titles(b.get("/props?late=yes")))
	require.Equal(t, []string{"Slip winch"}, titles(b.get("/props?state=stuck")))
	require.Equal(t, []string{"Warping capstan"}, titles(b.get("/props?order=YARD-01")))
	require.Equal(t, []string{"Pier lantern"}, titles(b.get("/props?tier=hero&q=LANT")))
	require.Equal(t, []string{"Mooring bollard", "Channel buoy", "Warping capstan"}, titles(b.get("/props?state=failed&group=order")))
	p = b.get("/props?group=vendor&sort=code")
	require.Equal(t, []string{"Brackwater Props 7 props", "Ninth Lock Workshop 1 prop"}, p.texts("tr.group"))
	p = b.get("/props?q=zebra")
	require.Contains(t, p.text(".empty"), "No prop fits.")
	require.Equal(t, http.StatusOK, b.get("/props?state=nonsense&sort=nonsense&vendor=nonsense").status, "what no list has a word for is no choice")
	require.Equal(t, http.StatusUnprocessableEntity, b.get("/props?after=nonsense").status)

	// The same view for a spreadsheet and for a program.
	file := b.get("/props/export?format=csv&late=yes")
	require.Equal(t, `attachment; filename="props.csv"`, file.header.Get("Content-Disposition"))
	rows, err := csv.NewReader(strings.NewReader(file.body)).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 2)
	require.Equal(t, []string{"ladder", "Quay ladder", "background", "QUAY-01"}, rows[1][1:5])
	require.Equal(t, "2020-02-29", rows[1][9])
	var list []map[string]any
	require.NoError(t, json.Unmarshal([]byte(b.get("/props/export?format=json").body), &list))
	require.Len(t, list, 8)

	// Under a name, for oneself alone.
	p = b.get("/props?late=yes&sort=-price")
	saved := p.submit("/props/views", "name", "Late, dearest first").follow()
	require.Equal(t, "/props?late=yes&sort=-price", saved.link("Late, dearest first"))
	require.False(t, w.logIn(marek).get("/props").has(".views a"), "others do not see it")
	refused := saved.submit("/props/views", "name", " ")
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.True(t, refused.has("[role=alert]"))
	require.Equal(t, []string{"Quay ladder"}, titles(refused), "the view stays")
	away := ""
	for _, a := range saved.attrs("form", "action") {
		if strings.HasSuffix(a, "/away") {
			away = a
		}
	}
	require.False(t, saved.submit(away).follow().has(".views a"))

	// A vendor has the same table of their own props.
	p = w.logIn(tamsin).get("/props")
	wellMade(t, p)
	require.Equal(t, []string{"Warping capstan"}, titles(p))
	require.NotContains(t, p.text("thead"), "Vendor")
	require.False(t, p.has("input[name=prop]"))
}
