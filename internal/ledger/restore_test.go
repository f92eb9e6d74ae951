package ledger_test

import (
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
	"proofhouse/internal/ledger/ledgertest"
)

// A record that was dumped and restored as the runbook says verifies as the one before, and is served: the dump holds
// every row, past row-level security, and the program's own migration takes the restored database as it is.
func TestRestoredDumpIsTheRecord(t *testing.T) {
	s, n, _ := acted(t)
	file := filepath.Join(t.TempDir(), "proofhouse.dump")
	tool := func(name string, args ...string) {
		t.Helper()
		out, err := exec.Command(filepath.Join(s.db.BinDir(), name), args...).CombinedOutput()
		require.NoError(t, err, "%s: %s", name, out)
	}
	tool("pg_dump", "--format=custom", "--role=ph_backup", "--file="+file, "--dbname="+s.db.AdminURL()) // with that role's rights and no others
	to := ledgertest.NewEmpty(t)
	tool("pg_restore", "--exit-on-error", "--dbname="+to.AdminURL(), file)
	require.NoError(t, ledger.Migrate(t.Context(), to.AdminURL(), to.Passwords()), "the last step changes nothing and fails at nothing")

	store, err := ledger.NewStore(to.Pool(ledger.RoleAPI))
	require.NoError(t, err)
	require.NoError(t, store.Ready(t.Context()))
	for _, log := range []uuid.UUID{s.yardOrder.ID, s.lampOrder.ID, s.studio.Party} {
		before := s.verify(log, n.Verifier())
		require.NoError(t, store.InSnapshot(t.Context(), s.studio, func(tx *ledger.Tx) error {
			after, err := tx.Verify(t.Context(), log, n.Verifier())
			require.NoError(t, err)
			require.Empty(t, after.Problems)
			require.Equal(t, before, after)
			return nil
		}))
	}
	// The tables' owner is under row-level security too: a dump by that role fails, and never comes out with rows missing.
	out, err := exec.Command(filepath.Join(s.db.BinDir(), "pg_dump"), "--schema=ph", "--role=ph_owner", "--dbname="+s.db.AdminURL()).CombinedOutput()
	require.Error(t, err)
	require.Contains(t, string(out[max(0, len(out)-1000):]), "row-level security")
}
