package spec

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance/words"
)

// everyWord is a spec that uses every key that the plain words speak of.
const everyWord = `spec: proofhouse/spec/1
prop: davit
title: Boat davit
tier: hero
size_mm: [900, 2400, 600.5]
conventions: {green: down, hug: centred}
view: {distance_m: 1.5}
parts:
  - {name: arm, kind: moving, pivot: hinge, poses: [in, out], may_cross: [post], density: 0.5, reach_mm: {front: 12, back: 8}}
  - {name: shade, kind: sheet, open: [below, ends], two_sided: material, sculpt: none}
  - {name: post, sculpt: shared, density: 0, mirror: x, two_sided: geometry}
  - {name: rail, pivot: slide, sculpt: ["rail_*"], open: [{plane: [0, 1, 0, 0]}]}
sets:
  - {name: main, kind: baked, ship_px: 2048, author_px: 4096, stack: mirrored, alpha: mask}
  - {name: yard, kind: shared, stack: copies, alpha: blend}
  - {name: own, stack: none}
files:
  - {role: game, pattern: ["{prop}.glb", "{prop}_game.glb"], needed: true, from: sculpt}
  - {role: map.normal, pattern: "{prop}_normal.png", needed: true, from: sculpt}
  - {role: source.sculpt, pattern: "source/*", needed: true, from: sculpt}
  - {role: extra, pattern: "*.txt", needed: true, from: sculpt}
`

func plainly(t *testing.T, document, lang string) (lines []string) {
	t.Helper()
	s := mustResolve(t, document, Final)
	l, ok := words.In(lang)
	require.True(t, ok)
	for _, p := range s.InPlainWords() {
		if p.Heading.Code != "" {
			lines = append(lines, "# "+l.Sentence(p.Heading))
		}
		for _, said := range append(p.Sentences, p.Points...) {
			require.True(t, l.Has(said.Code), said.Code)
			lines = append(lines, l.Sentence(said))
		}
	}
	return lines
}

func TestPlainWords(t *testing.T) {
	t.Parallel()
	en, de := plainly(t, everyWord, "en"), plainly(t, everyWord, "de")
	require.Len(t, de, len(en), "both languages say as much")
	for lang, want := range map[string][]string{
		"en": {
			"Boat davit (davit), judged as a hero prop.",
			"It measures 900 × 2400 × 600.5 mm (x, y, z).",
			"The camera comes as near as 1.5 m; one pixel of a screen of 1440 lines is then 1.0 mm on the prop.",
			"Green of normal maps points down.", "The game surface runs through the middle of the sculpt's surface.",
			"# Deliver for the milestone final",
			"the game mesh (game), named davit.glb, davit_game.glb or davit.*", "the map normal (map.normal), named davit_normal.png", "the source file sculpt (source.sculpt), named source/*", "extra, named *.txt",
			"arm: a moving part, its texel density is 0.5 times the target, projection looks 12 mm out and 8 mm in, may run into post, turns on a hinge, is looked at in the poses in, out",
			"shade: a thin sheet, open edges underneath are meant, open edges at the ends are meant, has no sculpt, shows both sides by its material",
			"post: shares its sculpt with others, shows both sides by a second surface, its texel density is not judged, built by mirroring over x",
			"rail: open edges are meant in the plane 0 1 0 at 0 mm, give or take 1 mm, its sculpt is rail_*, slides on a rail",
			"main: baked from the sculpt, ships at 2048 px, painted at 4096 px, only mirrored islands may lie on each other, cut out by a mask",
			"yard: shared with other props, only copies may lie on each other, see-through by blending",
			"# A name that ends in one of these says so without asking", "_floater: a piece that floats over another",
			"# These are asked of the studio first", "_nosculpt: has no sculpt",
		},
		"de": {
			"Boat davit (davit), beurteilt als Hauptobjekt.",
			"Es misst 900 × 2400 × 600,5 mm (x, y, z).",
			"Die Kamera kommt bis auf 1,5 m heran; ein Pixel eines Bildschirms mit 1440 Zeilen ist dann am Objekt 1,0 mm groß.",
			"# Zu liefern für den Meilenstein Endfassung",
			"das Spielmesh (game), mit dem Namen davit.glb, davit_game.glb oder davit.*",
			"arm: ein bewegliches Teil, seine Texeldichte ist das 0,5-Fache des Ziels, die Projektion sucht 12 mm nach außen und 8 mm nach innen, darf sich mit post schneiden, dreht sich um ein Scharnier, wird in den Posen in, out betrachtet",
			"_nosculpt: hat kein Sculpt",
		},
	} {
		for _, line := range want {
			require.Contains(t, map[string][]string{"en": en, "de": de}[lang], line)
		}
	}
}

// TestPlainWordsHaveTerms: whatever the spec's words allow is a term in every language.
func TestPlainWordsHaveTerms(t *testing.T) {
	t.Parallel()
	var terms []string
	for _, k := range []PartKind{Solid, Sheet, Card, Floater, Decal, Glass, Moving, Interior, Rope, Helper, Collision, CagePart} {
		terms = append(terms, "part_kind."+string(k))
	}
	for _, k := range []SetKind{Baked, Tiling, Trim, DecalAtlas, Shared, UDIM} {
		terms = append(terms, "set_kind."+string(k))
	}
	for _, tier := range Tiers {
		terms = append(terms, "judged."+string(tier))
	}
	for _, m := range Milestones {
		terms = append(terms, "stage."+string(m))
	}
	for _, place := range []string{"below", "back", "ends"} {
		terms = append(terms, "open_at."+place)
	}
	for _, unit := range []string{"m", "dm", "cm", "mm", "in", "ft"} {
		terms = append(terms, "unit."+unit)
	}
	for _, role := range plainRoles {
		terms = append(terms, "file_role."+role)
	}
	for _, l := range words.Languages() {
		for _, term := range terms {
			_, ok := l.TermIn(term, "")
			require.True(t, ok, "%s in %s", term, l.Name)
			require.Contains(t, l.Codes(), "term."+term, l.Name)
		}
	}
}

func TestPlainWordsOfTheLeast(t *testing.T) {
	t.Parallel()
	require.Equal(t, []string{
		"davit (davit), judged as a mid-ground prop.",
		"The camera comes as near as 5 m; one pixel of a screen of 1440 lines is then 3.2 mm on the prop.",
		"Files are in metres, +Y is up, the front looks along +Z.", "Green of normal maps points up.", "The game surface stays just outside the sculpt.",
		"# Deliver for the milestone final", "the game mesh (game), named davit.*, davit_game.* or game.*",
	}, plainly(t, "prop: davit\ntier: mid\n", "en")[:7])
}
