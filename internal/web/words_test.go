package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	acceptedWords "proofhouse/internal/acceptance/words"
	"proofhouse/internal/web/words"
)

func reader(tag string) words.Reader { return words.Reader{Language: words.In(tag), Zone: time.UTC} }

func TestHeadlines(t *testing.T) {
	t.Parallel()
	en, de := reader("en"), reader("de")
	for want, got := range map[string]string{
		"No word.":                sentence("no word"),
		"Œuvre?":                  sentence(" œuvre?"),
		"4 issues":                verdictTitle(en, "technical: 4 issues; the first: it is too big."),
		"1 Mangel":                verdictTitle(de, "technical: 1 issue; the first: it is too big."),
		"12.345 Mängel":           verdictTitle(de, "technical: 12,345 issues; the first: it is too big."),
		"It is too big.":          verdictMore("technical: 4 issues; the first: it is too big."),
		"Clear, 8 warnings":       verdictTitle(en, "technical: clear, 8 warnings"),
		"In Ordnung":              verdictTitle(de, "technical: clear"),
		"As another engine wrote": verdictTitle(de, "as another engine wrote") + verdictMore("as another engine wrote"),
	} {
		require.Equal(t, want, got)
	}
	// What the engine says today is understood, whatever it says: its own words in, the page's out.
	engine := acceptedWords.English()
	first := acceptedWords.Name("It is too big.")
	for want, headline := range map[string]string{
		"In Ordnung":            engine.Say("engine.headline.clear"),
		"In Ordnung, 1 Warnung": engine.Say("engine.headline.warnings", acceptedWords.Count(1)),
		"2 Mängel":              engine.Say("engine.headline.issues", acceptedWords.Count(2), first),
		"Nicht beurteilt, 1 Prüfung konnte nicht laufen": engine.Say("engine.headline.not_evaluated", acceptedWords.Count(1), first),
	} {
		require.Equal(t, want, verdictTitle(de, headline), headline)
	}
}

func TestKeysInWords(t *testing.T) {
	t.Parallel()
	for key, want := range map[string][2]string{
		"max_height_mm": {"max_height", "mm"}, "target_px_per_m": {"target", "px/m"}, "share_outside": {"share_outside", "share"},
		"small_island_share": {"small_island", "share"}, "patch_area_mm2": {"patch_area", "mm²"}, "max_p95_skew_deg": {"max_p95_skew", "deg"}, "count": {"count", ""}, "_mm": {"_mm", ""},
	} {
		name, unit := unitOf(key)
		require.Equal(t, want, [2]string{name, unit}, key)
	}
	// A limit that the present engine does not know still has its number.
	require.Equal(t, []measure{{"odd height", "3\u00a0mm"}}, limitsOf(reader("en"), acceptance.Finding{Check: "surface.of_old", Limit: map[string]float64{"odd_height_mm": 3}}))
	require.Equal(t, "surface.of_old", checkTitle(reader("de"), "surface.of_old"))
}

func TestLate(t *testing.T) {
	t.Parallel()
	yesterday, today, longAgo := time.Now().UTC().AddDate(0, 0, -3), time.Now().UTC().Truncate(24*time.Hour), time.Time{}
	require.True(t, late(&yesterday))
	require.False(t, late(&today), "a day is late when it is over")
	require.False(t, late(nil))
	require.True(t, late(&longAgo))
}

// Every check there is has a title, and its limits and metrics come out in words: no underscores.
func TestCatalogueInWords(t *testing.T) {
	t.Parallel()
	require.NotEmpty(t, catalogue())
	for _, l := range words.Languages() {
		r := reader(l.Tag)
		for name, check := range catalogue() {
			require.NotEqual(t, name, checkTitle(r, name), "no title")
			f := acceptance.Finding{Check: name, Limit: map[string]float64{}, Metrics: map[string]float64{}}
			for _, limit := range check.Limits {
				f.Limit[limit.Key] = 1
			}
			for _, m := range check.Metrics {
				f.Metrics[m] = 1
				stem, _ := unitOf(m)
				require.True(t, l.Has("metric."+stem), "%s, what %s measures, has no words in %s", stem, name, l.Name)
			}
			for _, m := range append(limitsOf(r, f), metricsOf(r, f)...) {
				require.NotEmpty(t, m.What, name)
				require.NotContains(t, m.Value, "_", name)
			}
			require.Len(t, limitsOf(r, f), len(check.Limits), name)
		}
	}
}

func TestLocalKeepsOnThisSite(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{
		"/props/1?x=2": "/props/1?x=2", "": "/", "//evil.example": "/", "https://evil.example": "/", "/\\evil.example": "/", "/a\r\nSet-Cookie: x": "/", "javascript:x": "/",
	} {
		require.Equal(t, want, local(in), in)
	}
}
