package arrows

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The page that reckons the machines is reckoned again, from its own measured figures and assumptions: whoever changes one of
// them has to change what follows.
func TestTheSumsOfTheScalePageAddUp(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("..", "..", "docs", "scale.md"))
	require.NoError(t, err)
	page := string(text)
	has := func(what string) { t.Helper(); require.Contains(t, page, what) }
	row := func(label string, cells ...string) {
		t.Helper()
		for line := range strings.Lines(page) {
			if strings.HasPrefix(line, "| "+label) {
				for _, c := range cells {
					require.Contains(t, line, c, label)
				}
				return
			}
		}
		require.Fail(t, "no row", label)
	}

	// What was measured, and the assumptions.
	const (
		sculptMB, mapsMB, gameMB, evidenceMB = 112.116380, 1.19, 1.24, 17.0
		deliveries, mapsTimes                = 6.0, 16.0
		secondsEach, hours, peak, load       = 30.0, 22 * 8 * 3600.0, 4.0, 0.7
		requests, requestSeconds             = 40.0, 0.005
		findings, findingBytes, price        = 100.0, 300.0, 0.02
	)
	for _, given := range []string{"112,116,380 bytes", "1.19 MB", "1.24 MB", "17.0 MB", "6 deliveries a prop", "16 times the bytes", "30 s of processor time", "633,600 s", "4 times the average",
		"70 % of their cores", "100 findings an inspection, 300 bytes a row", "5 ms of a core; 20 requests a delivery, and as many again", "At 0.02 a GB"} {
		has(given)
	}
	require.Equal(t, 633_600.0, hours)
	deliveredMB := sculptMB + mapsMB*mapsTimes + gameMB
	has(fmt.Sprintf("**%.0f MB**, evidence %.0f MB: **%.0f MB**", deliveredMB, evidenceMB, deliveredMB+evidenceMB))
	deliveredMB = 132 // as the page goes on
	propGB := deliveries * (deliveredMB + evidenceMB) / 1000
	has(fmt.Sprintf("= **%.1f GB**", propGB))

	small, large := 10_000*deliveries, 1_000_000*deliveries
	row("on average, working hours", fmt.Sprintf("%.3f /s", small/hours), fmt.Sprintf("%.1f /s", large/hours))
	row("worst hour", fmt.Sprintf("%.2f /s", small/hours*peak), fmt.Sprintf("%.0f /s", large/hours*peak))
	row("cores busy in the worst hour", fmt.Sprintf("%.1f", small/hours*peak*secondsEach), thousands(large/hours*peak*secondsEach))
	row("cores to have", fmt.Sprintf("**%.0f**", small/hours*peak*secondsEach/load), "**"+thousands(10*float64(int(large/hours*peak*secondsEach/load/10)))+"**")
	row("from storage to workers", fmt.Sprintf("%.0f MB/s", small/hours*peak*deliveredMB), fmt.Sprintf("%.1f GB/s", large/hours*peak*deliveredMB/1000))
	row("requests to the API", fmt.Sprintf("%.0f /s", small/hours*peak*requests), "1,520 /s")
	require.InDelta(t, 1520, large/hours*peak*requests, 10)
	row("API (", fmt.Sprintf("%.0f cores", large/hours*peak*requests*requestSeconds/load))
	row("new objects a month", fmt.Sprintf("%.1f TB", 10_000*propGB/1000), fmt.Sprintf("%.0f TB", 1_000_000*propGB/1000))
	row("objects after a year", fmt.Sprintf("%.0f TB", 12*10_000*propGB/1000), fmt.Sprintf("%.1f PB", 12*1_000_000*propGB/1e6))
	row("findings a month", fmt.Sprintf("%.0f million rows, %.1f GB", small*findings/1e6, small*findings*findingBytes/1e9), fmt.Sprintf("%.0f million rows, %.0f GB", large*findings/1e6, large*findings*findingBytes/1e9))
	has(fmt.Sprintf("costs %.2f in its first month and %.2f over its", propGB*price, 12*propGB*price))
	stays, goes := (3*deliveredMB+6*evidenceMB)/1000, 3*deliveredMB/1000
	require.InDelta(t, 128_000, (12*stays+goes)*1_000_000*price, 1000) // the page rounds from unrounded parts
	has("some 128,000 a month")
	require.InDelta(t, 214_000, 12*propGB*1_000_000*price, 1000)
}

// thousands writes a whole number with commas.
func thousands(v float64) string {
	s := fmt.Sprintf("%.0f", v)
	if len(s) > 3 {
		s = s[:len(s)-3] + "," + s[len(s)-3:]
	}
	return s
}
