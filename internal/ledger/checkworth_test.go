package ledger_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// A proposal follows a sign test at one in twenty, one-sided. The tails are those of binomial tables with p = 1/2 (for 5 of 5
// 1/32 = 0.031, for 7 of 8 9/256 = 0.035, for 9 of 11 67/2048 = 0.033, for 8 of 10 56/1024 = 0.055; by hand).
func TestProposalsNeedMoreThanChance(t *testing.T) {
	t.Parallel()
	for _, row := range []struct {
		conceded, upheld int
		propose, few     bool
	}{
		{0, 0, false, false}, {1, 0, false, true}, {4, 0, false, true}, {5, 0, true, false}, {6, 1, false, true}, {7, 1, true, false},
		{8, 2, false, true}, {9, 2, true, false}, {2, 2, false, false}, {1, 9, false, false}, {250, 250, false, false}, {270, 230, true, false}, {260, 240, false, true},
	} {
		c := ledger.CheckWorth{Check: "budget.triangles", Failed: row.conceded + row.upheld, Conceded: row.conceded, Upheld: row.upheld}
		require.Equal(t, row.propose, c.Propose(), row)
		require.Equal(t, row.few, c.Few(), row)
	}
}
