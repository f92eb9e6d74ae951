package web

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
)

func TestNumbersAndUnits(t *testing.T) {
	t.Parallel()
	for want, got := range map[string]string{
		"0\u00a0%":                withUnit(0, "share"),
		"12.5\u00a0%":             withUnit(0.125, "share"),
		"51.0°":                   withUnit(51.04, "deg"),
		"13\u202f056":             withUnit(13056, "count"),
		"5.22\u00a0mm":            withUnit(5.22, "mm"),
		"0.052\u00a0mm":           withUnit(0.0522, "mm"),
		"4.20\u00a0MB":            withUnit(4_194_304, "bytes"),
		"877\u00a0kB":             bytesWord(877_001),
		"12\u00a0B":               bytesWord(12),
		"-1\u202f234":             group3(-1234),
		"1 warning":               count(1, "warning", "warnings"),
		"1\u202f200 warnings":     count(1200, "warning", "warnings"),
		"No word.":                sentence("no word"),
		"Œuvre?":                  sentence(" œuvre?"),
		"4 issues":                verdictTitle("technical: 4 issues; the first: it is too big."),
		"It is too big.":          verdictMore("technical: 4 issues; the first: it is too big."),
		"Clear, 8 warnings":       verdictTitle("technical: clear, 8 warnings"),
		"as another engine wrote": "as another engine wrote" + verdictMore("as another engine wrote"),
	} {
		require.Equal(t, want, got)
	}
}

func TestKeysInWords(t *testing.T) {
	t.Parallel()
	for key, want := range map[string][2]string{
		"max_height_mm": {"max height", "mm"}, "target_px_per_m": {"target", "px/m"}, "share_outside": {"share outside", "share"},
		"small_island_share": {"small island", "share"}, "patch_area_mm2": {"patch area", "mm²"}, "max_p95_skew_deg": {"max p95 skew", "deg"}, "count": {"count", ""}, "_mm": {" mm", ""},
	} {
		words, unit := unitOf(key)
		require.Equal(t, want, [2]string{words, unit}, key)
	}
	// A limit that the present engine does not know still has its number.
	require.Equal(t, []measure{{"odd height", "3\u00a0mm"}}, limitsOf(acceptance.Finding{Check: "surface.of_old", Limit: map[string]float64{"odd_height_mm": 3}}))
	require.Equal(t, "surface.of_old", titleOf("surface.of_old"))
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
	for name, check := range catalogue() {
		require.NotEqual(t, name, titleOf(name), "no title")
		f := acceptance.Finding{Check: name, Limit: map[string]float64{}, Metrics: map[string]float64{}}
		for _, l := range check.Limits {
			f.Limit[l.Key] = 1
		}
		for _, m := range check.Metrics {
			f.Metrics[m] = 1
		}
		for _, m := range append(limitsOf(f), metricsOf(f)...) {
			require.NotEmpty(t, m.What, name)
			require.NotContains(t, m.Value, "_", name)
		}
		require.Len(t, limitsOf(f), len(check.Limits), name)
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
