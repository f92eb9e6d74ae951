package web

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	phrases "proofhouse/internal/acceptance/words"
)

// over is a finding that is measured against one limit.
func over(check, says string, measured, limit float64) acceptance.Finding {
	return acceptance.Finding{Check: check, Outcome: acceptance.Fail, Blocks: true, Sentence: says, Measured: &acceptance.Value{Value: measured}, Limit: map[string]float64{"max": limit}}
}

// Of several findings of one check the section tells the one that is farthest beyond its limit, and how many more there are.
func TestSectionTellsTheWorstOfAlike(t *testing.T) {
	page := reviewOne{}
	page.Found.Issues = []group{{Heading: "Triangle budget", Outcome: acceptance.Fail, Findings: []shownFinding{
		{Finding: over("budget.triangles", "LOD 1 draws too many.", 1200, 1100)}, {Finding: over("budget.triangles", "LOD 0 draws far too many.", 30_464, 2200)}, {Finding: over("budget.triangles", "LOD 2 draws too many.", 600, 550)},
	}}}
	page.Found.Unable = []group{{Heading: "Nothing matches the part.", Outcome: acceptance.NotEvaluated, Findings: make([]shownFinding, 4)}}
	lines := page.Tech()
	require.Len(t, lines, 2)
	require.Equal(t, "LOD 0 draws far too many.", lines[0].Said)
	require.Equal(t, 2, lines[0].More)
	require.Equal(t, "Nothing matches the part.", lines[1].Said, "checks that share a reason are told by it")
	require.Zero(t, lines[1].More)
}

// That something passed before is the comparison itself and no finding within it.
func TestComparisonDoesNotCountItself(t *testing.T) {
	now := []acceptance.Finding{over("surface.poke_through", "A lump stands proud.", 10, 5), {Check: regressed, Outcome: acceptance.Warn, Sentence: "What passed before and does not now: 1."}}
	got := compareFindings(nil, now)
	require.Len(t, got.New, 1)
	require.Equal(t, "surface.poke_through", got.New[0].Check)
}

// What changed is the delivery's own sentence about the one before, not what passed before.
func TestWhatChangedIsTold(t *testing.T) {
	page := deliveryPage{Evidence: &acceptance.Evidence{Findings: []acceptance.Finding{{Check: regressed, Sentence: "What passed before …"}, {Check: "revision.changed", Sentence: "1 part changed."}}}}
	require.Equal(t, "1 part changed.", page.Changed())
	require.Empty(t, deliveryPage{}.Changed())
}

// The check's name is written out in this package; the engine has it.
func TestRegressedIsACheck(t *testing.T) {
	_, known := catalogue()[regressed]
	require.True(t, known)
}

// Where the evidence has keys, the page says checks and values by their names in words, in the reader's language.
func TestWhatMovedIsSaidInWords(t *testing.T) {
	place := func(p phrases.Phrase) acceptance.Place {
		return acceptance.Place{Note: "surface.poke_through: max_height_mm was 0, is 10.27", Says: &p}
	}
	moved := place(phrases.P("revision.changed.number", phrases.Name("surface.poke_through bollard"), phrases.Name("max_height_mm"), phrases.Num(0), phrases.Num(10.27)))
	en, de := deliveryPage{reader: reader("en")}, deliveryPage{reader: reader("de")}
	require.Equal(t, "Sculpt outside the game surface bollard: largest height 0\u00a0mm before, 10.3\u00a0mm now", en.Moved(moved))
	require.Contains(t, de.Moved(moved), "10,3\u00a0mm")
	require.NotContains(t, de.Moved(moved), "max_height")
	before := place(phrases.P("revision.regressed.finding", phrases.Name("surface.poke_through")))
	require.Equal(t, "Sculpt outside the game surface passed before", en.Moved(before))
	require.Equal(t, "a literal stays", en.Moved(acceptance.Place{Note: "a literal stays"}))
}
