package web_test

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A project's page draws what was accepted against the plan, and says the same in a table.
func TestProjectOverTime(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(petra)
	p := b.get("/orders")
	p = b.get(p.link("Projects"))
	wellMade(t, p)
	p = b.get(p.link("Saltmarsh harbour"))
	wellMade(t, p)
	require.Contains(t, p.text(".facts"), "EUR 9,444.00", "eight props of 1180.50")
	require.Contains(t, p.text(".facts"), "Accepted EUR 708.30")
	require.NotEmpty(t, p.text("svg title"))
	require.Contains(t, p.text("svg.wide desc"), "EUR 708.30")
	require.Contains(t, p.text("svg.narrow desc"), "EUR 708.30")
	require.Contains(t, p.text("figcaption"), "1 turn-round time ")
	require.Contains(t, p.text("#load"), "Brackwater Props 7 0 4 1 2 1 1", "props, done, at the vendor, the inspector and the studio, due soon, late")
	// Every line of the drawing lies within it, and what was accepted never falls.
	fields := map[string][4]float64{"svg.wide": {96, 700, 16, 296}, "svg.narrow": {66, 318, 88, 296}}
	for _, line := range []string{"svg.wide polyline.accepted-line", "svg.wide polyline.planned-line", "svg.wide polyline.likely-line", "svg.wide polygon.likely-band", "svg.narrow polyline.accepted-line", "svg.narrow polyline.planned-line", "svg.narrow polyline.likely-line", "svg.narrow polygon.likely-band"} {
		sheet, kind, _ := strings.Cut(line, " ")
		within := fields[sheet]
		points := p.attrs(line, "points")
		require.Len(t, points, 1, line)
		before := 1e9
		for _, at := range strings.Fields(points[0]) {
			xs, ys, ok := strings.Cut(at, ",")
			require.True(t, ok)
			x, xerr := strconv.ParseFloat(xs, 64)
			y, yerr := strconv.ParseFloat(ys, 64)
			require.NoError(t, xerr)
			require.NoError(t, yerr)
			require.True(t, x >= within[0] && x <= within[1] && y >= within[2] && y <= within[3], "%s: %s", line, at)
			if kind == "polyline.accepted-line" {
				require.LessOrEqual(t, y, before)
				before = y
			}
		}
	}
	require.Equal(t, http.StatusNotFound, w.logIn(ole).get(p.path).status, "vendors do not see projects")
	require.Equal(t, http.StatusNotFound, w.logIn(ole).get("/projects").status)
	empty := as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Project, error) {
		return tx.CreateProject(ctx, ledger.NewProject{Code: "LOCK", Title: "The ninth lock"})
	})
	p = b.get("/projects/" + empty.ID.String())
	wellMade(t, p)
	require.Contains(t, p.text(".empty"), "Nothing is ordered in this project yet.")
}

// Figures say what they mean, which of them are too few, and which check is proposed for a warning.
func TestFiguresOfVendors(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	as(w, marek, func(ctx context.Context, tx *ledger.Tx) (struct{}, error) { // the bollard's issues are accepted as they are
		inspection, err := tx.CurrentInspection(ctx, w.deliveries["bollard"])
		if err != nil {
			return struct{}{}, err
		}
		for ord := range 3 {
			if _, err := tx.GrantConcession(ctx, ledger.NewConcession{Inspection: inspection.ID, Ord: ord, Reason: "It never shows."}); err != nil {
				return struct{}{}, err
			}
		}
		return struct{}{}, nil
	})
	w.sign("bollard", ledger.AcceptAsIs, "It never shows.")
	b := w.logIn(petra)
	p := b.get("/figures")
	wellMade(t, p)
	require.Contains(t, p.text("#figures tbody"), "Brackwater Props too few to compare 2 50")
	require.Contains(t, p.text("#figures tbody"), "1 of 2")
	require.Contains(t, p.text("#figures .meanings"), "accepted with the first delivery")
	require.Contains(t, p.text("#checks"), "Sculpt outside the game surface")
	// Once returned and once accepted as it is: no proposal.
	require.NotContains(t, p.text("#worth tbody"), "let it warn")
	require.Contains(t, p.text("#worth"), "2 issues, 1 returned, 1 accepted as is")
	for _, by := range []string{"project", "tier"} {
		wellMade(t, b.get("/figures?by="+by))
	}
	require.Equal(t, http.StatusBadRequest, b.get("/figures?from=2027-01-01&to=2026-01-01").status)
	require.Contains(t, b.get("/figures?from=2020-01-01&to=2020-02-01").text(".empty"), "Nothing was accepted in this period.")
	p = w.logIn(tamsin).get("/figures?by=project")
	wellMade(t, p)
	require.NotContains(t, p.text("main"), "Saltmarsh")
	require.NotContains(t, p.text("#figures"), "Brackwater")
}
