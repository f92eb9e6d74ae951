package spec

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// testCatalogue has one check of each sort that the parser must know.
func testCatalogue() Catalogue {
	return Catalogue{
		{Name: "budget.triangles", Scope: PerLOD, Title: "Triangles", What: "Triangles as drawn.", Why: "Each costs.", Source: CommonPractice,
			Mode: [4]Mode{Blocks, Blocks, Blocks, Blocks}, From: []Milestone{GameMesh, Maps, Final},
			Limits: []Limit{
				{Key: "max_triangles", Kind: AtMost, Unit: "count", Default: ByTier{1000, 5000, 20000, 80000}, What: "Most.", Origin: CommonPractice},
				{Key: "low_share", Kind: AtLeast, Unit: "share", Default: ByTier{0.5, 0.5, 0.6, 0.6}, What: "Least.", Origin: CommonPractice},
			}},
		{Name: "uv.padding", Scope: PerSet, Title: "Padding", What: "Gap.", Why: "Bleeding.", Source: CommonPractice,
			Mode:      [4]Mode{Warns, Warns, Blocks, Blocks},
			NotForSet: map[SetKind]string{Tiling: "A tiling set has no islands."},
			Limits: []Limit{
				{Key: "min_px", Kind: AtLeast, Unit: "px", Default: ByTier{2, 4, 8, 16}, What: "Least gap.", Origin: CommonPractice},
				{Key: "max_px", Kind: AtMost, Unit: "px", Optional: true, What: "Most gap.", Origin: CommonPractice},
			}},
		{Name: "surface.poke_through", Scope: PerPart, Title: "Poke-through", What: "Height.", Why: "Flat.", Source: CommonPractice,
			Mode:       [4]Mode{Warns, Warns, Blocks, Blocks},
			NotForPart: map[PartKind]string{Card: "A card has no sculpt."},
			Limits:     []Limit{{Key: "max_height_mm", Kind: AtMost, Unit: "mm", Default: ByTier{8, 4, 2, 1}, What: "Height.", Origin: CommonPractice}}},
		{Name: "names.pattern", Scope: PerDelivery, Title: "Names", What: "Names.", Why: "Tools.", Source: CommonPractice,
			Mode: [4]Mode{Blocks, Blocks, Blocks, Blocks},
			Limits: []Limit{
				{Key: "nodes", Kind: Option, List: true, Pattern: true, What: "Node patterns."},
				{Key: "case", Kind: Option, Words: []string{"any", "lower"}, What: "Case."},
			}},
	}
}

func mustResolve(t *testing.T, text string, m Milestone) *Spec {
	t.Helper()
	d, err := Parse("lantern.yaml", []byte(text), testCatalogue())
	require.NoError(t, err)
	s, err := Resolve(d, testCatalogue(), m, nil)
	require.NoError(t, err)
	return s
}

// TestPixelSize is the table of common practice (no source): distance of each tier at 1440 lines and 50 degrees.
func TestPixelSize(t *testing.T) {
	t.Parallel()
	want := map[Tier]float64{Background: 9.7, MidGround: 3.2, Hero: 1.0, CloseUp: 0.26}
	for i, tier := range Tiers {
		got := defaultView(i).PixelMM()
		require.InEpsilon(t, want[tier], got, 0.03, "%s: the table has two digits", tier)
	}
	require.Zero(t, View{DistanceM: 1, FOVDeg: 50}.PixelMM())
	// tan 45° = 1: 2 m over 2000 lines is a millimetre.
	require.InEpsilon(t, 1.0, View{DistanceM: 1, FOVDeg: 90, ScreenLines: 2000}.PixelMM(), 1e-14)
}

func TestTiersGivePresets(t *testing.T) {
	t.Parallel()
	for i, tier := range Tiers {
		s := mustResolve(t, "prop: lantern\ntier: "+string(tier)+"\n", Final)
		r := s.Rule("budget.triangles", nil, nil)
		require.Equal(t, []float64{1000, 5000, 20000, 80000}[i], r.Numbers["max_triangles"])
		require.Equal(t, Blocks, r.Mode)
		require.Equal(t, "preset "+string(tier)+" (common practice, no source)", r.Origins["max_triangles"])
		_, on := s.Rule("uv.padding", nil, nil).Num("max_px")
		require.False(t, on, "an optional limit is off until a spec sets it")
	}
}
