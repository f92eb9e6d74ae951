package ledger_test

import (
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
	"proofhouse/internal/ledger/ledgertest"
)

// TestPoliciesAskOnce: who calls is asked once a query, not for each row. PostgreSQL runs a bare call in a policy for every row
// that it looks at; inside a SELECT it becomes an InitPlan (PostgreSQL documentation, "Row Security Policies" and "Using EXPLAIN").
func TestPoliciesAskOnce(t *testing.T) {
	t.Parallel()
	db := ledgertest.New(t)
	conn, err := pgx.Connect(t.Context(), db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer conn.Close(t.Context())
	rows, err := conn.Query(t.Context(), `SELECT tablename || ': ' || policyname FROM pg_policies WHERE schemaname = 'ph' AND qual ~ 'ph\.app_\w+\(\)'
		AND regexp_replace(qual, 'SELECT ph\.app_\w+\(\)', '', 'g') ~ 'ph\.app_\w+\(\)' ORDER BY 1`)
	require.NoError(t, err)
	bare, err := pgx.CollectRows(rows, pgx.RowTo[string])
	require.NoError(t, err)
	require.Empty(t, bare, "write (SELECT ph.app_studio()) in the policy")
	var asked int
	require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM pg_policies WHERE schemaname = 'ph' AND qual ~ 'SELECT ph\.app_'`).Scan(&asked))
	require.Greater(t, asked, 40)
}
