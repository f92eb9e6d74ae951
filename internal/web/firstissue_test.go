package web_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/acceptance"
	acceptedWords "proofhouse/internal/acceptance/words"
	"proofhouse/internal/ledger"
)

// A prop's list of deliveries names the first issue in the reader's language where it is kept as data, else as it was recorded.
func TestFirstIssueInALanguage(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	budget := acceptance.Finding{Check: "budget.materials", Outcome: acceptance.Fail, Blocks: true}
	budget.Says = []acceptedWords.Phrase{acceptedWords.P("budget.materials.count", acceptedWords.Count(0), acceptedWords.Count(3))}
	budget.Sentence = acceptedWords.English().Text(budget.Says)
	w.props["davit"] = as(w, ines, func(ctx context.Context, tx *ledger.Tx) (ledger.Prop, error) {
		return tx.CreateProp(ctx, ledger.NewProp{WorkOrder: w.order.ID, Code: "davit", Title: "Boat davit", Tier: "mid", PriceMinor: 1000, Milestones: []ledger.NewMilestone{{Kind: "final", ShareBP: 10000}}})
	})
	w.inspect(reviewable()) // what waits in the queue
	w.spec("davit", "prop: davit\ntier: mid\n")
	w.deliver("davit", "davit", ole)
	w.inspect(found{verdict: ledger.VerdictFail, headline: "technical: 1 issue; the first: " + budget.Sentence, findings: []acceptance.Finding{budget}})
	de, ok := acceptedWords.In("de")
	require.True(t, ok)
	path := "/props/" + w.props["davit"].ID.String()
	b := w.logIn(petra)
	require.Contains(t, b.get(path).text("main"), budget.Sentence)
	b.language = "de"
	require.Contains(t, b.get(path).text("main"), de.Text(budget.Says))
	require.NotContains(t, b.get(path).text("main"), budget.Sentence)
	w.tamper("SET session_replication_role = replica; UPDATE ph.inspection SET first_issue = NULL") // recorded by an earlier release
	require.Contains(t, b.get(path).text("main"), budget.Sentence)
}
