package acceptance

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/spec"
)

// leaf is a card's texture: round leaves of some radius on a grid of 64, green carried under all of it or nothing.
func leaf(radius float64, filled bool) []byte {
	img := painted(0, color.NRGBA{}, func(_, x, y int) color.NRGBA64 { return color.NRGBA64{} })
	for y := range mapEdge {
		for x := range mapEdge {
			dx, dy := float64(x%64)-31.5, float64(y%64)-31.5
			c := color.NRGBA64{0x3000, 0x9000, 0x2000, 0}
			if math.Hypot(dx, dy) <= radius {
				c.A = 65535
			} else if !filled {
				c = color.NRGBA64{}
			}
			img.SetNRGBA64(x, y, c)
		}
	}
	return pngMap(img, 8)
}

func cards(t *testing.T, specText, mode string, base []byte) *Subject {
	s := twoIslands(t, t.TempDir(), specText, map[string][]byte{"base_color.png": base})
	m := &s.Files[0].Scene.Materials[0]
	m.AlphaMode, m.AlphaCutoff = mode, 0.5
	for _, p := range s.Parts {
		p.Def.Kind = spec.Card
	}
	return s
}

const maskSpec = "sets: [{name: wood, match: [wood], alpha: mask}]\n"

func TestAlpha(t *testing.T) {
	t.Parallel()
	s := cards(t, maskSpec, "MASK", leaf(30, true))
	for _, name := range []string{"alpha.mode", "alpha.empty", "alpha.mips", "alpha.fill"} {
		f := run1(t, s, name)
		require.Equal(t, Pass, f.Outcome, "%s: %s %v", name, f.Sentence, f.Metrics)
	}
	// Discs of radius 30 on squares of 64: π·30²/64² of the card is shown, but for whole texels and the islands' edges.
	require.InDelta(t, 1-math.Pi*900/4096, run1(t, s, "alpha.empty").Metrics["empty_share"], 0.03)
	require.Zero(t, run1(t, s, "alpha.fill").Metrics["share"])

	thin := cards(t, maskSpec, "MASK", leaf(4, false))
	f := run1(t, thin, "alpha.empty")
	require.Equal(t, Warn, f.Outcome)
	require.Greater(t, f.Metrics["empty_share"], 0.9)
	f = run1(t, thin, "alpha.mips")
	require.Equal(t, Warn, f.Outcome, "discs of 8 texels are gone in blocks of 16")
	require.Less(t, f.Metrics["coverage_share"], 0.1)
	f = run1(t, thin, "alpha.fill")
	require.Equal(t, Warn, f.Outcome)
	require.Equal(t, 1.0, f.Metrics["share"])
	require.NotEmpty(t, f.Where)
}

// Opacity in a map of its own, beside a base colour without alpha.
func TestOpacityMap(t *testing.T) {
	t.Parallel()
	base := pngMap(painted(200, black, func(_, _, _ int) color.NRGBA64 { return rgb(0.2, 0.5, 0.2) }), 8)
	holes := pngMap(painted(0, black, func(_, x, y int) color.NRGBA64 {
		if math.Hypot(float64(x%64)-31.5, float64(y%64)-31.5) <= 30 {
			return rgb(1, 1, 1)
		}
		return rgb(0, 0, 0)
	}), 8)
	s := twoIslands(t, t.TempDir(), maskSpec, map[string][]byte{"base_color.png": base, "opacity.png": holes})
	s.Files[0].Scene.Materials[0].AlphaMode, s.Parts[0].Def.Kind = "MASK", spec.Card
	require.InDelta(t, 1-math.Pi*900/4096, run1(t, s, "alpha.empty").Metrics["empty_share"], 0.03)
	require.Equal(t, Pass, run1(t, s, "alpha.fill").Outcome)
}

func TestAlphaMode(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, text, mode string
		kind             spec.PartKind
		want             Outcome
	}{
		{"opaque, nothing said", "", "OPAQUE", spec.Solid, Pass},
		{"blend, nothing said", "", "BLEND", spec.Solid, Warn},
		{"glass may blend", "", "BLEND", spec.Glass, Pass},
		{"cards may cut out", "", "MASK", spec.Card, Pass},
		{"blend where mask was said", maskSpec, "BLEND", spec.Solid, Warn},
		{"no material cuts out", maskSpec, "OPAQUE", spec.Solid, Warn},
		{"mask as said", maskSpec, "MASK", spec.Solid, Pass},
	} {
		s := cards(t, c.text, c.mode, leaf(30, true))
		for _, p := range s.Parts {
			p.Def.Kind = c.kind
		}
		f := run1(t, s, "alpha.mode")
		require.Equal(t, c.want, f.Outcome, "%s: %s", c.name, f.Sentence)
		if c.want == Warn {
			require.Equal(t, 1.0, f.Metrics["count"])
			require.Len(t, f.Where, 1)
		}
	}
}

// Without alpha there is nothing to say; where it is asked for and the map has none, that is told.
func TestAlphaMissing(t *testing.T) {
	t.Parallel()
	opaque := pngMap(painted(8, black, baseColour), 8)
	for _, name := range []string{"alpha.empty", "alpha.mips", "alpha.fill"} {
		require.Empty(t, runCheck(t, cards(t, "", "OPAQUE", opaque), name))
	}
	s := twoIslands(t, t.TempDir(), maskSpec, map[string][]byte{"base_color.jpg": nil})
	require.Equal(t, NotEvaluated, run1(t, s, "alpha.fill").Outcome)
}
