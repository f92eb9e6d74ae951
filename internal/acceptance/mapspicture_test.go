package acceptance

import (
	"context"
	"image/color"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Pictures are made of what broke a limit and of nothing else; they name their check. With PROOFHOUSE_PICTURES set to a
// folder they are left there to be looked at.
func TestMapPictures(t *testing.T) {
	t.Parallel()
	run := func(maps map[string][]byte) []Picture {
		s := twoIslands(t, t.TempDir(), mapsSpec, maps)
		var findings []Finding
		for _, name := range mapCheckNames {
			findings = append(findings, runCheck(t, s, name)...)
		}
		var a album
		for _, p := range mapPictures(context.Background(), s, s.Sets[0], findings) {
			a.add(p)
		}
		return a.bound()
	}
	require.Empty(t, run(cleanMaps()))
	maps := cleanMaps()
	maps["base_color.png"] = pngMap(painted(0, black, func(k, x, y int) color.NRGBA64 {
		switch {
		case k == 0 && (x/20+y/20)%3 == 0:
			return rgb(0.03, 0.03, 0.03)
		case k == 0 && (x/20+y/20)%3 == 1:
			return rgb(0.99, 0.99, 0.98)
		}
		return baseColour(k, x, y)
	}), 8)
	out := run(maps)
	require.Len(t, out, 2)
	for i, want := range []string{"maps.bleed", "maps.base_color"} {
		require.Equal(t, []string{want}, out[i].Checks)
		require.NotEmpty(t, out[i].SHA256)
		if dir := os.Getenv("PROOFHOUSE_PICTURES"); dir != "" {
			require.NoError(t, os.WriteFile(filepath.Join(dir, out[i].Name), out[i].Bytes, 0o600))
		}
	}
}
